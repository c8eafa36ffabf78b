"""The advice of `twintake check` on panning: what is shown, what is written, and that it changes no verdict."""

import json
import shutil
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from sequencer.cli import advice as shown
from sequencer.cli.app import app
from tests.cli.harbour import HARBOUR, Tree, change

pytestmark = pytest.mark.usefixtures("terminal")


def run(folder: Path, *options: str) -> Result:
    return CliRunner().invoke(app, ["check", str(folder), *options])


def advice(folder: Path, *options: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(run(folder, *options, "--json").stdout)["advice"]
    return found


def test_a_fast_pan_is_advised_on_and_changes_neither_verdict_nor_status() -> None:
    done = run(HARBOUR)
    assert done.exit_code == 0
    assert done.stdout.splitlines()[-1].startswith("fits, reserve ")
    assert "10:00:18:10.00    pan 66 deg/s  5.44 deg/s       0.6 s" in done.stdout
    words = " ".join(done.stdout.split())
    assert "At 25 frames a second and 180° of shutter (taken as usual;" in words
    assert "should take 6.7 s to cross the picture (trade rule of seven seconds at 24 and 180°, from memory)" in words
    fastest = min(advice(HARBOUR), key=lambda one: one["crossing_s"])
    assert (fastest["what"], fastest["axis"], fastest["at"]) == ("strobe", "pan", "10:00:18:10.00")
    # one frame's shift at the fastest: 66 degrees a second, 25 a second, before 35 mm and 24.9 mm of sensor
    assert fastest["speed"] == pytest.approx(66, abs=0.05)
    assert fastest["least_crossing_s"] == pytest.approx(6.72)
    assert fastest["gentle_speed"] == pytest.approx(fastest["speed"] * fastest["crossing_s"] / 6.72)
    assert fastest["words"].endswith("it may strobe; 5.44 deg/s would not")


def test_the_shutter_of_the_camera_counts(harbour: Path) -> None:
    change(harbour, "rig.json", lambda rig: rig["camera"].update(shutter_deg=90))
    assert advice(harbour)[0]["least_crossing_s"] == pytest.approx(10.08)
    assert "90° of shutter a still thing should take 10.1 s" in " ".join(run(harbour).stdout.split())


def test_a_timelapse_is_judged_by_its_own_frames(tmp_path: Path) -> None:
    folder = Path(shutil.copytree(HARBOUR.parent / "low-tide", tmp_path / "tide"))

    def spread(project: Tree, manner: str) -> None:
        # the whole tide in 4 s: 100 frames of 216 s each
        lapse = {"cue": "whole tide", "event_s": "21600", "clip_s": "4", "exposure_s": "108", "settle_s": "3"}
        project["timelapse"] = lapse | {"manner": manner}

    change(folder, "project.json", lambda project: spread(project, "shoot-move-shoot"))
    at_rest = advice(folder)
    assert "frames a second and each taken at rest, in a timelapse, a still thing" in " ".join(
        run(folder).stdout.split()
    )
    change(folder, "project.json", lambda project: spread(project, "continuous"))
    moving = advice(folder)
    # without blur the gap from frame to frame is twice that of 180 degrees
    assert (at_rest[0]["least_crossing_s"], moving[0]["least_crossing_s"]) == pytest.approx((13.44, 6.72))
    assert "180° of shutter, as the timelapse has it, a still thing" in " ".join(run(folder).stdout.split())
    change(folder, "project.json", lambda project: project.pop("timelapse"))
    assert advice(folder) == []


def test_a_slower_pass_has_less_advice(harbour: Path) -> None:
    def slow(project: Tree) -> None:
        project["passes"].append({"name": "slow", "speed": "1/20"})

    change(harbour, "project.json", slow)
    assert advice(harbour, "--pass", "slow") == []
    assert "may strobe" not in run(harbour, "--pass", "slow").stdout


def test_a_whip_pan_is_named_as_one(harbour: Path) -> None:
    change(harbour, "rig.json", lambda rig: rig["camera"].update(focal_mm=60))
    assert "whip" in {one["what"] for one in advice(harbour)}
    assert "a whip pan" in run(harbour).stdout


def test_the_fastest_are_shown_in_order_of_time_and_the_others_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shown, "_MOST_ROWS", 2)
    assert len(advice(HARBOUR)) == 5
    lines = run(HARBOUR).stdout.splitlines()
    assert [line.split()[1] for line in lines if "pan " in line and "deg/s" in line] == [
        "10:00:09:11.00",
        "10:00:18:10.00",
    ]
    assert "3 more with --json." in " ".join(" ".join(lines).split())


def test_a_rig_without_a_camera_has_none(tmp_path: Path) -> None:
    folder = Path(shutil.copytree(HARBOUR, tmp_path / "harbour"))
    change(folder, "rig.json", lambda rig: rig.pop("camera"))
    assert advice(folder) == []
    assert "may strobe" not in run(folder).stdout
