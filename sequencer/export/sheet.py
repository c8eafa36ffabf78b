"""The text beside an export: what the file is, and how to see in a minute whether it was understood.

It reads no clock and no disk: the same delivery gives the same text.
"""

import math
from collections.abc import Iterator, Sequence
from fractions import Fraction
from textwrap import wrap

import numpy as np

from sequencer.export.cautions import CAUTIONS
from sequencer.export.chart import Chart
from sequencer.export.contract import ExportKind, Wanted
from sequencer.export.delivery import CameraPath, Delivery, Floats
from sequencer.export.flat import first_number
from sequencer.export.spaces import Space
from sequencer.rig.axis import Camera

_SOURCES = {
    "planned": "planned: the move as it is written, not as a rig went",
    "asked": "asked: the setpoints that were sent to the rig in this take",
    "actual": "actual: where the rig said that it stood in this take",
}
_ORIGIN = (
    "a set whose origin is on the ground, below the point in which pan, tilt and roll meet where all axes stand at zero"
)
_WIDTH, _HEAD = 100, 18
_FAINT_PX = 0.05  # what would be seen in the check below


def sheet(
    delivery: Delivery, kind: ExportKind, wanted: Wanted, file: str, found: Chart | None, remarks: Sequence[str]
) -> str:
    """Return the text that goes beside `file`; `found` is the chart where it holds a camera.

    `remarks` is what the format cannot hold, and whatever else was said of the export.
    """
    lines = [f"{file}: {kind.title}", "", *_what(delivery)]
    if delivery.path is not None:
        camera, space = delivery.rig.camera, kind.space(wanted)
        lines += ["", "TIME", *_time(delivery, delivery.path, wanted, space.time)]
        lines += ["", "SPACE", *_space(delivery, space)]
        if camera is not None and found is not None:
            lines += ["", "LENS", *_lens(delivery, delivery.path, camera, space)]
            lines += ["", "CHECK IT IN A MINUTE", *_check(delivery, delivery.path, camera, space, found, wanted)]
    else:
        lines += ["", "TIME", *_rate(delivery)]
    every = [*(delivery.path.remarks if delivery.path else ()), *remarks]
    if every:
        lines += ["", "REMARKS", *(line for one in every for line in _listed(one))]
    if kind.holds == "camera":
        lines += ["", "CAUTION", *wrap(f"Before this is played on any rig: {CAUTIONS}", _WIDTH)]
    return "\n".join([*lines, ""])


def numbers(path: CameraPath, found: Chart, wanted: Wanted) -> tuple[int, ...]:
    """Return the numbers that the frames of the chart have in the file."""
    return tuple(frame + first_number(path, wanted) for frame in found.frames)


def labels(delivery: Delivery, path: CameraPath, found: Chart) -> tuple[str, ...]:
    """Return the timecode of the frames of the chart."""
    return tuple(str(delivery.timebase.label(path.first + frame)) for frame in found.frames)


def _what(delivery: Delivery) -> Iterator[str]:
    yield from _said("project", delivery.project)
    if delivery.path is not None:
        yield from _said("cue", delivery.cue.name)
        yield from _said("pass", delivery.run)
        yield from _said("take", delivery.take or "none")
        yield from _said("movement", _SOURCES[delivery.source])
    else:
        yield from _said("cues", ", ".join(cue.name for cue in delivery.cues) or "none")
        yield from _said("takes", str(len(delivery.takes)) if delivery.takes else "none")
        yield from _said("markers", str(len(delivery.markers)) if delivery.markers else "none")
    yield from _said("rig", delivery.rig.name)
    yield from _said("made by", delivery.made)
    if delivery.document:
        yield from _said("checksum", f"of project.json and rig.json, one after the other: {delivery.document}")


def _rate(delivery: Delivery) -> Iterator[str]:
    rate, drop = delivery.timebase.rate, delivery.timebase.counting.drop
    exact = "" if rate.den == 1 else f", which is exact; {rate.num / rate.den:.3f} is not"
    yield from _said("rate", f"{rate} frames a second{exact}{'; drop-frame timecode' if drop else ''}")


def _time(delivery: Delivery, path: CameraPath, wanted: Wanted, counts: str) -> Iterator[str]:
    yield from _rate(delivery)
    if counts:
        yield from _said("in the file", counts)
    first = first_number(path, wanted)
    last = path.frames - 1
    begins, ends = (delivery.timebase.label(path.first + frame) for frame in (0, last))
    yield from _said("first frame", f"{first}, timecode {begins}")
    yield from _said("last frame", f"{first + last}, timecode {ends}; {path.frames} frames")
    if path.shot_hz not in (None, delivery.timebase.rate.fraction):
        yield from _said("camera ran at", f"{path.shot_hz} frames a second; its pictures are shown at the rate above")
    if path.step != 1:
        step = str(path.step) if path.step.denominator < 100 else f"{float(path.step):.6g}"
        on = f"{step} frames of the move go by from each frame of the picture to the next"
        yield from _said("speed", f"{on}; conform the picture to the rate above")
    if path.shutter is None:
        yield from _said("shutter", "not known; each frame is the instant of its timecode")
        return
    opens, closes = path.shutter
    angle = float((closes - opens) * 360)
    yield from _said("shutter", f"{angle:g} degrees, open from {opens} to {closes} of a frame around its timecode")
    if len(path.parts) > 1:
        yield from _said("samples", f"{len(path.parts)} a frame, at {', '.join(map(str, path.parts))} of a frame")


def _space(delivery: Delivery, space: Space) -> Iterator[str]:
    yield from _said("axes", space.axes)
    yield from _said("rotation", space.turns)
    yield from _said("camera", f"{space.camera}; its place is the lens's entrance pupil (no-parallax point)")
    yield from _said("places", f"in {space.unit}, of {_ORIGIN}")
    geometry, camera = delivery.rig.geometry, delivery.rig.camera
    place = "where pan, tilt and roll meet, since nobody said otherwise"
    if (geometry.pupil_mm or geometry.sensor_plane_mm) is not None:
        right, ahead, up = geometry.mounted_mm
        place = f"{right:g} mm to the right, {ahead:g} mm ahead and {up:g} mm above of where pan, tilt and roll meet"
    if camera is not None and camera.pupil is not None:
        place = f"as far ahead of the sensor plane as the lens's table says; that plane lies {place}"
    yield from _said("entrance pupil", f"{place}; the head carries it round, and that is in the file already")


def _lens(delivery: Delivery, path: CameraPath, camera: Camera, space: Space) -> Iterator[str]:
    (wide, tall), (across, down) = camera.sensor_mm, camera.pixels
    yield from _said("sensor", f"{wide:g} x {tall:g} mm, {across} x {down} pixels, all of it; nothing is squeezed")
    off_px = abs(1 - wide / across / (tall / down)) * down / 2
    if off_px > _FAINT_PX:
        yield from _said(
            "pixels",
            f"not quite square by these numbers: set the sensor's width and height both; by its width alone the edges "
            f"are off by {off_px:.2f} pixel up and down",
        )
    yield from _said("focal length", f"{_range(path.focal_mm, 'mm', 3)}; true, with what breathing is known")
    focus = "not known" if np.isnan(path.focus_m).all() else f"{_range(path.focus_m, 'm', 3)}, from the entrance pupil"
    yield from _said("focus distance", focus)
    stop = "not known" if delivery.f_number is None else f"f/{delivery.f_number:g}"
    yield from _said("aperture", stop)
    yield from _said(
        "distortion", "none is known and none is in the file: undistort the plate, or expect the edges off"
    )
    yield from _said("in the file", space.lens)


def _check(
    delivery: Delivery, path: CameraPath, camera: Camera, space: Space, found: Chart, wanted: Wanted
) -> Iterator[str]:
    width, height = camera.pixels
    yield from wrap(
        f"Put a point at each of these nine places, look through the imported camera at {width} x {height} pixels, and "
        "compare. Pixels count from the outer corner of the top left pixel, across and down: the middle of that pixel "
        f"is 0.5, 0.5, the middle of the picture {width / 2:g}, {height / 2:g}. All nine to within a tenth of a pixel: "
        "axes, units, rotation, lens and frame numbers were understood. A dot is out of the picture.",
        _WIDTH,
    )
    named = list(zip(numbers(path, found, wanted), labels(delivery, path, found), strict=True))
    yield ""
    heads = [f"frame {number} {label}" for number, label in named]
    yield f"{'':5}{f'X, Y, Z in {space.unit}':^40}" + "".join(f"{head:>28}" for head in heads)
    if space.time:
        later = [float(delivery.timebase.rate.seconds(Fraction(frame))) for frame in found.frames]
        yield " " * 45 + "".join(f"{f'at {seconds:.5f} s':>28}" for seconds in later)
    seen = found.seen(camera.pixels)
    for one, place in enumerate(space.placed(found.points_m)):
        written = "".join(f"{number:13.5g}" if abs(number) >= 1e6 else f"{_plain(number):>13}" for number in place)
        pixels = "".join(
            f"{found.pixels[at, one, 0]:>18.2f},{found.pixels[at, one, 1]:>9.2f}" if seen[at, one] else f"{'.':>28}"
            for at in range(len(named))
        )
        yield f"{one + 1:>4} {written} {pixels}"


def _plain(number: float) -> str:
    """Return a number as it was rounded, without the tail that its unit's factor leaves."""
    return f"{number:z.4f}".rstrip("0").rstrip(".")


def _range(values: Floats, unit: str, decimals: int) -> str:
    known = values[~np.isnan(values)]
    if not len(known):
        return "not known"
    low, high = (_number(end, decimals) for end in (known.min(), known.max()))
    some = " where it is known" if len(known) < values.size else ""
    return (f"{low} {unit} throughout" if low == high else f"{low} to {high} {unit}") + some


def _number(value: float, decimals: int) -> str:
    return "infinity" if math.isinf(value) else f"{value:.{decimals}f}".rstrip("0").rstrip(".")


def _said(head: str, words: str) -> Iterator[str]:
    first, *rest = wrap(words, _WIDTH - _HEAD) or [""]
    yield f"{head:<{_HEAD}}{first}"
    yield from (" " * _HEAD + line for line in rest)


def _listed(words: str) -> Iterator[str]:
    first, *rest = wrap(words, _WIDTH - 2) or [""]
    yield f"- {first}"
    yield from (f"  {line}" for line in rest)
