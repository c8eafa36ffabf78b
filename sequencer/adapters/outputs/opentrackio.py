"""Live tracking data for LED walls and keyers: poses of the move, over UDP; it drives nothing.

Address: `opentrackio://HOST:PORT` to one machine, `opentrackio:` to the standard's multicast group of the source's
number, 239.135.1.SOURCE port 55555 (IPv4). Options: `source=1..200` (1), `form=json|cbor` (json; cbor needs the extra
`opentrackio`), `tai_utc=SECONDS` (37: what PTP time is ahead of this machine's; 0 where receivers count time of day),
`by=ADDRESS` (multicast: the network card that has it).

What goes out: a sample for each setpoint set, of the instant at which it is due; with the first and once a second what
seldom changes (sensor, name). It says where the setpoints put the camera, not where it was measured, and its status
says so. The pose is that of `rig.pose`, which has the standard's axes and signs: metres, X right, Y forward, Z up; pan
to the left, tilt up, roll clockwise, in this order. The entrance pupil's own place is the origin of the pose, so its
offset is 0, and the distance in focus counts from it, 10 km where it is infinite. The focal length is the true one at
that focus. Both are what `rig.reading` has by the camera's tables, or by motors in mm; who has neither is not told.
Motors in parts, the iris too, are encoders, in the direction that the axis has. Timecode is the frame that the timeline
is in; none where no clock says. The rate is that of the last two samples. Nothing comes in; a stop is nothing to it,
and triggers do not go out.
Source: OpenTrackIO 1.0.1 (SMPTE RIS-OSVP); what `wire.opentrackio` says. TAI is 37 s ahead of UTC since 2017 (memory).
"""

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from uuid import UUID

import msgspec
import numpy as np

from sequencer.adapters import wallclock
from sequencer.adapters.asked import Asked
from sequencer.adapters.contract import Carries, LinkState, Output, OutputKind
from sequencer.adapters.datagrams import Datagrams, to_groups, to_machine
from sequencer.adapters.identity import identity
from sequencer.errors import LinkError
from sequencer.rig.axis import Rig
from sequencer.rig.lens import FAR_M
from sequencer.rig.pose import stood, turned, unread
from sequencer.rig.reading import Guess, reading
from sequencer.rig.signals import Feedback, Floats, Setpoint, Trigger
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Timebase
from sequencer.wire import opentrackio as wire
from sequencer.wire.timetag import WallOffset

_EXAMPLE = "opentrackio://192.0.2.20:55555?form=json or opentrackio:?source=1"
_STATUS = "setpoints, not measured"
_FORMS: tuple[wire.Form, ...] = ("json", "cbor")
_TAI_UTC_S = 37
_MEASURE_EVERY_NS = 1_000_000_000
_BILLION = 1_000_000_000
_SAME_RATE = Fraction(1, 5000)  # a fifth of what 24 and 24000/1001 differ by
_APART_US = 10_000_000  # samples further apart than this are no stream with a rate
_WITHIN = 1e-6  # of a frame: as near as this before a frame, the timeline is in it
_ENCODED = ("focus", "iris", "zoom")


@dataclass(frozen=True, slots=True)
class Address:
    """What an address says; `host` is empty for the multicast group."""

    host: str
    port: int
    source: int = 1
    form: wire.Form = "json"
    tai_utc_s: int = _TAI_UTC_S
    by: str = ""


def parse_address(text: str) -> Address:
    """Read an address. Error: LinkError that says which part is wrong."""
    asked = Asked(text, _EXAMPLE)
    host, port = ("", wire.PORT) if not asked.network and not asked.place else asked.host_port()
    form = asked.one_of("form", _FORMS)
    read = Address(
        host,
        port,
        asked.whole("source", 1, *wire.SOURCES),
        "cbor" if form == "cbor" else "json",
        asked.whole("tai_utc", _TAI_UTC_S, 0, 100),
        asked.option("by"),
    )
    asked.done()
    if host and read.by:
        raise asked.fault("says by, which is for the multicast group only; leave it out")
    return read


def _encoder(form: wire.Form) -> Callable[[object], bytes]:
    """Return what writes a sample. Error: LinkError where it is not installed."""
    if form == "json":
        return msgspec.json.Encoder().encode
    try:
        import cbor2
    except ImportError as fault:
        raise LinkError(
            "form=cbor needs a package that is not here; pip install 'twintake[opentrackio]', or take form=json"
        ) from fault
    return cbor2.dumps


class OpenTrackIOOutput:
    """The open stream of one source."""

    def __init__(self, port: Datagrams, address: Address, rig: Rig, timebase: Timebase) -> None:
        self._port, self._address, self._rig, self._timebase = port, address, rig, timebase
        self._group = None if address.host else (wire.group(address.source), address.port)
        self._encode = _encoder(address.form)
        self._offset = WallOffset(*wallclock.measure())
        source = identity(rig.name, "opentrackio", str(address.source))
        self._source_id = source.urn
        self._samples = _series(source, self._offset.at_ns + self._offset.offset_ns)
        self._placed, self._turned = _affine(rig)
        self._told = _told(rig)
        self._mounted_m = tuple(each / 1000 for each in rig.geometry.mounted_mm)
        self._carried = any(self._mounted_m) or (rig.camera is not None and rig.camera.pupil is not None)
        self._static = _static(rig)
        self._number = self._sequence = 0
        self._last_ns: int | None = None
        self._static_ns: int | None = None

    def fileno(self) -> None:
        return None

    def send(self, setpoint: Setpoint) -> None:
        due_ns = setpoint.due_ns
        if due_ns - self._offset.at_ns > _MEASURE_EVERY_NS:
            self._offset = self._offset.follow(*wallclock.measure())
        payload = self._encode(wire.tree(self._sample(setpoint)))
        self._number += 1
        self._last_ns = due_ns
        for packet in wire.packets(payload, self._address.form, self._sequence):
            self._port.put(packet, self._group)
            self._sequence = (self._sequence + 1) & 0xFFFF

    def replace(self, from_ns: int) -> None:
        raise AssertionError("it schedules nothing, so there is nothing to replace")

    def fire(self, trigger: Trigger) -> bool:
        return False

    def read(self, heard_ns: int) -> tuple[Feedback, ...]:
        return ()

    def ask(self) -> None:
        """Nobody answers."""

    def look(self, now_ns: int) -> None:
        """There is nothing to look after: samples go out as long as setpoints do."""

    def link(self, now_ns: int) -> LinkState:
        return LinkState()

    def stop(self) -> None:
        """Nothing moves by it."""

    def here(self, axis: str, value: float) -> None:
        """Nothing counts by it."""

    def trouble(self) -> str:
        wrong = unread(self._rig)
        if wrong:
            name, unit, needed = wrong[0]
            return f"{name} counts {unit} and is told as standing at zero; describe it in {needed}"
        if self._offset.stepped_ns:
            return (
                f"this machine's time of day was changed by {self._offset.stepped_ns / 1e9:.3f} s during the run; "
                f"samples keep to the old time until the link is opened anew"
            )
        return self._port.trouble()

    def _sample(self, setpoint: Setpoint) -> wire.Sample:
        known = np.append(setpoint.position, 1.0)
        lens = _lens(self._rig, setpoint.position, self._told)
        due_ns = setpoint.due_ns
        static = None
        if self._static_ns is None or due_ns - self._static_ns >= wire.STATIC_NS:
            static, self._static_ns = self._static, due_ns
        place, angles_deg = known.dot(self._placed), known.dot(self._turned)
        if self._carried:
            right_m, ahead_m, up_m = self._mounted_m
            place = place + turned(angles_deg).dot((right_m, ahead_m + lens.pupil_mm / 1000, up_m))
        (x, y, z), (pan, tilt, roll) = place.tolist(), angles_deg.tolist()
        return wire.Sample(
            sample_id=f"{self._samples}{self._number & 0xFFFF_FFFF_FFFF:012x}",
            source_id=self._source_id,
            source=self._address.source,
            number=self._number,
            ptp_ns=due_ns + self._offset.offset_ns + self._address.tai_utc_s * _BILLION,
            position_m=(x, y, z),
            angles_deg=(pan, tilt, roll),
            status=_STATUS,
            rate=None if self._last_ns is None else _rate(due_ns - self._last_ns, self._timebase.rate),
            label=_label(setpoint.timeline_s, self._timebase),
            focal_mm=lens.focal_mm,
            focus_m=lens.focus_m,
            encoders=_encoders(self._rig, setpoint.position),
            static=static,
        )


@dataclass(frozen=True, slots=True)
class _Lens:
    """What of the lens is told, None for what the rig does not say, and how far its pupil is ahead of the sensor plane.

    It is zero for a pupil that stays.
    """

    focal_mm: float | None = None
    focus_m: float | None = None
    pupil_mm: float = 0.0


def _told(rig: Rig) -> frozenset[Guess]:
    """Return what of the lens the rig says at every place of its motors: by a table, in mm, or since it stays.

    The camera's own focal length is that of a lens that does not zoom; no rig says at what such a lens is focused.
    """
    camera = rig.camera
    if camera is None:
        return frozenset()
    units = {axis.kind: axis.unit for axis in rig.axes}
    zooms = "zoom" not in units or camera.zoom_table is not None or units["zoom"] == "mm"
    focuses = "focus" in units and (camera.focus_table is not None or units["focus"] == "mm")
    told: tuple[tuple[Guess, bool], ...] = (("zoom", zooms), ("focus", focuses))
    return frozenset(name for name, there in told if there)


def _lens(rig: Rig, position: Floats, told: frozenset[Guess]) -> _Lens:
    camera = rig.camera
    if camera is None:
        return _Lens()
    what = reading(camera, rig, position)
    return _Lens(
        focal_mm=float(what.focal_mm) if "zoom" in told else None,
        focus_m=min(float(what.ahead_m), FAR_M) if "focus" in told else None,
        pupil_mm=float(what.pupil_mm),
    )


def _encoders(rig: Rig, position: Floats) -> dict[str, float]:
    return {
        axis.kind: min(max(value, 0.0), 1.0)
        for axis, value in zip(rig.axes, position.tolist(), strict=True)
        if axis.unit == "part" and axis.kind in _ENCODED
    }


def _affine(rig: Rig) -> tuple[Floats, Floats]:
    """Return what turns the axes' positions, and a 1 after them, into the pivot's place and its angles.

    Both are sums over the axes, so each axis alone says them all; that is ten times as fast as `rig.pose` for one
    instant. Shape: (A + 1, 3) both.
    """
    (alone, alone_deg), (zero, zero_deg) = stood(rig, np.eye(len(rig.axes))), stood(rig, np.zeros(len(rig.axes)))
    return np.vstack([alone - zero, zero]), np.vstack([alone_deg - zero_deg, zero_deg])


def _static(rig: Rig) -> wire.Tree:
    """Return what seldom changes."""
    seldom: wire.Tree = {"tracker": {"make": "twintake", "model": "motion control"}}
    camera = rig.camera
    if camera is None:
        return seldom
    (width_mm, height_mm), (width, height) = camera.sensor_mm, camera.pixels
    seldom["camera"] = {
        "activeSensorPhysicalDimensions": {"height": float(height_mm), "width": float(width_mm)},
        "activeSensorResolution": {"height": height, "width": width},
        "label": rig.name[:1023] or "A",
    }
    if not any(axis.kind == "zoom" for axis in rig.axes):
        seldom["lens"] = {"nominalFocalLength": float(camera.focal_mm)}
    return seldom


def _series(source: UUID, opened_ns: int) -> str:
    """Return what the identities of all samples of one opening begin with; 12 hexadecimal digits follow.

    Source: RFC 9562, section 5.8 (version 8: what the last 48 bits are is ours, here the sample's number).
    """
    of_this = str(identity(str(source), str(opened_ns)))
    return f"urn:uuid:{of_this[:14]}8{of_this[15:24]}"


def _label(timeline_s: float, timebase: Timebase) -> wire.Label | None:
    """Return the timecode of the frame that the timeline is in."""
    if not math.isfinite(timeline_s):
        return None
    rate = timebase.rate
    return _frame(math.floor(timeline_s * rate.num / rate.den + _WITHIN), timebase)


@lru_cache(maxsize=4)
def _frame(number: int, timebase: Timebase) -> wire.Label:
    """Return the timecode of a frame, in which the timeline mostly is for several samples."""
    rate, label = timebase.rate, timebase.label(number)
    return wire.Label(label.hours, label.minutes, label.seconds, label.frames, (rate.num, rate.den), label.drop)


@lru_cache(maxsize=64)
def _rate(apart_ns: int, usual: Rate) -> tuple[int, int] | None:
    """Return samples a second from how far two are apart: the project's rate where it is that, else to a microsecond.

    Source: the schema's `sampleRate`: where it varies, it is estimated from the last two samples.
    """
    apart_us = round(apart_ns / 1000)
    if not 0 < apart_us <= _APART_US:
        return None
    rate = Fraction(1_000_000, apart_us)
    if abs(rate / usual.fraction - 1) < _SAME_RATE:
        return usual.num, usual.den
    return rate.numerator, rate.denominator


@contextmanager
def open_opentrackio(address: str, rig: Rig, timebase: Timebase) -> Iterator[Output]:
    """Open the stream to `address`. Error: LinkError where the address, the host or the network card is wrong."""
    where = parse_address(address)
    opened = (
        to_machine(where.host, where.port)
        if where.host
        else to_groups(where.by, f"the group of tracking source {where.source}")
    )
    with opened as port:
        yield OpenTrackIOOutput(port, where, rig, timebase)


def carries_opentrackio(address: str, _: Rig) -> Carries:
    """Return what goes through: UDP carries more than the engine ever sends. Error: LinkError."""
    _encoder(parse_address(address).form)
    return Carries()


KIND = OutputKind(
    schemes=("opentrackio",),
    answers=False,
    carries=carries_opentrackio,
    stop_action="nothing: it only tells others where the setpoints put the camera",
    open=open_opentrackio,
    drives=False,
)
