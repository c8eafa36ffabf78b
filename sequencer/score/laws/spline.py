"""A leg as a repair drew it: how far it is from the straight line between its keys. It refuses to be made up by hand.

It keeps to the keys when they are moved, and its parts of the time when the leg is stretched; whether the motors can
still do it then is for the check.
"""

import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np

from sequencer.score.easing import Drawn, LawKind
from sequencer.score.fit import hermite

Node = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Spline:
    """`nodes` are (u, off, slope, bend): at the part u of the leg's time the axis is `off` the straight line, in its
    own unit, and `slope` and `bend` are the first and second derivative of that over u. Between nodes it is quintic.
    """

    nodes: tuple[Node, ...]

    def __post_init__(self) -> None:
        if len(self.nodes) < 2 or not all(math.isfinite(number) for node in self.nodes for number in node):
            raise ValueError("nodes must be two or more rows of four numbers: u, off, slope, bend")
        parts = [node[0] for node in self.nodes]
        if parts[0] != 0 or parts[-1] != 1 or any(b - a < 1e-12 for a, b in pairwise(parts)):
            raise ValueError("the u of nodes must rise from 0 to 1")
        if self.nodes[0][1] != 0 or self.nodes[-1][1] != 0:
            raise ValueError("the first and the last node must be at the keys: off 0")


@lru_cache(maxsize=65536)
def curve(how: Spline) -> Drawn:
    """Return the quintic pieces through the nodes."""
    u, off, slope, bend = np.array(how.nodes, np.float64).T
    return Drawn(u, hermite(u, off, slope, bend))


def backward(how: Spline) -> Spline:
    """Return the same curve from its end to its begin."""
    return Spline(tuple((1 - u, off, -slope, bend) for u, off, slope, bend in reversed(how.nodes)))


def scaled(how: Spline, factor: float) -> Spline:
    """Return the same curve `factor` times as large."""
    return Spline(tuple((u, off * factor, slope * factor, bend * factor) for u, off, slope, bend in how.nodes))


KIND = LawKind("spline", Spline, curve, reversed=backward, scaled=scaled)
