"""What a trajectory asks of axes together, exactly: of a weighted sum, or of one axis while another is in a range.

It refuses samples here too: pieces are cut where any axis changes piece and where a range is entered or left, and what
is left of them has roots like any other.
"""

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.extremes import Extremes, shifted, zeros
from sequencer.motion.trajectory import Trajectory
from sequencer.rig.axis import Rig
from sequencer.rig.limits import Combined, WhileLimit

Floats = NDArray[np.float64]


def together(trajectory: Trajectory, rig: Rig, limit: Combined) -> tuple[Extremes, Floats] | None:
    """Return what is asked of a combined limit, as one stretch, and what the size of its jumps is measured by.

    That is the speed, speed and acceleration of the axes' own limits, weighted like they are. Shape: (3,).
    None where the other axis never comes into the range.
    """
    axes = [rig.index(name) for name in limit.axes]
    from_s = np.unique(np.concatenate([_span(trajectory, axis)[0] for axis in axes]))
    # the first cell is all the time before, the last one all the time after: the axes hold there
    cells = np.append(from_s[:1], from_s), np.concatenate(([0.0], np.diff(from_s), [0.0]))
    own = [_cut(trajectory, axis, from_s) for axis in axes]
    most = np.array([(axis.speed, axis.speed, axis.acceleration) for axis in (rig.axes[number] for number in axes)])
    if isinstance(limit, WhileLimit):
        found = _while(limit, cells, own[0], own[1])
        return None if found is None else (found, most[0])
    weights = np.array([weight for _, weight in limit.sum])
    whole = Extremes.of(*cells, np.tensordot(weights, np.stack(own), 1), np.array([0, len(cells[0])]))
    return whole, np.abs(weights) @ most


def _while(limit: WhileLimit, cells: tuple[Floats, Floats], own: Floats, other: Floats) -> Extremes | None:
    """Return what the axis with polynomials `own` asks while that with `other` is in the range. Shape: both (K, C)."""
    from_s, lasts_s = cells
    unit = other * lasts_s ** np.arange(len(other) - 1, -1, -1.0)[:, None]
    low, high = limit.between
    marks = [np.zeros((1, len(from_s)))]
    for end in (low, high):
        above = unit.copy()
        above[-1] -= end
        marks.append(zeros(above))
    # from mark to mark the other axis is inside the range, or outside
    begin_u = np.sort(np.concatenate(marks), axis=0)
    end_u = np.append(begin_u[1:], np.ones((1, len(from_s))), axis=0)
    middle = _at(unit, (begin_u + end_u) / 2)
    # cell after cell
    cell, mark = np.nonzero(((middle >= low) & (middle <= high) & (end_u > begin_u)).T)
    if not len(cell):
        return None
    begin_u, end_u = begin_u[mark, cell], end_u[mark, cell]
    # where the range is entered, nothing jumps that was not inside
    joined = np.roll(cell + end_u, 1) == cell + begin_u
    since_s = begin_u * lasts_s[cell]
    pieces = shifted(own[:, cell], since_s)
    first = np.array([0, len(cell)])
    return Extremes.of(from_s[cell] + since_s, (end_u - begin_u) * lasts_s[cell], pieces, first, joined)


def _span(trajectory: Trajectory, axis: int) -> tuple[Floats, Floats]:
    span = slice(trajectory.first[axis], trajectory.first[axis + 1])
    return trajectory.from_s[span], trajectory.coeffs[:, span]


def _cut(trajectory: Trajectory, axis: int, from_s: Floats) -> Floats:
    """Return where one axis holds before these instants, and its polynomials about each. Shape: (C,), (K, C+1)."""
    own_s, coeffs = _span(trajectory, axis)
    piece = np.maximum(np.searchsorted(own_s, from_s, "right") - 1, 0)
    # before its first piece the axis holds
    cut = shifted(coeffs[:, piece], np.maximum(from_s - own_s[piece], 0.0))
    return np.append(coeffs[:, :1], cut, axis=1)


def _at(coeffs: Floats, u: Floats) -> Floats:
    value = np.zeros_like(u)
    for row in coeffs:
        value = value * u + row
    return value
