"""A clip of OpenTrackIO samples: a JSON array, one sample a line, in order of time.

Each sample is what the standard has a packet carry; the first one also has the static block. The pose is that of the
entrance pupil, whose offset is therefore 0. Nobody's PTP clock saw this: `sampleTimestamp` counts real seconds from
timecode 00:00:00:00, so there is no `synchronization`, and `tracker.notes` says so. Where the rig did not say where it
stood, the sample has no `transforms`, and its status says so.
Source: OpenTrackIO 1.0.1 (SMPTE RIS-OSVP), the JSON schema with its descriptions; it names no form for many samples.
"""

import math
import uuid
from collections.abc import Iterator
from fractions import Fraction

import msgspec

from sequencer.errors import ExportError
from sequencer.export.contract import ExportKind, Wanted
from sequencer.export.delivery import CameraPath, Delivery, Source
from sequencer.export.flat import FAR_M, camera_path, flat, hole_words, lens_words
from sequencer.rig.axis import Camera
from sequencer.timebase.timecode import count
from sequencer.wire.opentrackio import Label, Sample, Tree, tree

_OURS = uuid.UUID("c0a6b1de-58f7-5c41-9d0e-2f8b6e1d7a93")  # drawn once; it only keeps our names apart from others'
_STATUS: dict[Source, str] = {
    "planned": "planned, not measured",
    "asked": "setpoints, not measured",
    "actual": "measured by the rig's axes",
}
_HOLE = "no pose: the rig did not say where it stood"
_NOTES = (
    "sampleTimestamp counts real seconds from timecode 00:00:00:00 (frames by the rate, not labels); it is no PTP "
    "time. The pose is that of the entrance pupil."
)
_BILLION = 1_000_000_000


def make(delivery: Delivery, suffix: str, wanted: Wanted) -> bytes:
    """Return the file. Error: ExportError without a camera."""
    path, camera = camera_path(delivery)
    encode = msgspec.json.Encoder().encode
    return b"[\n" + b",\n".join(encode(one) for one in _samples(delivery, path, camera, wanted)) + b"\n]\n"


def remarks(delivery: Delivery, wanted: Wanted) -> tuple[str, ...]:
    """Say what the file does not hold."""
    words = hole_words(delivery, "their samples have no transforms, and their status says so")
    words += lens_words(delivery, untold="the samples leave it out")
    if wanted.first is not None:
        words += ("OpenTrackIO has timecode and no frame numbers: another first frame changes nothing",)
    return words


def _samples(delivery: Delivery, path: CameraPath, camera: Camera, wanted: Wanted) -> Iterator[Tree]:
    rate, timebase = delivery.timebase.rate, delivery.timebase
    instants = flat(path, wanted)
    known, places, angles = instants.known.tolist(), instants.position_m.tolist(), instants.angles_deg.tolist()
    focal, focus = instants.focal_mm.tolist(), instants.focus_m.tolist()
    source = uuid.uuid5(_OURS, "\0".join((delivery.project, delivery.rig.name)))
    clip = str(uuid.uuid5(source, "\0".join((delivery.document, delivery.cue.name, delivery.run, delivery.take))))
    # RFC 9562, section 5.8: version 8, whose last 48 bits are the sample's number here
    series = f"urn:uuid:{clip[:14]}8{clip[15:24]}"
    ticks = _even(path)
    origin = count(timebase.start, timebase.counting) + path.first
    if origin + path.parts[0] < 0:
        raise ExportError(f"{delivery.cue.name}: it begins before timecode 00:00:00:00; start the project later")
    static = _static(delivery, path, camera)
    for frame in range(path.frames):
        label = timebase.label(path.first + frame)
        named = Label(label.hours, label.minutes, label.seconds, label.frames, (rate.num, rate.den), label.drop)
        for number, part in enumerate(path.parts, frame * len(path.parts)):
            sample = Sample(
                sample_id=f"{series}{number:012x}",
                source_id=f"urn:uuid:{source}",
                source=1,
                number=number,
                ptp_ns=round(rate.seconds(origin + frame + part) * _BILLION),
                clock=None,
                position_m=tuple(places[number]) if known[number] else None,
                angles_deg=tuple(angles[number]),
                status=_STATUS[delivery.source] if known[number] else _HOLE,
                notes=_NOTES if number == 0 else None,
                rate=None if ticks is None else (rate.num * ticks, rate.den),
                label=named if part == 0 else None,
                focal_mm=_said(focal[number]),
                focus_m=_said(min(focus[number], FAR_M)),
                f_number=delivery.f_number,
                static=static if number == 0 else None,
            )
            yield tree(sample)


def _said(value: float) -> float | None:
    return value if math.isfinite(value) and value > 0 else None


def _even(path: CameraPath) -> int | None:
    """Return how many samples a frame has where all lie evenly in time, else None: then there is no one rate."""
    step = Fraction(1, len(path.parts))
    even = all(after - before == step for before, after in zip(path.parts, path.parts[1:], strict=False))
    return len(path.parts) if even else None


def _static(delivery: Delivery, path: CameraPath, camera: Camera) -> Tree:
    rate = delivery.timebase.rate
    duration = rate.seconds(path.frames)
    (width_mm, height_mm), (width, height) = camera.sensor_mm, camera.pixels
    about: Tree = {
        "activeSensorPhysicalDimensions": {"height": float(height_mm), "width": float(width_mm)},
        "activeSensorResolution": {"height": height, "width": width},
        "label": delivery.rig.name[:1023] or "A",
    }
    if path.shot_hz is not None:
        about["captureFrameRate"] = {"num": path.shot_hz.numerator, "denom": path.shot_hz.denominator}
    if path.shutter is not None:
        opens, closes = path.shutter
        about["shutterAngle"] = float((closes - opens) * 360)
    lens: Tree = {}
    if not any(axis.kind == "zoom" for axis in delivery.rig.axes):
        lens["lens"] = {"nominalFocalLength": float(camera.focal_mm)}
    return {
        "duration": {"num": duration.numerator, "denom": duration.denominator},
        "camera": about,
        "tracker": {"make": "twintake", "model": "motion control"},
        **lens,
    }


KIND = ExportKind(
    name="opentrackio", title="OpenTrackIO clip", suffixes=(".json",), holds="camera", make=make, remarks=remarks
)
