"""The options of `twintake rig`, and what is typed in them or in answers: values by axis, as pan=-90..90."""

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from sequencer.cli.options import fraction, number
from sequencer.errors import ProjectError
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.geometry import WAYS
from sequencer.takes.trials.steps import Most

HERE = "here"
ENDLESS = "endless"
# where a slide goes as its position grows; the words of docs/conventions.md
HEADINGS_DEG = {"forward": 0.0, "left": 90.0, "back": 180.0, "right": -90.0}
_RANGE = re.compile(r"\s*(\S+?)\s*(?:\.\.|\s+to\s+|\s+)\s*(\S+)\s*")

Out = Annotated[str, typer.Option(help="The rig, as osc://HOST:PORT.")]
Only = Annotated[
    list[str] | None, typer.Option("--axis", metavar="NAME", help="Only this axis; may be repeated. Else all.")
]
Travel = Annotated[list[str] | None, typer.Option(metavar="AXIS=LOW..HIGH", help="The soft limits, or AXIS=endless.")]
Home = Annotated[list[str] | None, typer.Option(metavar="AXIS=VALUE", help="The origin, or AXIS=here.")]
Positive = Annotated[
    list[str] | None, typer.Option(metavar="AXIS=WAY", help="Where it goes as its position grows: left, up, ...")
]
MostTried = Annotated[
    list[str] | None,
    typer.Option("--most", metavar="AXIS=SPEED,ACCELERATION", help="The most to try; else the limits in rig.json."),
]
Begin = Annotated[str, typer.Option(help="The part of the most with which trials begin, as 1/10.")]
Measure = Annotated[bool, typer.Option("--measure/--no-measure", help="Measure what each axis can do.")]
Yes = Annotated[bool, typer.Option("--yes", help="Ask nothing about values: take what is given and measured.")]
AtOnce = Annotated[bool, typer.Option("--arm", help="Arm at once; else the operator is asked, axis by axis.")]
KeepTakes = Annotated[
    Path | None, typer.Option("--keep-takes", metavar="FOLDER", help="Keep the take of each trial there.")
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """What the command line says of axes, by their names."""

    travel: dict[str, str]
    home: dict[str, str]
    positive: dict[str, str]
    most: dict[str, str]


def given(
    rig: Rig, travel: list[str] | None, home: list[str] | None, positive: list[str] | None, most: list[str] | None
) -> Given:
    """Return what was said of each axis. Error: ProjectError for what is of no axis."""
    return Given(
        travel=_by_axis(rig, "--travel", travel, "pan=-90..90"),
        home=_by_axis(rig, "--home", home, "pan=0"),
        positive=_by_axis(rig, "--positive", positive, "pan=left"),
        most=_by_axis(rig, "--most", most, "pan=60,120"),
    )


def axes_of(rig: Rig, only: list[str] | None) -> tuple[Axis, ...]:
    """Return the axes that are meant. Error: ProjectError that lists those there are."""
    for name in only or ():
        _known(rig, "--axis", name)
    return tuple(axis for axis in rig.axes if not only or axis.name in only)


def _by_axis(rig: Rig, option: str, texts: list[str] | None, like: str) -> dict[str, str]:
    found: dict[str, str] = {}
    for text in texts or ():
        name, equals, value = text.partition("=")
        if not equals or not value.strip():
            raise ProjectError(option, f"{text!r} names no axis and value", f"write {like}", "command line")
        _known(rig, option, name.strip())
        found[name.strip()] = value.strip()
    return found


def _known(rig: Rig, option: str, name: str) -> None:
    if name not in rig.names:
        mend = f"its axes are {', '.join(rig.names)}"
        raise ProjectError(option, f"the rig has no axis {name!r}", mend, "command line")


def travel_of(text: str) -> tuple[float, float] | None:
    """Return low and high end of a travel, None for one without end. Error: BadParameter."""
    if text.strip() == ENDLESS:
        return None
    written = _RANGE.fullmatch(text)
    if written is None:
        raise typer.BadParameter(f"{text!r} is no travel; write its ends as -90..90, or {ENDLESS}")
    low, high = number(written[1]), number(written[2])
    return low, high


def home_of(text: str, stands: float) -> float:
    """Return the home that is written, or where the axis stands. Error: BadParameter."""
    return stands if text.strip() == HERE else number(text)


def ways_of(axis: Axis) -> tuple[str, ...]:
    """Return the words for the ways in which an axis of this kind goes, none where it has none."""
    return tuple(HEADINGS_DEG) if axis.kind == "slide" else WAYS.get(axis.kind, ())


def way_of(text: str, axis: Axis) -> str:
    """Return the way that is written. Error: BadParameter that lists those there are."""
    ways = ways_of(axis)
    if text.strip() not in ways:
        there = f"write {', '.join(ways[:-1])} or {ways[-1]}" if ways else f"a {axis.kind} has none, leave it out"
        raise typer.BadParameter(f"{text!r} is no way for {axis.name}; {there}")
    return text.strip()


def most_of(text: str, begin: str) -> Most:
    """Return the most to try. Error: BadParameter."""
    speed, comma, acceleration = text.partition(",")
    if not comma:
        raise typer.BadParameter(f"{text!r} is no speed and acceleration; write them as 60,120")
    return most_by(number(speed), number(acceleration), begin)


def most_by(speed: float, acceleration: float, begin: str) -> Most:
    """Return the most to try. Error: BadParameter."""
    try:
        return Most(speed=speed, acceleration=acceleration, begin=float(fraction(begin)))
    except ValueError as fault:
        raise typer.BadParameter(str(fault)) from fault
