"""Sparse convex quadratic programs over a chain of node states, and their solver. It refuses to call unsolved solved.

PIQP (BSD-2, wheels for every system) solves them; what it says about feasibility proves nothing about motors.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
import piqp
from numpy.typing import NDArray

if TYPE_CHECKING:  # else where it is needed: a tenth of a second of a start, for a move with smooth runs or at fault
    from scipy import sparse

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Matrix: TypeAlias = "sparse.csc_matrix[np.float64]"

_ACCURACY = 1e-10
# of the cost; the rows are kept far better even so. On very short pieces the solver never gets to the other
_ROUGHLY = 1e-8
# what can be solved is solved in about thirty steps
_MOST_STEPS = 80
# how long a linear program may take to say whether there is a solution at all, and by how much rows may be broken
_PATIENCE_S = 5.0
_EXCESS = 1e-9
# Few rows bind, and each costs every step its time: those are taken that are this near to a bound, in parts of the way
# between both, and what the answer then breaks with them; at last all.
_NEAR: tuple[float, ...] = (0.01, 0.1, np.inf)


class Unsolved(ArithmeticError):
    """The solver did not reach the accuracy asked for; nothing is known about whether there is a solution."""


class Infeasible(Unsolved):
    """The solver says that these constraints have no solution."""


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """Linear constraints, each on six variables: low <= sum of row * x[column] <= high.

    A row is a piece's: its columns 0 and 3 are the positions at both ends. Shape: `row`, `column` (R, 6), `low`, `high`
    (R,).
    """

    row: Floats
    column: Ints
    low: Floats
    high: Floats

    def at(self, x: Floats) -> Floats:
        """Return the rows' values at `x` (M,), with the digits that a short piece's small way has. Shape: (R,)."""
        own = x[self.column]
        way = self.row[:, 3] * (own[:, 3] - own[:, 0]) + (self.row[:, 3] + self.row[:, 0]) * own[:, 0]
        value: Floats = way + (self.row[:, [1, 2, 4, 5]] * own[:, [1, 2, 4, 5]]).sum(axis=1)
        return value

    def picked(self, which: Bools | Ints) -> "Rows":
        """Return some of the rows."""
        return Rows(self.row[which], self.column[which], self.low[which], self.high[which])


def least(blocks: Floats, column: Ints, free: Bools, known: Floats, rows: Rows, pull: Floats | None = None) -> Floats:
    """Return the x that makes the sum of y'(block)y/2 + pull'y least within `rows`, y being the step from `known`.

    The variables that are not `free` stay as they are known; a row without a free variable is left out. Without `pull`
    `known` is the best x there is without rows: what is asked for is the nearest to it, as `blocks` measure.
    Steps are scaled so that the cost bends alike in each, rows so that their largest number is 1.
    Shape: `blocks` (P, 6, 6), `column` (P, 6), `free`, `known`, `pull`, result (M,).
    Error: Infeasible, Unsolved.
    """
    bend = np.bincount(column.ravel(), np.einsum("pkk->pk", blocks).ravel(), len(known))
    if not (bend[free] > 0).all():
        raise ValueError("every free variable must cost something")
    unit = np.zeros(len(known))
    unit[free] = 1 / np.sqrt(bend[free])
    row = rows.row * unit[rows.column]
    size = np.abs(row).max(axis=1, initial=0.0)
    rows, row, size = rows.picked(size > 0), row[size > 0], size[size > 0]
    cost = square(blocks * unit[column][:, :, None] * unit[column][:, None, :], column, free)
    slope = np.zeros(int(free.sum())) if pull is None else pull[free] * unit[free]
    here, found, taken = rows.at(known), known.copy(), np.zeros(len(size), np.bool_)
    for share in _NEAR:
        value = rows.at(found)
        taken |= np.minimum(rows.high - value, value - rows.low) <= share * (rows.high - rows.low)
        own, by = rows.picked(taken), size[taken]
        between = (own.low - here[taken]) / by, (own.high - here[taken]) / by
        try:
            step = solve(cost, slope, matrix(row[taken] / by[:, None], own.column, free), between, roughly=True)
        except Infeasible:
            raise
        except Unsolved:
            if taken.all():
                raise
            continue
        found[free] = known[free] + unit[free] * step
        value = rows.at(found)
        if (taken | ((value <= rows.high) & (value >= rows.low))).all():
            break
    return found


def square(blocks: Floats, column: Ints, free: Bools) -> Matrix:
    """Sum the pieces' blocks (P, 6, 6) into one matrix over the free variables; `column` (P, 6) says where."""
    from scipy import sparse

    rows, columns = np.broadcast_arrays(column[:, :, None], column[:, None, :])
    kept, place, size = free[rows] & free[columns], np.cumsum(free) - 1, int(free.sum())
    return sparse.csc_matrix((blocks[kept], (place[rows[kept]], place[columns[kept]])), shape=(size, size))


def matrix(rows: Floats, column: Ints, free: Bools) -> Matrix:
    """Lay rows (R, 6) out over the free variables; `column` (R, 6) says where."""
    from scipy import sparse

    kept, place = free[column], np.cumsum(free) - 1
    number = np.arange(len(rows))[:, None].repeat(6, axis=1)
    return sparse.csc_matrix((rows[kept], (number[kept], place[column[kept]])), shape=(len(rows), int(free.sum())))


def solve(
    cost: Matrix,
    pull: Floats,
    rows: Matrix,
    between: tuple[Floats | None, Floats | None],
    bounds: Floats | None = None,
    *,
    roughly: bool = False,
) -> Floats:
    """Return the x that makes x'(cost)x/2 + pull'x least, rows x within `between` and x within `bounds`.

    Shape: `cost` (N, N), `pull` (N,), `rows` (R, N), `between` lower and upper (R,) or None, `bounds` (2, N) or
    None; an infinite bound is none.
    `roughly` takes a cost that is right to fewer digits rather than none.
    Error: Infeasible where there is no such x, Unsolved where the arithmetic does not suffice.
    """
    solver = piqp.SparseSolver()
    # legs of very different lengths make costs of very different sizes; without this, a leg of a thousandth of the
    # others' length may be enough to fail
    solver.settings.preconditioner_scale_cost = True
    solver.settings.max_iter = _MOST_STEPS
    lowest, highest = (None, None) if bounds is None else bounds
    solver.setup(cost, pull, G=rows, h_l=between[0], h_u=between[1], x_l=lowest, x_u=highest)
    for accuracy in (_ACCURACY, _ROUGHLY) if roughly else (_ACCURACY,):
        solver.settings.eps_abs = solver.settings.eps_duality_gap_abs = accuracy
        solver.settings.eps_rel = solver.settings.eps_duality_gap_rel = accuracy
        status = solver.solve()
        if status != piqp.PIQP_MAX_ITER_REACHED:
            break
    if status == piqp.PIQP_PRIMAL_INFEASIBLE or (status != piqp.PIQP_SOLVED and _impossible(rows, between)):
        raise Infeasible(f"the solver ended with {status.name}")
    if status != piqp.PIQP_SOLVED:
        raise Unsolved(f"the solver ended with {status.name}")
    return np.asarray(solver.result.x, np.float64)


def _impossible(rows: Matrix, between: tuple[Floats | None, Floats | None]) -> bool:
    """Return whether no x is within `between`, where another solver (HiGHS) can tell: all rows broken least alike."""
    from scipy import sparse
    from scipy.optimize import linprog  # a third of a second of a start, for a move that is at fault

    none = np.full(rows.shape[0], np.inf)
    low, high = (none if bound is None else sign * bound for sign, bound in zip((-1.0, 1.0), between, strict=True))
    kept = np.flatnonzero(np.isfinite(np.append(low, high)))
    sides = sparse.vstack([-rows, rows]).tocsr()[kept]
    found = linprog(  # type: ignore[call-overload]  # scipy's types leave out that A_ub may be sparse
        np.append(np.zeros(rows.shape[1]), 1.0),
        A_ub=sparse.hstack([sides, sparse.csr_matrix(-np.ones((len(kept), 1)))]).tocsc(),
        b_ub=np.append(low, high)[kept],
        bounds=[(-np.inf, np.inf)] * rows.shape[1] + [(0.0, np.inf)],
        method="highs",
        options={"time_limit": _PATIENCE_S},
    )
    return bool(found.status == 0 and found.fun > _EXCESS)
