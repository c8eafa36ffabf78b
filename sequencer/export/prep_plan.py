"""The keep-clear area from above, drawn to scale in black on white: forward is up, a metre as wide as it is tall."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Polygon, Rectangle
from numpy.typing import NDArray

from sequencer.export.drawn import WIDTH_IN, Plot
from sequencer.export.prep import Place, Prep, Stand

Floats = NDArray[np.float64]

_SCALES = (1, 2, 5, 10, 20, 25, 50, 100, 200, 250, 500, 1000, 2000, 5000)
_INCH_M = 0.0254
_HIGHEST_IN, _LOWEST_IN = 5.6, 2.6
_EDGE_IN = 0.28
_BELOW_IN = 0.42  # for the scale bar
_NEAR_M, _NEAR = 5.0, 2.0  # how far around the area things are drawn: in metres, or in radii of it
_TEXT_PT, _WIDE = 7.5, 0.62  # how wide a letter is about, in parts of its height
_GREY = "#e2e2e2"


@dataclass(frozen=True, slots=True)
class View:
    """What is drawn: from `low`, at one to `scale`, as tall as `height_in`. Unit: metres, inches."""

    low: Floats
    scale: int
    height_in: float

    @property
    def high(self) -> Floats:
        return self.low + np.array([WIDTH_IN, self.height_in]) * _INCH_M * self.scale


def plan(prep: Prep) -> Plot:
    """Return the plan, to be printed at its size."""
    view = fitted(prep)

    def draw(figure: Figure) -> None:
        axes = figure.add_axes((0, 0, 1, 1))
        axes.set_axis_off()
        axes.set_xlim(view.low[0], view.high[0])
        axes.set_ylim(view.low[1], view.high[1])
        _grid(axes, view)
        _area(axes, prep)
        for stand, name in ((prep.start, "start"), (prep.end, "end")):
            _stand(axes, view, stand, filled=name == "start")
        for place in prep.places:
            _place(axes, view, place)
        _names(_Labels(axes, view), prep, [place for place in prep.places if _seen(view, place)])
        _scale_bar(axes, view)

    inside = [one.name for one in prep.places if one.inside]
    what = f"{prep.swept.area_m2:.2f} m² to be kept clear" if prep.reach_m is not None else "the way of the rig alone"
    alt = f"From above, at 1:{view.scale}: {what}; within it: {', '.join(inside) or 'nobody and nothing'}"
    return Plot(draw=draw, height_in=view.height_in, alt=alt, to_scale=True)


def fitted(prep: Prep) -> View:
    """Return the view in which the area, and who and what is near to it, is in sight at a usual scale."""
    low, high = prep.swept.bounds
    middle, around = (low + high) / 2, float(np.linalg.norm(high - low)) / 2
    near = around + max(_NEAR_M, _NEAR * around)
    points = [low, high]
    for place in prep.places:
        for point in place.outline:
            if np.linalg.norm(point - middle) <= near:
                points += [point - place.radius_m, point + place.radius_m]
    least, most = np.min(points, axis=0), np.max(points, axis=0)
    room = np.array([WIDTH_IN - 2 * _EDGE_IN, _HIGHEST_IN - 2 * _EDGE_IN - _BELOW_IN])
    size_in = (most - least) / _INCH_M
    scale = next((one for one in _SCALES if bool((size_in <= room * one).all())), _SCALES[-1])
    height = float(np.clip(size_in[1] / scale + 2 * _EDGE_IN + _BELOW_IN, _LOWEST_IN, _HIGHEST_IN))
    centre = (least + most) / 2
    half = np.array([WIDTH_IN, height - _BELOW_IN]) / 2 * _INCH_M * scale
    return View(centre - half - np.array([0.0, _BELOW_IN * _INCH_M * scale]), scale, height)


def hidden(prep: Prep) -> tuple[str, ...]:
    """Return who and what stands beyond the edges of the plan."""
    view = fitted(prep)
    return tuple(one.name for one in prep.places if not _seen(view, one))


def _seen(view: View, place: Place) -> bool:
    """Return whether a place is drawn: a person whole, of a box at least a part."""
    low, high = place.outline.min(axis=0), place.outline.max(axis=0)
    if place.person:
        low, high = high + place.radius_m, low - place.radius_m
    return bool((high > view.low).all() and (low < view.high).all())


def _grid(axes: Axes, view: View) -> None:
    step = _round_m(view, 0.35)
    for at in np.arange(math.ceil(view.low[0] / step) * step, view.high[0], step):
        axes.axvline(float(at), color="#ececec", linewidth=0.5, zorder=0)
    for at in np.arange(math.ceil(view.low[1] / step) * step, view.high[1], step):
        axes.axhline(float(at), color="#ececec", linewidth=0.5, zorder=0)


def _area(axes: Axes, prep: Prep) -> None:
    if prep.reach_m is not None:
        axes.add_patch(Polygon(prep.swept.outline(), closed=True, facecolor=_GREY, edgecolor="black", linewidth=1.8))
    if len(prep.swept.corners) > 1:
        axes.add_patch(Polygon(prep.swept.corners, closed=True, fill=False, linestyle=":", linewidth=0.8))
    for path in prep.paths:
        axes.plot(path[:, 0], path[:, 1], color="black", linewidth=1.4, solid_capstyle="round", zorder=3)


def _stand(axes: Axes, view: View, stand: Stand, *, filled: bool) -> None:
    """Draw where the pivot stands, and an arrow to where the camera looks."""
    length = 0.32 * _INCH_M * view.scale
    tip = stand.at + stand.forward * length
    style: dict[str, Any] = {"arrowstyle": "-|>", "color": "black", "linewidth": 1.0, "shrinkA": 0, "shrinkB": 0}
    if np.linalg.norm(tip - stand.at) > 0.05 * length:
        axes.annotate("", xy=tuple(tip), xytext=tuple(stand.at), arrowprops=style, zorder=4)
    marker, face = ("o", "black") if filled else ("s", "white")
    axes.plot(*stand.at, marker, markersize=5, markerfacecolor=face, markeredgecolor="black", zorder=5)


def _place(axes: Axes, view: View, place: Place) -> None:
    if not _seen(view, place):
        return
    width = 1.8 if place.inside else 0.8
    if place.person:
        face = "black" if place.inside else "white"
        spot = tuple(place.outline[0])
        axes.add_patch(Circle(spot, place.radius_m, facecolor=face, edgecolor="black", linewidth=width, zorder=4))
        return
    axes.add_patch(Polygon(place.outline, closed=True, fill=False, edgecolor="black", linewidth=width, zorder=2))


def _names(labels: "_Labels", prep: Prep, places: Sequence[Place]) -> None:
    """Write what stands where: who and what is within the area first, since it must be read."""
    for path in prep.paths:
        labels.keep_free(path.min(axis=0), path.max(axis=0))
    labels.keep_free(prep.swept.corners.min(axis=0), prep.swept.corners.max(axis=0))
    things = []
    for place in sorted(places, key=lambda one: (not one.inside, not one.person)):
        low, high = place.outline.min(axis=0) - place.radius_m, place.outline.max(axis=0) + place.radius_m
        labels.keep_free(low, high)
        things.append((low, high, place))
    for low, high, place in things:
        labels.put(low, high, f"{place.name}: WITHIN" if place.inside else place.name, bold=place.inside)
    start, end = prep.start.at, prep.end.at
    if np.linalg.norm(start - end) < labels.near_m:
        labels.put(np.minimum(start, end), np.maximum(start, end), "start and end", below=True)
        return
    labels.put(start, start, "start", below=True)
    labels.put(end, end, "end", below=True)


class _Labels:
    """Puts names beside what they are of, each where none of the others is; where there is no room, on top."""

    def __init__(self, axes: Axes, view: View) -> None:
        self._axes, self._view = axes, view
        self._point_m = _INCH_M * view.scale / 72
        self._taken: list[tuple[float, float, float, float]] = []

    @property
    def near_m(self) -> float:
        """How near two places are that one name does for."""
        return 12 * self._point_m

    def keep_free(self, low: Floats, high: Floats) -> None:
        """Put no name there, if it can be helped."""
        more = 1.5 * self._point_m
        self._taken.append((low[0] - more, low[1] - more, high[0] + more, high[1] + more))

    def put(self, low: Floats, high: Floats, text: str, *, bold: bool = False, below: bool = False) -> None:
        """Write the name of what lies from `low` to `high` beside it, or `below`; of what is out of sight, none."""
        view = self._view
        if bool((high < view.low).any() or (low > view.high).any()):
            return
        low, high = np.maximum(low, view.low), np.minimum(high, view.high)
        middle = (low + high) / 2
        wide = len(text) * _WIDE * _TEXT_PT * self._point_m * (1.15 if bold else 1.0)
        tall, gap = _TEXT_PT * 1.25 * self._point_m, 3 * self._point_m
        across = {1: high[0] + gap, 0: middle[0] - wide / 2, -1: low[0] - gap - wide}
        along = {1: high[1] + gap, 0: middle[1] - tall / 2, -1: low[1] - gap - tall}
        ways = [(1, 0), (0, -1), (0, 1), (-1, 0), (1, 1), (1, -1), (-1, 1), (-1, -1)]
        if below:  # and to the right, along what lies there
            across[0], along[-1] = low[0] - gap, along[-1] - gap
            ways = [ways[1], ways[2], *ways]
        spots = [(across[x], along[y]) for x, y in ways]
        spots += [(x, y - far * tall) for far in (1, -1, 2, -2) for x, y in spots[:4]]
        boxes = [(x, y, x + wide, y + tall) for x, y in spots]
        best = min(boxes, key=self._cost)
        self._taken.append(best)
        style: dict[str, Any] = {"fontsize": _TEXT_PT, "fontweight": "bold" if bold else "normal", "va": "center"}
        self._axes.text(best[0], (best[1] + best[3]) / 2, text, zorder=6, clip_on=True, **style)

    def _cost(self, box: tuple[float, float, float, float]) -> float:
        view = self._view
        bar_m = view.low[1] + _BELOW_IN * _INCH_M * view.scale
        kept = box[0] >= view.low[0] and box[2] <= view.high[0] and box[1] >= bar_m and box[3] <= view.high[1]
        beyond = 0.0 if kept else (box[2] - box[0]) * (box[3] - box[1])
        return sum(_overlap(box, other) for other in self._taken) + beyond


def _overlap(one: tuple[float, float, float, float], other: tuple[float, float, float, float]) -> float:
    wide = min(one[2], other[2]) - max(one[0], other[0])
    tall = min(one[3], other[3]) - max(one[1], other[1])
    return wide * tall if wide > 0 and tall > 0 else 0.0


def _scale_bar(axes: Axes, view: View) -> None:
    """Draw the bar, white behind it, with the way that is forward and the scale in words."""
    inch = _INCH_M * view.scale
    left, low = view.low[0] + _EDGE_IN * inch, view.low[1] + 0.2 * inch
    axes.add_patch(
        Rectangle(tuple(view.low), WIDTH_IN * inch, _BELOW_IN * inch, facecolor="white", edgecolor="none", zorder=7)
    )
    length = _round_m(view, 1.0)
    for part in range(4):
        face = "black" if part % 2 == 0 else "white"
        corner = (left + part * length / 4, low)
        axes.add_patch(
            Rectangle(corner, length / 4, 0.06 * inch, facecolor=face, edgecolor="black", linewidth=0.6, zorder=8)
        )
    lines = (
        f"{_metres(length)}; 1:{view.scale} where it is printed at full size; grid {_metres(_round_m(view, 0.35))}",
        "up is forward (pan at zero); arrows: where the camera looks",
    )
    for line, words in enumerate(lines):
        height = low + (0.1 - 0.14 * line) * inch
        axes.text(left + length + 0.12 * inch, height, words, fontsize=_TEXT_PT - 0.5, va="center", zorder=8)


def _metres(length: float) -> str:
    return f"{length:g} m" if length >= 1 else f"{length * 100:g} cm"


def _round_m(view: View, least_in: float) -> float:
    """Return the shortest round length that is so long on the paper."""
    least = least_in * _INCH_M * view.scale
    power = 10.0 ** math.floor(math.log10(least))
    return float(next(round(part * power, 9) for part in (1, 2, 5, 10) if part * power >= least * 0.999))
