"""Camera files read back by libraries that are not ours, into one form: what the benchmark of hand-overs compares.

Sources: OpenUSD's UsdGeomCamera through usd-core; Khronos glTF 2.0 through pygltflib; OpenTrackIO 1.0.1 by its schema
through jsonschema, its rotations by scipy; RFC 4180 through Python's csv.
"""

import csv
import io
import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

Floats = NDArray[np.float64]
# from a space with Y up, and from a camera's own right, up, back, to ours: Z up; right, forward, up
_Y_UP = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])
_CHECKED = 200  # samples of OpenTrackIO that are held against the schema; all of 36,000 take a minute


@dataclass(frozen=True, eq=False)
class Seen:
    """A camera at F frames, in our space. Shape: `position_m` (F, 3), `matrix` (F, 3, 3), `slopes` (F, 2).

    `slopes` are how far the edges of the picture lie beside the middle for each metre ahead, across and up.
    """

    position_m: Floats
    matrix: Floats
    slopes: Floats


def by_usd(file: Path, frames: Floats) -> Seen:
    """Read a camera on a stage of OpenUSD at time codes."""
    from pxr import Usd, UsdGeom

    stage = Usd.Stage.Open(str(file))
    camera = UsdGeom.Camera(next(prim for prim in stage.Traverse() if prim.IsA(UsdGeom.Camera)))
    unit = UsdGeom.GetStageMetersPerUnit(stage)
    back = _Y_UP if UsdGeom.GetStageUpAxis(stage) == UsdGeom.Tokens.y else np.eye(3)
    rows, slopes = [], []
    for frame in frames:
        at = camera.GetCamera(Usd.TimeCode(float(frame)))
        rows.append(np.array(at.transform))  # row vectors: right, up, back, place
        slopes.append((at.horizontalAperture / 2 / at.focalLength, at.verticalAperture / 2 / at.focalLength))
    every = np.array(rows)
    own = np.stack([every[:, 0, :3], -every[:, 2, :3], every[:, 1, :3]], axis=-1)
    return Seen(every[:, 3, :3] @ back.T * unit, back @ own, np.array(slopes))


def by_gltf(file: Path, frames: Floats) -> Seen:
    """Read a camera's keys in glTF, one for each frame."""
    import pygltflib

    read = pygltflib.GLTF2().load(str(file))
    camera = read.cameras[0].perspective

    def numbers(accessor: int) -> Floats:
        one = read.accessors[accessor]
        view = read.bufferViews[one.bufferView]
        data = read.binary_blob() or read.get_data_from_buffer_uri(read.buffers[view.buffer].uri)
        wide = {"SCALAR": 1, "VEC3": 3, "VEC4": 4}[one.type]
        begin = (view.byteOffset or 0) + (one.byteOffset or 0)
        found = np.frombuffer(data, "<f4", one.count * wide, begin).reshape(one.count, wide)
        return found.astype(np.float64)

    motion = read.animations[0]
    found = {one.target.path: numbers(motion.samplers[one.sampler].output) for one in motion.channels}
    own = Rotation.from_quat(found["rotation"]).as_matrix()
    field = found["pointer"][:, 0] if "pointer" in found else np.full(len(own), camera.yfov)
    up = np.tan(field / 2)
    turned = np.stack([own[:, :, 0], -own[:, :, 2], own[:, :, 1]], axis=-1)
    return Seen(found["translation"] @ _Y_UP.T, _Y_UP @ turned, np.stack([up * camera.aspectRatio, up], axis=1))


def by_opentrackio(file: Path, frames: Floats) -> Seen:
    """Read the samples of a clip, some of them by the schema."""
    from tests.opentrackio import check_schema

    samples = json.loads(file.read_bytes())
    for sample in samples[:: max(1, len(samples) // _CHECKED)]:
        check_schema(sample)
    moves = [sample["transforms"][0] for sample in samples]
    places = np.array([[one["translation"][name] for name in "xyz"] for one in moves])
    angles = np.array([[one["rotation"][name] for name in ("pan", "tilt", "roll")] for one in moves])
    size = samples[0]["static"]["camera"]["activeSensorPhysicalDimensions"]
    focal = np.array([sample["lens"]["pinholeFocalLength"] for sample in samples])
    slopes = np.array([size["width"], size["height"]]) / 2 / focal[:, np.newaxis]
    return Seen(places, Rotation.from_euler("ZXY", angles, degrees=True).as_matrix(), slopes)


def by_csv(file: Path, frames: Floats) -> Seen:
    """Read the lines of a table by what stands in its heading."""
    heads, *rows = csv.reader(io.StringIO(file.read_text(encoding="utf-8"), newline=""))

    def columns(*names: str) -> Floats:
        places = [heads.index(name) for name in names]
        return np.array([[float(row[place]) for place in places] for row in rows])

    angles = columns("camera pan (deg)", "camera tilt (deg)", "camera roll (deg)")
    slopes = columns("sensor width (mm)", "sensor height (mm)") / 2 / columns("focal length (mm)")
    turned = Rotation.from_euler("ZXY", angles, degrees=True).as_matrix()
    return Seen(columns("camera x (m)", "camera y (m)", "camera z (m)"), turned, slopes)


READERS: dict[str, tuple[str, Callable[[Path, Floats], Seen]]] = {
    "usd": ("usd-core", by_usd),
    "gltf": ("pygltflib", by_gltf),
    "opentrackio": ("jsonschema, scipy", by_opentrackio),
    "csv": ("csv, scipy", by_csv),
}
