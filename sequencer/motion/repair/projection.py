"""The nearest legal curve to a wanted one: quintic pieces between given nodes, within limits all along.

It refuses to trust nodes: what bounds a piece is the hull of its own coefficients (Bernstein form, textbook).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from sequencer.motion.program import Rows, Unsolved, least
from sequencer.motion.quintic import HULLS, ends

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

KEPT = 1e-9
# how far inside the limits the pieces are asked for, so that the solver's last digits do not break them
_MARGINS = (1e-6, 1e-5)
# pieces either side of one that breaks a limit that may change with it
_REACHES = (4, 12, 40)
# what moving position, speed or acceleration of a node costs, by how far it moves the pieces beside it
_COST = np.array([1.0, 1 / 25, 1 / 400])


class Refused(ArithmeticError):
    """There seems to be no such curve near the wanted one."""


@dataclass(frozen=True, slots=True, eq=False)
class Nodes:
    """N nodes of one axis at `at_s`, and what its position, speed, acceleration and jerk must keep: `low`, `high` (4,).

    Shape: `at_s` (N,). At the first and the last node, and where `key`, the position does not change.
    """

    at_s: Floats
    key: Bools
    low: Floats
    high: Floats

    def hull(self, state: Floats, order: int) -> Floats:
        """Return the pieces' Bernstein coefficients of a derivative. Shape: (N, 3), result (6 - order, P)."""
        width_s = np.diff(self.at_s)
        left, right = state[:-1].T, state[1:].T
        # about the first position, so that the small differences of a short piece keep their digits
        own = np.stack(
            (
                left[1] * width_s,
                left[2] * width_s**2,
                right[0] - left[0],
                right[1] * width_s,
                right[2] * width_s**2,
            )
        )
        hull: Floats = HULLS[order][:, 1:] @ own
        return hull + left[0] if order == 0 else hull / width_s**order

    def over(self, state: Floats) -> Floats:
        """Return by how much, in parts of the limit, each piece may break one. Shape: (N, 3), result (P,)."""
        over = np.full(len(state) - 1, -np.inf)
        for order in range(4):
            low, high = self.low[order], self.high[order]
            extent = min(abs(low), abs(high)) if order else high - low
            if np.isfinite(extent):
                hull = self.hull(state, order)
                over = np.maximum(over, np.maximum(hull.max(axis=0) - high, low - hull.min(axis=0)) / extent)
        return over


def projected(nodes: Nodes, wanted: Floats) -> Floats:
    """Return the states nearest to `wanted` whose pieces keep the limits; where those of `wanted` do, they stay.

    Shape: both (N, 3): position, speed, acceleration. Error: Refused.
    """
    state = wanted
    for reach in _REACHES:
        for margin in _MARGINS:
            bad = nodes.over(state) > KEPT
            if not bad.any():
                return state
            # each stretch by itself, so that one which is hard does not keep the others waiting
            pieces = np.asarray(maximum_filter1d(bad, 2 * reach + 1, mode="constant"), np.bool_)
            edges = np.flatnonzero(np.diff(pieces, prepend=False, append=False)).tolist()
            for begin, end in zip(edges[::2], edges[1::2], strict=True):
                own = np.zeros(len(pieces), np.bool_)
                own[begin:end] = True
                try:
                    state = _changed(nodes, state, own, margin)
                except Unsolved:
                    continue
    if not (nodes.over(state) > KEPT).any():
        return state
    raise Refused("no curve near the path keeps the limits here")


def _changed(nodes: Nodes, wanted: Floats, pieces: Bools, margin: float) -> Floats:
    """Return the states with the nodes inside `pieces` changed, so that these pieces keep the limits."""
    width_s = np.diff(nodes.at_s)
    scale_s = np.sqrt(np.append(width_s[:1], width_s) * np.append(width_s, width_s[-1:]))
    number = np.flatnonzero(pieces)
    # only the nodes beside these pieces take part
    taken = np.zeros(len(wanted), np.bool_)
    taken[number] = taken[number + 1] = True
    place = np.cumsum(taken) - 1
    column = 3 * place[number][:, None] + np.array([0, 1, 2, 3, 4, 5])
    # in this unit of position a jerk at its limit is about 1
    unit = float(nodes.high[3]) * scale_s**3 / 60
    middle = float(np.median(unit[taken]))
    units = middle * np.stack((np.ones_like(scale_s), 1 / scale_s, 1 / scale_s**2), axis=1)
    free = np.ones((len(wanted), 3), np.bool_)
    free[nodes.key, 0] = False
    free[[0, -1]] = False
    rim = np.append(False, pieces) != np.append(pieces, False)
    free[rim] = False
    factors = ends(width_s, scale_s)[number]
    parts = []
    for order, hull in enumerate(HULLS):
        low, high = nodes.low[order], nodes.high[order]
        if np.isfinite(high):
            own = hull * factors[:, None, :]
            size = width_s[number] ** order / middle
            # a key may stand at the end of travel: there is nothing inside it
            inner = (high * (1 - margin), low * (1 - margin)) if order else (high, low)
            count = len(hull)
            parts.append(
                (
                    own.reshape(-1, 6),
                    np.repeat(column, count, axis=0),
                    np.repeat(size * inner[1], count),
                    np.repeat(size * inner[0], count),
                )
            )
    rows = Rows(*(np.concatenate(each) for each in zip(*parts, strict=True)))
    cost = np.zeros((len(number), 6, 6))
    cost[:, range(6), range(6)] = np.tile(_COST, 2)
    known = (wanted / units)[taken].ravel()
    found = least(cost, column, free[taken].ravel(), known, rows)
    state = wanted.copy()
    state[taken] = found.reshape(-1, 3) * units[taken]
    state[~free] = wanted[~free]
    return state
