"""Options that several subcommands have."""

import math
from typing import Annotated

import typer


def _pixels(given: float | None) -> float | None:
    if given is not None and not (math.isfinite(given) and given > 0):
        raise typer.BadParameter(f"a tolerance is a number of pixels above zero, not {given:g}")
    return given


PassName = Annotated[str | None, typer.Option("--pass", help="The pass; the first one if not said.")]
TickHz = Annotated[int, typer.Option("--tick-hz", min=50, max=1000, help="Setpoints a second.")]
Within = Annotated[
    float | None,
    typer.Option(callback=_pixels, help="Takes match when the picture shifts by no more pixels at any frame."),
]
