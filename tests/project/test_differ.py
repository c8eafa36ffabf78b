"""What is different between two values of a project is said in a few words, and nothing is left unsaid."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from sequencer.project import amend
from sequencer.project.begin import guess
from sequencer.project.differ import differences
from sequencer.project.document import Project
from sequencer.project.store import load
from sequencer.rig.limits import SumLimit
from sequencer.score.edits.offset import offset
from sequencer.score.move import Marker, Pass, Track
from sequencer.shell.kinds import laws
from sequencer.timebase.rate import RATES

ONE = load(Path("projects/harbour-lanterns"), laws())
MOVE, RIG = ONE.move, ONE.rig
PAN = MOVE.tracks[0]
LIMIT = SumLimit(name="both", sum=(("pan", 1.0), ("tilt", 1.0)), speed=100.0)


@pytest.mark.parametrize(
    ("other", "lines"),
    [
        (ONE, ()),
        (replace(ONE, name="Other"), ("the name",)),
        (replace(ONE, playback=None, tempo=None), ("the tempo", "the playback")),
        (
            amend.at_rate(ONE, RATES["50"], False, "frames"),
            ("rate and start: 25 from 10:00:00:00, now 50 from 10:00:00:00",),
        ),
        (replace(ONE, move=offset(MOVE, {"pan": {1, 2}}, value=1.0)), ("2 keys of pan",)),
        (replace(ONE, move=offset(MOVE, {"tilt": {1}}, value=1.0)), ("1 key of tilt",)),
        (replace(ONE, move=replace(MOVE, tracks=MOVE.tracks[1:])), ("the track of pan is gone",)),
        (replace(ONE, move=replace(MOVE, tracks=MOVE.tracks[::-1])), ("the order of the tracks",)),
        (
            replace(ONE, move=replace(MOVE, tracks=(Track("pan", PAN.keys[1:]), *MOVE.tracks[1:]))),
            ("pan has 11 keys instead of 12",),
        ),
        (
            replace(ONE, move=replace(MOVE, cues=(), markers=(Marker("x", Fraction(1)),), passes=(Pass("y"),))),
            ("cues", "markers", "passes"),
        ),
        (amend.with_new_axis(ONE, guess("lift")), ("the rig has lift as well",)),
        (amend.without_axis(ONE, 0, with_track=True), ("the track of pan is gone", "the rig has no pan any more")),
        (amend.with_axis(ONE, 0, replace(RIG.axes[0], speed=80.0, latency_s=0.1)), ("speed and latency of pan",)),
        (amend.axis_at(ONE, 0, 1), ("the order of the axes",)),
        (amend.with_camera(ONE, None), ("the camera",)),
        (amend.with_limit(ONE, None, LIMIT), ("the combined limits",)),
        (amend.with_rig_name(ONE, "Other rig"), ("the rig's name",)),
        (amend.with_offset(ONE, "mtc", Fraction(1), 0.0), ("the sync offsets",)),
    ],
)
def test_each_difference_has_its_words(other: Project, lines: tuple[str, ...]) -> None:
    assert differences(ONE, other) == lines
