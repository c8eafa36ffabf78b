"""What a repair found for another speed is what the pass at that speed is asked, also by laws that read the limits."""

from dataclasses import replace
from fractions import Fraction

import pytest

from sequencer.motion.check import check
from sequencer.motion.repair.need import least_s
from sequencer.motion.repair.settled import settled
from sequencer.rig.speed import at_speed
from sequencer.score.move import Ease, Key, Move, Track
from tests.motion.machines import LAWS, rig
from tests.motion.repair.limits import RATE

SCURVE = Ease("s-curve")


def paced(room: float, speed: Fraction, ease: Ease = SCURVE) -> Move:
    """Return a leg with `room` times the time that it needs at `speed`, between two that have plenty."""
    need_s = least_s(SCURVE, LAWS, at_speed(rig(), speed).axes[0], 30.0)
    lasts = Fraction(round(need_s * room * float(RATE.fraction) * 1000), 1000)
    at = [Fraction(0), Fraction(500), 500 + lasts, 1000 + lasts]
    eases = (Ease("poly345"), ease, Ease("poly345"), Ease("poly345"))
    keys = tuple(map(Key, at, (0.0, 10.0, 40.0, 50.0), eases))
    return Move(tracks=(Track("pan0", keys),))


@pytest.mark.parametrize("speed", [Fraction(2), Fraction(3, 2), Fraction(1, 2)])
def test_a_leg_that_the_limits_of_the_pass_suit_is_written_with_that_shape(speed: Fraction) -> None:
    move = paced(1.01, speed)
    assert check(at_speed(rig(), speed), move, RATE, LAWS).ok
    found, words = settled(rig(), move, RATE, LAWS, speed)
    assert check(rig(), found, RATE, LAWS, speed).ok
    assert not check(rig(), move, RATE, LAWS, speed).ok
    (said,) = words
    assert f"s-curve gets the shape that the limits give it at speed {speed}" in said
    # only the leg that was over is another
    was, now = move.tracks[0].keys, found.tracks[0].keys
    assert [one == other for one, other in zip(was, now, strict=True)] == [True, False, True, True]
    assert replace(now[1], ease=SCURVE) == was[1]


def test_a_leg_that_no_shape_mends_or_whose_law_has_one_stays_as_it_is() -> None:
    for move in (paced(0.8, Fraction(2)), paced(1.01, Fraction(2), Ease("poly345"))):
        assert not check(rig(), move, RATE, LAWS, Fraction(2)).ok
        assert settled(rig(), move, RATE, LAWS, Fraction(2)) == (move, ())


def test_at_its_own_speed_nothing_is_written_down() -> None:
    move = paced(0.8, Fraction(1))
    assert settled(rig(), move, RATE, LAWS, Fraction(1)) == (move, ())
