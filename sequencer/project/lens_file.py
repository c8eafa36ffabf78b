"""What a lens does at the positions of its motors, as rig.json has it. Nothing is computed or judged here."""

from typing import Annotated

from msgspec import UNSET, Meta, Struct, UnsetType

_DISTANCE = 'From the sensor plane, as "2.4 m", "8 ft", "7\' 6\\"" or "inf".'
_ABOVE_ZERO = {"exclusiveMinimum": 0}
Distance = Annotated[str, Meta(description=_DISTANCE)]
AnyDistance = Annotated[str | UnsetType, Meta(description=f"{_DISTANCE} Left out where it does not matter.")]
AnyFocal = Annotated[
    float | UnsetType,
    Meta(description="At this focal length; left out where it does not matter.", extra_json_schema=_ABOVE_ZERO),
]


class FocusRowFile(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    at: Annotated[float, Meta(description="Position of the focus axis, in its unit.")]
    distance: Distance


class ZoomRowFile(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    at: Annotated[float, Meta(description="Position of the zoom axis, in its unit.")]
    focal_mm: Annotated[float, Meta(extra_json_schema=_ABOVE_ZERO)]


class BreathingRowFile(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    factor: Annotated[float, Meta(description="The true focal length, for each millimetre of the marked one.")]
    distance: AnyDistance = UNSET
    focal_mm: AnyFocal = UNSET


class PupilRowFile(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    ahead_mm: Annotated[float, Meta(description="How far the entrance pupil lies ahead of the sensor plane.")]
    distance: AnyDistance = UNSET
    focal_mm: AnyFocal = UNSET


_TABLE = {"minItems": 2}
FocusRows = Annotated[
    list[FocusRowFile],
    Meta(
        description="The focus scale: positions rise, distances only rise or only fall.",
        extra_json_schema=_TABLE,
    ),
]
ZoomRows = Annotated[
    list[ZoomRowFile],
    Meta(description="The zoom scale: positions rise, lengths only rise or only fall.", extra_json_schema=_TABLE),
]
BreathingRows = Annotated[
    list[BreathingRowFile],
    Meta(description="How the focal length changes with focus.", extra_json_schema={"minItems": 1}),
]
PupilRows = Annotated[
    list[PupilRowFile],
    Meta(description="Where the entrance pupil is, by focus and focal length.", extra_json_schema={"minItems": 1}),
]
