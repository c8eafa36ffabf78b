"""Small moves of times, beside brute force over single keys."""

from collections.abc import Sequence
from dataclasses import replace
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
    part = Part(wanted=wanted, at_s=at_s, passing=PASS * count, ways=np.zeros(count - 1), instant=np.arange(count))
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
    tied = Part(wanted=second, at_s=at_s, passing=PASS * 2, ways=np.zeros(1), instant=instant)
    both = least_times(Instants(parts=(*question.parts, tied), at_s=question.at_s, room_s=question.room_s))
    assert both is not None
    assert abs(both[key] - question.at_s[key]) <= 0.31 * abs(moved)
    assert possible(wanted, both)
    assert np.abs(both - question.at_s).sum() > np.abs(moved)


def hurried(at: str, values: str, rest: tuple[bool, bool], part: float, instant: Sequence[int]) -> Part:
    """Return keys of an axis with `part` of the limits 60, 120 and 600, whose legs keep their ways."""
    number = np.array([float(value) for value in values.split()])
    when = tuple(map(Fraction, at.split()))
    wanted = Wanted(
        at=when,
        values=tuple(number.tolist()),
        rest=rest,
        fixed=(False,) * len(when),
        speed=60.0 * part,
        acceleration=120.0 * part,
        jerk=600.0 * part,
        travel=(-60.0 * part, 60.0 * part),
    )
    return Part(
        wanted=wanted,
        at_s=np.array([float(each) for each in when]),
        passing=PASS * len(when),
        ways=np.sign(np.diff(number)),
        instant=np.array(instant),
    )


def test_keys_that_move_toward_each_other_never_pass() -> None:
    """A move of the benchmark: one and a half times the first answer would swap the sixth key and the seventh."""
    wide = hurried(
        "0 3/2 7/2 11/2 6 13/2 327/50 427/50",
        "0.0 22.176599089843762 34.80197857255727 19.614647616424712 27.83289865937495 32.98873093090701"
        " 41.30805424900509 42.111956631841906",
        (True, True),
        1.0,
        range(8),
    )
    fine = hurried(
        "0 2 3 4 101/25 227/50 277/50",
        "0.0 0.0011235108625320786 -0.004725624156769694 -0.020363793403906535 -0.027638288500313163"
        " -0.02752314067914985 -0.033035198785137256",
        (True, False),
        1e-3,
        (0, -1, -1, -1, -1, -1, -1),
    )
    question = Instants(parts=(wide, fine), at_s=wide.at_s, room_s=np.append(1.8, np.full(7, np.inf)))
    found = least_times(question)
    assert found is None or (np.diff(found) > 0).all()
    with pytest.raises(ValueError, match="stop here"):
        least_times(question, tick)


def tick() -> None:
    raise ValueError("stop here")


@pytest.mark.parametrize("seed", [1, 4])
def test_legs_that_keep_their_way_move_keys_too_where_the_axis_turns(seed: int) -> None:
    """Without overshoot more has to move; the program of the values, which knows no times, agrees that it is enough."""
    wanted = tight(seed)
    question, ways = asked(wanted), np.sign(np.diff(wanted.values))
    kept = replace(question, parts=(replace(question.parts[0], ways=ways),))
    free, found = least_times(question), least_times(kept)
    assert free is not None
    assert found is not None
    assert np.abs(found - question.at_s).sum() > np.abs(free - question.at_s).sum()
    moved = replace(wanted, at=tuple(Fraction(at) for at in found.tolist()))
    assert np.abs(least_values(moved, (), "total", ways=ways) - wanted.values).max() <= 1e-6
    assert np.abs(least_values(moved, (), "total", ways=-ways) - wanted.values).max() > 1
