"""The least moves of values, beside proven lower bounds and an independent solver."""

from dataclasses import replace
from fractions import Fraction
from typing import get_args

import clarabel
import numpy as np
import pytest
from scipy import sparse

from sequencer.motion.program import Infeasible
from sequencer.motion.repair import least_values as module
from sequencer.motion.repair.chain import chain
from sequencer.motion.repair.least_values import least_values, limit_rows, state_bounds
from sequencer.motion.repair.proof import Wanted, recheck
from sequencer.motion.repair.relaxation import Aim, relaxed
from sequencer.score.move import Passing
from tests.motion.repair.tight import scaled, tight


@pytest.mark.parametrize("aim", get_args(Aim))
@pytest.mark.parametrize("seed", [1, 2])
def test_the_moves_are_at_most_2_percent_more_than_what_is_proven_necessary(seed: int, aim: Aim) -> None:
    wanted = tight(seed)
    moves = np.abs(least_values(wanted, (), aim) - wanted.values)
    verdict = recheck(wanted, relaxed(wanted, 32, aim))
    least = verdict.least_total(wanted.fixed) if aim == "total" else verdict.least_largest(wanted.fixed)
    assert least is not None
    assert float(least) <= (moves.sum() if aim == "total" else moves.max()) <= 1.02 * float(least)


def clarabels(wanted: Wanted, pieces: int) -> float:
    """Return the least total as Clarabel finds it on the same chain, as one cone program of its own layout."""
    values = np.array(wanted.values)
    lasts_s = np.diff([float(at) for at in wanted.at])
    whole = chain(lasts_s, values, np.full(len(lasts_s), pieces))
    rows, most = limit_rows(wanted, whole, np.zeros(len(whole.width)), module.MARGIN)
    count, size = len(values), whole.size
    bounds = state_bounds(wanted, whole, ())
    still = np.flatnonzero(bounds[:, 0] == bounds[:, 1])
    # x, then |moves|: position at key - moves <= value <= position at key + moves
    pick = sparse.csc_matrix((np.ones(count), (np.arange(count), 3 * whole.key)), shape=(count, size))
    one = sparse.identity(count)
    equal = sparse.csc_matrix((np.ones(len(still)), (np.arange(len(still)), still)), shape=(len(still), size + count))
    wide = sparse.hstack((rows, sparse.csc_matrix((rows.shape[0], count))))
    below = sparse.vstack((wide, sparse.hstack((pick, -one)), sparse.hstack((-pick, -one))))
    goal = (values - values[0]) / whole.unit
    solution = clarabel.DefaultSolver(
        sparse.csc_matrix((size + count, size + count)),
        np.append(np.zeros(size), np.ones(count)),
        sparse.csc_matrix(sparse.vstack((equal, below))),
        np.concatenate((np.zeros(len(still)), most, goal, -goal)),
        [clarabel.ZeroConeT(len(still)), clarabel.NonnegativeConeT(len(most) + 2 * count)],
        _quiet(),
    ).solve()
    assert str(solution.status) == "Solved"
    return float(solution.obj_val) * whole.unit


def _quiet() -> clarabel.DefaultSettings:
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    return settings


@pytest.mark.parametrize("seed", [1, 3])
def test_an_independent_solver_finds_the_same_total(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Clarabel, an interior point solver, against HiGHS's simplex."""
    monkeypatch.setattr(module, "FINE", 8)
    wanted = tight(seed)
    moved = np.abs(least_values(wanted, (), "total") - wanted.values).sum()
    assert moved == pytest.approx(clarabels(wanted, 8), rel=1e-5)


def test_keys_that_can_be_kept_stay_to_the_last_digit() -> None:
    wanted = scaled(tight(1), 1.2)
    assert least_values(wanted, (), "total").tolist() == list(wanted.values)


def test_fixed_keys_stay_and_the_others_make_up_for_it() -> None:
    free = tight(1)
    moves = np.abs(least_values(free, (), "total") - free.values)
    heaviest = int(moves.argmax())
    wanted = replace(free, fixed=tuple(number == heaviest for number in range(len(free.at))))
    others = np.abs(least_values(wanted, (), "total") - wanted.values)
    assert others[heaviest] == 0
    assert others.sum() > moves.sum()


def test_the_largest_move_is_smaller_when_that_is_what_is_asked_for() -> None:
    wanted = tight(2)
    total, largest = (np.abs(least_values(wanted, (), aim) - wanted.values) for aim in get_args(Aim))
    assert largest.max() < 0.9 * total.max()
    assert total.sum() < largest.sum()


def test_a_stop_at_a_key_costs_more() -> None:
    wanted = tight(3)
    passing: list[Passing] = ["stop" if number in (3, 4) else "pass" for number in range(10)]
    free, stopped = (np.abs(least_values(wanted, how, "total") - wanted.values).sum() for how in ([], passing))
    assert stopped > free


def test_where_nothing_may_move_it_says_so() -> None:
    with pytest.raises(Infeasible):
        least_values(replace(tight(1), fixed=(True,) * 10), (), "total")


def test_keys_beyond_the_travel_come_back_inside() -> None:
    wanted = scaled(tight(1), 2.0)
    low, high = min(wanted.values) - 1, max(wanted.values) - 2
    found = least_values(replace(wanted, travel=(low, high)), (), "total")
    assert found.max() == pytest.approx(high, abs=1e-6)
    assert np.abs(found - wanted.values).sum() == pytest.approx(2, abs=1e-3)


@pytest.mark.parametrize("end", [7.3, 123.456])
def test_a_key_that_moves_to_the_end_of_travel_is_inside_to_the_last_digit(end: float) -> None:
    """A project file with a key outside the travel, however little, is not opened."""
    wanted = Wanted(
        at=(Fraction(0), Fraction(30), Fraction(60)),
        values=(-end / 7, end * 1.7, end / 11),
        rest=(True, True),
        fixed=(False,) * 3,
        speed=1e3,
        acceleration=1e3,
        jerk=1e3,
        travel=(-end / 7, end),
    )
    for aim in get_args(Aim):
        found = least_values(wanted, (), aim)
        assert found[1] == pytest.approx(end, rel=1e-9)
        assert -end / 7 <= found.min() <= found.max() <= end


def test_legs_that_keep_their_way_cost_more_and_do() -> None:
    wanted = tight(4)
    ways = np.sign(np.diff(wanted.values))
    free, kept = (least_values(wanted, (), "total", ways=each) for each in (None, ways))
    assert np.abs(kept - wanted.values).sum() > np.abs(free - wanted.values).sum()
    assert (np.diff(kept) * ways >= 0).all()
