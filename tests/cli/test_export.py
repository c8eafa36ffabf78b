"""`twintake export`: what is written beside what, what an operator and a program are told, and how it ends."""

import csv
import json
import shutil
import textwrap
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner, Result

from sequencer.cli.app import app
from sequencer.export.contract import ExportKind
from sequencer.export.delivery import Delivery
from sequencer.export.sampled import cue_of, sampled
from sequencer.motion.compile import compile_move
from sequencer.rig.axis import Rig
from sequencer.shell import handover
from sequencer.shell.kinds import exports, laws
from sequencer.shell.recorder import Recorder
from sequencer.shell.shoot import plan
from sequencer.takes.rows import ActualRow, Row, SetpointRow
from tests.cli.harbour import HARBOUR, change, opened
from tests.motion.aim_oracles import axis
from tests.takes.shot import CAMERA, Shot

pytestmark = pytest.mark.usefixtures("terminal")
BOATS = HARBOUR.parent / "paper-boats"
CUE = "lantern turn"
AXES = ("pan", "tilt", "roll", "slide", "focus")
FIELDS = {
    *("file", "beside", "format", "project", "cue", "pass", "take", "source", "rate", "frames", "first", "timecode"),
    *("samples", "missing", "remarks"),
}


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(app, ["export", *map(str, arguments)])


def facts(*arguments: str | Path) -> dict[str, Any]:
    done = run(*arguments, "--json")
    found: dict[str, Any] = json.loads(done.stdout)
    assert found.keys() == FIELDS
    return found


def flat(result: Result) -> str:
    return " ".join(result.output.split())


def swing(at_s: float) -> tuple[float, ...]:
    return (20 * float(np.sin(at_s)), 5.0, 0.0, 100 + 50 * float(np.cos(at_s)), 0.5)


def record(
    harbour: Path, silent_s: tuple[float, float] = (0.0, 0.0), old: bool = False, name: str = "take_001"
) -> Path:
    """Return a take file of the first cue (10:00:07:10 to 10:00:15:10), each axis where `swing` has it, 2 mm late."""
    heading = plan(opened(harbour), CUE, None, harbour / "takes", of=harbour).heading(name)
    if old:
        heading = replace(heading, rig=None, shot_as=None)
    path = harbour / "takes" / f"{name}.mcap"
    path.parent.mkdir(exist_ok=True)
    with Recorder.open(path, heading) as recorder:
        for number in range(2500):
            at_s, stamp = 6.5 + number / 250, 77_000_000_000 + number * 4_000_000
            place = swing(at_s)
            rows: list[Row] = [SetpointRow(stamp, at_s, "running", place, (0.0,) * 5)]
            if not silent_s[0] < at_s < silent_s[1]:
                rows.append(ActualRow(stamp, stamp + 1, (place[0], place[1], place[2], place[3] + 2.0, place[4])))
            for row in rows:
                recorder.write(row)
    return path


def table(file: Path) -> tuple[list[str], list[list[str]]]:
    with file.open(encoding="utf-8", newline="") as text:
        heads, *rows = csv.reader(text)
    return heads, rows


def column(file: Path, name: str) -> np.ndarray:
    heads, rows = table(file)
    place = next(n for n, head in enumerate(heads) if head.startswith(name))
    return np.array([float(row[place] or "nan") for row in rows])


def test_a_move_is_written_with_its_text_and_its_chart(tmp_path: Path) -> None:
    done = run(BOATS, "--to", "csv", "-o", tmp_path / "boats.csv")
    assert done.exit_code == 0, done.output
    assert sorted(one.name for one in tmp_path.iterdir()) == ["boats.csv", "boats.csv.svg", "boats.csv.txt"]
    words = flat(done)
    assert "crossing, boats, planned: 577 frames, 01:00:07:00 to 01:00:31:00" in words
    assert "beside it: boats.csv.svg, boats.csv.txt" in words
    text = (tmp_path / "boats.csv.txt").read_text(encoding="utf-8")
    assert "24000/1001 frames a second" in text
    assert "Motorised rigs crush, trap and drop things" in text
    assert len(table(tmp_path / "boats.csv")[1]) == 577


def test_json_says_what_was_written(tmp_path: Path) -> None:
    file = tmp_path / "water.csv"
    found = facts(
        BOATS, "--to", "csv", "-o", file, "--pass", "water at half speed", "--samples", "3", "--first", "1001"
    )
    assert found["file"] == str(file)
    assert found["beside"] == [f"{file}.svg", f"{file}.txt"]
    assert (found["format"], found["cue"], found["pass"]) == ("csv", "crossing", "water at half speed")
    assert (found["source"], found["take"], found["rate"]) == ("planned", None, "24000/1001")
    assert (found["frames"], found["first"], found["timecode"]) == (1153, 1001, "01:00:07:00")
    assert (found["samples"], found["missing"]) == (3, 0)
    assert any("entrance pupil" in one for one in found["remarks"])


def test_the_format_may_be_known_by_the_files_name(tmp_path: Path) -> None:
    assert facts(HARBOUR, "-o", tmp_path / "turn.glb")["format"] == "gltf"
    assert facts(HARBOUR, "--to", "csv", "-o", tmp_path / "turn")["file"] == str(tmp_path / "turn.csv")


def test_without_a_name_it_makes_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    found = facts(HARBOUR, "--to", "csv", "--cue", "crowd sweep", "--pass", "clean plate")
    assert found["file"] == "Harbour-lanterns_crowd-sweep_clean-plate_planned.csv"
    assert (tmp_path / found["file"]).is_file()


@pytest.mark.parametrize("kind", [one for one in exports().values() if not one.extra], ids=lambda kind: kind.name)
def test_every_format_can_be_had_from_a_project(tmp_path: Path, kind: ExportKind) -> None:
    for suffix in kind.suffixes:
        file = tmp_path / f"harbour{suffix}"
        done = run(HARBOUR, "--to", kind.name, "-o", file)
        assert done.exit_code == 0, done.output
        assert file.stat().st_size
        assert Path(f"{file}.txt").read_text(encoding="utf-8").startswith(f"harbour{suffix}: {kind.title}")
        assert Path(f"{file}.svg").exists() == (kind.holds == "camera")


def test_a_take_alone_is_enough(harbour: Path, tmp_path: Path) -> None:
    take = record(harbour)
    alone = tmp_path / "elsewhere" / take.name
    alone.parent.mkdir()
    shutil.copy(take, alone)
    found = facts(alone, "--to", "csv", "-o", tmp_path / "did.csv")
    assert (found["source"], found["take"], found["cue"], found["pass"]) == ("actual", "take_001", CUE, "band")
    assert (found["frames"], found["missing"], found["timecode"]) == (201, 0, "10:00:07:10")
    at_s = (185 + np.arange(201)) / 25
    assert column(tmp_path / "did.csv", "axis slide") == pytest.approx(102 + 50 * np.cos(at_s), abs=1e-3)
    assert column(tmp_path / "did.csv", "camera pan") == pytest.approx(20 * np.sin(at_s), abs=1e-4)
    asked = facts(alone, "--to", "csv", "--source", "asked", "-o", tmp_path / "asked.csv")
    assert asked["source"] == "asked"
    # setpoints are sent ahead by what the slide is late
    late_s = opened(harbour).rig.axes[3].latency_s
    assert late_s > 0
    assert column(tmp_path / "asked.csv", "axis slide") == pytest.approx(100 + 50 * np.cos(at_s - late_s), abs=1e-3)


def test_a_take_of_an_earlier_program_needs_its_project(harbour: Path, tmp_path: Path) -> None:
    take = record(harbour, old=True)
    alone = run(take, "--to", "csv", "-o", tmp_path / "x.csv")
    assert alone.exit_code == 2
    assert "it does not say with which rig it was shot" in flat(alone)
    assert "name its project too" in flat(alone)
    found = facts(harbour, "--take", take, "--to", "csv", "-o", tmp_path / "x.csv")
    assert (found["source"], found["frames"]) == ("actual", 201)
    change(harbour, "rig.json", lambda tree: tree["camera"].update(focal_mm=50.0))
    after = facts(harbour, "--take", take, "--to", "csv", "-o", tmp_path / "y.csv")
    assert any("the camera of the rig was changed since the take was shot" in one for one in after["remarks"])


def test_frames_that_are_not_known_end_with_status_1_and_are_named(harbour: Path, tmp_path: Path) -> None:
    done = run(record(harbour, silent_s=(9.99, 10.51)), "--to", "csv", "-o", tmp_path / "hole.csv")
    assert done.exit_code == 1
    assert "not known, 13 frames: 10:00:10:00 to 10:00:10:12" in flat(done)
    assert np.isnan(column(tmp_path / "hole.csv", "camera x")).sum() == 13
    found = facts(
        harbour,
        "--take",
        record(harbour, silent_s=(0.0, 8.0), name="take_002"),
        "--to",
        "csv",
        "-o",
        tmp_path / "l.csv",
    )
    assert found["missing"] > 0
    assert found["frames"] + found["missing"] == 201


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--to", "nonsense"), "there is no format 'nonsense'; there are: csv (.csv)"),
        ((), "say in which format (--to); there are: csv"),
        (("-o", "x.doc"), "say in which format (--to)"),
        (("--to", "csv", "-o", "x.usda"), "x.usda: table of the camera goes into .csv; name such a file"),
        (("--to", "csv", "--cue", "nonsense"), "cues: lantern turn, crowd sweep, last light"),
        (("--to", "csv", "--pass", "nonsense"), "passes: band, clean plate, lanterns"),
        (("--to", "csv", "--source", "actual"), "what is actual is in a take; name its file (--take FILE)"),
        (("--to", "csv", "--source", "nonsense"), "name one of planned, asked, actual"),
        (("--to", "csv", "--up", "x"), "name one of y, z"),
        (("--to", "csv", "--shutter-from", "end"), "name one of centre, frame"),
        (("--to", "csv", "--samples", "3"), "say it (--shutter 180)"),
        (("--to", "csv", "--samples", "3", "--shutter", "400"), "no shutter opens for 400 degrees"),
        (("--to", "csv", "--timelapse"), "timelapse: there is none; write"),
        (("--to", "csv", "--timelapse", "--pass", "band"), "a timelapse says itself of which cue it is"),
        (("--to", "csv", "-o", "gone/x.csv"), "there is no folder gone"),
        (("--to", "csv", "--take", "gone.mcap"), "gone.mcap: cannot be read: No such file"),
        (("--to", "csv", "--take", "gone.mcap", "--cue", CUE), "leave out --cue, --pass and --timelapse"),
    ],
)
def test_what_is_wrong_is_said_with_the_mend(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: tuple[str, ...], words: str
) -> None:
    monkeypatch.chdir(tmp_path)
    done = run(HARBOUR, *arguments)
    assert done.exit_code == 2, done.output
    assert words in flat(done)
    assert list(tmp_path.iterdir()) == []


def test_a_project_or_a_take_that_is_not_there(tmp_path: Path, harbour: Path) -> None:
    for place, words in (("gone", "there is no folder"), ("gone.mcap", "gone.mcap: cannot be read")):
        done = run(tmp_path / place, "--to", "csv", "-o", tmp_path / "x.csv")
        assert done.exit_code == 2
        assert words in flat(done)
    both = run(record(harbour), "--take", record(harbour, name="take_002"), "--to", "csv", "-o", tmp_path / "x.csv")
    assert both.exit_code == 2
    assert "give the project's folder, or one take" in flat(both)
    planned = run(record(harbour, name="take_003"), "--source", "planned", "--to", "csv", "-o", tmp_path / "x.csv")
    assert planned.exit_code == 2
    assert "what is planned is in the project" in flat(planned)
    nonsense = tmp_path / "notes.txt"
    nonsense.write_text("no take", encoding="utf-8")
    assert "not a take file" in flat(run(nonsense, "--to", "csv", "-o", tmp_path / "x.csv"))
    assert not (tmp_path / "x.csv").exists()


def test_a_file_that_is_there_is_kept_unless_told(tmp_path: Path) -> None:
    file = tmp_path / "turn.csv"
    file.write_text("precious", encoding="utf-8")
    done = run(HARBOUR, "-o", file)
    assert done.exit_code == 2
    assert "is there already; name another file, or say --force to replace it" in flat(done)
    assert [(one.name, one.read_text(encoding="utf-8")) for one in tmp_path.iterdir()] == [("turn.csv", "precious")]
    assert run(HARBOUR, "-o", file, "--force").exit_code == 0
    assert len(table(file)[1]) == 201


def test_a_timelapse_has_the_poses_of_its_frames(tmp_path: Path) -> None:
    found = facts(HARBOUR.parent / "low-tide", "--timelapse", "-o", tmp_path / "tide.csv")
    # 24 seconds of 25 frames, over the six hours of the cue
    assert (found["pass"], found["frames"], found["timecode"], found["missing"]) == ("timelapse", 600, "05:20:00:00", 0)
    assert any("a timelapse: 600 frames, exposed over 2" in one for one in found["remarks"])
    pans = column(tmp_path / "tide.csv", "camera pan")
    tide = opened(HARBOUR.parent / "low-tide")
    move = compile_move(tide.rig, tide.move, tide.timebase.rate, laws())
    assert pans == pytest.approx(move.sample(np.linspace(0, 21_600, 600))[:, 0], abs=1e-9)


def test_a_rig_without_a_camera_is_told_what_to_write(harbour: Path, tmp_path: Path) -> None:
    with_one = run(harbour, "--to", "csv", "-o", tmp_path / "with.csv")
    assert with_one.exit_code == 0
    change(harbour, "rig.json", lambda tree: tree.pop("camera"))
    for name in ("usd", "gltf", "opentrackio"):
        done = run(harbour, "--to", name, "-o", tmp_path / f"x{exports()[name].suffixes[0]}")
        assert done.exit_code == 2
        assert "write camera into rig.json: sensor_mm, pixels, focal_mm and subject_m; the axes alone go into csv" in (
            flat(done)
        )
    # where the axes stand is a table without any, and so are markers
    found = facts(harbour, "--to", "csv", "-o", tmp_path / "x.csv")
    assert [Path(one).name for one in found["beside"]] == ["x.csv.txt"]
    for name in (*(f"axis {one}" for one in AXES), "camera x", "camera roll"):
        assert (column(tmp_path / "x.csv", name) == column(tmp_path / "with.csv", name)).all()
    heads, rows = table(tmp_path / "x.csv")
    assert {row[heads.index("focal length (mm)")] for row in rows} == {""}
    assert {row[heads.index("sensor width (mm)")] for row in rows} == {""}
    text = (tmp_path / "x.csv.txt").read_text(encoding="utf-8")
    assert "the rig has no camera" in text
    assert "LENS" not in text
    assert run(harbour, "--to", "midi", "-o", tmp_path / "x.mid").exit_code == 0


def test_a_project_without_cues_hands_over_the_whole_move(harbour: Path, tmp_path: Path) -> None:
    change(harbour, "project.json", lambda tree: tree.pop("cues"))
    found = facts(harbour, "--to", "csv", "-o", tmp_path / "x.csv")
    # the first key is at 10:00:07:12.5, the last one at 10:00:38:03.125
    assert (found["cue"], found["timecode"], found["frames"]) == ("whole move", "10:00:07:13", 953 - 188 + 1)


def test_a_file_is_named_by_what_it_holds_and_as_every_system_can(
    harbour: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def renamed(tree: Any) -> None:
        tree["passes"][0]["name"] = 'bridge at 1:12 / "A"?'

    change(harbour, "project.json", renamed)
    monkeypatch.chdir(tmp_path)
    name = "Harbour-lanterns_lantern-turn_bridge-at-1-12-A_planned.csv"
    assert facts(harbour, "--to", "csv")["file"] == name
    # a folder is one to write into
    (tmp_path / "post").mkdir()
    assert facts(harbour, "--to", "csv", "-o", "post")["file"] == str(Path("post") / name)
    assert (tmp_path / "post" / name).is_file()


def test_frames_that_are_missing_are_counted_from_the_cues_first_whole_one() -> None:
    """At half speed from frame 50.75 to 149.9: 99 frames of the picture, 51 to 149, which is all there are."""
    take = Shot(cue_s=(2.03, 5.996), speed=Fraction(1, 2)).take()
    slider = Rig(name="slider", axes=(axis("pan", "pan", "deg"), axis("slide", "slide", "mm")), camera=CAMERA)
    path = sampled(take, "actual", slider)
    made = Delivery(
        project="harbour",
        timebase=take.timebase,
        rig=slider,
        cue=cue_of(take),
        run=take.run,
        source="actual",
        path=path,
    )
    assert path.frames == 99
    assert handover.missing(made) == 0
    assert handover.missing(replace(made, path=replace(path, position_m=path.position_m[3:]))) == 3


def test_a_package_that_is_missing_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: object) -> bytes:
        raise ModuleNotFoundError("No module named 'absent'", name="absent")

    there = exports()
    bare = replace(there["csv"], make=fails)
    for kind, words in (
        (bare, "the Python package absent"),
        (replace(bare, extra="usd"), "pip install 'twintake[usd]'"),
    ):
        monkeypatch.setattr("sequencer.cli.export.exports", lambda kind=kind: {"csv": kind})
        done = run(HARBOUR, "--to", "csv", "-o", tmp_path / "x.csv")
        assert done.exit_code == 2
        assert words in flat(done)
    assert list(tmp_path.iterdir()) == []


def test_takes_are_gathered_for_those_who_edit(harbour: Path) -> None:
    record(harbour)
    record(harbour, name="take_002")
    (harbour / "takes" / "broken_001.mcap").write_bytes(b"nonsense")
    made, said = handover.gather(handover.Asked(project=harbour), "takes")
    assert [(one.name, one.number, one.cue, one.run) for one in made.takes] == [
        ("take_001", 1, CUE, "band"),
        ("take_002", 2, CUE, "band"),
    ]
    assert [*made.takes[0].span] == [185, 385]
    assert any("left out: " in one for one in said)


def test_a_format_of_ones_own_is_made_as_the_page_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    page = (HARBOUR.parents[1] / "docs" / "hand-over.md").read_text(encoding="utf-8")
    example = page.partition("### A format of your own")[2].partition("    from")[2].partition("\n\n`space`")[0]
    module: dict[str, Any] = {}
    exec(textwrap.dedent(f"    from{example}"), module)  # the page itself says so
    monkeypatch.setattr("sequencer.cli.export.exports", lambda: {"lines": module["KIND"]})
    found = facts(HARBOUR, "-o", tmp_path / "turn.lines")
    assert found["format"] == "lines"
    lines = (tmp_path / "turn.lines").read_text(encoding="utf-8").splitlines()
    # pan, tilt and roll of the first key
    assert (len(lines), lines[0]) == (201, "-48.000000 9.000000 0.000000")
    assert "Z up: X to the camera's right" in (tmp_path / "turn.lines.txt").read_text(encoding="utf-8")
