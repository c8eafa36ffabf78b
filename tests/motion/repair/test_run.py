"""One run's curve: the least cost within limits, by an independent solver; the window while a key is dragged."""

import clarabel
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import sparse

from sequencer.motion import program
from sequencer.motion.program import Unsolved
from sequencer.motion.repair import run as run_of
from sequencer.motion.repair.excess import beyond
from sequencer.motion.repair.run import Refused, Run, Solved, solved, windowed
from sequencer.score.move import Passing
from tests.motion.machines import seeded_keys
from tests.motion.repair.calm import FREELY, calm, extremes

Floats = NDArray[np.float64]


@pytest.mark.parametrize("factor", [0.95, 0.97, 0.99])
def test_a_tenth_of_a_millisecond_beside_legs_at_their_limits(factor: float) -> None:
    """Only the curve that is solved, since a speed's last digit in a double is 1e-7 of this jerk."""
    at_s = np.array([0.0, 5.0, 5.0001, 12.0, 18.0, 27.0])
    values = np.array([0.0, 20.0, 20.0005, 3.0, -10.0, -12.0])
    high = np.array([np.inf, *calm(at_s, values)]) * factor
    found = solved(Run(lasts_s=np.diff(at_s), values=values), -high, high)
    assert beyond(extremes(found), -high, high).max() <= 1e-9
    assert found.state[found.chain.key, 0].tolist() == values.tolist()


def test_keys_that_cannot_be_told_apart_are_said() -> None:
    run = Run(lasts_s=np.array([600.0, 1e-12, 600.0]), values=np.array([0.0, 20.0, 20.1, 0.0]))
    with pytest.raises(Unsolved, match="told apart"):
        solved(run, -FREELY, FREELY)


def clarabels(cost: sparse.csc_matrix, pull: Floats, rows: sparse.csc_matrix, low: Floats, high: Floats) -> Floats:
    """The same program, by an independent solver."""
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    settings.tol_gap_abs = settings.tol_gap_rel = settings.tol_feas = 1e-10
    both = sparse.vstack([rows, -rows]).tocsc()
    cones = [clarabel.NonnegativeConeT(2 * rows.shape[0])]
    upper = sparse.triu(cost).tocsc()
    answer = clarabel.DefaultSolver(upper, pull, both, np.concatenate([high, -low]), cones, settings).solve()
    assert str(answer.status) in ("Solved", "AlmostSolved")
    return np.array(answer.x)


@pytest.mark.parametrize("kind", ["beats", "uneven", "one way"])
def test_the_cost_is_clarabels_on_the_same_matrices(kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    solve, checked = program.solve, []

    def both(
        cost: program.Matrix,
        pull: Floats,
        rows: program.Matrix,
        between: tuple[Floats | None, Floats | None],
        *,
        roughly: bool,
    ) -> Floats:
        ours = solve(cost, pull, rows, between, roughly=roughly)
        assert between[0] is not None
        assert between[1] is not None
        theirs = clarabels(cost, pull, rows, between[0], between[1])
        costs = [float((cost.toarray() @ x) @ x) for x in (ours, theirs)]
        checked.append(costs[0] / costs[1] - 1)
        return ours

    monkeypatch.setattr(program, "solve", both)
    monkeypatch.setattr(program, "_NEAR", (np.inf,))
    for seed in range(8):
        at_s, values = seeded_keys(kind, seed, 12)
        asked = np.array([np.inf, *calm(at_s, values)])
        for factor in (0.95, 0.98, 0.995):
            high = asked * factor
            try:
                solved(Run(lasts_s=np.diff(at_s), values=values), -high, high)
            except Refused:
                continue
            break
    assert len(checked) >= 3
    assert np.abs(checked).max() <= 1e-6


@pytest.mark.parametrize("kind", ["beats", "uneven", "one way"])
@pytest.mark.parametrize("factor", [0.9, 0.97])
def test_rows_left_out_change_no_curve(kind: str, factor: float, monkeypatch: pytest.MonkeyPatch) -> None:
    solve, sizes = program.solve, list[int]()

    def counted(cost: program.Matrix, pull: Floats, rows: program.Matrix, *more: object, **how: bool) -> Floats:
        sizes.append(rows.shape[0])
        return solve(cost, pull, rows, *more, **how)  # type: ignore[arg-type]  # passed on as they come

    monkeypatch.setattr(program, "solve", counted)
    known, fewer = 0, 0
    for seed in range(6):
        at_s, values = seeded_keys(kind, seed, 30)
        high = np.array([np.inf, *calm(at_s, values)]) * factor
        run, found = Run(lasts_s=np.diff(at_s), values=values), list[tuple[Solved | None, int]]()
        for near in ((0.01, 0.1, np.inf), (np.inf,)):
            monkeypatch.setattr(program, "_NEAR", near)
            sizes.clear()
            try:
                found.append((solved(run, -high, high), max(sizes)))
            except Refused:
                found.append((None, 0))
        (one, few), (other, all_rows) = found
        assert (one is None) == (other is None)
        if one is not None and other is not None:
            known, fewer = known + 1, fewer + (few < all_rows)
            np.testing.assert_array_equal(one.chain.pieces, other.chain.pieces)
            assert np.abs(one.state - other.state).max() <= 1e-6 * np.abs(other.state).max()
    assert known >= 2
    assert fewer


def test_more_pieces_gain_next_to_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    at_s, values = seeded_keys("beats", 1, 10)
    high = np.array([np.inf, *calm(at_s, values)]) * 0.93
    costs = []
    for finest in ((8, 16, 32), (32, 32, 32)):
        monkeypatch.setattr(run_of, "_FINER", finest)
        found = solved(Run(lasts_s=np.diff(at_s), values=values), -high, high)
        x = found.chain.variables(found.state)
        costs.append(x @ found.chain.slope(x, found.chain.cost()))
    assert costs[1] <= costs[0] <= costs[1] * 1.002


def whole_and_part(kind: str, moved_by: float) -> tuple[Solved, Solved, float]:
    at_s, values = seeded_keys(kind, 2, 200)
    high = np.array([np.inf, *calm(at_s, values)]) * 0.97
    lasts_s = np.diff(at_s)
    before = solved(Run(lasts_s=lasts_s, values=values), -high, high)
    values = values.copy()
    values[100] += moved_by
    after = Run(lasts_s=lasts_s, values=values)
    return solved(after, -high, high), windowed(before, after, 100, -high, high), float(np.ptp(values))


@pytest.mark.parametrize("kind", ["beats", "one way"])
def test_a_dragged_keys_window_is_as_good_as_the_whole(kind: str) -> None:
    whole, part, width = whole_and_part(kind, 2.0)
    assert part.chain.since_s[-1] == whole.chain.since_s[-1]
    t_s = np.linspace(0, whole.chain.since_s[-1], 20_001)[:-1]
    curves = []
    for each in (whole, part):
        piece = np.searchsorted(each.chain.since_s, t_s, "right") - 1
        since_s = t_s - each.chain.since_s[piece]
        value = np.zeros(len(t_s))
        for row in each.chain.coeffs(each.state)[:, piece]:
            value = value * since_s + row
        curves.append(value)
    assert np.abs(curves[0] - curves[1]).max() <= 1e-6 * width


def test_a_window_at_the_runs_end_and_with_a_key_moved_in_time() -> None:
    at_s, values = seeded_keys("beats", 2, 60)
    high = np.array([np.inf, *calm(at_s, values)]) * 1.3
    before = solved(Run(lasts_s=np.diff(at_s), values=values), -high, high)
    at_s = at_s.copy()
    at_s[1] += 0.1
    after = Run(lasts_s=np.diff(at_s), values=values)
    part, whole = windowed(before, after, 1, -high, high), solved(after, -high, high)
    assert part.state[part.chain.key] == pytest.approx(whole.state[whole.chain.key], abs=1e-5)
    assert (part.state[0, 1:] == 0).all()


def test_a_curve_that_breaks_a_limit_is_not_passed_on(monkeypatch: pytest.MonkeyPatch) -> None:
    solve = program.solve

    def a_little_less(
        cost: program.Matrix,
        pull: Floats,
        rows: program.Matrix,
        between: tuple[Floats | None, Floats | None],
        *,
        roughly: bool,
    ) -> Floats:
        return solve(cost, pull, rows, between, roughly=roughly) * 0.999

    monkeypatch.setattr(program, "solve", a_little_less)
    high = np.array([np.inf, *calm(*seeded_keys("beats", 1, 10))]) * 0.95
    at_s, values = seeded_keys("beats", 1, 10)
    with pytest.raises(Unsolved, match="still breaks"):
        solved(Run(lasts_s=np.diff(at_s), values=values), -high, high)


def test_without_overshoot_a_stop_between_legs_of_one_direction_is_a_rest() -> None:
    """The same bounds from both sides would leave the solver no room."""
    values = np.array([-27.5, -0.25, 0.0, 3.75, 0.0, 73.5])
    lasts_s = np.diff([0.0, 3.0, 5.0, 6.5, 8.0, 12.0])
    passing: tuple[Passing, ...] = ("pass", "stop", "pass", "pass", "pass", "pass")
    run = Run(lasts_s=lasts_s, values=values, passing=passing, overshoot=False)
    low, high = np.array([-90.0, -60.0, -120.0, -600.0]), np.array([90.0, 60.0, 120.0, 600.0])
    found = solved(run, low, high)
    assert found.state[found.chain.key[1], 1:] == pytest.approx(0, abs=1e-9)
