"""A camera as a layer of OpenUSD: built sample by sample below the stage, which is what makes it quick.

Centimetres, so that tenths of a scene unit are millimetres: whoever reads focal length and apertures either way reads
them right. The camera is turned by angles, not by matrices, so that pans of more than a turn last, and what lies
between samples is a turning too.
Source: OpenUSD's schema documentation: UsdGeomCamera, UsdGeomXformable, UsdGeom stage metrics.
"""

from collections.abc import Iterable
from typing import Any

import numpy as np
from pxr import Sdf, Tf, Vt

from sequencer.export.contract import Wanted
from sequencer.export.delivery import CameraPath, Delivery, Floats
from sequencer.export.flat import FAR_M, Flat, camera_path, flat, steady, told
from sequencer.export.spaces import Space
from sequencer.rig.axis import Camera

_SHOT = Sdf.Path("/shot")
_CAMERA = Sdf.Path("/shot/camera")


def layer(delivery: Delivery, suffix: str, wanted: Wanted, space: Space) -> Any:
    """Return the layer (`Sdf.Layer`) of a delivery in a space. Error: ExportError where it has no camera."""
    path, camera = camera_path(delivery)
    made = Sdf.Layer.CreateAnonymous(suffix)
    _head(made, delivery, path, wanted, space)
    shot = Sdf.CreatePrimInLayer(made, _SHOT)
    shot.specifier, shot.typeName = Sdf.SpecifierDef, "Xform"
    prim = Sdf.CreatePrimInLayer(made, _CAMERA)
    prim.specifier, prim.typeName = Sdf.SpecifierDef, "Camera"
    instants = flat(path, wanted)
    _turning(prim, instants, space)
    _lens(prim, instants, camera, delivery, space)
    if path.shutter is not None:
        opens, closes = path.shutter
        _default(prim, "shutter:open", Sdf.ValueTypeNames.Double, float(opens))
        _default(prim, "shutter:close", Sdf.ValueTypeNames.Double, float(closes))
    _axes(prim, instants, delivery)
    return made


def _head(made: Any, delivery: Delivery, path: CameraPath, wanted: Wanted, space: Space) -> None:
    rate = delivery.timebase.rate
    first = flat(path, wanted).first
    made.defaultPrim = _SHOT.name
    made.timeCodesPerSecond = made.framesPerSecond = rate.num / rate.den
    made.startTimeCode, made.endTimeCode = first, first + path.frames - 1
    made.pseudoRoot.SetInfo("upAxis", space.up.upper())
    made.pseudoRoot.SetInfo("metersPerUnit", 1 / space.in_metre)
    made.documentation = "; ".join(
        (f"{delivery.project}, {delivery.cue.name}", "centimetres; the camera's place is its entrance pupil")
    )
    made.customLayerData = {"twintake": _plain(told(delivery, wanted))}


def _plain(words: dict[str, object]) -> dict[str, object]:
    """Return a dictionary that a layer takes: lists become arrays of one kind."""
    arrays: dict[type, Any] = {int: Vt.IntArray, float: Vt.DoubleArray}
    return {name: arrays[type(value[0])](value) if isinstance(value, list) else value for name, value in words.items()}


def _turning(prim: Any, instants: Flat, space: Space) -> None:
    pan, tilt, roll = instants.angles_deg.T
    _sampled(prim, "xformOp:translate", instants, space.placed(instants.position_m))
    order = ["xformOp:translate"]
    if space.up == "y":
        order.append("xformOp:rotateZXY")
        _sampled(prim, order[-1], instants, np.column_stack([tilt, pan, -roll]))
    else:
        # a camera that looks along -Z stands upright where Z is up once it is tilted by a quarter turn more
        for name, values in (("rotateZ:pan", pan), ("rotateX:tilt", tilt + 90), ("rotateZ:roll", -roll)):
            order.append(f"xformOp:{name}")
            _sampled(prim, order[-1], instants, values)
    spec = Sdf.AttributeSpec(prim, "xformOpOrder", Sdf.ValueTypeNames.TokenArray, Sdf.VariabilityUniform)
    spec.default = Vt.TokenArray(order)


def _lens(prim: Any, instants: Flat, camera: Camera, delivery: Delivery, space: Space) -> None:
    single = Sdf.ValueTypeNames.Float
    width, height = camera.sensor_mm
    _default(prim, "horizontalAperture", single, width)
    _default(prim, "verticalAperture", single, height)
    focus = np.minimum(instants.focus_m, FAR_M) * space.in_metre
    for name, values in (("focalLength", instants.focal_mm), ("focusDistance", focus)):
        if np.isfinite(values[instants.known]).any():
            _sampled(prim, name, instants, values, single)
    if delivery.f_number is not None:
        _default(prim, "fStop", single, delivery.f_number)


def _axes(prim: Any, instants: Flat, delivery: Delivery) -> None:
    """Write where the rig's axes stood; their names and units beside, since not every name can be one here."""
    taken: set[str] = set()
    for axis, values in zip(delivery.rig.axes, instants.values.T, strict=True):
        name = Tf.MakeValidIdentifier(axis.name)
        while name in taken:
            name += "_"
        taken.add(name)
        spec = _sampled(prim, f"twintake:axis:{name}", instants, values, custom=True)
        spec.customData = {"name": axis.name, "kind": axis.kind, "unit": axis.unit}


def _default(prim: Any, name: str, kind: Any, value: object) -> None:
    Sdf.AttributeSpec(prim, name, kind).default = value


def _sampled(
    prim: Any, name: str, instants: Flat, values: Floats, kind: Any = Sdf.ValueTypeNames.Double, custom: bool = False
) -> Any:
    """Write an attribute: one value where it never changes, else a sample wherever the rig said where it stood."""
    triple = values.ndim == 2
    kind = Sdf.ValueTypeNames.Double3 if triple else kind
    spec = Sdf.AttributeSpec(prim, name, kind, Sdf.VariabilityVarying, custom)
    told_here = instants.known & (np.isfinite(values).all(axis=1) if triple else np.isfinite(values))
    if not triple and (only := steady(values[told_here])) is not None:
        spec.default = only
        return spec
    shown: Iterable[Any] = (
        Vt.Vec3dArray.FromNumpy(np.ascontiguousarray(values[told_here])) if triple else values[told_here].tolist()
    )
    put, place = prim.layer.SetTimeSample, spec.path
    for frame, value in zip(instants.frame[told_here].tolist(), shown, strict=True):
        put(place, frame, value)
    return spec
