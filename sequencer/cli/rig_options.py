"""The options of `twintake rig`, and what is typed in them or in answers: values by axis, as pan=-90..90."""

import re
from collections.abc import Callable
from dataclasses import dataclass, fields
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

Only = Annotated[
    list[str] | None, typer.Option("--axis", metavar="NAME", help="Only this axis; may be repeated. Else all.")
]
Travel = Annotated[
    list[str] | None,
    typer.Option(metavar="AXIS=LOW..HIGH", help="The soft limits, of which one may be here; or AXIS=endless."),
]
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
HomeFirst = Annotated[
    list[str] | None,
    typer.Option(
        "--homing", metavar="AXIS", help="Only find this axis's switch, and count from there; may be repeated."
    ),
]
Here = Annotated[
    list[str] | None, typer.Option(metavar="AXIS=VALUE", help="Only tell the rig that the axis stands there, as pan=0.")
]
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
        travel=by_axis(rig, "--travel", travel, "pan=-90..90"),
        home=by_axis(rig, "--home", home, "pan=0"),
        positive=by_axis(rig, "--positive", positive, "pan=left"),
        most=by_axis(rig, "--most", most, "pan=60,120"),
    )


def axes_of(rig: Rig, only: list[str] | None) -> tuple[Axis, ...]:
    """Return the axes that are meant. Error: ProjectError that lists those there are."""
    for name in only or ():
        known(rig, "--axis", name)
    return tuple(axis for axis in rig.axes if not only or axis.name in only)


def check_walked(given: Given, axes: tuple[Axis, ...]) -> None:
    """Error: ProjectError for what is said of an axis that is not walked through: it would be left out."""
    walked = [axis.name for axis in axes]
    for field in fields(given):
        for name in getattr(given, field.name):
            if name not in walked:
                mend = f"add --axis {name}, or leave it out"
                raise ProjectError(f"--{field.name}", f"{name} is not among the axes of --axis", mend, "command line")


def by_axis(rig: Rig, option: str, texts: list[str] | None, like: str) -> dict[str, str]:
    """Return what is typed for each axis, by its name. Error: ProjectError for what names no axis of the rig."""
    found: dict[str, str] = {}
    for text in texts or ():
        name, equals, value = text.partition("=")
        if not equals or not value.strip():
            raise ProjectError(option, f"{text!r} names no axis and value", f"write {like}", "command line")
        known(rig, option, name.strip())
        found[name.strip()] = value.strip()
    return found


def numbers_by_axis(rig: Rig, option: str, texts: list[str] | None, like: str) -> dict[str, float]:
    """Return the number that is typed for each axis, by its name. Error: ProjectError."""
    found = {}
    for name, text in by_axis(rig, option, texts, like).items():
        try:
            found[name] = number(text)
        except typer.BadParameter as fault:
            raise ProjectError(option, f"{name}: {fault.message}", f"write {like}", "command line") from fault
    return found


def known(rig: Rig, option: str, name: str) -> None:
    """Error: ProjectError that lists the axes there are, for one that is not among them."""
    if name not in rig.names:
        mend = f"its axes are {', '.join(rig.names)}"
        raise ProjectError(option, f"the rig has no axis {name!r}", mend, "command line")


def travel_of(text: str, here: Callable[[], float]) -> tuple[float, float] | None:
    """Return low and high end of a travel, None for one without end; an end may be `here`. Error: BadParameter."""
    if text.strip() == ENDLESS:
        return None
    written = _RANGE.fullmatch(text)
    if written is None or written[1] == written[2] == HERE:
        raise typer.BadParameter(f"{text!r} is no travel; write its ends as -90..90, or {ENDLESS}")
    low, high = (home_of(end, here()) if end == HERE else number(end) for end in written.groups())
    return low, high


def home_of(text: str, stands: float) -> float:
    """Return the home that is written, or where the axis stands. Error: BadParameter."""
    # a reading is in single precision: what is beyond six digits is none of the axis's doing
    return float(f"{stands:.6g}") if text.strip() == HERE else number(text)


def ways_of(axis: Axis) -> tuple[str, ...]:
    """Return the words for the ways in which an axis of this kind goes, none where it has none."""
    return tuple(HEADINGS_DEG) if axis.kind == "slide" else WAYS.get(axis.kind, ())


def opposite(way: str, axis: Axis) -> str:
    """Return the way back."""
    ways = ways_of(axis)
    return ways[(ways.index(way) + len(ways) // 2) % len(ways)]


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
