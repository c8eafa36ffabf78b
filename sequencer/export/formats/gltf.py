"""A camera in glTF 2.0: binary (.glb), or text with its numbers inside (.gltf).

Metres, Y up, seconds from the first picture frame. The frame rate, the sensor, the f-number and the start timecode have
no place in the standard and stand in `extras`; a zoom moves only for readers that know KHR_animation_pointer.
Source: Khronos glTF 2.0; the extension KHR_animation_pointer.
"""

import math

import numpy as np
from numpy.typing import NDArray

from sequencer.errors import ExportError
from sequencer.export.contract import ExportKind, Wanted
from sequencer.export.delivery import Delivery, Floats
from sequencer.export.flat import Flat, camera_path, flat, hole_words, lens_words, steady, told
from sequencer.export.gltf_file import Numbers, Tree, binary, readable
from sequencer.export.spaces import GROWS, LOOKING_BACK, Space, quaternions
from sequencer.rig.axis import Camera

_SPACE = Space(
    up="y",
    unit="m",
    in_metre=1.0,
    turns=f"quaternions (x, y, z, w): about Y by pan, then X by tilt, then Z by -roll; {GROWS}",
    camera=LOOKING_BACK,
    lens="the angle of view from top to bottom (yfov) in radians; the sensor is in extras only",
    time="seconds, of which 0 is the first frame; it has no frame numbers",
)
_POINTER = "KHR_animation_pointer"
_NEAR_M = 0.01
_FAINT_M = 1e-5  # what may get lost before it is said: 0.01 mm
_FAINT_DEG = 1e-4


def make(delivery: Delivery, suffix: str, wanted: Wanted) -> bytes:
    """Return the file. Error: ExportError without a camera, or where nobody says a focal length."""
    _, camera = camera_path(delivery)
    instants, shown = _shown(delivery, wanted)
    zooms = shown & np.isfinite(instants.focal_mm)
    if not zooms.any():
        raise ExportError(
            f"{delivery.cue.name}: glTF needs an angle of view, and nobody says the focal length; give the rig's "
            "camera its focal_mm, or a zoom_table to its zoom"
        )
    # one angle of view for the whole shot stands in the camera; one that changes is animated as well
    field = 2 * np.arctan(camera.sensor_mm[1] / (2 * instants.focal_mm))
    numbers = Numbers()
    document = _document(delivery, wanted, camera, float(field[zooms][0]))
    # whoever plays no animation shows the first frame
    where, turned = _SPACE.placed(instants.position_m[shown][0]), quaternions(instants.angles_deg[shown][0])
    node = {
        "name": delivery.cue.name or "camera",
        "camera": 0,
        "translation": where.tolist(),
        "rotation": turned.tolist(),
    }
    document["nodes"] = [node]
    document["animations"] = [_animation(delivery, instants, shown, zooms, field, numbers)]
    if steady(instants.focal_mm[zooms]) is None:
        document["extensionsUsed"] = [_POINTER]
    document |= {"accessors": numbers.accessors, "bufferViews": numbers.views}
    return binary(document, numbers.data) if suffix == ".glb" else readable(document, numbers.data)


def remarks(delivery: Delivery, wanted: Wanted) -> tuple[str, ...]:
    """Say what the file does not hold, or not for every reader, and what single precision costs."""
    if delivery.path is None:
        return ()
    instants, shown = _shown(delivery, wanted)
    words = hole_words(delivery, "they have no keys, and whoever reads the file turns evenly across them")
    words += lens_words(delivery, untold="the angle of view stays as it was", focus=False)
    focal = instants.focal_mm[shown]
    if steady(focal) is None and np.isfinite(focal).any():
        words += (
            f"the zoom moves (from {np.nanmin(focal):.4g} to {np.nanmax(focal):.4g} mm), which glTF itself cannot say: "
            f"it is written by the extension {_POINTER}, and a reader without it shows the first angle of view "
            "throughout",
        )
    if np.isfinite(instants.focus_m).any():
        words += ("glTF has no distance in focus: take usd or csv for it",)
    if (instants.offset < 0).any():
        words += ("time begins at the first picture frame: its samples before that instant are left out",)
    return words + _lost(delivery, instants, shown)


def _shown(delivery: Delivery, wanted: Wanted) -> tuple[Flat, NDArray[np.bool_]]:
    """Return the instants, and which of them can be keys: time begins at zero, and rises in single precision."""
    path, _ = camera_path(delivery)
    instants = flat(path, wanted)
    shown = instants.known & (instants.offset >= 0)
    places = np.flatnonzero(shown)
    same = np.diff(_seconds(delivery, instants)[places].astype(np.float32)) <= 0
    shown[places[1:][same]] = False  # a shutter that is open all the time: its closing is the next opening
    return instants, shown


def _seconds(delivery: Delivery, instants: Flat) -> Floats:
    rate = delivery.timebase.rate
    return instants.offset * rate.den / rate.num


def _document(delivery: Delivery, wanted: Wanted, camera: Camera, field: float) -> Tree:
    width, height = camera.sensor_mm
    words = told(delivery, wanted)
    if delivery.f_number is not None:
        words["fNumber"] = delivery.f_number
    return {
        "asset": {"version": "2.0", "generator": delivery.made or "twintake"},
        "extras": {"twintake": words},
        "scene": 0,
        "scenes": [{"name": delivery.project or "shot", "nodes": [0]}],
        "cameras": [
            {
                "name": delivery.rig.name,
                "type": "perspective",
                "perspective": {"yfov": field, "aspectRatio": width / height, "znear": _NEAR_M},
                "extras": {"sensorMm": [width, height], "focalMm": height / (2 * math.tan(field / 2))},
            }
        ],
    }


def _animation(
    delivery: Delivery,
    instants: Flat,
    shown: NDArray[np.bool_],
    zooms: NDArray[np.bool_],
    field: Floats,
    numbers: Numbers,
) -> Tree:
    at_s = _seconds(delivery, instants)
    times = numbers.add(at_s[shown], bounded=True)
    place, turning = _SPACE.placed(instants.position_m), quaternions(instants.angles_deg)
    samplers: list[Tree] = []
    channels: list[Tree] = []

    def channel(target: Tree, when: int, values: Floats) -> None:
        channels.append({"sampler": len(samplers), "target": target})
        samplers.append({"input": when, "output": numbers.add(values), "interpolation": "LINEAR"})

    channel({"node": 0, "path": "translation"}, times, place[shown])
    channel({"node": 0, "path": "rotation"}, times, turning[shown])
    if steady(instants.focal_mm[zooms]) is None:
        when = times if (zooms == shown).all() else numbers.add(at_s[zooms], bounded=True)
        pointer: Tree = {"pointer": "/cameras/0/perspective/yfov"}
        channel({"path": "pointer", "extensions": {_POINTER: pointer}}, when, field[zooms])
    return {
        "name": f"{delivery.cue.name}, {delivery.run}, {delivery.source}",
        "samplers": samplers,
        "channels": channels,
    }


def _lost(delivery: Delivery, instants: Flat, shown: NDArray[np.bool_]) -> tuple[str, ...]:
    """Say what single precision costs: far from the origin in place, and late in the file for who samples by time."""
    place, at_s = instants.position_m[shown], _seconds(delivery, instants)[shown]
    words = []
    off_m = float(np.abs(place - place.astype(np.float32)).max())
    if off_m > _FAINT_M:
        words.append(
            f"positions are up to {np.abs(place).max():.0f} m from the origin, where single precision leaves "
            f"{off_m * 1000:.3f} mm: take usd, or put the origin nearer"
        )
    if len(at_s) < 2:
        return tuple(words)
    late_s = np.abs(at_s - at_s.astype(np.float32))
    speed = np.abs(np.gradient(instants.angles_deg[shown], at_s, axis=0)).sum(axis=1)
    speed_m = np.linalg.norm(np.gradient(place, at_s, axis=0), axis=1)
    turned, moved = float((late_s * speed).max()), float((late_s * speed_m).max())
    if turned > _FAINT_DEG or moved > _FAINT_M:
        words.append(
            f"times are in single precision: read key by key every frame is exact, but a reader that samples by "
            f"seconds is off by up to {turned:.5f} deg and {moved * 1000:.3f} mm: take usd, or export shorter stretches"
        )
    return tuple(words)


KIND = ExportKind(
    name="gltf",
    title="glTF 2.0 camera",
    suffixes=(".glb", ".gltf"),
    holds="camera",
    make=make,
    remarks=remarks,
    space=lambda _wanted: _SPACE,
)
