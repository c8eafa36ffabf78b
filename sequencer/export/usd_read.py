"""The reader of OpenUSD, run as a process of its own: what a damaged file does to the library harms nobody else.

It takes the file from standard input and writes what it found, as numbers, to standard output. It follows no reference:
a file that needs another one is refused. Only cameras that the file itself writes down are looked at.
"""

import re
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec
import numpy as np

from sequencer.errors import ImportFault
from sequencer.export.foreign import MOST_CAMERAS, MOST_SAMPLES, filled, on_frames
from sequencer.export.memory import bound

MOST_PRIMS = 200_000
_BINARY, _TEXT = b"PXR-USDC", b"#usda"
_PLACE = re.compile(r"':(\d+):\d+: (.*?)'?\n'", re.DOTALL)
_LENS = ("focalLength", "focusDistance", "horizontalAperture", "verticalAperture")


class RawCamera(msgspec.Struct):
    """A camera as the file has it: `place` is its prim; arrays are float64, `matrices` 16 numbers each, by rows.

    `own` are the times at which the file itself has samples; `solid` that it turns by matrices, between which no
    camera stands. `said` are the attributes of the lens that are written.
    """

    place: str
    own: bytes
    times: bytes
    matrices: bytes
    lens: dict[str, bytes]
    said: list[str]
    solid: bool
    shifted: bool
    orthographic: bool


class RawStage(msgspec.Struct):
    """The stage that they stand on. `written` names what of its metadata the file writes itself."""

    up: str
    unit_m: float
    time_codes_hz: float
    frames_hz: float
    written: list[str]
    cameras: list[RawCamera]
    about: dict[str, str | bool | int] = {}


class Refused(msgspec.Struct):
    """Why the file cannot be used."""

    words: str


class _Refusal(Exception):
    """Carries the words of a refusal up to `main`."""


def main() -> None:
    """Read one file and say what was found."""
    bound()
    sys.stdout.buffer.write(read(sys.stdin.buffer.read()))


def read(data: bytes) -> bytes:
    """Return what a file says: a RawStage, or Refused, as MessagePack."""
    from pxr import Tf

    try:
        found: object = _stage(data)
    except _Refusal as fault:
        found = Refused(str(fault))
    except Tf.ErrorException as fault:
        found = Refused(f"it is damaged: {_mended(str(fault))}; export it again")
    except (TypeError, ValueError, OverflowError, AttributeError):
        # the library hands on whatever kind of value a damaged file has in a place
        found = Refused("it is damaged: a value in it is not of the kind that belongs there; export it again")
    return msgspec.msgpack.encode(found)


def _stage(data: bytes) -> RawStage:
    from pxr import Usd, UsdGeom

    layer = _layer(data)
    places = list(_cameras(layer))
    if needs := layer.GetCompositionAssetDependencies():
        # a reference to a place in the file itself has no name
        other = f"another file ({needs[0]}), which is" if needs[0] else "references inside of itself, which are"
        raise _Refusal(f"it needs {other} not followed; export it flattened")
    if not places:
        raise _Refusal("it has no camera; export the camera too, and flattened where it came by a reference")
    mask = Usd.StagePopulationMask([str(place) for place in places])
    stage = Usd.Stage.OpenMasked(layer, mask)
    on = [place for place in places if (prim := stage.GetPrimAtPath(place)) and prim.IsActive()]
    if not on:
        raise _Refusal(f"{places[0]} is switched off, and so are all its cameras; export the one that is meant active")
    if len(on) > MOST_CAMERAS:
        raise _Refusal(f"it has {len(on)} cameras, and {MOST_CAMERAS} are the most; export fewer")
    root = layer.pseudoRoot
    written = [
        name for name in ("upAxis", "metersPerUnit", "timeCodesPerSecond", "framesPerSecond") if root.HasInfo(name)
    ]
    ours = (layer.customLayerData or {}).get("twintake")
    return RawStage(
        up=str(UsdGeom.GetStageUpAxis(stage)),
        unit_m=UsdGeom.GetStageMetersPerUnit(stage),
        time_codes_hz=stage.GetTimeCodesPerSecond(),
        frames_hz=stage.GetFramesPerSecond(),
        written=written,
        cameras=list(_bounded(_camera(stage, place) for place in on)),
        about={name: value for name, value in (ours or {}).items() if isinstance(value, str | bool | int)},
    )


def _layer(data: bytes) -> Any:
    from pxr import Sdf

    try:
        if data.startswith(_TEXT):
            layer = Sdf.Layer.CreateAnonymous(".usda")
            layer.ImportFromString(data.decode("utf-8"))
            return layer
        if data.startswith(_BINARY):
            with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
                file = Path(folder) / "camera.usdc"
                file.write_bytes(data)
                return Sdf.Layer.OpenAsAnonymous(str(file))
    except UnicodeDecodeError as fault:
        raise _Refusal(f"it is no text in UTF-8: byte {fault.start} is none; export it again") from fault
    except OSError as fault:
        raise _Refusal(
            f"OpenUSD reads its binary form from the folder for temporary files, which cannot be written to "
            f"({fault.strerror}); free its disk, or export it as .usda"
        ) from fault
    raise _Refusal("it does not begin as OpenUSD does; export it as .usda or .usdc (a .usdz must be unpacked)")


def _mended(words: str) -> str:
    """Return what the library says is wrong, without where in itself it says so."""
    said = _PLACE.findall(words)
    if not said:
        return "what it holds contradicts itself"
    line, what = said[-1]
    # of a rule of the grammar only the text at which it failed says something
    shown = what.rpartition(" at '")[2] if "pegtl" in what else what
    return f"line {line}: {' '.join(shown.split())[:160]}"


def _cameras(layer: Any) -> Iterator[Any]:
    """Yield the cameras that the layer writes down, without composing anything. Variants are looked at, too."""
    waiting, seen = list(layer.rootPrims), 0
    while waiting:
        prim = waiting.pop()
        seen += 1
        if seen > MOST_PRIMS:
            raise _Refusal(f"it has more than {MOST_PRIMS} prims; export the camera alone, without the scene")
        if prim.HasInfo("clips") or prim.HasInfo("clipSets"):
            raise _Refusal(f"{prim.path} takes its values from other files (clips), which are not followed; flatten it")
        if prim.typeName == "Camera" and not prim.path.ContainsPrimVariantSelection():
            yield prim.path
        waiting.extend(prim.nameChildren)
        waiting.extend(one.primSpec for among in prim.variantSets for one in among.variants)


def _bounded(cameras: Iterator[RawCamera]) -> Iterator[RawCamera]:
    """Refuse cameras that are too much together, before more of them are read."""
    room = MOST_SAMPLES * 4
    for camera in cameras:
        room -= len(camera.times) // 8
        if room < 0:
            raise _Refusal(f"its cameras have more than {MOST_SAMPLES * 4} samples together; export fewer")
        yield camera


def _camera(stage: Any, place: Any) -> RawCamera:
    from pxr import UsdGeom

    camera = UsdGeom.Camera.Get(stage, place)
    lens = {name: camera.GetPrim().GetAttribute(name) for name in _LENS}
    own, solid = _samples(camera.GetPrim(), list(lens.values()))
    if not len(own):
        own = np.array([stage.GetStartTimeCode()])
    frames_hz = stage.GetFramesPerSecond()
    per_frame = stage.GetTimeCodesPerSecond() / frames_hz if frames_hz else 0.0
    if not (np.isfinite(per_frame) and per_frame > 0):
        raise _Refusal("its timeCodesPerSecond or framesPerSecond is no rate; give it one")
    try:
        frames = filled(on_frames(own / per_frame), str(place))
    except ImportFault as fault:
        raise _Refusal(str(fault)) from fault
    times = own if solid else frames * per_frame
    matrices = np.empty((len(times), 16))
    cache = UsdGeom.XformCache()
    for number, time in enumerate(times.tolist()):
        cache.SetTime(time)
        matrices[number] = np.array(cache.GetLocalToWorldTransform(camera.GetPrim())).ravel()
    shifts = (camera.GetHorizontalApertureOffsetAttr(), camera.GetVerticalApertureOffsetAttr())
    return RawCamera(
        place=str(place),
        own=own.tobytes(),
        times=times.tobytes(),
        matrices=matrices.tobytes(),
        lens={
            name: np.array([_value(attribute, time) for time in times.tolist()]).tobytes()
            for name, attribute in lens.items()
        },
        said=[name for name, attribute in lens.items() if attribute.HasAuthoredValue()],
        solid=solid,
        shifted=any(_value(shift, times[0]) not in (0.0, None) for shift in shifts),
        orthographic=camera.GetProjectionAttr().Get(times[0]) == "orthographic",
    )


def _value(attribute: Any, time: float) -> float:
    value = attribute.Get(time)
    return float("nan") if value is None else float(value)


def _samples(prim: Any, attributes: list[Any]) -> tuple[Any, bool]:
    """Return the times at which the camera or what carries it has samples, and whether it turns by matrices."""
    from pxr import UsdGeom

    times: list[Any] = [attribute.GetTimeSamples() for attribute in attributes]
    solid = False
    while prim and not prim.IsPseudoRoot():
        form = UsdGeom.Xformable(prim)
        if form:
            for op in form.GetOrderedXformOps():
                samples = op.GetTimeSamples()
                solid |= op.GetOpType() == UsdGeom.XformOp.TypeTransform and len(samples) > 1
                times.append(samples)
            if form.GetResetXformStack():
                break
        prim = prim.GetParent()
    return np.unique(np.concatenate([np.array(one, dtype=np.float64) for one in times])), solid


if __name__ == "__main__":
    main()
