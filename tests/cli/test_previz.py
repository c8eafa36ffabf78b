"""`twintake previz`: a camera's file as keys; what is shown and written, and how wrong use is told."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner, Result

from sequencer.cli.app import app
from sequencer.motion.compile import compile_move
from sequencer.shell.kinds import laws
from tests.cli.harbour import HARBOUR, files, opened
from tests.export.imports import gltf_files

pytestmark = pytest.mark.usefixtures("terminal")
HEAD_AND_SLIDE = ("pan", "tilt", "roll", "slide")


@pytest.fixture(scope="module")
def camera(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The harbour's own first cue as a table, as it is handed over."""
    file = tmp_path_factory.mktemp("camera") / "quay.csv"
    done = CliRunner().invoke(app, ["export", str(HARBOUR), "--to", "csv", "--out", str(file)])
    assert done.exit_code == 0, done.output
    return file


def run(command: str, folder: Path, file: Path, *options: str) -> Result:
    return CliRunner().invoke(app, [command, str(folder), str(file), *options])


def said(done: Result) -> str:
    return " ".join(done.output.split())


def facts(folder: Path, file: Path, *options: str, status: int = 0) -> dict[str, Any]:
    done = run("previz", folder, file, *options, "--json")
    assert done.exit_code == status, done.output
    read = json.loads(done.stdout)
    assert isinstance(read, dict)
    return read


def test_it_shows_what_it_would_do_and_writes_only_when_told(harbour: Path, camera: Path) -> None:
    before, was = files(harbour), opened(harbour)
    done = run("previz", harbour, camera, "--replace")
    assert done.exit_code == 0, done.output
    words = said(done)
    for part in ("201 samples", "from 10:00:07:10 to 10:00:15:10, in the cue lantern turn", "pan (deg)", "then: fits"):
        assert part in words
    assert "nothing written; --write keeps it" in words
    assert files(harbour) == before
    done = run("previz", harbour, camera, "--replace", "--within-px", "2", "--write")
    assert "written; the file before is project.json.bak" in said(done)
    now, rate = opened(harbour), was.timebase.rate
    t_s = np.arange(185, 386) / 25
    old, new = (compile_move(one.rig, one.move, rate, laws()).sample(t_s) for one in (was, now))
    off = np.abs(new - old).max(axis=0)
    assert 0 < off[: len(HEAD_AND_SLIDE)].max() < 1.0
    assert off[was.rig.index("focus")] == 0
    # before and after it the move is as it was
    outside_s = np.concatenate([np.arange(0, 5, 0.1), np.arange(25, 40, 0.1)])
    old, new = (compile_move(one.rig, one.move, rate, laws()).sample(outside_s) for one in (was, now))
    np.testing.assert_allclose(new, old, atol=1.0)  # an axis may stand as far off where it begins as elsewhere


def test_the_document_says_what_the_table_does(harbour: Path, camera: Path) -> None:
    found = facts(harbour, camera, "--replace", "--within", "0.05deg", "--within", "slide=1")
    assert (found["samples"], found["frames"]) == (201, [185.0, 385.0])
    assert (found["cue"], found["new"], found["written"]) == ("lantern turn", False, False)
    assert [one["axis"] for one in found["axes"]] == list(HEAD_AND_SLIDE)
    for one in found["axes"]:
        assert one["off"] <= one["tolerance"] == (1.0 if one["axis"] == "slide" else 0.05)
        assert one["percent"] == pytest.approx(100 * one["keys"] / 201)
        assert one["keys"] >= 2
    assert found["left_mm"]["most"] < 1e-6
    assert found["check"]["ok"] is True
    assert found["over"] == []
    assert any("no focus" in one for one in found["remarks"])


def test_what_the_motors_cannot_do_is_not_written_unless_told(harbour: Path, camera: Path) -> None:
    before = files(harbour)
    fast = ("--at", "10:01:00:00", "--time-scale", "1/5", "--within", "0.05deg", "--axis", "pan", "--write")
    done = run("previz", harbour, camera, *fast)
    assert done.exit_code == 1
    words = said(done)
    assert "nothing written: the motors cannot do it" in words
    assert "over: pan from 10:01:0" in words
    assert "twintake fit" in words
    assert files(harbour) == before
    found = facts(harbour, camera, *fast, status=1)
    assert found["time_scale"] > 0.2
    again = facts(harbour, camera, *fast[:2], "--time-scale", str(found["time_scale"]), *fast[4:-1])
    assert again["over"] == []
    found = facts(harbour, camera, *fast, "--anyway", status=1)
    assert found["written"] is True
    assert files(harbour) != before


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ((), "there are keys already from 10:00:07:10 to 10:00:15:10"),
        (("--at", "10:99:00:00"), "--at: 10:99:00:00 has 99 minutes"),
        (("--within", "0.05"), "write 0.02deg, 0.5mm, 0.001part or AXIS=0.02"),
        (("--within", "-1deg"), "to within -1; give a distance above zero"),
        (("--within", "crane=1"), "the rig has no axis 'crane'"),
        (("--within-px", "0"), "above zero"),
        (("--scale", "0"), "the scale is 0; it must be above zero"),
        (("--scale", "half"), "is not a number"),
        (("--time-scale", "0"), "no time is scaled so; write a number above zero"),
        (("--from", "400"), "a move needs two"),
        (("--axis", "crane"), "the rig has no axis 'crane'"),
        (("--camera", "B"), "no camera is called 'B'; it has: "),
        (("--rate", "23.976"), "it must be one of 24000/1001"),
    ],
)
def test_what_is_wrong_is_told_and_loses_nothing(
    harbour: Path, camera: Path, options: tuple[str, ...], words: str
) -> None:
    before = files(harbour)
    done = run("previz", harbour, camera, *options, "--write")
    assert done.exit_code == 2
    # a box of the command line's own breaks lines, and has a frame
    assert words in " ".join(done.output.replace("│", " ").split())
    assert files(harbour) == before


def test_another_rate_is_refused_with_both_ways_out(harbour: Path, camera: Path) -> None:
    project = json.loads((harbour / "project.json").read_text(encoding="utf-8"))
    project["timebase"] = {"rate": "50", "start": "10:00:00:00"}
    project |= {"tracks": [], "cues": [], "markers": [], "passes": []}
    for name in ("tempo", "playback", "camera", "sync", "triggers"):
        project.pop(name, None)
    (harbour / "project.json").write_text(json.dumps(project), encoding="utf-8")
    done = run("previz", harbour, camera)
    assert done.exit_code == 2
    assert "has 25 frames a second, and the project 50; --convert time keeps its 8 s" in said(done)
    assert facts(harbour, camera, "--convert", "time")["to"] == "10:00:15:20"


def test_files_without_a_camera_are_told_what_they_are_for(harbour: Path, tmp_path: Path) -> None:
    cut = tmp_path / "cut.edl"
    cut.write_text("TITLE: CUT\n")
    assert "has no camera; take what it has with: twintake import" in said(run("previz", harbour, cut))
    assert "there is no file" in said(run("previz", harbour, tmp_path / "gone.usda"))
    assert "its name does not say what it is" in said(run("previz", harbour, tmp_path / "camera.xyz"))


def test_of_several_cameras_one_is_named(harbour: Path, tmp_path: Path) -> None:
    usd = pytest.importorskip("pxr.Usd")
    geometry = pytest.importorskip("pxr.UsdGeom")
    file = tmp_path / "set.usda"
    stage = usd.Stage.CreateNew(str(file))
    stage.SetTimeCodesPerSecond(25)
    stage.SetFramesPerSecond(25)
    geometry.SetStageUpAxis(stage, "Z")
    geometry.SetStageMetersPerUnit(stage, 1.0)
    for name in ("left", "right"):
        one = geometry.Camera.Define(stage, f"/{name}")
        moved = one.AddTranslateOp()
        for frame in range(20):
            moved.Set((0.0, 0.0, 1.5), frame)
        one.AddRotateXOp().Set(90.0)  # looks along Y
    stage.Save()
    done = run("previz", harbour, file, "--at", "10:01:00:00")
    assert done.exit_code == 2
    assert "it has 2 cameras; name one with --camera" in said(done)
    named = said(done).partition("--camera: ")[2].split(", ")
    found = facts(harbour, file, "--at", "10:01:00:00", "--camera", named[1].split()[0])
    assert found["samples"] == 20


def test_cameras_of_one_name_cannot_be_told_apart_and_that_is_said(harbour: Path, tmp_path: Path) -> None:
    """Names need not differ in a glTF file. Source: glTF 2.0, section 3.3, "names need not be unique"; from memory."""
    document = gltf_files.moving()
    document["nodes"] = [{"camera": 0, "name": "left"}, {"camera": 0, "name": "left"}]
    twice = tmp_path / "set.gltf"
    twice.write_text(json.dumps(document))
    before = files(harbour)
    done = run("previz", harbour, twice, "--camera", "left", "--write")
    assert done.exit_code == 2
    assert "set.gltf: 2 cameras are called 'left'; give each its own name, and export again" in said(done)
    assert files(harbour) == before


def test_import_takes_a_camera_too_and_says_where_the_choices_are(harbour: Path, camera: Path) -> None:
    done = run("import", harbour, camera)
    assert done.exit_code == 2
    assert "there are keys already" in said(done)
    assert "a camera has choices of its own: twintake previz" in said(done)
    done = run("import", harbour, camera, "--at", "10:01:00:00", "--write")
    assert done.exit_code == 0, done.output
    assert "in the new cue" in said(done)
    assert opened(harbour).move.cues[-1].start >= 60 * 25 - 50


def test_import_does_not_pass_over_what_a_camera_does_not_have(harbour: Path, camera: Path) -> None:
    before = files(harbour)
    done = run("import", harbour, camera, "--at", "10:01:00:00", "--offset", "10", "--cues", "--write")
    assert done.exit_code == 2
    assert "quay.csv is a camera, of which --offset, --cues can take nothing; leave out them" in said(done)
    assert files(harbour) == before


def test_of_a_file_with_cuts_one_shot_is_taken_and_the_others_are_no_matter(harbour: Path, tmp_path: Path) -> None:
    rows = ["frame,x (m),y (m),z (m),pan (deg),tilt (deg),roll (deg)"]
    rows += [f"{frame},{0 if frame < 30 else 2},0,1.5,{frame / 10},0,0" for frame in range(60)]
    file = tmp_path / "cut.csv"
    file.write_text("\n".join(rows) + "\n", encoding="utf-8")
    whole = ("--rate", "25", "--at", "10:01:00:00", "--axis", "pan")
    before = files(harbour)
    done = run("previz", harbour, file, *whole, "--write")
    assert done.exit_code == 2
    assert "take one shot: --from 0 --to 29, or --from 30 --to 59" in said(done)
    assert files(harbour) == before
    found = facts(harbour, file, *whole, "--from", "30")
    assert found["samples"] == 30
    assert not any("not one shot" in one for one in found["remarks"])


def test_a_project_that_cannot_be_written_stays_whole(harbour: Path, camera: Path) -> None:
    (harbour / "project.json.bak" / "inside").mkdir(parents=True)
    before = {path.name: path.read_bytes() for path in harbour.iterdir() if path.is_file()}
    done = run("previz", harbour, camera, "--at", "10:01:00:00", "--write")
    assert done.exit_code == 2
    assert "cannot be saved in" in said(done)
    assert {path.name: path.read_bytes() for path in harbour.iterdir() if path.is_file()} == before
