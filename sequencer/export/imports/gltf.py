"""A camera from glTF 2.0, binary or text: every node with a camera, with all that carries it, in every animation.

glTF has seconds and no frames: the rate is what the operator says, what our own files write beside, or what its keys
lie on. It has an angle of view and no sensor: without one that is written beside, a sensor 24 mm high stands in.
"""

from collections.abc import Iterator
from fractions import Fraction

import numpy as np

from sequencer.errors import ImportFault
from sequencer.export.contract import ImportKind
from sequencer.export.cuts import with_cuts
from sequencer.export.edit_list import printable
from sequencer.export.foreign import MOST_CAMERAS, bounded, filled, rate_of_text, settle, start_of
from sequencer.export.found import Floats, FoundCamera
from sequencer.export.gltf_motion import Motion, frames_of, local, motion, values_at
from sequencer.export.gltf_read import Lens, Opened, opened
from sequencer.export.spaces import Warped, from_space
from sequencer.timebase.rate import RATES, Rate

_STAND_IN_MM = 24.0
_MOST_CARRYING = 256
_HALF_TURN = np.pi
_FIT = 2e-3  # of a frame: as near as this every key must lie to one


def cameras(data: bytes, name: str, asked: Rate | None) -> tuple[FoundCamera, ...]:
    """Return the cameras of a file. Error: ImportFault that names the node or the place, and the mend."""
    bounded(data, name)
    file = opened(data, name)
    above = _above(file)
    seen = [number for number, node in enumerate(file.document.nodes) if node.camera is not None]
    if not seen:
        raise ImportFault(f"{name}: no node of it has a camera; export the camera too")
    if len(seen) * max(len(file.document.animations), 1) > MOST_CAMERAS:
        raise ImportFault(
            f"{name}: it has {len(seen)} cameras, and with their animations {MOST_CAMERAS} are the most; export fewer"
        )
    return tuple(with_cuts(one) for number in seen for one in _camera(file, number, above, name, asked))


def _above(file: Opened) -> dict[int, int]:
    """Return the parent of each node that has one. Error: ImportFault where they are no tree."""
    nodes, above = file.document.nodes, {}
    for number, node in enumerate(nodes):
        for child in node.children:
            if not 0 <= child < len(nodes) or child in above:
                raise file.fault(
                    f"nodes[{number}].children: node {child} is no node, or has two parents; export it again"
                )
            above[child] = number
    # a node that is its own ancestor is reached from no root
    waiting, reached = [number for number in range(len(nodes)) if number not in above], 0
    while waiting:
        reached += 1
        waiting.extend(nodes[waiting.pop()].children)
    if reached != len(nodes):
        raise file.fault("its nodes carry each other in a circle; export it again")
    return above


def _camera(file: Opened, number: int, above: dict[int, int], name: str, asked: Rate | None) -> Iterator[FoundCamera]:
    document = file.document
    chain = [number]
    while chain[-1] in above:
        chain.append(above[chain[-1]])
    if len(chain) > _MOST_CARRYING:
        raise file.fault(
            f"nodes[{number}] is carried by {len(chain) - 1} nodes; {_MOST_CARRYING} are the most; bake it"
        )
    lens_number = document.nodes[number].camera
    if lens_number is None or not 0 <= lens_number < len(document.cameras):
        raise file.fault(f"nodes[{number}].camera is no camera of the file; export it again")
    lens = document.cameras[lens_number]
    called = printable(document.nodes[number].name or lens.name)[:200] or f"camera {number}"
    inside = set(chain)
    moving = []
    for place, animation in enumerate(document.animations):
        moved = motion(file, place, lambda node, _path, camera: node in inside or camera == lens_number)
        if moved.nodes or moved.fields:
            moving.append((printable(animation.name)[:200] or f"animation {place}", moved))
    for title, moved in moving or [("", Motion())]:
        shown = f"{called} ({title})" if len(moving) > 1 else called
        yield _found(file, shown, chain, (lens_number, lens), moved, name, asked)


def _found(
    file: Opened,
    called: str,
    chain: list[int],
    numbered: tuple[int, Lens],
    moved: Motion,
    name: str,
    asked: Rate | None,
) -> FoundCamera:
    about = _about(file)
    times = np.unique(np.concatenate([[], *(curve.at for curve in (*moved.nodes.values(), *moved.fields.values()))]))
    guessed, remarks = _rate(about, times, name, asked)
    rate, more = settle(guessed, asked, name)
    remarks += more
    if guessed is not None and asked is not None and guessed != asked:
        # seconds stay seconds: the frames of the other rate lie between those of the file
        remarks = (f"its keys lie on frames of {guessed}; it is read at {rate}, and between its keys as it says",)
    hz = float(rate.fraction)
    frames = filled(np.unique(frames_of(times, hz)), called) if len(times) else np.zeros(1)
    linear, origin = np.eye(3)[np.newaxis], np.zeros((1, 3))
    for number in reversed(chain):
        own = local(file.document.nodes[number], number, moved, frames, hz)
        if own is None:
            raise file.fault(f"nodes[{number}] ({called}) has a transform that is no number; export it again")
        with np.errstate(all="ignore"):  # what grows beyond all numbers is refused below
            linear, origin = linear @ own[0], (linear @ own[1][..., np.newaxis])[..., 0] + origin
    count = (len(frames), 3)
    taken = from_space(np.broadcast_to(linear, (*count, 3)), np.broadcast_to(origin, count), "y", 1.0)
    if isinstance(taken, Warped):
        raise file.fault(
            f"{called} at frame {frames[taken.number]:g} {taken.words}, which no camera is; bake it, or take the scale "
            "off what carries it"
        )
    position, matrix, scale = taken
    if abs(scale - 1) > 1e-4:
        remarks += (f"{called} is scaled by {scale:.6g}, which changes nothing of its picture and is taken off",)
    focal, sensor, words = _lens(file, called, numbered, moved, frames, hz)
    start = start_of(about.get("startTimecode"), rate_of_text(about.get("rate")), about.get("dropFrame"))
    return FoundCamera(
        name=called,
        rate=rate,
        frames=frames + _first(about),
        position_m=position,
        matrix=matrix,
        focal_mm=focal,
        focus_m=np.full(len(frames), np.nan),
        sensor_mm=sensor,
        start=None if start is None else start + rate.seconds(Fraction(float(frames[0]))),
        remarks=remarks + words + (() if len(times) else (f"{called} does not move in this file",)),
    )


def _about(file: Opened) -> dict[str, object]:
    """Return what our own files say beside the standard."""
    extras = file.document.extras
    own = extras.get("twintake") if isinstance(extras, dict) else None
    return own if isinstance(own, dict) else {}


def _first(about: dict[str, object]) -> int:
    number = about.get("firstFrame")
    return number if isinstance(number, int) and abs(number) < 1e9 else 0


def _rate(
    about: dict[str, object], times: Floats, name: str, asked: Rate | None
) -> tuple[Rate | None, tuple[str, ...]]:
    """Return the rate of a file: what it says beside, else the slowest one on whose frames all keys lie."""
    said = rate_of_text(about.get("rate"))
    if said is not None:
        return said, ()
    if len(times) < 2:
        return (None, ()) if asked else (Rate(24), ("the file does not say its rate, and nothing in it moves",))
    fits = []
    for rate in sorted(RATES.values(), key=lambda one: one.fraction):
        frames = times * float(rate.fraction)
        slack = 2 * np.spacing(times.astype(np.float32)) * float(rate.fraction)
        if (np.abs(frames - np.round(frames)) <= np.maximum(slack, _FIT)).all():
            fits.append(rate)
    alone = all((rate.fraction / fits[0].fraction).denominator == 1 for rate in fits)
    if asked is not None:
        return (fits[0], ()) if fits and alone else (None, ())
    if not fits or not alone:
        could = f"could be {', '.join(map(str, fits))}" if fits else "lie on the frames of none that is known"
        raise ImportFault(f"{name}: glTF has no rate, and its keys {could}; say its rate")
    return fits[0], (f"the file does not say its rate; its keys lie on frames of {fits[0]}, which is taken",)


def _lens(
    file: Opened, called: str, numbered: tuple[int, Lens], moved: Motion, frames: Floats, hz: float
) -> tuple[Floats, tuple[float, float] | None, tuple[str, ...]]:
    """Return the focal length for a sensor, that sensor, and what must be said of them."""
    number, lens = numbered
    if lens.type != "perspective" or lens.perspective is None:
        raise file.fault(f"{called} draws without perspective ({lens.type[:20]}); make it a perspective camera")
    view = lens.perspective
    curve = moved.fields.get(number)
    field = np.full(len(frames), view.yfov) if curve is None else values_at(curve, frames, hz)[:, 0]
    if not ((field > 0) & (field < _HALF_TURN)).all():
        raise file.fault(
            f"{called} has an angle of view of {float(field.min()):g} rad, which cannot be; export it again"
        )
    sensor = _sensor(lens.extras)
    words: tuple[str, ...] = ()
    if sensor is None:
        if view.aspectRatio is None or not 0.05 < view.aspectRatio < 20:
            angle = np.degrees(field[0])
            words = (
                f"{called}: the file says an angle of view of {angle:.2f} deg and no sensor: the lens is left out",
            )
            return np.full(len(frames), np.nan), None, words
        sensor = (_STAND_IN_MM * view.aspectRatio, _STAND_IN_MM)
        words = (
            f"{called}: the file says an angle of view and no sensor; focal lengths are those on a sensor "
            f"{_STAND_IN_MM:g} mm high, and only their ratio to it counts",
        )
    return sensor[1] / (2 * np.tan(field / 2)), sensor, words


def _sensor(extras: object) -> tuple[float, float] | None:
    """Return the sensor that our own files write beside the camera."""
    said = extras.get("sensorMm") if isinstance(extras, dict) else None
    match said:
        case [int() | float() as width, int() | float() as height] if 0 < width < 1e4 and 0 < height < 1e4:
            return float(width), float(height)
    return None


KIND = ImportKind(name="gltf", title="glTF 2.0 camera", suffixes=(".glb", ".gltf"), camera=cameras)
