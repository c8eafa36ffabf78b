"""`twintake camera`: the list, and a test of the trigger on a simulated rig."""

import json
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from sequencer.cli.app import app
from sequencer.shell import shoot
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


@pytest.mark.real_time
def test_the_trigger_can_be_tried_without_anything_moving(folder: Path) -> None:
    with shoot.simulated_rig(folder / "rig.json", 1) as (_, address):
        status, output = run(str(folder), "--test", "shutter", "--out", address)
        assert (status, output) == (0, "fired: shutter\n")
        status, output = run(str(folder), "--test", "shutter", "--out", f"{address}", "--json")
        assert json.loads(output) == {"fired": True, "said": "shutter"}
