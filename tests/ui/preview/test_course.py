"""The ribbon: where the view goes, how fast, and how far ahead; ticks suit the length of the move."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from sequencer.motion.shape import Shape, shape
from sequencer.motion.standing import standing_at
from sequencer.project.store import load
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.lens import Lens
from sequencer.rig.pose import pose
from sequencer.score.move import Ease, Key, Track
from sequencer.shell.kinds import laws
from sequencer.timebase.rate import Rate
from ui.preview.course import COMING, PAST, course, level, middles, ribbon, said, tick_s
from ui.preview.sight import WAY, sight
from ui.preview.stand_ins import scene

LENS = Lens((24.0, 13.5), 24.0, 4.0)
LANTERNS = Path(__file__).parents[3] / "projects" / "harbour-lanterns"
PAN = Axis(name="pan", kind="pan", unit="deg", travel=None, speed=900, acceleration=9e3, jerk=9e4)
RIG = Rig(name="r", axes=(PAN,))


def panning(degrees: float, seconds: int) -> dict[str, Shape]:
    keys = (Key(Fraction(0), 0.0, Ease("linear")), Key(Fraction(25 * seconds), degrees, Ease("linear")))
    return {"pan": shape(PAN, Track("pan", keys), Rate(25), laws())}


@pytest.mark.parametrize(("degrees", "want"), [(1.0, 0), (5.0, 0), (12.0, 1), (25.0, 1), (60.0, 2)])
def test_speed_is_in_widths_of_the_frame_a_second(degrees: float, want: int) -> None:
    """A frame of 24 mm before 24 mm is as wide as its distance: a pan of `a` crosses tan(a) widths to begin with."""
    shapes = panning(20 * degrees, 20)
    way = ribbon(RIG, shapes, 10.0, 1.0, LENS)
    part = 1 / 16
    assert way.speed == pytest.approx(np.tan(np.radians(degrees * part)) / part, rel=1e-6)
    assert set(level(way.speed).tolist()) == {want}
    # in a pass of twice the speed it goes twice as fast
    fast = ribbon(RIG, shapes, 10.0, 2.0, LENS)
    assert fast.speed == pytest.approx(np.tan(np.radians(2 * degrees * part)) / part, rel=1e-6)


def test_ticks_are_where_the_view_will_be() -> None:
    shapes = panning(100, 20)
    way = ribbon(RIG, shapes, 10.0, 1.0, LENS)
    there = {after: place for after, place in zip(way.after.tolist(), way.ways[:, 0], strict=True) if after}
    assert sorted(there) == [*range(-PAST, 0), *range(1, COMING)]
    for after, place in there.items():
        where = pose(RIG, standing_at(RIG, shapes, 10.0 + after))
        assert place == pytest.approx(middles(where, LENS))
    assert (way.past == (np.arange(len(way.past)) < PAST * 16)).all()


def test_the_ribbon_ends_where_the_keys_end() -> None:
    shapes = panning(100, 20)
    assert len(ribbon(RIG, shapes, 0.0, 1.0, LENS).ways) == COMING * 16
    assert len(ribbon(RIG, shapes, 20.0, 1.0, LENS).ways) == PAST * 16
    assert len(ribbon(RIG, shapes, 500.0, 1.0, LENS).ways) == 0
    assert len(ribbon(RIG, {}, 5.0, 1.0, LENS).ways) == 0


def test_the_ribbon_passes_through_the_middle_now() -> None:
    project = load(LANTERNS, laws())
    shapes = {
        track.axis: shape(project.rig.axes[project.rig.index(track.axis)], track, project.timebase.rate, laws())
        for track in project.move.tracks
    }
    where = pose(project.rig, standing_at(project.rig, shapes, 11.0))
    way = ribbon(project.rig, shapes, 11.0, 1.0, LENS)
    seen = sight(project.stage, scene(project.stage), way, where, LENS)
    assert np.hypot(*seen.way[:, 0].T).min() == pytest.approx(0, abs=1e-9)
    assert (np.abs(seen.way) <= 1.05 + 1e-9).all()
    assert len(seen.way) == len(seen.levels)
    assert len(seen.ticks) == len(seen.after)
    assert WAY not in seen.kinds
    # without a ribbon everything else is the same
    alone = sight(project.stage, scene(project.stage), None, where, LENS)
    assert alone.lines.tolist() == seen.lines.tolist()
    assert len(alone.way) == 0


@pytest.mark.parametrize(
    ("lasts_s", "step_s", "words"),
    [(30.6, 1, (1, "s")), (60, 1, (1, "s")), (61, 2, (2, "s")), (21_000, 600, (10, "min")), (1e6, 7200, (2, "h"))],
)
def test_ticks_suit_the_length_of_the_move(lasts_s: float, step_s: int, words: tuple[int, str]) -> None:
    assert tick_s(lasts_s) == step_s
    assert said(step_s) == words


def test_the_course_goes_from_the_first_key_to_the_last() -> None:
    shapes = panning(90, 20)
    there = course(RIG, shapes)
    assert there is not None
    assert there.angles_deg[[0, -1], 0] == pytest.approx([0, 90])
    assert course(RIG, {}) is None
    assert course(replace(RIG, name="other"), shapes) is not None
