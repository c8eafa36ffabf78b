"""rig.json, field by field as it is written. Nothing is computed or judged here."""

from typing import Annotated, Literal

from msgspec import UNSET, Meta, Struct, UnsetType, field

from sequencer.project.axis_file import HomingFile, MeasuredFile, ReferenceName, SimulatedFile
from sequencer.project.lens_file import BreathingRows, FocusRows, PupilRows, ZoomRows
from sequencer.project.outlet_file import OutletFile
from sequencer.project.piece import Name
from sequencer.rig.axis import KINDS, UNITS


class AxisFile(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    name: Annotated[Name, Meta(description="A word without spaces or slashes; tracks name it.")]
    kind: Annotated[str, Meta(extra_json_schema={"enum": list(KINDS)})]
    unit: Annotated[str, Meta(extra_json_schema={"enum": list(UNITS)})]
    travel: Annotated[
        tuple[float, float] | None, Meta(description="Soft limits, low and high; null for an axis without end.")
    ]
    speed: Annotated[float, Meta(description="Limit, in units a second.")]
    acceleration: Annotated[float, Meta(description="Limit, in units a second squared.")]
    jerk: Annotated[float, Meta(description="Limit, in units a second cubed.")]
    latency_s: Annotated[float, Meta(description="How long after a setpoint's due time the rig stands there.")] = 0.0
    backlash: Annotated[float, Meta(description="Play of the gear, in units.")] = 0.0
    resolution: Annotated[float, Meta(description="One encoder step, in units; 0 where it is too fine to matter.")] = (
        0.0
    )
    home: Annotated[float, Meta(description="Where the axis stands when nothing else is known.")] = 0.0
    simulated: Annotated[SimulatedFile, Meta(description="How the simulated rig's motor behaves.")] = SimulatedFile()
    measured: MeasuredFile | UnsetType = UNSET
    reference: ReferenceName | UnsetType = UNSET
    homing: HomingFile | UnsetType = UNSET


class CameraFile(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    sensor_mm: Annotated[tuple[float, float], Meta(description="Width and height of the part of the sensor in use.")]
    pixels: Annotated[tuple[int, int], Meta(description="Width and height of the recorded frame.")]
    focal_mm: float
    subject_m: Annotated[float, Meta(description="Distance from the lens to the subject.")]
    f_number: Annotated[
        float | UnsetType, Meta(description="Focal length by the width of the entrance pupil, for depth of field.")
    ] = UNSET
    circle_of_confusion_mm: Annotated[
        float | UnsetType, Meta(description="Blur that counts as sharp; without it, the sensor's diagonal by 1500.")
    ] = UNSET
    shutter_deg: Annotated[float | UnsetType, Meta(description="For advice on panning; without it, 180.")] = UNSET
    focus_table: FocusRows | UnsetType = UNSET
    zoom_table: ZoomRows | UnsetType = UNSET
    breathing: BreathingRows | UnsetType = UNSET
    pupil: PupilRows | UnsetType = UNSET


class CombinedFile(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A limit that ties axes together: of a weighted sum, or of one axis while another is in a range."""

    name: Annotated[Name, Meta(description="What messages call it.")]
    sum: Annotated[
        dict[str, float] | UnsetType,
        Meta(
            description="What is limited: the sum of these axes, each times its weight.",
            extra_json_schema={"minProperties": 2},
        ),
    ] = UNSET
    axis: Annotated[str | UnsetType, Meta(description="Or: the axis that is limited.")] = UNSET
    other: Annotated[
        str | UnsetType, Meta(description="While this axis is in the range `between`, and may be the same one.")
    ] = field(default=UNSET, name="while")
    between: Annotated[
        tuple[float, float] | UnsetType, Meta(description="Low and high end of that range, in that axis's unit.")
    ] = UNSET
    travel: Annotated[tuple[float, float] | UnsetType, Meta(description="Limit, low and high.")] = UNSET
    speed: Annotated[float | UnsetType, Meta(description="Limit, in units a second.")] = UNSET
    acceleration: Annotated[float | UnsetType, Meta(description="Limit, in units a second squared.")] = UNSET
    jerk: Annotated[float | UnsetType, Meta(description="Limit, in units a second cubed.")] = UNSET


_WHOLE_LIMIT = {
    "oneOf": [{"required": ["sum"]}, {"required": ["axis", "while", "between"]}],
    "anyOf": [{"required": [name]} for name in ("travel", "speed", "acceleration", "jerk")],
}


class GeometryFile(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What the axes do to the camera, as far as it is not what every rig's do; for the views and for aiming."""

    height_m: Annotated[float | UnsetType, Meta(description="Where pan, tilt and roll meet, all at zero; 1.5.")] = UNSET
    positive: Annotated[
        dict[str, str] | UnsetType,
        Meta(
            description="Which way an axis goes as its position grows, by the axis's name. Pan: left or right; tilt "
            "and lift: up or down; roll: clockwise or anticlockwise, seen from behind. Without it, the first.",
        ),
    ] = UNSET
    heading_deg: Annotated[
        dict[str, float] | UnsetType,
        Meta(
            description="Where a slide goes as its position grows, by its name: 0 forward, 90 left, -90 right. "
            "Without it, -90."
        ),
    ] = UNSET
    pupil_mm: Annotated[
        tuple[float, float, float] | UnsetType,
        Meta(
            description="Where the lens's entrance pupil is from the point in which pan, tilt and roll meet: to the "
            "camera's right, ahead and above. Without it, in that point. It stays there."
        ),
    ] = UNSET
    sensor_plane_mm: Annotated[
        tuple[float, float, float] | UnsetType,
        Meta(
            description="Instead of pupil_mm, for a camera with a table pupil, which counts from the sensor plane: "
            "where the middle of that plane is from that point, likewise. Without it, in that point."
        ),
    ] = UNSET


class RigFile(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """rig.json: the machine. The order of the axes is the order of every array with an axis dimension."""

    format: Literal["twintake/rig"]
    version: Literal[1]
    name: Name
    axes: Annotated[list[AxisFile], Meta(extra_json_schema={"minItems": 1})]
    camera: CameraFile | UnsetType = UNSET
    combined: Annotated[
        list[Annotated[CombinedFile, Meta(extra_json_schema=_WHOLE_LIMIT)]],
        Meta(description="Limits that tie axes together, beside each axis's own."),
    ] = []
    geometry: GeometryFile | UnsetType = UNSET
    outputs: Annotated[list[OutletFile], Meta(description="By which outputs axes are reached.")] = []
