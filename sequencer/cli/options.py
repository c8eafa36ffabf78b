"""Options that several subcommands have."""

import math
import re
from fractions import Fraction
from pathlib import Path
from typing import Annotated

import typer

from sequencer.errors import ProjectError
from sequencer.timebase.timecode import Timebase


def _pixels(given: float | None) -> float | None:
    if given is not None and not (math.isfinite(given) and given > 0):
        raise typer.BadParameter(f"{given:g} is no tolerance; write a number of pixels above zero")
    return given


def _exact(given: str) -> Fraction | None:
    """Return the number that is written as 12, -12.5, 1/2 or 50%, exactly; None for any other text."""
    written = re.fullmatch(r"\s*([+-]?(?:\d{1,9}(?:\.\d{0,9})?|\.\d{1,9}))(?:\s*(%)|/(\d{1,9}))?\s*", given, re.ASCII)
    if written is None:
        return None
    number, percent, parts = written.groups()
    below = 100 if percent else int(parts or 1)
    return Fraction(number) / below if below else None


def _part(given: str) -> str:
    """Return a speed as an exact fraction, in text."""
    part = _exact(given)
    if part is None or part <= 0:
        raise typer.BadParameter(
            f"{given!r} is no part of the pass's own speed; write one above zero, as 1/2, 0.5 or 50%"
        )
    return str(part)


def fraction(given: str) -> Fraction:
    """Return the exact number of an option. Error: BadParameter."""
    exact = _exact(given)
    if exact is None:
        raise typer.BadParameter(f"{given!r} is not a number; write one like 12, 12.5 or 11/10")
    return exact


def number(given: str | float) -> float:
    """Return the number of an option. Error: BadParameter."""
    try:
        if math.isfinite(value := float(given)):
            return value
    except ValueError:
        pass
    raise typer.BadParameter(f"{given!r} is not a number; write one like 12 or 12.5")


def instant(option: str, given: str, timebase: Timebase) -> Fraction:
    """Return the frame that `option` gives as timecode. Error: ProjectError that names the option."""
    try:
        return timebase.frames(given)
    except ValueError as fault:
        raise ProjectError(option, str(fault), file="command line") from fault


Folder = Annotated[Path, typer.Argument(help="A project folder.")]
Out = Annotated[
    list[str] | None,
    typer.Option(
        help="Where the rig is, as osc://HOST:PORT or AXIS,AXIS=ADDRESS; may be repeated. Without it, the outputs of "
        "rig.json, else osc://127.0.0.1:9000. twintake ports lists the kinds."
    ),
]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON document, and nothing else.")]
Write = Annotated[bool, typer.Option("--write", help="Keep the result in the project; the file before stays as .bak.")]
Speed = Annotated[
    str,
    typer.Option(callback=_part, help="The same path at a part of the pass's speed: 1/2, 0.5 or 50%, to rehearse."),
]
PassName = Annotated[str | None, typer.Option("--pass", help="The pass; the first one if not said.")]
TickHz = Annotated[int, typer.Option("--tick-hz", min=50, max=1000, help="Setpoints a second.")]
Within = Annotated[
    float | None,
    typer.Option(callback=_pixels, help="Takes match when the picture shifts by no more pixels at any frame."),
]


def outputs(given: list[str] | None) -> str:
    """Return the outputs that were named, as a setup takes them; nothing for those of the rig."""
    return "; ".join(given or ())
