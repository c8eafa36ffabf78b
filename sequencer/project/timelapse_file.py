"""How a timelapse is written in project.json, field by field. Nothing is computed or judged here."""

from typing import Annotated

from msgspec import UNSET, Meta, Struct, UnsetType

from sequencer.project.piece import Exact, Name
from sequencer.score.timelapse import MANNERS, POSES_BY

Seconds = Annotated[
    str,
    Meta(
        description='Seconds, an exact number above zero as text: "30", "1/250" or "2.5".',
        extra_json_schema={"pattern": r"^\d{1,9}(/\d{1,10}|\.\d{1,9})?$"},
    ),
]
Frame = Annotated[int, Meta(description="A frame, counted from zero.", extra_json_schema={"minimum": 0})]
Count = Annotated[int, Meta(extra_json_schema={"minimum": 1})]


class Piece(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A piece of a timelapse that has no other fields than its own."""


class RampFile(Piece, frozen=True, kw_only=True):
    """The interval at a frame; between two of them it changes evenly."""

    frame: Frame
    interval_s: Seconds


class PlaceFile(Piece, frozen=True, kw_only=True):
    latitude_deg: Annotated[
        float, Meta(description="North above zero.", extra_json_schema={"minimum": -90, "maximum": 90})
    ]
    longitude_deg: Annotated[
        float, Meta(description="East above zero.", extra_json_schema={"minimum": -180, "maximum": 180})
    ]
    height_m: float | UnsetType = UNSET


class StartFile(Piece, frozen=True, kw_only=True):
    """When frame 0 is exposed."""

    at: (
        Annotated[
            str, Meta(description="05:40, or sunrise, sunset, dawn, dusk, noon, moonrise, moonset, as sunrise+20m.")
        ]
        | UnsetType
    ) = UNSET
    date: Annotated[str, Meta(description="As 2026-06-21; without it, today.")] | UnsetType = UNSET
    zone: (
        Annotated[str, Meta(description="A name of the time zone database; without it, this machine's.")] | UnsetType
    ) = UNSET
    place: PlaceFile | UnsetType = UNSET
    facing_deg: (
        Annotated[float, Meta(description="The azimuth to which the camera looks when pan stands at zero: 90 is east.")]
        | UnsetType
    ) = UNSET


class StockFile(Piece, frozen=True, kw_only=True):
    """What card and battery hold, as their makers say or as was measured."""

    frame_bytes: Count | UnsetType = UNSET
    card_bytes: Count | UnsetType = UNSET
    battery_wh: Exact | UnsetType = UNSET
    load_w: Exact | UnsetType = UNSET


class TimelapseFile(Piece, frozen=True, kw_only=True):
    """A cue spread over an event. Of the lengths, those that are missing follow from the others."""

    cue: Annotated[Name, Meta(description="Whose move is spread; without it, the first cue's.")] | UnsetType = UNSET
    manner: Annotated[str | UnsetType, Meta(extra_json_schema={"enum": list(MANNERS)})] = UNSET
    event_s: Seconds | UnsetType = UNSET
    clip_s: Seconds | UnsetType = UNSET
    interval_s: Seconds | UnsetType = UNSET
    ramp: Annotated[list[RampFile] | UnsetType, Meta(description="In place of one interval.")] = UNSET
    frames: Count | UnsetType = UNSET
    exposure_s: Seconds | UnsetType = UNSET
    settle_s: Annotated[Seconds, Meta(description="The longest that the rig may take to stand still.")] | UnsetType = (
        UNSET
    )
    camera_s: Annotated[Seconds, Meta(description="What the camera needs beside the exposure.")] | UnsetType = UNSET
    poses_by: Annotated[
        str | UnsetType,
        Meta(
            description="frame: the move is divided evenly among the frames; time: each has the pose of its instant.",
            extra_json_schema={"enum": list(POSES_BY)},
        ),
    ] = UNSET
    speed: Annotated[Exact, Meta(description="The part of each axis's speed from pose to pose.")] | UnsetType = UNSET
    tolerance: (
        Annotated[
            dict[str, float],
            Meta(
                description="How near to its pose an axis must stand when a frame is exposed, by its name, in its unit."
            ),
        ]
        | UnsetType
    ) = UNSET
    still_s: Annotated[float, Meta(description="For how long.")] | UnsetType = UNSET
    stock: StockFile | UnsetType = UNSET
    start: StartFile | UnsetType = UNSET
