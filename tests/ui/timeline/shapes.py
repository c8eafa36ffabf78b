"""Tracks for tests of the timeline, compiled and judged."""

from collections.abc import Sequence
from fractions import Fraction

from sequencer.motion.shape import Shape, shape
from sequencer.rig.axis import Axis
from sequencer.score.move import Ease, Key, Passing, Track
from sequencer.shell.kinds import laws
from sequencer.timebase.rate import Rate

RATE = Rate(25)
PAN = Axis(name="pan", kind="pan", unit="deg", travel=(-90.0, 90.0), speed=90.0, acceleration=300.0, jerk=4000.0)


def track_of(at: Sequence[float], value: Sequence[float], law: str = "poly345", passing: Passing = "pass") -> Track:
    """Return a track of PAN with keys at these frames."""
    ease = Ease(law)
    return Track("pan", tuple(Key(Fraction(a), v, ease, passing) for a, v in zip(at, value, strict=True)))


def shape_of(
    at: Sequence[float], value: Sequence[float], law: str = "poly345", passing: Passing = "pass", axis: Axis = PAN
) -> Shape:
    """Return the shape of such a track."""
    return shape(axis, track_of(at, value, law, passing), RATE, laws())
