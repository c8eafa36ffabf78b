"""The options of `twintake previz`, and what is asked by them."""

from collections.abc import Sequence
from enum import StrEnum
from fractions import Fraction
from typing import Annotated

import typer

from sequencer.cli.options import fraction, instant, number
from sequencer.errors import ProjectError
from sequencer.live.filmed import Place, Placing
from sequencer.project.document import Project
from sequencer.project.previz import Asked, Convert
from sequencer.project.previz_within import Within, within_of


class PlaceAt(StrEnum):
    """Where the camera's space is put. An enumeration, since the command line takes no list of a Literal."""

    WORLD = "world"
    START = "start"


class ConvertBy(StrEnum):
    """What is kept of a camera of another frame rate."""

    TIME = "time"
    FRAMES = "frames"


def _ratio(given: str) -> Fraction:
    """Return the exact number of an option that may also be a miniature's, as 1:6."""
    return fraction(given.replace(":", "/"))


def _allowed(given: str) -> str:
    """Return a tolerance as it was written. Error: BadParameter for what is none."""
    try:
        within_of([given])
    except ValueError as fault:
        raise typer.BadParameter(str(fault)) from fault
    return given


Camera = Annotated[str | None, typer.Option("--camera", metavar="NAME", help="Which camera, where a file has several.")]
At = Annotated[str | None, typer.Option("--at", metavar="TIMECODE", help="Where its first sample goes.")]
CueName = Annotated[
    str | None,
    typer.Option(
        "--cue", metavar="CUE", help="The cue it goes into, from its begin on; one that is not there is made."
    ),
]
First = Annotated[
    float | None, typer.Option("--from", parser=number, metavar="FRAME", help="Only from this frame of the file on.")
]
Last = Annotated[
    float | None, typer.Option("--to", parser=number, metavar="FRAME", help="Only up to this frame of it.")
]
ConvertTo = Annotated[
    ConvertBy | None,
    typer.Option("--convert", help="A camera of another frame rate: keep its time, or keep frame for frame."),
]
TimeScale = Annotated[
    Fraction | None,
    typer.Option("--time-scale", parser=fraction, metavar="FACTOR", help="Let it last so many times as long."),
]
Scale = Annotated[
    Fraction | None, typer.Option("--scale", parser=_ratio, metavar="RATIO", help="The set is a miniature: 1:6 or 1/6.")
]
Turn = Annotated[
    float,
    typer.Option("--turn", parser=number, metavar="DEG", help="Turn its world to the left about the rig's origin."),
]
PlaceTo = Annotated[
    PlaceAt,
    typer.Option("--place", help="Its place as its world has it, or begin where slides and lift stand at the start."),
]
Allowed = Annotated[
    list[str] | None,
    typer.Option(
        "--within",
        parser=_allowed,
        metavar="TOLERANCE",
        help="How far off axes may be: 0.02deg, 0.5mm, 0.001part or AXIS=0.02; may be repeated.",
    ),
]
AllowedPx = Annotated[
    float | None,
    typer.Option(
        "--within-px", parser=number, metavar="PIXELS", help="By how many pixels the picture may be off; else one."
    ),
]
Axes = Annotated[
    list[str] | None, typer.Option("--axis", metavar="NAME", help="Only this axis; may be repeated. Else all it can.")
]
Replace = Annotated[bool, typer.Option("--replace", help="Keys of these axes that are there may go.")]
Shake = Annotated[bool, typer.Option("--follow-shake", help="Follow what shakes from sample to sample, too.")]
Anyway = Annotated[bool, typer.Option("--anyway", help="Write also what the motors cannot do, to repair it.")]


def asked_for(
    project: Project,
    *,
    at: str | None = None,
    cue: str | None = None,
    span: tuple[float | None, float | None] = (None, None),
    convert: Convert | None = None,
    stretch: Fraction = Fraction(1),
    placing: tuple[Fraction, float, Place] = (Fraction(1), 0.0, "world"),
    within: tuple[list[str], float | None] = ([], None),
    axes: Sequence[str] = (),
    may: tuple[bool, bool] = (False, False),
) -> Asked:
    """Return what the options ask of a camera. Error: ProjectError that names the option.

    `span`: frames of the file; `placing`: scale, turn, place; `within`: tolerances, pixels; `may`: replace, shake.
    """
    try:
        placed = Placing(scale=float(placing[0]), turn_deg=placing[1], place=placing[2])
    except ValueError as fault:
        raise ProjectError("--scale, --turn", str(fault), file="command line") from fault
    return Asked(
        at=None if at is None else instant("--at", at, project.timebase),
        cue=cue,
        first=span[0],
        last=span[1],
        convert=convert,
        stretch=stretch,
        placing=placed,
        within=_within(*within),
        axes=tuple(axes) or None,
        replace=may[0],
        shake=may[1],
    )


def _within(given: list[str], px: float | None) -> Within:
    try:
        return within_of(given, px)
    except ValueError as fault:
        raise ProjectError("--within", str(fault), file="command line") from fault
