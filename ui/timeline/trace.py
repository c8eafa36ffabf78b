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
_UNEVEN = 1.25  # times as many samples as there is room for: lines of a part of a pixel come out pale
_SHORT_PX = 2.5  # a leg that reaches what it reaches wherever it is drawn


@dataclass(frozen=True, slots=True)
class Sight:
    """The part of a track that is in sight. `first` up to `last` are the keys, one more at each side where there is."""

    first: int
    last: int
    mean_px: float


def sight(shape: Shape, layout: Layout) -> Sight:
    """Return which keys are in sight, and how far apart they are on the average."""
    first = int(shape.at_s.searchsorted(layout.begin_s, "left"))
    last = int(shape.at_s.searchsorted(layout.end_s, "right"))
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


def lines(shape: Shape, layout: Layout, lane: Lane, step_px: float = 1.0) -> Floats:
    """Return the lines that draw the curve between its first and last key, one each `step_px` at least.

    Shape: (L, 4), x and y of both ends.
    """
    begin_s, end_s = max(layout.begin_s, float(shape.at_s[0])), min(layout.end_s, float(shape.at_s[-1]))
    if len(shape.at_s) < 2 or begin_s >= end_s:
        return np.empty((0, 4))
    inside = sight(shape, layout)
    made = _by_pieces(shape, layout, inside, (begin_s, end_s), step_px)
    t_s, value = made if made is not None else _line(shape, layout, inside, begin_s, end_s)
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


def envelope(shape: Shape, layout: Layout, part_px: float = 1.0, at_s: Floats | None = None) -> Envelope:
    """Return the envelope of a curve in columns of `part_px`, counted from the left edge of the lanes.

    `at_s` are the keys' instants: the same array for tracks in which they are equal is counted once.
    """
    count = max(1, round((layout.width_px - layout.left_px) / part_px))
    step_s = (layout.end_s - layout.begin_s) / count
    begin = max(0, int((shape.at_s[0] - layout.begin_s) / step_s))
    end = min(count, int(np.ceil((shape.at_s[-1] - layout.begin_s) / step_s)))
    if end <= begin:
        return Envelope(begin, np.empty(0), np.empty(0), np.empty(0, np.int64))
    edges = (layout.begin_s + begin * step_s, step_s, end - begin)
    at_s = shape.at_s if at_s is None else at_s
    if at_s is not _Last.at_s or edges != _Last.edges:
        edge_s = layout.begin_s + np.arange(begin, end + 1.0) * step_s
        _Last.count(at_s, edges, edge_s, _SHORT_PX * part_px / layout.px_a_s)
    legs, first, last = _Last.legs, _Last.first, _Last.last
    least, most, long = shape.low[first:last], shape.high[first:last], _Last.long
    if long is not None:
        least, most = np.where(long, np.inf, least), np.where(long, -np.inf, most)
    # from the leg at its left edge to the one at its right edge, which is the next one's as well
    ends = legs[1:]
    low: Floats = np.minimum.reduceat(least, legs[:-1])
    np.minimum(low, least[ends], out=low)
    high: Floats = np.maximum.reduceat(most, legs[:-1])
    np.maximum(high, most[ends], out=high)
    if long is not None:
        _long(shape, (first, long), _Last.edge_s, low, high)
    return Envelope(begin, low, high, _Last.keys)


class _Last:
    """What was counted last: tracks often have their keys at the same instants, one after the other is drawn."""

    at_s: Floats = np.empty(0)
    edges: tuple[float, float, int] = (0.0, 0.0, 0)
    edge_s: Floats = np.empty(0)
    legs: Ints = np.empty(0, np.int64)
    keys: Ints = np.empty(0, np.int64)
    first = last = 0
    long: Bools | None = None

    @classmethod
    def count(cls, at_s: Floats, edges: tuple[float, float, int], edge_s: Floats, short_s: float) -> None:
        """Count which legs are in each column, and which of them are long; those before the first one count as it."""
        leg = _counted(at_s, edge_s, edges[1])
        cls.at_s, cls.edges, cls.edge_s = at_s, edges, edge_s
        cls.first, cls.last = max(0, int(leg[0])), min(len(at_s) - 1, int(leg[-1]) + 1)
        long = at_s[cls.first + 1 : cls.last + 1] - at_s[cls.first : cls.last] > short_s
        cls.long = long if long.any() else None
        cls.legs = np.minimum(np.maximum(leg, cls.first) - cls.first, cls.last - cls.first - 1)
        cls.keys = leg[1:] - leg[:-1]


def _counted(at_s: Floats, edge_s: Floats, step_s: float) -> Ints:
    """Return the last key that is not after each edge, -1 for none: counted, not sought, where there are many."""
    first = int(at_s.searchsorted(edge_s[0], "right"))
    last = int(at_s.searchsorted(edge_s[-1], "right"))
    if 8 * (last - first) < len(edge_s):
        return at_s.searchsorted(edge_s, "right") - 1
    column = ((at_s[first:last] - edge_s[0]) / step_s).astype(np.int64)
    # what rounding puts on the wrong side of an edge by a hair belongs to the legs on both sides of it
    counts = np.bincount(column, minlength=len(edge_s))
    leg = np.empty(len(edge_s), np.int64)
    leg[0] = first - 1
    np.cumsum(counts[: len(edge_s) - 1], out=leg[1:])
    leg[1:] += first - 1
    leg[-1] = last - 1
    return leg


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


def _by_pieces(
    shape: Shape, layout: Layout, inside: Sight, ends_s: tuple[float, float], step_px: float
) -> tuple[Floats, Floats] | None:
    """Return instants and values along the curve, as many in each piece; None where that is too few, or too many.

    It is too few where a leg goes beyond its keys, since its peak may lie between; too many where pieces differ much.
    """
    from_s, legs = shape.from_s, slice(inside.first, inside.last - 1)
    low, high, keys = shape.low[legs], shape.high[legs], shape.value[inside.first : inside.last]
    tiny = 1e-9 * (1.0 + float(np.abs(keys).max()))
    beyond = (high > np.maximum(keys[:-1], keys[1:]) + tiny) | (low < np.minimum(keys[:-1], keys[1:]) - tiny)
    first = max(0, int(from_s.searchsorted(ends_s[0], "right")) - 1)
    last = int(from_s.searchsorted(ends_s[1], "left"))
    if beyond.any() or first >= last:
        return None
    edge_s = np.append(from_s[first:last], from_s[last] if last < len(from_s) else shape.at_s[-1])
    lasts_s = edge_s[1:] - edge_s[:-1]
    count = max(2, int(np.ceil(lasts_s.max() * layout.px_a_s / step_px)))
    if count * (last - first) * step_px > _UNEVEN * (ends_s[1] - ends_s[0]) * layout.px_a_s + 2 * count:
        return None
    t_s = edge_s[:-1, None] + lasts_s[:, None] * (np.arange(count) / count)
    t_s[0] = np.maximum(t_s[0], ends_s[0])
    np.minimum(t_s, ends_s[1], out=t_s)
    since_s = t_s - edge_s[:-1, None]
    coeffs = shape.coeffs[:, first:last, None]
    value = np.repeat(coeffs[0], count, axis=1)
    for row in coeffs[1:]:
        value *= since_s
        value += row
    # a jump is an upright line from where a piece ends to where the next one begins
    end_s = min(float(edge_s[-1]), ends_s[1])
    ends = sampled(shape, np.array([end_s]))
    return np.append(t_s.ravel(), end_s), np.append(value.ravel(), ends)


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
