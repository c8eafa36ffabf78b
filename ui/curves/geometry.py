"""How the speed, acceleration and jerk of one track are drawn: every peak in its pixel, every jump, what is over.

It refuses to know Qt, and to sample where a polynomial says exactly how far it goes.
"""

from dataclasses import dataclass
from math import ceil, log2
from typing import Literal

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from sequencer.motion.extremes import turning
from sequencer.motion.peaks import TOLERANCE
from sequencer.motion.shape import Shape

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Of = Literal["speed", "acceleration", "jerk"]
OF: tuple[Of, ...] = ("speed", "acceleration", "jerk")
JUMPING = ("position", "speed", "acceleration")

_ROOM = 1.25  # of the limit, that a strip shows at least
_OVER_PEAK = 1.12  # of the highest peak, that it shows as well
_STEPS = 4  # in which the scale doubles
_LEAST = 1e-9
_MOST = 4.0  # of the limit, that it shows at most: else the limit itself could not be seen
_HATCH_PX = 5
_STEP_PX = 2  # from one point of a line to the next, beside its bends
ALL = slice(None)
_DENSE = 1.5  # bends a pixel from which a curve is drawn as what each pixel holds


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """One derivative of a track, as asked of the motor.

    Shape: `coeffs` (K, P), local power basis about each piece's begin, highest power first; `at_s` and `value` (P, R),
    for each piece in order of time: where it begins, where it turns, and where it ends.
    """

    coeffs: Floats
    at_s: Floats
    value: Floats


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Courses:
    """Speed, acceleration and jerk of one track, and where something jumps.

    Shape: `begin_s` and `lasts_s` (P,), those of the pieces; `lowest` (P + 1,), the lowest of JUMPING that jumps at
    each end of a piece, past the last of them where nothing does. Unit: seconds from the project's start, as the move
    is written; the axis's own unit a second, and so on.
    `pieces` are those that differ from what they were in the shape `since`; without one, all may.
    """

    shape: Shape
    begin_s: Floats
    lasts_s: Floats
    of: tuple[Course, Course, Course]
    lowest: Ints
    since: Shape | None
    pieces: slice

    @property
    def limits(self) -> tuple[float, float, float]:
        axis = self.shape.axis
        return axis.speed, axis.acceleration, axis.jerk

    def at(self, number: int, t_s: Floats) -> Floats:
        """Return a derivative at instants: nothing outside the track, the later piece where two meet. Shape: (N,)."""
        value = np.zeros(len(t_s))
        if not len(self.begin_s):
            return value
        piece = np.searchsorted(self.begin_s, t_s, "right") - 1
        inside = (piece >= 0) & (t_s < self.begin_s[-1] + self.lasts_s[-1])
        piece = piece[inside]
        after_s, found = t_s[inside] - self.begin_s[piece], np.zeros(len(piece))
        for row in self.of[number].coeffs:
            found *= after_s
            found += row[piece]
        value[inside] = found
        return value

    def most(self, number: int) -> float:
        """Return the largest value at the edge of a strip that shows this derivative.

        It grows by steps, so that a strip stands still while a key is dragged.
        """
        limit = self.limits[number]
        value = self.of[number].value
        peak = max(float(value.max(initial=0.0)), -float(value.min(initial=0.0)))
        steps = max(0, ceil(_STEPS * log2(max(_LEAST, _OVER_PEAK * peak / (_ROOM * limit)))))
        return min(_ROOM * limit * 2 ** (steps / _STEPS), _MOST * limit)

    def jumps(self, number: int, begin_s: float, end_s: float) -> tuple[Floats, Ints]:
        """Return the instants in a stretch at which this derivative has no end, and what jumps there (of JUMPING)."""
        there = np.flatnonzero(self.lowest <= number)
        at_s = np.append(self.begin_s, self.shape.at_s[-1:])[there] if len(there) else np.empty(0)
        inside = (at_s >= begin_s) & (at_s <= end_s)
        return at_s[inside], self.lowest[there[inside]]


def courses(shape: Shape, before: Courses | None = None) -> Courses:
    """Return the derivatives of a track; pieces that are as they were in `before` are taken from there."""
    if before is not None and before.shape is shape:
        return before
    begin_s = shape.from_s
    lasts_s = np.diff(begin_s, append=shape.at_s[-1:]) if len(begin_s) else np.empty(0)
    since, pieces, lowest = None, slice(None), np.full(len(begin_s) + 1, len(JUMPING))
    if (
        before is not None
        and len(begin_s)
        and before.shape.pieces.shape == shape.pieces.shape
        and before.shape.axis is shape.axis
        and before.shape.speed == shape.speed
    ):
        changed = np.flatnonzero((before.shape.pieces != shape.pieces).any(axis=0) | (before.lasts_s != lasts_s))
        first, last = (int(changed[0]), int(changed[-1]) + 1) if len(changed) else (0, 0)
        since, pieces, lowest = before.shape, slice(first, last), before.lowest.copy()
    of = _of(shape, begin_s, lasts_s, None if since is None else before, pieces)
    if len(begin_s):
        ends = slice(0, len(lowest)) if since is None else slice(pieces.start, pieces.stop + 1)
        lowest[ends] = _lowest(shape, lasts_s, of, ends)
    return Courses(shape=shape, begin_s=begin_s, lasts_s=lasts_s, of=of, lowest=lowest, since=since, pieces=pieces)


def _of(
    shape: Shape, begin_s: Floats, lasts_s: Floats, before: Courses | None, pieces: slice
) -> tuple[Course, Course, Course]:
    """Return speed, acceleration and jerk; but for some pieces those of `before`, if there is one."""
    begin_s, lasts_s = begin_s[pieces], lasts_s[pieces]
    coeffs, found = _derived(shape.coeffs[:, pieces]) * float(shape.speed), []
    # an unknown from 0 to 1, so that long and short pieces are as exact
    powers = np.arange(len(coeffs) - 1, -1, -1.0)[:, None]
    turns = turning(coeffs * lasts_s**powers, orders=3)
    for number in range(3):
        if number:
            coeffs = _derived(coeffs) * float(shape.speed)
        after_s = np.sort(turns[number][0], axis=0) * lasts_s
        value = np.zeros_like(after_s)
        for row in coeffs:
            value *= after_s
            value += row
        own = Course(coeffs, np.ascontiguousarray((begin_s + after_s).T), np.ascontiguousarray(value.T))
        if before is not None:
            own = _put(before.of[number], own, pieces)
        found.append(own)
    return found[0], found[1], found[2]


def _put(whole: Course, part: Course, pieces: slice) -> Course:
    """Return a course with other pieces."""
    coeffs, at_s, value = whole.coeffs.copy(), whole.at_s.copy(), whole.value.copy()
    coeffs[:, pieces], at_s[pieces], value[pieces] = part.coeffs, part.at_s, part.value
    return Course(coeffs, at_s, value)


def _derived(coeffs: Floats) -> Floats:
    if len(coeffs) == 1:
        return np.zeros_like(coeffs)
    return coeffs[:-1] * np.arange(len(coeffs) - 1, 0, -1.0)[:, None]


def _lowest(shape: Shape, lasts_s: Floats, of: tuple[Course, Course, Course], ends: slice) -> Ints:
    """Return the lowest that jumps at some ends of pieces, by the measure of `motion.check`. Shape: (E,)."""
    # what comes before an end, and what after it
    before, after = slice(max(0, ends.start - 1), ends.stop - 1), slice(ends.start, min(ends.stop, len(lasts_s)))
    reached = np.zeros(before.stop - before.start)
    for row in shape.coeffs[:, before]:
        reached *= lasts_s[before]
        reached += row
    axis = shape.axis
    orders = (
        (shape.coeffs[-1, after], reached, (shape.value[0], shape.value[-1]), axis.speed),
        (of[0].value[after, 0], of[0].value[before, -1], (0.0, 0.0), axis.speed),
        (of[1].value[after, 0], of[1].value[before, -1], (0.0, 0.0), axis.acceleration),
    )
    lowest = np.full(ends.stop - ends.start, len(orders))
    for number, (first, last, rests, limit) in reversed(list(enumerate(orders))):
        behind = last if ends.start else np.concatenate(([rests[0]], last))
        ahead = first if ends.stop <= len(lasts_s) else np.append(first, rests[1])
        lowest[np.abs(ahead - behind) > TOLERANCE * limit] = number
    return lowest


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """A derivative over a stretch of time, for so many pixels.

    Shape: `low` and `high` (W,), exactly how far it goes in each pixel; `at_s` and `value` (V,), a line that has each
    of its bends, empty where there are more than the pixels can show.
    """

    low: Floats
    high: Floats
    at_s: Floats
    value: Floats

    def patched(self, part: "Seen", columns: slice, begin: int) -> "Seen":
        """Return it with some columns of another, which begins at column `begin`, and without a line."""
        low, high, own = self.low.copy(), self.high.copy(), slice(columns.start - begin, columns.stop - begin)
        low[columns], high[columns] = part.low[own], part.high[own]
        return Seen(low, high, self.at_s[:0], self.value[:0])


def seen(of: Courses, number: int, begin_s: float, end_s: float, width: int, columns: slice = ALL) -> Seen:
    """Return what one derivative is in a stretch of time that is `width` pixels wide, or in some columns of it.

    The first of the columns is an even one, and the last is there for its line only: what ends there is the next one's.
    """
    whole_s = np.linspace(begin_s, end_s, width + 1)
    course, bends_s = of.of[number], of.of[number].at_s.ravel()
    dense = np.searchsorted(bends_s, end_s, "right") - np.searchsorted(bends_s, begin_s, "left") > _DENSE * width
    first, last, _ = columns.indices(width)
    edge_s = whole_s[first : last + 1]
    begin_s, end_s, width = edge_s[0], edge_s[-1], last - first
    edge = of.at(number, edge_s)
    low, high = np.minimum(edge[:-1], edge[1:]), np.maximum(edge[:-1], edge[1:])
    if not len(of.begin_s):
        return Seen(low, high, edge_s[[0, -1]], edge[[0, -1]])
    inside = slice(np.searchsorted(bends_s, begin_s, "left"), np.searchsorted(bends_s, end_s, "right"))
    at_s, value = bends_s[inside], course.value.ravel()[inside]
    rests_s = np.array([of.begin_s[0], of.begin_s[-1] + of.lasts_s[-1]])
    rests_s = rests_s[(rests_s >= begin_s) & (rests_s <= end_s)]
    column = np.minimum(np.searchsorted(edge_s, rests_s, "right") - 1, width - 1)
    low[column], high[column] = np.minimum(low[column], 0.0), np.maximum(high[column], 0.0)
    if len(at_s):
        begins = np.searchsorted(at_s, edge_s[:-1], "left")
        filled = np.flatnonzero(np.diff(begins, append=len(at_s)) > 0)
        low[filled] = np.minimum(low[filled], np.minimum.reduceat(value, begins[filled]))
        high[filled] = np.maximum(high[filled], np.maximum.reduceat(value, begins[filled]))
    if dense:
        return Seen(low, high, at_s[:0], value[:0])
    # between two bends a curve is smooth: every other pixel will do
    every = np.append(np.arange(0, width, _STEP_PX), width)
    return Seen(low, high, *_line(of, at_s, value, edge_s[every], edge[every]))


def _line(of: Courses, at_s: Floats, value: Floats, edge_s: Floats, edge: Floats) -> tuple[Floats, Floats]:
    """Return the line through bends and edges; it stands upright where the axis starts or ends with a jump."""
    if not len(at_s):
        return edge_s, edge
    if at_s[0] == of.begin_s[0]:
        at_s, value = np.append(at_s[0], at_s), np.append(0.0, value)
    if at_s[-1] >= of.begin_s[-1] + of.lasts_s[-1]:
        at_s, value = np.append(at_s, at_s[-1]), np.append(value, 0.0)
    # an edge at the instant of a bend says nothing that the bend does not
    place = np.searchsorted(at_s, edge_s, "left")
    new = at_s[np.minimum(place, len(at_s) - 1)] != edge_s
    return np.insert(at_s, place[new], edge_s[new]), np.insert(value, place[new], edge[new])


@dataclass(frozen=True, slots=True)
class Over:
    """A row of pixels, `first` up to `last`, in which a limit is broken, most in pixel `worst`, by `value`."""

    first: int
    last: int
    worst: int
    value: float


def overs(of: Seen, limit: float, most: int = 6) -> list[Over]:
    """Return where the limit is broken either way, the worst first, `most` of them."""
    size = np.maximum(of.high, -of.low)
    broken = size > limit * (1 + TOLERANCE)
    edges = np.flatnonzero(np.diff(np.concatenate(([False], broken, [False])).astype(np.int8)))
    if not len(edges):
        return []
    peaks = np.maximum.reduceat(np.where(broken, size, 0.0), edges[::2])
    found = []
    for run in np.argsort(-peaks, kind="stable")[:most].tolist():
        first, last = edges[2 * run : 2 * run + 2].tolist()
        worst = first + int(size[first:last].argmax())
        high, low = float(of.high[worst]), float(of.low[worst])
        found.append(Over(first, last, worst, high if high >= -low else low))
    return found


def hatched(of: Seen, strip: "Strip", limit: float, column: int = 0) -> list[tuple[int, NDArray[np.uint8]]]:
    """Return what lies between a limit and the curve beyond it, as pictures: how far down each begins, and its pixels.

    `column` is the first one. Shape: rows and columns of pixels, 1 and in stripes 2 where the limit is broken, else 0;
    rows are padded to fours.
    """
    found = []
    top, end = round(strip.top_px), round(strip.top_px + strip.height_px)
    for way, reach in ((1, of.high), (-1, of.low)):
        if not (way * reach > limit * (1 + TOLERANCE)).any():
            continue
        base = round(strip.y_of(way * limit))
        far = np.rint(strip.y(reach)).astype(np.int16)
        first, last = (top, base) if way > 0 else (base, end)
        rows = np.arange(first, max(last, first + 1), dtype=np.int16)[:, None]
        beyond = rows >= far if way > 0 else rows < far
        # what is over by less than a pixel still shows
        beyond[-1 if way > 0 else 0] |= way * reach > limit * (1 + TOLERANCE)
        padded = np.zeros((len(rows), -(-len(reach) // 4) * 4), np.uint8)
        diagonal = np.arange(first + column, first + column + len(rows) + len(reach))
        stripes = (diagonal % _HATCH_PX == 0).astype(np.uint8) + np.uint8(1)
        padded[:, : len(reach)] = beyond * sliding_window_view(stripes, len(reach))[: len(rows)]
        found.append((first, padded))
    return found


def filled(of: Seen, strip: "Strip") -> tuple[int, NDArray[np.uint8]]:
    """Return each pixel column from its lowest to its highest as a picture: how far down it begins, and its pixels.

    Neighbours share a value, so that they touch. Shape: rows and columns of pixels; rows are padded to fours.
    """
    first, last = round(strip.top_px), round(strip.top_px + strip.height_px)
    rows = np.arange(first, last, dtype=np.int16)[:, None]
    high, low = (np.rint(strip.y(value) - 0.5).astype(np.int16) for value in (of.high, of.low))
    padded = np.zeros((len(rows), -(-len(high) // 4) * 4), np.uint8)
    padded[:, : len(high)] = (rows >= np.minimum(high, last - 1)) & (rows <= np.maximum(low, first))
    return first, padded


@dataclass(frozen=True, slots=True)
class Strip:
    """Where one derivative is drawn: zero in the middle, `most` at the edges."""

    number: int
    top_px: float
    height_px: float
    most: float

    def y(self, value: Floats) -> Floats:
        """Return how far down values are drawn; those beyond the strip at its edge."""
        share: Floats = np.clip(value / self.most, -1.0, 1.0)
        return self.top_px + self.height_px / 2 * (1 - share)

    def y_of(self, value: float) -> float:
        """Return how far down one value is drawn."""
        return self.top_px + self.height_px / 2 * (1 - min(1.0, max(-1.0, value / self.most)))


def strips(of: Courses, height_px: float) -> tuple[Strip, ...]:
    """Return the three strips that share a height."""
    each_px = height_px / 3
    return tuple(Strip(number, number * each_px, each_px, of.most(number)) for number in range(3))
