"""A leg as a repair drew it: how far it is from the straight line between its keys. It refuses to be made up by hand.

It keeps to the keys when they are moved, and its parts of the time when the leg is stretched; whether the motors can
still do it then is for the check.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain, pairwise
from operator import sub

import numpy as np

from sequencer.score.easing import Drawn, LawKind
from sequencer.score.fit import hermite

Node = tuple[float, float, float, float]

_CLOSEST = 1e-12


@dataclass(frozen=True, slots=True)
class Spline:
    """`nodes` are (u, off, slope, bend): at the part u of the leg's time the axis is `off` the straight line, in its
    own unit, and `slope` and `bend` are the first and second derivative of that over u. Between nodes it is quintic.
    """

    nodes: tuple[Node, ...]

    def __post_init__(self) -> None:
        # in few steps: a repair makes thousands of these at once
        numbers = tuple(chain.from_iterable(self.nodes))
        if len(self.nodes) < 2 or not all(map(math.isfinite, numbers)):
            raise ValueError(
                "nodes are no rows of a curve; they must be two or more of four numbers: u, off, slope, bend"
            )
        parts = numbers[::4]
        if parts[0] != 0 or parts[-1] != 1 or min(map(sub, parts[1:], parts)) < _CLOSEST:
            raise ValueError("the nodes are out of order; their u must rise from 0 to 1")
        if self.nodes[0][1] != 0 or self.nodes[-1][1] != 0:
            raise ValueError("the curve misses its keys; the first and the last node must have off 0")

    def __hash__(self) -> int:
        return hash(self.nodes[0])  # enough to tell drawn legs apart, and cheap


def curve(how: Spline) -> Drawn:
    """Return the quintic pieces through the nodes."""
    return curves([how])[0]


def curves(hows: Sequence[Spline]) -> list[Drawn]:
    """Return the curves of many, in one go."""
    rows = chain.from_iterable(how.nodes for how in hows)
    u, off, slope, bend = np.fromiter(chain.from_iterable(rows), np.float64).reshape(-1, 4).T
    # what lies between the end of one and the begin of the next is left out
    pieces = hermite(u, off, slope, bend)
    edges = np.append(0, np.cumsum([len(how.nodes) for how in hows])).tolist()
    return [Drawn(u[begin:end], pieces[:, begin : end - 1]) for begin, end in pairwise(edges)]


def backward(how: Spline) -> Spline:
    """Return the same curve from its end to its begin."""
    return Spline(tuple((1 - u, off, -slope, bend) for u, off, slope, bend in reversed(how.nodes)))


def scaled(how: Spline, factor: float) -> Spline:
    """Return the same curve `factor` times as large."""
    return Spline(tuple((u, off * factor, slope * factor, bend * factor) for u, off, slope, bend in how.nodes))


KIND = LawKind("spline", Spline, curve, reversed=backward, scaled=scaled, curves=curves)
