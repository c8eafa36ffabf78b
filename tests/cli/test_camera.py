"""`twintake camera`: the list, and a test of the trigger on a simulated rig."""

import json
import shutil
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from typer.testing import CliRunner

from sequencer.cli.app import app
from sequencer.playback.firing import planned
from sequencer.project.passed import in_pass
from sequencer.project.store import load
from sequencer.score.move import Pass
from sequencer.shell import shoot
from sequencer.shell.kinds import laws
from tests.adapters.terminal import terminal
from tests.cli.harbour import HARBOUR

CAMERA = [
    {"do": "record", "at": "cue start", "after_s": -2.0},
    {"do": "shutter", "at": "10:00:05:00", "lead_s": 0.12},
]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in ("project.json", "rig.json", "playback.wav"):
        shutil.copy(HARBOUR / name, tmp_path / name)
    written = json.loads((tmp_path / "project.json").read_text(encoding="utf-8"))
    (tmp_path / "project.json").write_text(json.dumps(written | {"camera": CAMERA}), encoding="utf-8")
    return tmp_path


def run(*words: str) -> tuple[int, str]:
    done = CliRunner().invoke(app, ["camera", *words])
    return done.exit_code, done.output


def test_what_the_camera_does_is_listed_in_words(folder: Path) -> None:
    status, output = run(str(folder))
    assert status == 0
    assert output.splitlines() == ["record 2 s before cue start", "shutter at 10:00:05:00, ordered 120 ms earlier"]
    assert json.loads(run(str(folder), "--json")[1])["camera"][1]["at"] == "10:00:05:00"


def test_a_deed_that_no_camera_does_is_refused_with_those_there_are(folder: Path) -> None:
    status, output = run(str(folder), "--test", "zoom")
    assert status == 2
    assert "name one of shutter, record, cut" in " ".join(output.split())


@pytest.mark.parametrize("changed", [{"at": "later"}, {"do": "zoom"}, {"lead_s": -1}])
def test_a_fault_in_the_file_is_named_with_its_place(folder: Path, changed: dict[str, object]) -> None:
    path = folder / "project.json"
    written = json.loads(path.read_text(encoding="utf-8"))
    written["camera"][1] |= changed
    path.write_text(json.dumps(written), encoding="utf-8")
    status, output = run(str(folder))
    assert status == 2
    assert "camera[1]" in output


def test_backward_a_timecode_stays_a_timecode_so_that_record_still_comes_before_cut(folder: Path) -> None:
    path = folder / "project.json"
    written = json.loads(path.read_text(encoding="utf-8"))
    at = {"record": "10:00:04:00", "shutter": "10:00:05:00", "cut": "10:00:07:00"}
    written["camera"] = [{"do": do, "at": timecode} for do, timecode in at.items()]
    path.write_text(json.dumps(written), encoding="utf-8")
    project = load(folder, laws())
    backward = replace(project, move=replace(project.move, passes=(Pass("back", reversed=True),)))
    cues = in_pass(backward, "back", laws())[0].camera
    orders = planned(cues, (0.0, 40.0), 0.0, Fraction(1), project.timebase.rate.fraction).orders
    assert [(order.at_s, order.do) for order in orders] == [(4.0, "record"), (5.0, "shutter"), (7.0, "cut")]


def test_a_trigger_that_no_output_carries_is_refused_with_what_there_is(folder: Path) -> None:
    for out in ("csv:/tmp/none.csv", "serial:/dev/quay?record=rts"):
        status, output = run(str(folder), "--test", "shutter", "--out", out)
        assert status == 2
        assert "none carries shutter to a camera" in " ".join(output.split())


@pytest.mark.real_time
def test_a_camera_on_a_serial_port_is_tried_without_a_rig(folder: Path) -> None:
    with terminal() as camera:
        out = f"serial:{camera.path}?record=text:REC%20ON&cut=text:OFF"
        status, output = run(str(folder), "--test", "record", "--out", out)
        assert (status, output) == (0, "fired: record\n")
        assert camera.hear(7) == b"REC ON\n"


@pytest.mark.real_time
def test_the_trigger_can_be_tried_without_anything_moving(folder: Path) -> None:
    with shoot.simulated_rig(folder / "rig.json", 1) as (rig, address):
        status, output = run(str(folder), "--test", "shutter", "--out", address)
        assert (status, output) == (0, "fired: shutter\n")
        status, output = run(str(folder), "--test", "shutter", "--out", f"{address}", "--json")
        assert json.loads(output) == {"fired": True, "said": "shutter"}
        # what plays on a clock of its own takes orders once that is known
        status, _ = run(str(folder), "--test", "cut", "--out", address.replace("osc:", "device:"))
        assert status == 0
        done = [rig.wait_for("camera") for _ in range(3)]
    assert done == ["shutter", "shutter", "cut"], "each once, and it was the rig that said so"
