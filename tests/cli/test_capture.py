"""`twintake capture`: from a take file to keys in the project, what an operator sees, and how it ends."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner, Result

from sequencer.cli.app import app
from sequencer.project.store import save
from sequencer.shell.kinds import laws
from sequencer.shell.recorder import Recorder
from sequencer.shell.shoot import plan
from sequencer.takes.rows import EventRow, Row, SetpointRow
from tests.cli.harbour import files, opened

pytestmark = pytest.mark.usefixtures("terminal")
ORIGIN_NS = 77_000_000_001


def record(harbour: Path, by_hand: tuple[str, ...] = ("tilt", "focus"), jump_s: float = 0.0) -> Path:
    """Return a take file in which tilt and focus swing for eight seconds; after five the clock jumps."""
    project = opened(harbour)
    heading = plan(project, None, None, harbour).heading("by hand")
    told: list[Row] = [EventRow(ORIGIN_NS, "punch", "in")]
    for number in range(2000):
        at_s = number / 250
        timeline_s = 10 + at_s + (jump_s if at_s >= 5 else 0.0)
        swing = float(np.sin(timeline_s))
        position = (0.0, 10 + 5 * swing, 0.0, 100.0, 0.5 + 0.1 * swing)
        told.append(SetpointRow(ORIGIN_NS + round(at_s * 1e9), timeline_s, "running", position, (0.0,) * 5))
    path = harbour / "by-hand.mcap"
    with Recorder.open(path, replace(heading, by_hand=by_hand)) as recorder:
        for row in told:
            recorder.write(row)
    return path


def run(harbour: Path, take: Path, *options: str) -> Result:
    return CliRunner().invoke(app, ["capture", str(harbour), str(take), *options])


def test_without_write_it_is_shown_and_nothing_is_written(harbour: Path) -> None:
    take = record(harbour)
    before = files(harbour)
    done = run(harbour, take, "--axis", "tilt", "--tolerance", "0.05")
    assert done.exit_code == 0, done.output
    assert "tilt (deg)" in done.output
    assert "nothing written; --write keeps it" in done.output
    assert files(harbour) == before


def test_with_write_the_project_has_it_and_it_is_as_near_as_it_says(harbour: Path) -> None:
    take = record(harbour)
    done = run(harbour, take, "--axis", "tilt", "--pixels", "2", "--from", "10:00:11:00", "--write", "--json")
    assert done.exit_code == 0, done.output
    facts = json.loads(done.output)
    (axis,) = facts["axes"]
    assert facts["written"]
    assert axis["from"] == "10:00:11:00"
    assert axis["to"] == "10:00:18:00"
    assert 0 < axis["furthest"] <= axis["tolerance"]
    assert axis["furthest_px"] <= 2 * (1 + 1e-9)
    assert axis["percent"] == pytest.approx(100 * axis["keys"] / axis["samples"])
    assert axis["percent"] < 5
    assert facts["gaps"] == []
    track = next(track for track in opened(harbour).move.tracks if track.axis == "tilt")
    assert sum(275 <= key.at <= 450 for key in track.keys) == axis["keys"]


def test_a_gap_in_the_clock_is_shown_and_the_longest_stretch_is_taken(harbour: Path) -> None:
    take = record(harbour, jump_s=2.0)
    done = run(harbour, take, "--axis", "tilt", "--tolerance", "0.05")
    assert "gap:    the clock jumps forward at 10:00:14:24.9 by 2 s" in done.output
    assert "10:00:10:01" in done.output
    other = run(harbour, take, "--axis", "tilt", "--tolerance", "0.05", "--from", "10:00:17:10", "--json")
    assert json.loads(other.output)["axes"][0]["from"] == "10:00:17:10"
    across = run(harbour, take, "--axis", "tilt", "--tolerance", "0.05", "--from", "10:00:14:00", "--to", "10:00:18:00")
    assert across.exit_code == 2
    assert "not performed in one piece there; the clock jumps forward at 10:00:14:24.9 by 2 s; name" in across.output


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--axis", "tilt"), "--tolerance, --pixels: say how near"),
        (("--axis", "tilt", "--tolerance", "1", "--pixels", "1"), "--tolerance, --pixels: say how near"),
        (("--axis", "tilt", "--tolerance", "0"), "--tolerance: it is 0; give a number above zero"),
        (
            (
                "--tolerance",
                "0.1",
            ),
            "one number cannot be for tilt in deg, focus in part",
        ),
        (("--pixels", "1"), "focus (focus in part) does not shift the picture"),
        (("--axis", "pan", "--tolerance", "0.1"), "pan was not performed by hand; name tilt, focus"),
        (("--axis", "crane", "--tolerance", "0.1"), "the rig has no axis 'crane'"),
        (("--axis", "tilt", "--tolerance", "0.1", "--to", "10:00:40:00"), "name instants inside one of 10:00:10:00 to"),
    ],
)
def test_what_makes_no_sense_is_refused_with_the_mend(harbour: Path, options: tuple[str, ...], words: str) -> None:
    done = run(harbour, record(harbour), *options)
    assert done.exit_code == 2
    assert words in done.output


def test_a_take_of_another_project_is_said_to_be(harbour: Path) -> None:
    take = record(harbour)
    options = ("--axis", "tilt", "--tolerance", "0.05")
    assert "recorded in the project" not in run(harbour, take, *options).output
    save(harbour, replace(opened(harbour), name="Low tide"), laws())
    assert "recorded in the project 'Harbour lanterns'; this one is 'Low tide'" in run(harbour, take, *options).output
    assert json.loads(run(harbour, take, *options, "--json").output)["recorded_in"] == "Harbour lanterns"


def test_a_take_without_hands_needs_axes_named(harbour: Path) -> None:
    done = run(harbour, record(harbour, by_hand=()), "--tolerance", "0.1")
    assert done.exit_code == 2
    assert "does not say which axes were performed by hand; name axes with --axis" in done.output
