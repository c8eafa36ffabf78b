"""The ways in which a move is shot: a piece of project.json. Nothing is computed or judged here."""

from typing import Annotated

from msgspec import UNSET, Meta, Struct, UnsetType

from sequencer.project.piece import Exact, Name


class ScaleFile(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Lengths of slide and lift, for a model of another size; angles and the lens stay."""

    factor: Annotated[Exact, Meta(description='Of the lengths as written: "1/2" for a model of half the size.')]
    about: Annotated[
        dict[str, float] | UnsetType, Meta(description="For each axis the position that stays; 0 if not said.")
    ] = UNSET
    time: Annotated[
        bool | UnsetType,
        Meta(description="Whether rate and speed, where they are not written, follow the square root of the factor."),
    ] = UNSET


class PassFile(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    name: Name
    speed: Annotated[
        Exact | UnsetType,
        Meta(
            description='The move\'s speed in this pass: "1", or "1/2" for half speed. Without it, 1; where the camera '
            "has a rate of its own, what shows it the frames of the move one after the other."
        ),
    ] = UNSET
    of: Annotated[Name | UnsetType, Meta(description="The cue that it belongs to; without it, all.")] = UNSET
    reversed: Annotated[bool | UnsetType, Meta(description="Whether each cue runs backward, within its own span.")] = (
        UNSET
    )
    offset: Annotated[
        dict[str, float] | UnsetType, Meta(description="Added to the positions of these axes, each in its own unit.")
    ] = UNSET
    scale: ScaleFile | UnsetType = UNSET
    rate: Annotated[
        Exact | UnsetType, Meta(description="Frames a second of the camera in this pass, if not the project's.")
    ] = UNSET
    note: Annotated[str | UnsetType, Meta(description='Free words: "clean plate", "other light".')] = UNSET
