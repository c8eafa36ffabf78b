"""When something moves next."""

from fractions import Fraction

from sequencer.score.move import Ease, Key, Move, Track
from sequencer.timebase.rate import parse_rate
from ui.link.ahead import stretches, to_motion_s

RATE = parse_rate("25")


def track(axis: str, *keys: tuple[int, float], law: str = "poly345") -> Track:
    return Track(axis, tuple(Key(Fraction(at), value, Ease(law)) for at, value in keys))


def test_legs_that_overlap_are_one_stretch_and_legs_that_hold_are_none() -> None:
    move = Move(
        tracks=(
            track("pan", (0, 0.0), (25, 10.0), (75, 10.0), (100, 0.0)),
            track("tilt", (20, 0.0), (50, 5.0)),
        )
    )
    assert stretches(move, RATE, Fraction(0), Fraction(1)) == ((0.0, 2.0), (3.0, 4.0))
    # at half speed, about its begin
    assert stretches(move, RATE, Fraction(50), Fraction(1, 2)) == ((4.0, 6.0),)


def test_a_smooth_run_through_one_value_may_move() -> None:
    move = Move(tracks=(track("pan", (0, 1.0), (25, 1.0), law="through"),))
    assert stretches(move, RATE, Fraction(0), Fraction(1)) == ((0.0, 1.0),)


def test_the_time_to_the_next_stretch() -> None:
    ahead = ((1.0, 2.0), (3.0, 4.0))
    assert to_motion_s(ahead, 0.0) == 1.0
    assert to_motion_s(ahead, 1.0) == 0.0
    assert to_motion_s(ahead, 1.9) == 0.0
    assert to_motion_s(ahead, 2.0) == 1.0
    assert to_motion_s(ahead, 4.0) is None
    assert to_motion_s((), 0.0) is None
