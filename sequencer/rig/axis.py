"""The machine as its builder describes it: axes with their limits, and the camera that they carry.

An axis keeps its own unit everywhere: degrees, millimetres, or 0..1 for a lens motor. Speed is that unit a second,
acceleration a second squared, jerk a second cubed.
"""

import math
from dataclasses import dataclass, field
from typing import Literal, get_args

from sequencer.rig.geometry import Geometry, check_geometry
from sequencer.rig.lens_table import FocusTable, LensTable, ZoomTable, check_breathing, check_pupil
from sequencer.rig.limits import Combined, check_axes
from sequencer.rig.measured import Measured
from sequencer.rig.outlet import Outlet

AxisKind = Literal["pan", "tilt", "roll", "slide", "lift", "focus", "iris", "zoom"]
Unit = Literal["deg", "mm", "part"]
Reference = Literal["world", "base"]
End = Literal["low", "high"]
KINDS: tuple[AxisKind, ...] = get_args(AxisKind)
UNITS: tuple[Unit, ...] = get_args(Unit)
REFERENCES: tuple[Reference, ...] = get_args(Reference)
ENDS: tuple[End, ...] = get_args(End)
FARTHEST = 1e7  # millimetres or degrees, either way: 10 km, or 28,000 turns; no axis is anywhere beyond
# in the units of speed, acceleration and jerk: no motor is beyond, not even as a move sees it that is run at a
# millionth of its speed, by which a jerk counts a million times a million times a million times
_SLOWEST, _FASTEST = 1e-30, 1e30
BEYOND = 0.1  # of its travel: how far outside of it an axis may still run, to a switch that sits there


def is_place(value: float) -> bool:
    """Whether an axis can be there at all: a number, and not beyond what any machine reaches."""
    return abs(value) < FARTHEST


@dataclass(frozen=True, slots=True, kw_only=True)
class Simulated:
    """How the simulated rig's motor on this axis behaves.

    Unit: `lag_s` time constant of the following servo; `transport_s` from receipt of a setpoint to its effect;
    `noise` standard deviation of the measured position, in the axis's unit. `speed`, `acceleration` and `backlash` are
    what the motor truly has, where that is not what the axis's own fields say. `switch_at` is where its homing switch
    truly closes; without it there is none.
    """

    lag_s: float = 0.02
    transport_s: float = 0.005
    noise: float = 0.0
    speed: float | None = None
    acceleration: float | None = None
    backlash: float | None = None
    switch_at: float | None = None

    def __post_init__(self) -> None:
        if self.switch_at is not None and not math.isfinite(self.switch_at):
            raise ValueError(f"switch_at is {self.switch_at}; it must be a number")
        for name in ("lag_s", "transport_s", "noise", "backlash"):
            value = getattr(self, name)
            if value is not None and not (math.isfinite(value) and value >= 0):
                raise ValueError(f"{name} is {value}; it must be zero or more")
        for name in ("speed", "acceleration"):
            value = getattr(self, name)
            if value is not None and not (math.isfinite(value) and value > 0):
                raise ValueError(f"{name} is {value}; it must be above zero")


@dataclass(frozen=True, slots=True, kw_only=True)
class Homing:
    """The switch by which an axis learns where it stands: at position `at`, closed from there to the end of the way.

    Unit: `speed` is the axis's own unit a second, at which it goes `towards` that end to look for the switch.
    """

    towards: End
    speed: float
    at: float

    def __post_init__(self) -> None:
        if self.towards not in ENDS:
            raise ValueError(f"towards is {self.towards!r}; it must be one of {', '.join(ENDS)}")
        if not (math.isfinite(self.speed) and self.speed > 0):
            raise ValueError(f"speed is {self.speed}; it must be above zero")
        if not math.isfinite(self.at):
            raise ValueError(f"at is {self.at}; it must be a number")


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """One motor and its limits.

    `travel` is the soft limits (low, high), or None for an axis without end. `latency_s` is how long after a setpoint's
    due time the rig stands there: playback leads by it. `backlash` and `resolution` (one encoder step; 0 where it is
    finer than matters) are in the axis's unit. `home` is where the axis stands when nothing else is known.
    `measured` is what the rig itself has shown. `reference` says what the head takes setpoints against: the world, or
    the base that carries it; None where nobody said. `homing` is None for an axis without a switch.
    Error: ValueError naming the field, for limits that no motor has.
    """

    name: str
    kind: AxisKind
    unit: Unit
    travel: tuple[float, float] | None
    speed: float
    acceleration: float
    jerk: float
    latency_s: float = 0.0
    backlash: float = 0.0
    resolution: float = 0.0
    home: float = 0.0
    simulated: Simulated = field(default_factory=Simulated)
    measured: Measured | None = None
    reference: Reference | None = None
    homing: Homing | None = None

    def __post_init__(self) -> None:
        if not self.name or "/" in self.name or " " in self.name:
            raise ValueError(f"{self.name!r} is no name of an axis; write a word without spaces or slashes")
        if self.kind not in KINDS:
            raise ValueError(f"kind is {self.kind!r}; it must be one of {', '.join(KINDS)}")
        if self.unit not in UNITS:
            raise ValueError(f"unit is {self.unit!r}; it must be one of {', '.join(UNITS)}")
        for name in ("speed", "acceleration", "jerk"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value > 0):
                raise ValueError(f"{name} is {value}; it must be above zero")
            if not _SLOWEST <= value <= _FASTEST:
                raise ValueError(f"{name} is {value}, as of no motor; it must be from {_SLOWEST:.0e} to {_FASTEST:.0e}")
        for name in ("latency_s", "backlash", "resolution"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value >= 0):
                raise ValueError(f"{name} is {value}; it must be zero or more")
        self._check_places()
        if self.reference is not None and self.reference not in REFERENCES:
            raise ValueError(f"reference is {self.reference!r}; it must be one of {', '.join(REFERENCES)}")
        self._check_homing()

    def _check_places(self) -> None:
        if not is_place(self.home):
            raise ValueError(f"home is {self.home}; it must be a number below ten million either way")
        if self.travel is not None:
            low, high = self.travel
            if not low < high:
                raise ValueError(f"travel is [{low}, {high}]; the low end must be below the high end")
            if not (is_place(low) and is_place(high)):
                raise ValueError(f"travel is [{low}, {high}]; its ends must be below ten million either way")
            if not low <= self.home <= high:
                raise ValueError(f"home is {self.home}, outside travel [{low}, {high}]; give it a home inside")

    def _check_homing(self) -> None:
        if self.homing is None:
            if self.simulated.switch_at is not None:
                raise ValueError("simulated.switch_at is a homing switch; say in homing at which end it sits")
            return
        if self.travel is None:
            raise ValueError("homing goes towards an end of the travel, and it has none; leave homing out")
        low, high = self.travel
        room = BEYOND * (high - low)
        if not low - room <= self.homing.at <= high + room:
            raise ValueError(
                f"homing.at is {self.homing.at}, further than a tenth outside travel [{low}, {high}]; measure it again"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Camera:
    """Sensor, lens and distance, as far as they turn an axis's difference into pixels.

    `focal_mm` and `subject_m` hold where no motor's table says otherwise. `breathing` is by which factor the focal
    length changes with focus, `pupil` how many millimetres the entrance pupil lies ahead of the sensor plane.
    What nobody measured or said is None. Error: ValueError naming the field.
    """

    sensor_mm: tuple[float, float]
    pixels: tuple[int, int]
    focal_mm: float
    subject_m: float
    f_number: float | None = None
    circle_of_confusion_mm: float | None = None
    shutter_deg: float | None = None
    focus_table: FocusTable | None = None
    zoom_table: ZoomTable | None = None
    breathing: LensTable | None = None
    pupil: LensTable | None = None

    def __post_init__(self) -> None:
        for name, value in (
            ("sensor_mm", min(self.sensor_mm)),
            ("pixels", min(self.pixels)),
            ("focal_mm", self.focal_mm),
            ("subject_m", self.subject_m),
            ("f_number", self.f_number),
            ("circle_of_confusion_mm", self.circle_of_confusion_mm),
            ("shutter_deg", self.shutter_deg),
        ):
            if value is not None and not (math.isfinite(value) and value > 0):
                raise ValueError(f"{name} is {value:g}; it must be above zero")
        if self.shutter_deg is not None and self.shutter_deg > 360:
            raise ValueError(f"shutter_deg is {self.shutter_deg:g}; a shutter is open for 360 degrees at most")
        if self.breathing is not None:
            check_breathing(self.breathing)
        if self.pupil is not None:
            check_pupil(self.pupil)

    @property
    def usual_pupil_mm(self) -> float | None:
        """How far ahead of the sensor plane its table has the pupil at `focal_mm` and `subject_m`; None without one."""
        if self.pupil is None:
            return None
        # the table's distances count from the sensor plane, the subject's from the lens
        about_mm = float(self.pupil.at(self.focal_mm, self.subject_m))
        return float(self.pupil.at(self.focal_mm, self.subject_m + about_mm / 1000))


@dataclass(frozen=True, slots=True, kw_only=True)
class Rig:
    """The whole machine. The order of `axes` is the order of every array with an axis dimension.

    `combined` are the limits that tie axes together, beside each axis's own; `geometry` is what the axes do to the
    camera, for the views. `outlets` are the outputs by which they are reached; none for whatever the operator names.
    """

    name: str
    axes: tuple[Axis, ...]
    camera: Camera | None = None
    combined: tuple[Combined, ...] = ()
    geometry: Geometry = field(default_factory=Geometry)
    outlets: tuple[Outlet, ...] = ()

    def __post_init__(self) -> None:
        names = [axis.name for axis in self.axes]
        if not names:
            raise ValueError("the rig has no axis; describe one at least")
        for name in names:
            if names.count(name) > 1:
                raise ValueError(f"two axes are called {name!r}; give one another name")
        called = [limit.name for limit in self.combined]
        for limit in self.combined:
            if called.count(limit.name) > 1:
                raise ValueError(f"two combined limits are called {limit.name!r}; give one another name")
            check_axes(limit, self.travels)
        for outlet in self.outlets:
            for name in outlet.axes:
                self.index(name)
        kinds = {axis.name: axis.kind for axis in self.axes}
        check_geometry(self.geometry, kinds, None if self.camera is None else self.camera.usual_pupil_mm)

    @property
    def travels(self) -> dict[str, tuple[float, float] | None]:
        """The soft limits of each axis, by its name."""
        return {axis.name: axis.travel for axis in self.axes}

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(axis.name for axis in self.axes)

    def index(self, name: str) -> int:
        """Return the place of the axis `name` in arrays. Error: ValueError that lists the axes there are."""
        try:
            return self.names.index(name)
        except ValueError:
            raise ValueError(f"the rig has no axis {name!r}; it has {', '.join(self.names)}") from None
