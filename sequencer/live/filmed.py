"""A camera from elsewhere, put before the rig: in its world, on its timeline, and as the way of each of its axes.

It chooses no key. What the rig cannot do of it is left over, and said in `Way`.
"""

from dataclasses import dataclass, replace
from fractions import Fraction
from math import isfinite
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from sequencer.live.focused import Focused, focused
from sequencer.live.zoomed import zoomed
from sequencer.motion.reached import HEAD, base_axes, carried_to, head_axes, left, turned_to
from sequencer.rig.axis import Camera, Rig
from sequencer.rig.pose import READ_AS, pose, turned, unread
from sequencer.rig.reading import reading, sensor_from
from sequencer.timebase.rate import Rate

Floats = NDArray[np.float64]

Place = Literal["world", "start"]
ZOOM_NEAR = 1 / 5000  # of a focal length: how near a zoom is to keep to it where nobody says
_LITTLE_DEG = 1e-3
_ALIKE = 1e-3  # of a sensor's width or a focal length: less is the same one


class Filmed(Protocol):
    """A camera that moves, as a file has it. Shape, units: as in `export.found.FoundCamera`."""

    @property
    def name(self) -> str: ...
    @property
    def rate(self) -> Rate: ...
    @property
    def frames(self) -> Floats: ...
    @property
    def position_m(self) -> Floats: ...
    @property
    def matrix(self) -> Floats: ...
    @property
    def focal_mm(self) -> Floats: ...
    @property
    def focus_m(self) -> Floats: ...
    @property
    def sensor_mm(self) -> tuple[float, float] | None: ...
    @property
    def start(self) -> Fraction | None: ...


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Film:
    """A camera, or a part of one."""

    name: str
    rate: Rate
    frames: Floats
    position_m: Floats
    matrix: Floats
    focal_mm: Floats
    focus_m: Floats
    sensor_mm: tuple[float, float] | None = None
    start: Fraction | None = None


def part(film: Filmed, first: float, last: float) -> Film:
    """Return the samples from frame `first` up to frame `last`, as the file numbers them."""
    low, high = int(np.searchsorted(film.frames, first, "left")), int(np.searchsorted(film.frames, last, "right"))
    own = slice(low, high)
    start = film.start
    if start is not None and low < high:
        start += film.rate.seconds(Fraction(float(film.frames[low])) - Fraction(float(film.frames[0])))
    return Film(
        name=film.name,
        rate=film.rate,
        frames=film.frames[own],
        position_m=film.position_m[own],
        matrix=film.matrix[own],
        focal_mm=film.focal_mm[own],
        focus_m=film.focus_m[own],
        sensor_mm=film.sensor_mm,
        start=start,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Placing:
    """How the file's space becomes the rig's: scaled, then turned to the left about Z, then moved.

    `place`: as the world has it, or so that the camera's first position is where slides and lift stand at the start.
    """

    scale: float = 1.0
    turn_deg: float = 0.0
    place: Place = "world"

    def __post_init__(self) -> None:
        if not (isfinite(self.scale) and self.scale > 0):
            raise ValueError(f"the scale is {self.scale:g}; it must be above zero, as 1/6 for a miniature at 1:6")
        if not isfinite(self.turn_deg):
            raise ValueError(f"the turn is {self.turn_deg}; it must be a number of degrees")


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Way:
    """Where the axes go for a camera, at each of its samples, and what the rig leaves over.

    Shape: `at_s` (N,), rising; `positions` (N, A); `off_m` (N, 3), `off_deg` (N,), wished less reached. `driven` are
    the axes that go there, each with how near it is to keep to its way where that follows from the lens, else None.
    """

    at_s: Floats
    positions: Floats
    driven: tuple[tuple[str, float | None], ...]
    off_m: Floats
    off_deg: Floats
    remarks: tuple[str, ...]


def way(rig: Rig, film: Filmed, at_s: Floats, others: Floats, placing: Placing, within_deg: float) -> Way:
    """Return the way of each axis for the camera. Axes that it says nothing of stay as `others` has them.

    Shape: `at_s` (N,), when each sample is due on the timeline; `others` (N, A), where the axes stand there now.
    """
    aside = turned(np.array([placing.turn_deg, 0.0, 0.0]))
    matrix, position_m = aside @ film.matrix, placing.scale * film.position_m @ aside.T
    at, lenses, remarks = _lens(rig, film, others.copy(), placing.scale)
    at = turned_to(rig, matrix, at, within_deg)
    if placing.place == "start":
        position_m = position_m - position_m[0] + pose(rig, at[0]).position
    at = carried_to(rig, position_m, at)
    over = left(rig, at, position_m, matrix)
    own = [place for place in head_axes(rig) if place is not None] + list(base_axes(rig))
    driven = {rig.axes[place].name: None for place in own} | {one.axis: one.within for one in lenses}
    for name, unit, needed in unread(rig):
        remarks.append(f"{name} counts {unit}; to be read as a camera's it needs {needed}, so it stays as it is")
    for axis in rig.axes:
        if axis.name not in driven and axis.unit == READ_AS.get(axis.kind):
            remarks.append(f"{axis.name} stays as it is: another axis does the same")
    gone = [kind for kind, place in zip(HEAD, head_axes(rig), strict=True) if place is None]
    if gone and over.off_deg.max() > _LITTLE_DEG:
        remarks.append(f"the rig has no {' and no '.join(gone)} in deg")
    ordered = tuple((axis.name, driven[axis.name]) for axis in rig.axes if axis.name in driven)
    return Way(at_s=at_s, positions=at, driven=ordered, off_m=over.off_m, off_deg=over.off_deg, remarks=tuple(remarks))


def only(rig: Rig, one: Way, names: tuple[str, ...], others: Floats) -> Way:
    """Return the way of some axes alone; others stay as they are. What is left over is as it was."""
    keep = [axis.name in names for axis in rig.axes]
    driven = tuple(each for each in one.driven if each[0] in names)
    return replace(one, driven=driven, positions=np.where(keep, one.positions, others))


def _lens(rig: Rig, film: Filmed, at: Floats, scale: float) -> tuple[Floats, list[Focused], list[str]]:
    """Return the positions with zoom and focus, what these keep to, and what is to be said of the lens."""
    found: list[Focused] = []
    remarks: list[str] = []
    ahead_m = np.where(film.focus_m > 0, film.focus_m, np.nan) * scale
    focal_mm, words = _framed(rig.camera, film)
    remarks += words
    missing = [_missing(what, values) for what, values in (("focal length", focal_mm), ("focus", ahead_m))]
    zoom, focus = (_has(rig, kind) for kind in ("zoom", "focus"))
    if missing[0] is None and zoom:
        _taken(rig, zoomed(rig, focal_mm, ahead_m, ZOOM_NEAR), at, found, remarks)
    elif missing[0] is not None:
        remarks.append(missing[0] + (f"; {zoom} is left as it was" if zoom else ""))
    elif rig.camera is not None and float(np.abs(focal_mm / rig.camera.focal_mm - 1).max()) > _ALIKE:
        asked = _between(focal_mm, "mm")
        remarks.append(
            f"it takes a lens of {asked}, and the camera here has {rig.camera.focal_mm:g} mm and no zoom: "
            "the picture shows more or less than planned"
        )
    if focus and missing[1] is None:
        _taken(rig, _focus(rig, ahead_m, at), at, found, remarks)
    elif focus and missing[1] is not None:
        remarks.append(f"{missing[1]}; {focus} is left as it was")
    return at, found, remarks


def _framed(camera: Camera | None, film: Filmed) -> tuple[Floats, list[str]]:
    """Return the focal lengths that show as much on the sensor here, and what was done for it."""
    focal_mm = np.where(film.focal_mm > 0, film.focal_mm, np.nan)
    if camera is None or film.sensor_mm is None or not np.isfinite(focal_mm).any():
        return focal_mm, []
    there, here = film.sensor_mm[0], camera.sensor_mm[0]
    if abs(there / here - 1) <= _ALIKE:
        return focal_mm, []
    what = f"its sensor is {there:g} mm wide and the one here {here:g} mm"
    return focal_mm * (here / there), [f"{what}: focal lengths are taken by {here / there:.4g}, to show as much across"]


def _missing(what: str, values: Floats) -> str | None:
    """Say that the file does not say a value, everywhere or in places; None where it always does."""
    gone = int(np.isnan(values).sum())
    if not gone:
        return None
    return f"it says no {what}" if gone == len(values) else f"it says no {what} in {gone} of its {len(values)} samples"


def _has(rig: Rig, kind: str) -> str:
    return next((axis.name for axis in rig.axes if axis.kind == kind), "")


def _between(values: Floats, unit: str) -> str:
    low, high = float(values.min()), float(values.max())
    return f"{low:.4g} {unit}" if high - low <= _ALIKE * high else f"{low:.4g} to {high:.4g} {unit}"


def _focus(rig: Rig, ahead_m: Floats, at: Floats) -> Focused | str:
    camera = rig.camera
    if np.isinf(ahead_m).any() and (camera is None or camera.focus_table is None):
        name = _has(rig, "focus")
        return f"it is focused at infinity, and without a focus_table of the camera {name} is left as it was"
    if camera is not None and camera.pupil is not None:
        ahead_m = sensor_from(camera.pupil, reading(camera, rig, at).marked_mm, ahead_m)
    return focused(rig, at, ahead_m)


def _taken(rig: Rig, one: Focused | str, at: Floats, found: list[Focused], remarks: list[str]) -> None:
    """Set the positions of a lens motor, in place, or say why it has none."""
    if isinstance(one, str):
        remarks += [one] if one else []
        return
    at[:, rig.index(one.axis)] = one.position
    # at the very end of a scale, infinity, nothing is as near as a part of the distance
    found.append(one if one.within > 0 else replace(one, within=_within(rig, one)))


def _within(rig: Rig, one: Focused) -> float:
    travel = rig.axes[rig.index(one.axis)].travel
    return (travel[1] - travel[0]) / 1000 if travel else 1e-3
