"""Sparse linear programs and their solver. It refuses to call unsolved solved.

HiGHS solves them, through scipy.
"""

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.optimize import linprog

from sequencer.motion.program import Infeasible, Unsolved

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
# linprog takes sparse matrices; its types do not know it
Laid = Any

_INFEASIBLE = 2
# what stops the one seldom stops the other
_METHODS: tuple[Literal["highs-ds", "highs-ipm"], ...] = ("highs-ds", "highs-ipm")


@dataclass(frozen=True, slots=True, eq=False)
class Answer:
    """The best `x` (N,); by how much the least rises with each number of `equal`, `weight` (E,), and of bounds, `pull`
    (N,).
    """

    x: Floats
    weight: Floats
    pull: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Linear:
    """What a linear program keeps: below x <= most, same x = equal, and x within `bounds` (N, 2)."""

    below: Laid
    most: Floats
    same: Laid
    equal: Floats
    bounds: Floats

    def least(self, cost: Floats) -> Answer:
        """Return the x that makes cost'x least. Error: Infeasible, Unsolved."""
        within = list(zip(self.bounds[:, 0].tolist(), self.bounds[:, 1].tolist(), strict=True))
        for method in _METHODS:
            found = linprog(
                cost, A_ub=self.below, b_ub=self.most, A_eq=self.same, b_eq=self.equal, bounds=within, method=method
            )
            if found.status == 0:
                pull = np.asarray(found.lower.marginals) + np.asarray(found.upper.marginals)
                return Answer(np.asarray(found.x), np.asarray(found.eqlin.marginals), pull)
            if found.status == _INFEASIBLE:
                raise Infeasible("the limits leave no room")
        raise Unsolved(f"the linear program was not solved: {found.message}")


def laid(shape: tuple[int, int], *parts: tuple[Ints, Ints | int, Floats | float]) -> Laid:
    """Return a matrix of entries (rows, columns, values), each part broadcast; what falls on one place adds up."""
    blocks = [np.broadcast_arrays(*part) for part in parts]
    row, column, value = (
        np.concatenate([np.empty(0, np.int64), *(np.ravel(block[place]) for block in blocks)]) for place in range(3)
    )
    return sparse.csr_matrix((value.astype(np.float64), (row, column)), shape=shape)
