"""How a glTF 2.0 animation moves a node: its samplers at any frame, and the nodes that carry it.

Key times become frames first, so that a key that means a frame is read as that frame, whatever single precision made of
its seconds.
Source: Khronos glTF 2.0, "Animations" and appendix C (interpolation modes), "Transformations".
"""

import re
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation, Slerp

from sequencer.export.foreign import on_frames
from sequencer.export.found import Floats
from sequencer.export.gltf_read import Animation, Node, Opened

_NUMBER = re.compile(r"\d{1,9}", re.ASCII)
_MODES = ("LINEAR", "STEP", "CUBICSPLINE")
_WIDE = {"translation": 3, "rotation": 4, "scale": 3, "yfov": 1}


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """A sampler's keys: `at` (K,) in seconds, `values` (K, 3, D): tangent in, value, tangent out."""

    at: Floats
    values: Floats
    mode: str


@dataclass(slots=True)
class Motion:
    """What one animation moves: (node, path) to its curve, and cameras' angles of view by their number."""

    nodes: dict[tuple[int, str], Curve] = field(default_factory=dict)
    fields: dict[int, Curve] = field(default_factory=dict)


def motion(file: Opened, number: int, wanted: Callable[[int | None, str, int | None], bool]) -> Motion:
    """Return what an animation moves, of that which is `wanted` (node, path, camera). Error: ImportFault."""
    animation = file.document.animations[number]
    found = Motion()
    for place, channel in enumerate(animation.channels):
        here = f"animations[{number}].channels[{place}]"
        node, path, camera = _aim(channel.target.node, channel.target.path, channel.target.extensions)
        if path not in _WIDE or not wanted(node, path, camera):
            continue
        if (node, path) in found.nodes or camera in found.fields:
            raise file.fault(f"{here} moves what another channel moves already; export it again")
        curve = _curve(file, animation, channel.sampler, _WIDE[path], here)
        if node is not None:
            found.nodes[node, path] = curve
        elif camera is not None:
            found.fields[camera] = curve
    return found


def _aim(node: int | None, path: str, extensions: dict[str, object]) -> tuple[int | None, str, int | None]:
    """Return the node, what of it is moved, and the camera whose angle of view it is."""
    if path != "pointer":
        return node, path, None
    said = extensions.get("KHR_animation_pointer")
    pointer = said.get("pointer") if isinstance(said, dict) else None
    match pointer.split("/") if isinstance(pointer, str) else []:
        case ["", "cameras", number, "perspective", "yfov"] if _NUMBER.fullmatch(number):
            return None, "yfov", int(number)
        case ["", "nodes", number, moved] if _NUMBER.fullmatch(number):
            return int(number), moved, None
    return None, "", None


def _curve(file: Opened, animation: Animation, number: int, wide: int, here: str) -> Curve:
    if not 0 <= number < len(animation.samplers):
        raise file.fault(f"{here} has no sampler; the file is damaged, export it again")
    sampler = animation.samplers[number]
    if sampler.interpolation not in _MODES:
        raise file.fault(f"{here} moves by {sampler.interpolation[:20]}, which glTF does not have; export it again")
    at, values = file.numbers(sampler.input, here), file.numbers(sampler.output, here)
    each = 3 if sampler.interpolation == "CUBICSPLINE" else 1
    if at.shape[1] != 1 or values.shape != (len(at) * each, wide):
        raise file.fault(f"{here} has {len(at)} times and {len(values)} values, which do not fit; export it again")
    if (np.diff(at[:, 0]) <= 0).any():
        raise file.fault(f"{here}: its times do not rise; export it again")
    shaped = values.reshape(len(at), each, wide)
    if each == 1:
        shaped = np.concatenate([np.zeros_like(shaped), shaped, np.zeros_like(shaped)], axis=1)
    if wide == 4 and (np.linalg.norm(shaped[:, 1], axis=1) < 1e-6).any():
        raise file.fault(f"{here} has a turning of no length; export it again")
    return Curve(at[:, 0], shaped, sampler.interpolation)


def frames_of(at_s: Floats, rate: float) -> Floats:
    """Return the frames that key times mean: on a whole one, as near as single precision can tell."""
    slack = 2 * np.spacing(np.abs(at_s).astype(np.float32)).astype(np.float64) * rate
    return on_frames(at_s * rate, slack)


def values_at(curve: Curve, frames: Floats, rate: float) -> Floats:
    """Return a curve's values at frames; before its first key and after its last these hold. Shape: (N, D)."""
    keys, values = frames_of(curve.at, rate), curve.values[:, 1]
    turning = values.shape[1] == 4
    if len(keys) == 1:
        return np.repeat(values, len(frames), axis=0)
    held = np.clip(frames, keys[0], keys[-1])
    place = np.clip(np.searchsorted(keys, held, side="right") - 1, 0, len(keys) - 1)
    if curve.mode == "STEP":
        stepped: Floats = values[place]
        return stepped
    if curve.mode == "LINEAR":
        if turning:
            along: Floats = Slerp(keys, Rotation.from_quat(values))(held).as_quat()
            return along
        straight: Floats = np.column_stack([np.interp(held, keys, one) for one in values.T])
        return straight
    return _spline(curve, keys, held, np.minimum(place, len(keys) - 2), rate)


def _spline(curve: Curve, keys: Floats, held: Floats, place: NDArray[np.intp], rate: float) -> Floats:
    """Return a cubic Hermite spline's values. Source: Khronos glTF 2.0, appendix C.4."""
    length = (keys[place + 1] - keys[place])[:, np.newaxis]
    part = (held[:, np.newaxis] - keys[place][:, np.newaxis]) / length
    tangent_in, value, tangent_out = np.moveaxis(curve.values, 1, 0)
    whole: Floats = (
        (2 * part**3 - 3 * part**2 + 1) * value[place]
        + length / rate * (part**3 - 2 * part**2 + part) * tangent_out[place]
        + (-2 * part**3 + 3 * part**2) * value[place + 1]
        + length / rate * (part**3 - part**2) * tangent_in[place + 1]
    )
    return whole


def local(node: Node, number: int, moved: Motion, frames: Floats, rate: float) -> tuple[Floats, Floats] | None:
    """Return a node's own axes (N, 3, 3) and place (N, 3); None where they are no numbers.

    A node that is not animated has one N.
    """
    if node.matrix is not None:
        if len(node.matrix) != 16:
            return None
        whole = np.array(node.matrix).reshape(4, 4).T
        return whole[np.newaxis, :3, :3], whole[np.newaxis, :3, 3]

    def path(name: str, standing: tuple[float, ...]) -> Floats:
        curve = moved.nodes.get((number, name))
        return np.array([standing]) if curve is None else values_at(curve, frames, rate)

    turning = path("rotation", node.rotation)
    if not (np.isfinite(turning).all() and (np.linalg.norm(turning, axis=1) > 1e-6).all()):
        return None
    axes: Floats = Rotation.from_quat(turning).as_matrix() * path("scale", node.scale)[:, np.newaxis, :]
    return axes, path("translation", node.translation)
