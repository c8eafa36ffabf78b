"""Points in the set, as project.json writes them. Nothing is computed or judged here."""

from typing import Annotated

from msgspec import UNSET, Meta, Struct, UnsetType

from sequencer.project.piece import Name


class PointFile(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    name: Name
    at_m: Annotated[
        tuple[float, float, float],
        Meta(description="Metres to the camera's right, ahead of it, and above the ground, as the stage counts."),
    ]
    sigma_m: Annotated[
        float | UnsetType,
        Meta(
            description="How sure the place is where it was found by aiming: the standard deviation along the worst "
            "direction, in metres.",
            extra_json_schema={"exclusiveMinimum": 0},
        ),
    ] = UNSET
