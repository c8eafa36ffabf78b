"""A camera head behind MAVLink, as its address and its axes say; and what of its messages becomes axes."""

from dataclasses import dataclass
from typing import Literal, get_args

from sequencer.adapters.asked import Asked
from sequencer.adapters.osc_links.place import Place, read_place
from sequencer.errors import LinkError
from sequencer.rig.axis import Rig
from sequencer.wire.gimbal import Attitude

EXAMPLE = "mavlink://192.168.1.20:14550 or mavlink+serial:/dev/ttyACM0?baud=57600"
Form = Literal["attitude", "pitchyaw"]
RETRACT, NEUTRAL, ROLL_LOCK, PITCH_LOCK, YAW_LOCK, IN_VEHICLE, IN_EARTH = (1 << bit for bit in range(7))
_KINDS = ("roll", "tilt", "pan")
# our pan counts to the left, MAVLink's yaw to the right; tilt up and roll clockwise are pitch up and roll to the right
_SIGNS = {"roll": 1.0, "tilt": 1.0, "pan": -1.0}


@dataclass(frozen=True, slots=True)
class Head:
    """Who is spoken to, by whom, and how.

    `own` and `manager` are system and component; `gimbal` is the device behind the manager, 0 for all of it; `camera`
    the component of the camera. `flags` go with every setpoint. `places` and `signs` are those of roll, tilt and pan
    in the axes' order; a place is None where there is no such axis.
    """

    place: Place
    form: Form
    own: tuple[int, int]
    manager: tuple[int, int]
    gimbal: int
    camera: int
    answers_hz: float
    rates: bool
    flags: int
    places: tuple[int | None, ...]
    signs: tuple[float, ...]

    @property
    def in_earth(self) -> bool:
        """Whether yaw counts from north, and not from the base that carries the head."""
        return bool(self.flags & IN_EARTH)

    def attitude(self, values: list[float]) -> Attitude:
        """Return the axes' values as an attitude; an axis that is not there is 0. It serves for rates as well."""
        return Attitude(
            *(
                0.0 if place is None else sign * values[place] + 0.0  # no zero below zero
                for place, sign in zip(self.places, self.signs, strict=True)
            )
        )

    def values(self, attitude: Attitude, count: int) -> list[float]:
        """Return the attitude as the values of `count` axes."""
        said = [0.0] * count
        angles = (attitude.roll, attitude.pitch, attitude.yaw)
        for angle, place, sign in zip(angles, self.places, self.signs, strict=True):
            if place is not None:
                said[place] = sign * angle + 0.0
        return said


def read_head(address: str, rig: Rig) -> Head:
    """Read the address, and see whether the axes are those of a head. Error: LinkError that says what is wrong."""
    asked = Asked(address, EXAMPLE)
    place = read_place(asked)
    form: Form = "pitchyaw" if asked.one_of("form", get_args(Form)) == "pitchyaw" else "attitude"
    own = (asked.whole("own", 255, 1, 255), asked.whole("own_component", 190, 1, 255))
    manager = (asked.whole("system", 1, 1, 255), asked.whole("component", 154, 1, 255))
    gimbal, camera = asked.whole("gimbal", 0, 0, 255), asked.whole("camera", 100, 1, 255)
    answers_hz = asked.number("answers_hz", 25, 1, 200)
    rates = asked.one_of("rates", ("yes", "no")) == "yes"
    reverse = [name for name in asked.option("reverse").split(",") if name]
    asked.done()
    for name in reverse:
        if name not in rig.names:
            raise asked.fault(f"says reverse={name}; its axes are {', '.join(rig.names)}")
    places = _places(rig, form)
    signs = tuple(
        _SIGNS[kind] * (-1.0 if at is not None and rig.axes[at].name in reverse else 1.0)
        for kind, at in zip(_KINDS, places, strict=True)
    )
    flags = _flags(rig, places)
    return Head(place, form, own, manager, gimbal, camera, answers_hz, rates, flags, places, signs)


def _places(rig: Rig, form: Form) -> tuple[int | None, ...]:
    """Return where roll, tilt and pan are among the axes. Error: LinkError for an axis that no head has."""
    for axis in rig.axes:
        if axis.kind not in _KINDS or axis.unit != "deg":
            raise LinkError(
                f"a MAVLink head has no axis {axis.name!r}, a {axis.kind} in {axis.unit}; it takes one pan, one tilt "
                f"and one roll in degrees: give that axis another output"
            )
        if [other.kind for other in rig.axes].count(axis.kind) > 1:
            raise LinkError(f"a MAVLink head takes one {axis.kind} only; give the other one another output")
        if form == "pitchyaw" and axis.kind == "roll":
            raise LinkError(f"form=pitchyaw says nothing of roll, so {axis.name!r} would stand; use form=attitude")
    kinds = [axis.kind for axis in rig.axes]
    return tuple(kinds.index(kind) if kind in kinds else None for kind in _KINDS)


def _flags(rig: Rig, places: tuple[int | None, ...]) -> int:
    """Return against what each angle counts. A head keeps its horizon and turns with its base if nobody said else."""
    roll, tilt, pan = (None if at is None else rig.axes[at].reference for at in places)
    flags = YAW_LOCK | IN_EARTH if pan == "world" else IN_VEHICLE
    return flags | (0 if roll == "base" else ROLL_LOCK) | (0 if tilt == "base" else PITCH_LOCK)
