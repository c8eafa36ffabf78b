"""What the camera does along the move: a piece of project.json. Nothing is computed or judged here."""

from typing import Annotated

from msgspec import UNSET, Meta, Struct, UnsetType

from sequencer.score.camera import DOINGS


class CameraCueFile(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The camera does something before, at or after a point of the move."""

    do: Annotated[
        str,
        Meta(
            description="shutter: expose one frame; record: start recording; cut: stop recording.",
            extra_json_schema={"enum": list(DOINGS)},
        ),
    ]
    at: Annotated[str, Meta(description='A timecode, or "cue start" or "cue end" of whichever cue is played.')]
    after_s: Annotated[float | UnsetType, Meta(description="So long after that, or before it where below zero.")] = (
        UNSET
    )
    lead_s: Annotated[
        float | UnsetType, Meta(description="From the order to the deed: the camera is ordered so much earlier.")
    ] = UNSET
