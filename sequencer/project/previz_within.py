"""How near the axes are to keep to a camera from elsewhere: by axis, by unit, or in pixels on the sensor."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import hypot, isfinite

from sequencer.errors import ProjectError
from sequencer.live.filmed import ZOOM_NEAR
from sequencer.project.performance import tolerance_of
from sequencer.rig.axis import UNITS, Axis, Rig, Unit
from sequencer.takes.pixels import moves_picture

_UNIT = re.compile(rf"([0-9.eE+-]+?)\s*({'|'.join(UNITS)})", re.ASCII)
_USUAL_PX = 1.0
_USUAL: dict[Unit, float] = {"deg": 0.02, "mm": 0.5, "part": 0.001}


@dataclass(frozen=True, slots=True, kw_only=True)
class Within:
    """What is asked for: of axes by name, of all of a unit, or in pixels. An axis by its name comes first.

    Where nothing is said it is a pixel, and without a camera what is usual for the unit.
    Error: ValueError for what is not above zero.
    """

    axes: tuple[tuple[str, float], ...] = ()
    units: tuple[tuple[Unit, float], ...] = ()
    px: float | None = None

    def __post_init__(self) -> None:
        for value in (*dict(self.axes).values(), *dict(self.units).values(), *(() if self.px is None else (self.px,))):
            if not (isfinite(value) and value > 0):
                raise ValueError(f"a camera cannot be kept to within {value:g}; give a distance above zero")

    def pixels(self, rig: Rig) -> float | None:
        """Return within how many pixels the picture is to stay; None where nothing in pixels counts."""
        if self.px is not None:
            return self.px
        return _USUAL_PX if rig.camera is not None and not self.units and not self.axes else None

    def counts(self, rig: Rig, name: str) -> bool:
        """Tell whether the axis's tolerance comes from pixels."""
        axis = rig.axes[rig.index(name)]
        shifts = moves_picture(axis.kind, axis.unit) or axis.kind == "zoom"
        return self.pixels(rig) is not None and shifts and name not in dict(self.axes)


def within_of(given: Sequence[str], px: float | None = None) -> Within:
    """Return what is asked for in text: `0.02deg`, `0.5mm`, `0.001part` or `AXIS=0.02`. Error: ValueError."""
    axes: list[tuple[str, float]] = []
    units: list[tuple[Unit, float]] = []
    for text in given:
        name, between, value = text.partition("=")
        found = _UNIT.fullmatch(text.strip())
        try:
            if between and name.strip():
                axes.append((name.strip(), float(value)))
                continue
            if found is not None:
                units.append((next(unit for unit in UNITS if unit == found[2]), float(found[1])))
                continue
        except ValueError:
            pass
        raise ValueError(f"{text!r} is no tolerance; write 0.02deg, 0.5mm, 0.001part or AXIS=0.02")
    return Within(axes=tuple(axes), units=tuple(units), px=px)


def tolerances(rig: Rig, driven: Iterable[tuple[str, float | None]], asked: Within) -> dict[str, float]:
    """Return the tolerance of each axis; `driven` says how near a lens motor should keep, None for others.

    Unit: each axis's own. Error: ProjectError for a name that the rig does not have, and pixels that mean nothing.
    """
    for name, _ in asked.axes:
        if name not in rig.names:
            mend = f"its axes are {', '.join(rig.names)}"
            raise ProjectError("--within", f"the rig has no axis {name!r}", mend, file="command line")
    if asked.px is not None and rig.camera is None:
        what = "the rig's camera is not described, so nothing is known of pixels"
        raise ProjectError("camera", what, "describe it, or give --within 0.02deg", file="rig.json")
    return {name: _one(rig, rig.axes[rig.index(name)], keeps, asked) for name, keeps in driven}


def _one(rig: Rig, axis: Axis, keeps: float | None, asked: Within) -> float:
    own, pixels = dict(asked.axes).get(axis.name), asked.pixels(rig)
    if own is not None:
        return own
    if asked.counts(rig, axis.name) and pixels is not None and rig.camera is not None:
        if keeps is None:
            return tolerance_of(rig, axis, pixels)
        # a focal length that is off by a part moves the corner of the frame by that part of the way to it
        return keeps / ZOOM_NEAR * pixels / (hypot(*rig.camera.pixels) / 2)
    unit = dict(asked.units).get(axis.unit)
    if keeps is not None:
        return keeps if unit is None or axis.unit != "part" else unit
    return _USUAL[axis.unit] if unit is None else unit
