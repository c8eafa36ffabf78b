"""Small moves of times, beside brute force over single keys."""

from fractions import Fraction

import numpy as np
import pytest
from numpy.typing import NDArray

from sequencer.motion.repair.least_times import Instants, Part, least_times
from sequencer.motion.repair.least_values import least_values
from sequencer.motion.repair.proof import Wanted
from sequencer.score.move import Passing
from tests.motion.repair.tight import scaled, tight

Floats = NDArray[np.float64]

PASS: tuple[Passing, ...] = ("pass",)


def asked(wanted: Wanted, room_s: float = np.inf) -> Instants:
    at_s = np.array([float(at) for at in wanted.at])
    count = len(at_s)
    part = Part(wanted=wanted, at_s=at_s, passing=PASS * count, instant=np.arange(count))
    return Instants(parts=(part,), at_s=at_s, room_s=np.full(count, room_s))


def possible(wanted: Wanted, at_s: Floats) -> bool:
    """Return whether the program of the values, which knows no times, leaves all keys where they are."""
    moved = Wanted(
        at=tuple(Fraction(at) for at in at_s.tolist()),
        values=wanted.values,
        rest=wanted.rest,
        fixed=wanted.fixed,
        speed=wanted.speed,
        acceleration=wanted.acceleration,
        jerk=wanted.jerk,
        travel=wanted.travel,
    )
    return not np.any(np.abs(least_values(moved, (), "total") - wanted.values) > 1e-6)


@pytest.mark.parametrize("seed", [1, 3])
def test_one_key_moves_at_most_1_percent_further_than_brute_force_needs(seed: int) -> None:
    """No single key near it, moved by 1/1.01 of the answer, is enough; the benchmark tries all of them."""
    wanted = tight(seed)
    question = asked(wanted)
    found = least_times(question)
    assert found is not None
    assert possible(wanted, found)
    moves = found - question.at_s
    least = float(np.abs(moves).sum()) / 1.01
    gap_s = np.diff(question.at_s)
    moved = int(np.abs(moves).argmax())
    for key in range(max(moved - 2, 0), min(moved + 3, len(moves))):
        for way in (-1, 1):
            at_s = question.at_s.copy()
            at_s[key] += way * least
            if (np.diff(at_s) > 0.1 * gap_s.min()).all():
                assert not possible(wanted, at_s)


def test_where_no_single_key_is_enough_several_move() -> None:
    wanted = tight(2)
    question = asked(wanted)
    found = least_times(question)
    assert found is not None
    assert (np.abs(found - question.at_s) > 1e-6).sum() > 1
    assert possible(wanted, found)
    # hardly less of the same is not enough
    assert not possible(wanted, question.at_s + 0.99 * (found - question.at_s))


def test_keys_that_can_be_kept_stay() -> None:
    wanted = scaled(tight(1), 1.2)
    found = least_times(asked(wanted))
    assert found is not None
    assert found.tolist() == [float(at) for at in wanted.at]


def test_without_room_there_is_no_answer() -> None:
    assert least_times(asked(tight(3), room_s=1e-3)) is None


def test_axes_with_a_key_at_one_instant_bring_it_to_where_both_can_be_there() -> None:
    """The second axis has little time to spare after the shared key, so that it cannot go as far as the first likes."""
    wanted = tight(3)
    alone = least_times(asked(wanted))
    assert alone is not None
    question = asked(wanted)
    key = int(np.abs(alone - question.at_s).argmax())
    moved = float(alone[key] - question.at_s[key])
    at_s = question.at_s[[key, key + 1]] if moved > 0 else question.at_s[[key - 1, key]]
    # rest to rest within the gap by a fast leg: least time of a jerk bang-bang leg is cbrt(32 D / J)
    lasts_s = float(at_s[1] - at_s[0]) - 0.3 * abs(moved)
    way = wanted.jerk * lasts_s**3 / 32
    second = Wanted(
        at=tuple(Fraction(at) for at in at_s.tolist()),
        values=(0.0, way),
        rest=(True, True),
        fixed=(False, False),
        speed=1e3 * wanted.speed,
        acceleration=1e3 * wanted.acceleration,
        jerk=wanted.jerk,
        travel=None,
    )
    instant = np.array([key, -1] if moved > 0 else [-1, key])
    tied = Part(wanted=second, at_s=at_s, passing=PASS * 2, instant=instant)
    both = least_times(Instants(parts=(*question.parts, tied), at_s=question.at_s, room_s=question.room_s))
    assert both is not None
    assert abs(both[key] - question.at_s[key]) <= 0.31 * abs(moved)
    assert possible(wanted, both)
    assert np.abs(both - question.at_s).sum() > np.abs(moved)
