"""The curve of a track as lines on a screen, with every peak: sampled where keys are far apart, else its envelope.

It refuses to know Qt, and to draw a curve smaller than it is.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.shape import Shape
from ui.timeline.geometry import Lane, Layout

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

DENSE_PX = 2.0  # keys nearer than that, on the average of what is in sight, make an envelope
APART_PX = 5.0  # keys nearer than that are shown as how many they are
MARKED_PX = 14.0  # keys nearer than that have small marks
_SAMPLES = 17  # of a leg whose curve goes beyond its keys
_LONG_PX = 32.0  # such a leg needs no more than a sample each pixel
_SHORT_PX = 2.5  # a leg that reaches what it reaches wherever it is drawn


@dataclass(frozen=True, slots=True)
class Sight:
    """The part of a track that is in sight. `first` up to `last` are the keys, one more at each side where there is."""

    first: int
    last: int
    mean_px: float


def sight(shape: Shape, layout: Layout) -> Sight:
    """Return which keys are in sight, and how far apart they are on the average."""
    first = int(np.searchsorted(shape.at_s, layout.begin_s, "left"))
    last = int(np.searchsorted(shape.at_s, layout.end_s, "right"))
    mean_px = float("inf")
    if last - first > 1:
        mean_px = float(shape.at_s[last - 1] - shape.at_s[first]) * layout.px_a_s / (last - first - 1)
    return Sight(max(0, first - 1), min(len(shape.at_s), last + 1), mean_px)


def sampled(shape: Shape, t_s: Floats) -> Floats:
    """Return where the axis stands at the instants `t_s`. Shape: (T,), result (T,). Unit: seconds; the axis's own."""
    if not shape.coeffs.shape[1]:
        return np.full(len(t_s), shape.value[0])
    piece = np.searchsorted(shape.from_s, t_s, "right") - 1
    np.clip(piece, 0, len(shape.from_s) - 1, out=piece)
    at_s = np.clip(t_s, shape.at_s[0], shape.at_s[-1])
    at_s -= shape.from_s[piece]
    coeffs = shape.coeffs.take(piece, axis=1)
    value: Floats = coeffs[0]
    for row in coeffs[1:]:
        value *= at_s
        value += row
    return value


def lines(shape: Shape, layout: Layout, lane: Lane) -> Floats:
    """Return the lines that draw the curve between its first and last key. Shape: (L, 4), x and y of both ends."""
    begin_s, end_s = max(layout.begin_s, float(shape.at_s[0])), min(layout.end_s, float(shape.at_s[-1]))
    if len(shape.at_s) < 2 or begin_s >= end_s:
        return np.empty((0, 4))
    t_s, value = _line(shape, layout, sight(shape, layout), begin_s, end_s)
    out = np.empty((len(t_s) - 1, 4))
    x = layout.left_px + (t_s - layout.begin_s) * layout.px_a_s
    y = lane.top_px + (lane.high - value) * (lane.height_px / (lane.high - lane.low))
    out[:, 0], out[:, 2], out[:, 1], out[:, 3] = x[:-1], x[1:], y[:-1], y[1:]
    return out


@dataclass(frozen=True, slots=True, eq=False)
class Envelope:
    """The least and the largest value in each column, and how many keys are in it; none is ever left out.

    What a leg reaches counts in every column that it is in, if it is short; else it counts where it is reached.
    Columns before the first key or after the last one are left out: `begin` is the number of the first one.
    Shape: (C,) each.
    """

    begin: int
    low: Floats
    high: Floats
    keys: Ints


def envelope(shape: Shape, layout: Layout, part_px: float = 1.0) -> Envelope:
    """Return the envelope of a curve in columns of `part_px`, counted from the left edge of the lanes."""
    count = max(1, round((layout.width_px - layout.left_px) / part_px))
    step_s = (layout.end_s - layout.begin_s) / count
    begin = max(0, int((shape.at_s[0] - layout.begin_s) / step_s))
    end = min(count, int(np.ceil((shape.at_s[-1] - layout.begin_s) / step_s)))
    if end <= begin:
        return Envelope(begin, np.empty(0), np.empty(0), np.empty(0, np.int64))
    edge_s: Floats = layout.begin_s + np.arange(begin, end + 1.0) * step_s
    leg = np.searchsorted(shape.at_s, edge_s, "right") - 1
    first, last = max(0, int(leg[0])), min(len(shape.low), int(leg[-1]) + 1)
    lasts_s = np.diff(shape.at_s[first : last + 1])
    long = lasts_s > _SHORT_PX * part_px / layout.px_a_s
    least, most = shape.low[first:last], shape.high[first:last]
    if any_long := bool(long.any()):
        least, most = np.where(long, np.inf, least), np.where(long, -np.inf, most)
    legs = np.clip(leg - first, 0, last - first - 1)
    # from the leg at its left edge to the one at its right edge; reduceat wants pairs, and one stretch too many
    pairs = np.empty(2 * (len(legs) - 1), np.int64)
    pairs[::2], pairs[1::2] = legs[:-1], legs[1:] + 1
    low: Floats = np.minimum.reduceat(np.append(least, np.inf), pairs)[::2]
    high: Floats = np.maximum.reduceat(np.append(most, -np.inf), pairs)[::2]
    if any_long:
        _long(shape, (first, long), edge_s, low, high)
    return Envelope(begin, low, high, np.diff(leg))


def _long(shape: Shape, legs: tuple[int, Bools], edge_s: Floats, low: Floats, high: Floats) -> None:
    """Widen, in place, the columns by what the long legs among `legs` (the first one's number, which) reach in them."""
    first, long = legs
    step_s = float(edge_s[1] - edge_s[0])
    value = sampled(shape, edge_s)
    at_leg = np.clip(np.searchsorted(shape.at_s, edge_s, "right") - 1 - first, 0, len(long) - 1)
    there = long[at_leg[:-1]] | long[at_leg[1:]]
    least, most = np.minimum(value[:-1], value[1:]), np.maximum(value[:-1], value[1:])
    np.minimum(low, least, out=low, where=there)
    np.maximum(high, most, out=high, where=there)
    numbers = first + np.flatnonzero(long)
    for keys in (numbers, numbers + 1):
        columns = np.floor((shape.at_s[keys] - edge_s[0]) / step_s).astype(np.int64)
        _reach(low, high, columns, shape.value[keys])
    t_s, value = _beyond(shape, numbers, step_s * _LONG_PX)
    _reach(low, high, np.floor((t_s - edge_s[0]) / step_s).astype(np.int64), value)


def _reach(low: Floats, high: Floats, columns: Ints, value: Floats) -> None:
    """Widen, in place, the columns by the values in them."""
    there = (columns >= 0) & (columns < len(low))
    np.minimum.at(low, columns[there], value[there])
    np.maximum.at(high, columns[there], value[there])


def _beyond(shape: Shape, legs: Ints, long_s: float) -> tuple[Floats, Floats]:
    """Return where these legs, unless they are longer, go beyond both of their keys, and how far: exactly."""
    low, high = shape.low[legs], shape.high[legs]
    before, after = shape.value[legs], shape.value[legs + 1]
    tiny = 1e-9 * (1.0 + float(np.abs(before).max(initial=0.0)))
    over, under = high > np.maximum(before, after) + tiny, low < np.minimum(before, after) - tiny
    far = np.flatnonzero(over | under)
    if len(far):
        far = far[shape.at_s[legs[far] + 1] - shape.at_s[legs[far]] <= long_s]
    legs = legs[far]
    if not len(legs):
        return np.empty(0), np.empty(0)
    part = (np.arange(_SAMPLES) + 0.5) / _SAMPLES
    t_s = shape.at_s[legs, None] + (shape.at_s[legs + 1] - shape.at_s[legs])[:, None] * part
    value = sampled(shape, t_s.ravel()).reshape(t_s.shape)
    row = np.arange(len(legs))
    value[row, value.argmax(axis=1)] = np.maximum(value.max(axis=1), shape.high[legs])
    value[row, value.argmin(axis=1)] = np.minimum(value.min(axis=1), shape.low[legs])
    return t_s.ravel(), value.ravel()


def _line(shape: Shape, layout: Layout, inside: Sight, begin_s: float, end_s: float) -> tuple[Floats, Floats]:
    """Return instants and values along the curve: each pixel, each key, each peak beyond the keys of a leg."""
    first_px, last_px = layout.x(begin_s), layout.x(end_s)
    x = np.arange(np.floor(first_px) + 1, np.ceil(last_px))
    each_s = np.empty(len(x) + 2)
    each_s[0], each_s[-1] = begin_s, end_s
    each_s[1:-1] = layout.begin_s + (x - layout.left_px) / layout.px_a_s
    more_s, more = _beyond(shape, np.arange(inside.first, inside.last - 1), _LONG_PX / layout.px_a_s)
    keys_s, keys = shape.at_s[inside.first : inside.last], shape.value[inside.first : inside.last]
    t_s = np.concatenate((each_s, keys_s, more_s))
    value = np.concatenate((sampled(shape, each_s), keys, more))
    # the keys just out of sight would lead the line far out: their legs end at the edge
    there = (t_s >= begin_s) & (t_s <= end_s)
    t_s, value = t_s[there], value[there]
    order = np.argsort(t_s, kind="stable")
    return t_s[order], value[order]
