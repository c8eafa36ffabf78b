"""The curve of a track as lines on a screen, with every peak: sampled where keys are far apart, else its envelope.

It refuses to know Qt, and to draw a curve smaller than it is.
"""

from dataclasses import dataclass
from math import ceil, floor

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
_FEW = 64  # columns, which are sooner looked at leg by leg
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
    np.maximum(piece, 0, out=piece)
    at_s = np.maximum(t_s, shape.at_s[0])
    np.minimum(at_s, shape.at_s[-1], out=at_s)
    at_s -= shape.from_s[piece]
    coeffs = shape.coeffs.take(piece, axis=1)
    value: Floats = coeffs[0]
    for row in coeffs[1:]:
        value *= at_s
        value += row
    return value


def lines(
    shape: Shape,
    layout: Layout,
    lane: Lane,
    step_px: float = 1.0,
    between_px: tuple[float, float] | None = None,
    even: int | None = None,
) -> Floats:
    """Return the lines that draw the curve between its first and last key, one each `step_px` at least.

    They reach from the one to the other of `between_px`, which are the lanes' edges if none are given. `even` is what
    `evenly` found, if it was asked: parts of a curve that are to fit together must be drawn in the same manner.
    Shape: (L, 4), x and y of both ends.
    """
    from_px, to_px = (layout.left_px, layout.width_px) if between_px is None else between_px
    begin_s, end_s = max(layout.t_s(from_px), float(shape.at_s[0])), min(layout.t_s(to_px), float(shape.at_s[-1]))
    if len(shape.at_s) < 2 or begin_s >= end_s:
        return np.empty((0, 4))
    if even is None:
        even = evenly(shape, layout, step_px)
    t_s, value = _by_pieces(shape, begin_s, end_s, even) if even else _line(shape, layout, begin_s, end_s)
    out = np.empty((len(t_s) - 1, 4))
    x = layout.across(t_s)
    value *= -lane.height_px / (lane.high - lane.low)
    value += lane.y(0.0)
    out[:, 0], out[:, 2], out[:, 1], out[:, 3] = x[:-1], x[1:], value[:-1], value[1:]
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


def envelope(
    shape: Shape,
    layout: Layout,
    part_px: float = 1.0,
    at_s: Floats | None = None,
    between: tuple[int, int] | None = None,
    reaches: "Reaches | None" = None,
) -> Envelope:
    """Return the envelope of a curve in columns of `part_px`, counted from the left edge of the lanes.

    `at_s` are the keys' instants: the same array for tracks in which they are equal is counted once. Of all columns
    only those from the one up to the other of `between` are looked at. `reaches` are those of this shape, if kept.
    """
    step_s = part_px / layout.px_a_s
    # columns are counted from the project's start: a column has the same edges wherever it is scrolled to
    zero = (layout.left_px - layout.zero_px) / part_px
    whole = floor(zero)
    first, last = between or (0, max(1, round((layout.width_px - layout.left_px) / part_px)))
    begin = max(first, floor(shape.at_s[0] / step_s - (zero - whole)) - whole)
    end = min(last, ceil(shape.at_s[-1] / step_s - (zero - whole)) - whole)
    if end <= begin:
        return Envelope(begin, np.empty(0), np.empty(0), np.empty(0, np.int64))
    edges = (zero + begin, step_s, end - begin)
    at_s = shape.at_s if at_s is None else at_s
    if at_s is not _Last.at_s or edges != _Last.edges:
        _Last.count(at_s, edges, _SHORT_PX * part_px / layout.px_a_s)
    if _Last.long is None and reaches is not None and _Last.last - _Last.first > len(_Last.keys) > _FEW:
        return Envelope(begin, *reaches.between(*_Last.pairs()), _Last.keys)
    return Envelope(begin, *_reduced(shape), _Last.keys)


def crowd(at_s: Floats, layout: Layout, part_px: float, between: tuple[int, int]) -> Ints:
    """Return how many keys are in each column, as `envelope` counts them. Shape: (C,)."""
    first = (layout.left_px - layout.zero_px) / part_px + between[0]
    leg = _counted(at_s, (first, part_px / layout.px_a_s, between[1] - between[0]))
    return leg[1:] - leg[:-1]


def _reduced(shape: Shape) -> tuple[Floats, Floats]:
    """Return the least and the most of each column that was counted last."""
    legs, long, span = _Last.legs, _Last.long, slice(_Last.first, _Last.last)
    least, most = shape.low[span], shape.high[span]
    if long is not None:
        least, most = np.where(long, np.inf, least), np.where(long, -np.inf, most)
    # from the leg at its left edge to the one at its right edge, which is the next one's as well
    ends = legs[1:]
    low: Floats = np.minimum.reduceat(least, legs[:-1])
    np.minimum(low, least[ends], out=low)
    high: Floats = np.maximum.reduceat(most, legs[:-1])
    np.maximum(high, most[ends], out=high)
    if long is not None:
        _long(shape, (_Last.first, long), _Last.edges, low, high)
    return low, high


class Reaches:
    """What the legs of a shape reach, two by two, four by four and so on: any number of them is two looks.

    It is worked out as far as it is asked for, from the second time on: a curve that is dragged is another each time.
    """

    def __init__(self, shape: Shape) -> None:
        self._shape = shape
        self._asked = False
        self._low = self._high = np.empty((0, 0))

    def between(self, power: Ints, firsts: Ints, lasts: Ints) -> tuple[Floats, Floats]:
        """Return the least and the most of 2 to the `power` legs from one, and of as many up to the other.

        Shape: (C,) all.
        """
        if not self._asked:
            self._asked = True
            return _reduced(self._shape)
        most = int(power.max())
        if most >= len(self._low):
            self._low, self._high = (
                _doubled(row, most, of) for row, of in ((self._shape.low, np.minimum), (self._shape.high, np.maximum))
            )
        row = power * len(self._shape.low)
        left, right = row + firsts, row + lasts
        low: Floats = np.minimum(self._low.take(left), self._low.take(right))
        high: Floats = np.maximum(self._high.take(left), self._high.take(right))
        return low, high


def _doubled(row: Floats, times: int, of: np.ufunc) -> Floats:
    """Return for each place what the next 1, 2, 4 … make together. Shape: `row` (N,), result (times + 1, N)."""
    table = np.empty((times + 1, len(row)))
    table[0] = row
    for number in range(times):
        far = 1 << number
        of(table[number, :-far], table[number, far:], out=table[number + 1, :-far])
        table[number + 1, -far:] = table[number, -far:]
    return table


class _Last:
    """What was counted last: tracks often have their keys at the same instants, one after the other is drawn."""

    at_s: Floats = np.empty(0)
    edges: tuple[float, float, int] = (0.0, 0.0, 0)
    edge_s: Floats = np.empty(0)
    legs: Ints = np.empty(0, np.int64)
    keys: Ints = np.empty(0, np.int64)
    first = last = 0
    long: Bools | None = None
    looks: tuple[Ints, Ints, Ints] | None = None

    @classmethod
    def count(cls, at_s: Floats, edges: tuple[float, float, int], short_s: float) -> None:
        """Count which legs are in each column, and which of them are long; those before the first one count as it."""
        leg = _counted(at_s, edges)
        cls.at_s, cls.edges = at_s, edges
        cls.edge_s = (edges[0] + np.arange(edges[2] + 1.0)) * edges[1]
        cls.first, cls.last = max(0, int(leg[0])), min(len(at_s) - 1, int(leg[-1]) + 1)
        long = at_s[cls.first + 1 : cls.last + 1] - at_s[cls.first : cls.last] > short_s
        cls.long = long if long.any() else None
        cls.legs = np.minimum(np.maximum(leg, cls.first) - cls.first, cls.last - cls.first - 1)
        cls.keys = leg[1:] - leg[:-1]
        cls.looks = None

    @classmethod
    def pairs(cls) -> tuple[Ints, Ints, Ints]:
        """Return how far each column is looked at, as a power of two, and from which two legs on: see `Reaches`."""
        if cls.looks is None:
            legs = cls.legs + cls.first
            power = np.frexp((legs[1:] - legs[:-1] + 1).astype(np.float64))[1].astype(np.int64) - 1
            cls.looks = power, legs[:-1], legs[1:] + 1 - (1 << power)
        return cls.looks


def _counted(at_s: Floats, edges: tuple[float, float, int]) -> Ints:
    """Return the last key that is before each edge, -1 for none.

    What rounding puts on the wrong side of an edge by a hair belongs to the legs on both sides of it.
    """
    zero, step_s, count = edges
    first = int(at_s.searchsorted((zero - 1) * step_s, "left"))
    last = int(at_s.searchsorted((zero + count + 1) * step_s, "right"))
    column = _columns(at_s[first:last], edges)
    column += 1
    np.maximum(column, 0, out=column)
    np.minimum(column, count + 1, out=column)
    leg: Ints = np.cumsum(np.bincount(column, minlength=count + 2)[: count + 1])
    leg += first - 1
    return leg


def _long(shape: Shape, legs: tuple[int, Bools], edges: tuple[float, float, int], low: Floats, high: Floats) -> None:
    """Widen, in place, the columns by what the long legs among `legs` (the first one's number, which) reach in them."""
    first, long = legs
    edge_s = _Last.edge_s
    value = sampled(shape, edge_s)
    at_leg = np.clip(np.searchsorted(shape.at_s, edge_s, "right") - 1 - first, 0, len(long) - 1)
    there = long[at_leg[:-1]] | long[at_leg[1:]]
    least, most = np.minimum(value[:-1], value[1:]), np.maximum(value[:-1], value[1:])
    np.minimum(low, least, out=low, where=there)
    np.maximum(high, most, out=high, where=there)
    numbers = first + np.flatnonzero(long)
    for keys in (numbers, numbers + 1):
        _reach(low, high, _columns(shape.at_s[keys], edges), shape.value[keys])
    t_s, value = _beyond(shape, numbers, edges[1] * _LONG_PX, shape.runs[numbers])
    _reach(low, high, _columns(t_s, edges), value)


def _columns(t_s: Floats, edges: tuple[float, float, int]) -> Ints:
    """Return in which column each instant is: the same column of the curve wherever it is scrolled to."""
    whole = floor(edges[0])
    made: Ints = np.floor(t_s / edges[1] - (edges[0] - whole)).astype(np.int64) - whole
    return made


def _reach(low: Floats, high: Floats, columns: Ints, value: Floats) -> None:
    """Widen, in place, the columns by the values in them."""
    there = (columns >= 0) & (columns < len(low))
    np.minimum.at(low, columns[there], value[there])
    np.maximum.at(high, columns[there], value[there])


def _beyond(shape: Shape, legs: Ints, long_s: float, winding: Bools | None = None) -> tuple[Floats, Floats]:
    """Return where these legs, unless they are longer, go beyond both of their keys, and how far: exactly.

    Those that may wind on their way from key to key are sampled as well.
    """
    low, high = shape.low[legs], shape.high[legs]
    before, after = shape.value[legs], shape.value[legs + 1]
    tiny = 1e-9 * (1.0 + float(np.abs(before).max(initial=0.0)))
    over, under = high > np.maximum(before, after) + tiny, low < np.minimum(before, after) - tiny
    far = np.flatnonzero(over | under if winding is None else over | under | winding)
    if len(far):
        far = far[shape.at_s[legs[far] + 1] - shape.at_s[legs[far]] <= long_s]
    if not len(far):
        return np.empty(0), np.empty(0)
    legs = legs[far]
    part = (np.arange(_SAMPLES) + 0.5) / _SAMPLES
    t_s = shape.at_s[legs, None] + (shape.at_s[legs + 1] - shape.at_s[legs])[:, None] * part
    value = sampled(shape, t_s.ravel()).reshape(t_s.shape)
    row = np.flatnonzero(over[far])
    value[row, value[row].argmax(axis=1)] = np.maximum(value[row].max(axis=1), shape.high[legs[row]])
    row = np.flatnonzero(under[far])
    value[row, value[row].argmin(axis=1)] = np.minimum(value[row].min(axis=1), shape.low[legs[row]])
    return t_s.ravel(), value.ravel()


def evenly(shape: Shape, layout: Layout, step_px: float, inside: Sight | None = None) -> int:
    """Return how many lines each piece in sight gets if all get as many; 0 where that is too few, or too many.

    It is too few where a leg goes beyond its keys, since its peak may lie between; too many where pieces differ much.
    """
    begin_s, end_s = max(layout.begin_s, float(shape.at_s[0])), min(layout.end_s, float(shape.at_s[-1]))
    if len(shape.at_s) < 2 or begin_s >= end_s:
        return 0
    from_s, inside = shape.from_s, inside or sight(shape, layout)
    first = max(0, int(from_s.searchsorted(begin_s, "right")) - 1)
    last = int(from_s.searchsorted(end_s, "left"))
    if first >= last:
        return 0
    legs, keys = slice(inside.first, inside.last - 1), shape.value[inside.first : inside.last]
    tiny = 1e-9 * (1.0 + max(float(keys.max()), -float(keys.min())))
    before, after = keys[:-1], keys[1:]
    if (shape.high[legs] - np.maximum(before, after)).max() > tiny:
        return 0
    if (np.minimum(before, after) - shape.low[legs]).max() > tiny:
        return 0
    edge_s = from_s[first : last + 1]
    longest_s = float((edge_s[1:] - edge_s[:-1]).max()) if len(edge_s) > 1 else 0.0
    if last == len(from_s):
        longest_s = max(longest_s, float(shape.at_s[-1] - edge_s[-1]))
    count = max(2, ceil(longest_s * layout.px_a_s / step_px))
    most = _UNEVEN * (end_s - begin_s) * layout.px_a_s + 2 * count
    return 0 if count * (last - first) * step_px > most else count


def _by_pieces(shape: Shape, begin_s: float, end_s: float, count: int) -> tuple[Floats, Floats]:
    """Return instants and values along the curve, `count` in each piece.

    A jump is an upright line from where a piece ends to where the next one begins.
    """
    from_s = shape.from_s
    first = max(0, int(from_s.searchsorted(begin_s, "right")) - 1)
    last = int(from_s.searchsorted(end_s, "left"))
    ended_s = float(from_s[last]) if last < len(from_s) else float(shape.at_s[-1])
    edge_s = from_s[first:last]
    lasts_s = np.empty(last - first)
    np.subtract(edge_s[1:], edge_s[:-1], out=lasts_s[:-1])
    lasts_s[-1] = ended_s - edge_s[-1]
    since_s = (np.arange(count) / count)[:, None] * lasts_s  # piece beside piece: each step is one long row
    np.maximum(since_s[:, 0], begin_s - edge_s[0], out=since_s[:, 0])
    np.minimum(since_s[:, -1], end_s - edge_s[-1], out=since_s[:, -1])
    coeffs = shape.coeffs[:, first:last]
    inside = coeffs[0] * since_s
    for row in coeffs[1:-1]:
        inside += row
        inside *= since_s
    inside += coeffs[-1]
    t_s, value = np.empty(since_s.size + 1), np.empty(since_s.size + 1)
    value[:-1].reshape(-1, count)[:] = inside.T
    since_s += edge_s
    t_s[:-1].reshape(-1, count)[:] = since_s.T
    t_s[-1] = min(ended_s, end_s)
    value[-1] = sampled(shape, t_s[-1:])[0]
    return t_s, value


def _line(shape: Shape, layout: Layout, begin_s: float, end_s: float) -> tuple[Floats, Floats]:
    """Return instants and values along the curve: each pixel, each key, each peak beyond the keys of a leg."""
    first = max(0, int(shape.at_s.searchsorted(begin_s, "left")) - 1)
    last = min(len(shape.at_s), int(shape.at_s.searchsorted(end_s, "right")) + 1)
    first_px, last_px = layout.across(np.array((begin_s, end_s))).tolist()
    x = np.arange(np.floor(first_px) + 1, np.ceil(last_px))
    each_s = np.empty(len(x) + 2)
    each_s[0], each_s[-1] = begin_s, end_s
    each_s[1:-1] = (x - layout.zero_px) / layout.px_a_s
    more_s, more = _beyond(shape, np.arange(first, last - 1), _LONG_PX / layout.px_a_s)
    t_s = np.concatenate((each_s, shape.at_s[first:last], more_s))
    value = np.concatenate((sampled(shape, each_s), shape.value[first:last], more))
    # the keys just out of sight would lead the line far out: their legs end at the edge
    there = (t_s >= begin_s) & (t_s <= end_s)
    t_s, value = t_s[there], value[there]
    order = np.argsort(t_s, kind="stable")
    return t_s[order], value[order]
