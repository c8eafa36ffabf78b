"""The options of `twintake timelapse`, and what they change in the timelapse that the project describes."""

import re
from dataclasses import replace
from fractions import Fraction
from typing import Annotated, Any, Literal

import typer

from sequencer.errors import ProjectError
from sequencer.project.document import Project
from sequencer.score.interval import Known
from sequencer.score.timelapse import Timelapse

_LASTS = re.compile(r"(?:(\d{1,4})h)?(?:(\d{1,5})m(?:in)?)?(?:(\d{1,9}(?:/\d{1,9}|\.\d{1,9})?)s?)?")
MISSING = "?"
_HELP = "as 6h, 25m30s, 2.5 or 1/2; ? for missing, in place of the project's"

PlanOnly = Annotated[bool, typer.Option("--plan", help="Only the arithmetic, and what speaks against it.")]
Event = Annotated[str | None, typer.Option(metavar="TIME", help=f"How long the event lasts, {_HELP}.")]
Clip = Annotated[str | None, typer.Option(metavar="TIME", help="How long the clip lasts, in the project's rate; or ?.")]
Interval = Annotated[str | None, typer.Option(metavar="TIME", help="From one exposure to the next; or ?.")]
Frames = Annotated[str | None, typer.Option(metavar="N", help="How many frames; or ?.")]
Exposure = Annotated[str | None, typer.Option(metavar="TIME", help="How long the shutter is open; or ?.")]
Settle = Annotated[
    str | None, typer.Option(metavar="TIME", help="The longest that the rig may take to be still; or ?.")
]
Preview = Annotated[
    float | None,
    typer.Option("--preview", min=0.1, metavar="SECONDS", help="Run the same move on the rig in so many seconds."),
]
Shoot = Annotated[bool, typer.Option("--shoot", help="Shoot it.")]
Resume = Annotated[bool, typer.Option("--resume", help="With --shoot: go on where the log ends.")]
At = Annotated[
    str | None, typer.Option("--at", metavar="WHEN", help="When frame 0 is exposed: 05:40, now, or sunrise+20m.")
]
OnDate = Annotated[str | None, typer.Option("--date", metavar="DATE", help="On which day, as 2026-06-21.")]
ChangeAt = Annotated[
    list[int] | None,
    typer.Option(
        "--change-at", metavar="FRAME", help="Wait before this frame, for a battery or card; may be repeated."
    ),
]
Gap = Annotated[
    Literal["catch-up", "shift"],
    typer.Option("--gap", help="With --resume: expose what is overdue at once, or have all that is left later."),
]
Taken = Annotated[
    bool | None,
    typer.Option("--taken/--not-taken", help="With --resume: whether the frame that is in doubt is on the card."),
]
Follow = Annotated[
    Literal["sun", "moon", "stars"] | None,
    typer.Option("--follow", help="Make keys of pan and tilt that follow it through the cue, on a levelled head."),
]


def lasting(option: str, given: str) -> Fraction | None:
    """Return how many seconds are written, None for ?. Error: ProjectError that names the option."""
    if given.strip() == MISSING:
        return None
    found = _LASTS.fullmatch(given.strip())
    if found is None or not any(found.groups()):
        raise ProjectError(option, f"{given!r} is no time", f"write it {_HELP}", "command line")
    hours, minutes, seconds = found.groups()
    try:
        return int(hours or 0) * 3600 + int(minutes or 0) * 60 + Fraction(seconds or 0)
    except ZeroDivisionError as fault:
        raise ProjectError(option, f"{given!r} is no time", f"write it {_HELP}", "command line") from fault


def _counted(given: str) -> int | None:
    if given.strip() == MISSING:
        return None
    if not given.strip().isdecimal():
        raise ProjectError("--frames", f"{given!r} is no number of frames", "write it as 720", "command line")
    return int(given)


def changed(project: Project, given: dict[str, str | None], at: str | None, on: str | None) -> Project:
    """Return the project with what the command line says of its timelapse. Error: ProjectError naming the option."""
    there = project.timelapse or Timelapse()
    lengths: dict[str, Any] = {}
    for name, text in given.items():
        if text is not None:
            key = "frames" if name == "frames" else f"{name}_s"
            lengths[key] = _counted(text) if name == "frames" else lasting(f"--{name}", text)
    if "interval_s" in lengths:
        lengths["ramp"] = None
    start = there.start
    if at is not None:
        start = replace(start, at="" if at == "now" else at)
    if on is not None:
        start = replace(start, date=on)
    try:
        known: Known = replace(there.known, **lengths)
    except ValueError as fault:
        raise ProjectError("", str(fault), file="command line") from fault
    if project.timelapse is None and not lengths:
        return project
    return replace(project, timelapse=replace(there, known=known, start=start))
