"""Sparse convex quadratic programs over a chain of node states, and their solver. It refuses to call unsolved solved.

PIQP (BSD-2, wheels for every system) solves them; what it says about feasibility proves nothing about motors.
"""

import numpy as np
import piqp
from numpy.typing import NDArray
from scipy import sparse

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Matrix = sparse.csc_matrix[np.float64]

_ACCURACY = 1e-10


class Unsolved(ArithmeticError):
    """The solver did not reach the accuracy asked for; nothing is known about whether there is a solution."""


class Infeasible(Unsolved):
    """The solver says that these constraints have no solution."""


def square(blocks: Floats, column: Ints, free: Bools) -> Matrix:
    """Sum the pieces' blocks (P, 6, 6) into one matrix over the free variables; `column` (P, 6) says where."""
    rows, columns = np.broadcast_arrays(column[:, :, None], column[:, None, :])
    kept, place, size = free[rows] & free[columns], np.cumsum(free) - 1, int(free.sum())
    return sparse.csc_matrix((blocks[kept], (place[rows[kept]], place[columns[kept]])), shape=(size, size))


def matrix(rows: Floats, column: Ints, free: Bools) -> Matrix:
    """Lay rows (R, 6) out over the free variables; `column` (R, 6) says where."""
    kept, place = free[column], np.cumsum(free) - 1
    number = np.arange(len(rows))[:, None].repeat(6, axis=1)
    return sparse.csc_matrix((rows[kept], (number[kept], place[column[kept]])), shape=(len(rows), int(free.sum())))


def solve(
    cost: Matrix, pull: Floats, rows: Matrix, between: tuple[Floats | None, Floats | None], bounds: Floats
) -> Floats:
    """Return the x that makes x'(cost)x/2 + pull'x least, rows x within `between` and x within `bounds`.

    Shape: `cost` (N, N), `pull` (N,), `rows` (R, N), `between` lower and upper (R,) or None, `bounds` (2, N), where
    an infinite bound is none.
    Error: Infeasible where there is no such x, Unsolved where the arithmetic does not suffice.
    """
    solver = piqp.SparseSolver()
    solver.settings.eps_abs = solver.settings.eps_duality_gap_abs = _ACCURACY
    solver.settings.eps_rel = solver.settings.eps_duality_gap_rel = _ACCURACY
    # legs of very different lengths make costs of very different sizes; without this, a leg of a thousandth of the
    # others' length may be enough to fail
    solver.settings.preconditioner_scale_cost = True
    solver.setup(cost, pull, G=rows, h_l=between[0], h_u=between[1], x_l=bounds[0], x_u=bounds[1])
    status = solver.solve()
    if status == piqp.PIQP_PRIMAL_INFEASIBLE:
        raise Infeasible(f"the solver ended with {status.name}")
    if status != piqp.PIQP_SOLVED:
        raise Unsolved(f"the solver ended with {status.name}")
    return np.asarray(solver.result.x, np.float64)
