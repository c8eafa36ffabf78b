"""Moves that the tests of edits draw: every law, parts of frames, and values that are exact in binary."""

from fractions import Fraction

from hypothesis import strategies as st

from sequencer.score.laws.bezier import Bezier
from sequencer.score.laws.spline import Spline
from sequencer.score.laws.trapezoid import Trapezoid
from sequencer.score.move import PASSINGS, Cue, Ease, Key, Marker, Move, Track

DRAWN = Ease(
    "spline", Spline(((0.0, 0.0, 3.0, 0.0), (0.25, 1.5, 0.5, -20.0), (0.75, -0.5, 0.0, 8.0), (1.0, 0.0, -1.0, 0.0)))
)
EASES = (
    Ease("linear"),
    Ease("poly345"),
    Ease("poly4567"),
    Ease("cycloidal"),
    Ease("trapezoid", Trapezoid(0.25)),
    Ease("bezier", Bezier((0.3, 0.1, 0.6, 0.9))),
    Ease("through"),
    DRAWN,
)


@st.composite
def tracks(draw: st.DrawFn, axis: str = "pan0", eases: tuple[Ease, ...] = EASES, least: int = 2) -> Track:
    """Draw a track; its values are quarters, so that sums and differences of them are exact."""
    at = Fraction(draw(st.integers(-2000, 2000)), 8)
    keys = []
    for _ in range(draw(st.integers(least, 8))):
        value = draw(st.integers(-400, 400)) / 4
        passing = draw(st.sampled_from(PASSINGS))
        keys.append(Key(at, value, draw(st.sampled_from(eases)), passing, pin=draw(st.booleans())))
        at += Fraction(draw(st.integers(40, 1600)), 8)
    return Track(axis, tuple(keys))


@st.composite
def moves(draw: st.DrawFn, eases: tuple[Ease, ...] = EASES) -> Move:
    """Draw a move of two axes, with a cue and a marker."""
    return Move(
        tracks=(draw(tracks("pan0", eases)), draw(tracks("pan1", eases))),
        cues=(Cue("band", Fraction(-100), Fraction(300)),),
        markers=(Marker("drop", Fraction(77, 2)),),
    )
