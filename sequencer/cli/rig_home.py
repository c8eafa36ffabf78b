"""Homes the axes of a rig: by a switch, or by the operator's word for where they stand.

The JSON document: `project`, `rig`, and `axes`, each with its `axis` and `unit`, `by` (switch or word), where it `said`
that it stood, where it `stands` now (null where that is not known), and `trouble`.
"""

import json as plain_json
import tempfile
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Literal

import typer
from rich.console import Console

from sequencer.cli import rig_options as how
from sequencer.cli.exits import FOUND
from sequencer.cli.rig_shown import quantity, show_rig
from sequencer.errors import ProjectError
from sequencer.live.homing import SLOW, Stage, begin, demand_place, furthest
from sequencer.project.document import Project
from sequencer.project.files import RIG
from sequencer.rig.axis import Axis, Rig
from sequencer.shell import homing
from sequencer.shell.trials import Ground


@dataclass(frozen=True, slots=True)
class Wish:
    """An axis that is to be homed: to its switch, or by word, which is then the `value` at which it stands."""

    axis: Axis
    value: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Homer:
    """How the operator is spoken with. `said`: where words go."""

    said: Console
    asks: bool
    armed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Homed:
    """What came of one axis; `stands` is None where it is not known."""

    axis: str
    unit: str
    by: Literal["switch", "word"]
    said: float
    stands: float | None = None
    trouble: str = ""


def homings(rig: Rig, by_switch: list[str] | None, by_word: list[str] | None) -> tuple[Wish, ...]:
    """Return what is to be homed, in the order of the command line, switches first.

    Error: ProjectError.
    """
    wishes = []
    for name in by_switch or ():
        how.known(rig, "--homing", name)
        place = rig.index(name)
        try:
            begin(rig.axes[place])
        except ValueError as fault:
            raise ProjectError(f"axes[{place}].homing", str(fault), file=RIG) from fault
        wishes.append(Wish(rig.axes[place]))
    for name, value in how.numbers_by_axis(rig, "--here", by_word, "pan=0").items():
        axis = rig.axes[rig.index(name)]
        if name in (by_switch or ()):
            mend = "leave one of the two out"
            raise ProjectError("--here", f"{name} is to be homed by its switch as well", mend, "command line")
        try:
            demand_place(axis, value)
        except ValueError as fault:
            mend = "measure it again, or correct the travel in rig.json"
            raise ProjectError("--here", str(fault), mend, "command line") from fault
        wishes.append(Wish(axis, value))
    return tuple(wishes)


def homed(homer: Homer, project: Project, folder: Path, out: str, wishes: tuple[Wish, ...], json: bool) -> None:
    """Home one axis after the other; trouble with one ends it, with status 1."""
    came: list[Homed] = []
    with tempfile.TemporaryDirectory(prefix="twintake-homing-") as temporary:
        place = Path(temporary)
        ground = Ground(project=project, output=out, folder=place / "project", takes=place / "takes")
        show_rig(homer.said, project.rig, homing.stands(ground))
        for wish in wishes:
            # what was homed before may have changed what others say
            stands = homing.stands(ground)
            one = (
                _by_switch(homer, ground, wish.axis, stands)
                if wish.value is None
                else _by_word(homer, ground, wish.axis, stands[wish.axis.name], wish.value)
            )
            came.append(one)
            if one.trouble:
                _say(homer, f"  {one.trouble}", bold=True)
                left = ", ".join(other.axis.name for other in wishes[len(came) :])
                if left:
                    _say(homer, f"  not homed: {left}")
                break
    if json:
        tree = {"project": str(folder), "rig": project.rig.name, "axes": [asdict(one) for one in came]}
        print(plain_json.dumps(tree, indent=2, allow_nan=False))
    if came[-1].trouble:
        raise typer.Exit(FOUND)


def _by_switch(homer: Homer, ground: Ground, axis: Axis, stands: dict[str, float]) -> Homed:
    """Have the axis armed, drive it to its switch and off it, and tell the rig where it stands."""
    search = begin(axis)
    speed, slow = search.homing.speed, search.homing.speed * SLOW
    _say(homer, f"\n{axis.name}", bold=True)
    _say(
        homer,
        f"  {axis.name} will go towards its {search.homing.towards} end at {quantity(speed, axis, 'speed')} until its "
        f"switch closes, by {quantity(furthest(search), axis, 'position')} at most, and come off it and into its "
        f"travel at {slow:.3g}. Where it says that it stands means nothing before: watch it, and keep its whole way "
        "clear. The others stand.",
    )
    one = Homed(axis=axis.name, unit=axis.unit, by="switch", said=stands[axis.name])
    if not (homer.armed or typer.confirm(f"  Arm {axis.name}?")):
        _say(homer, "  not armed; nothing moves")
        return one
    found = homing.search(ground, axis, stands, lambda words: _say(homer, f"  {words}"))
    if found.stage is not Stage.FOUND:
        return _with(one, None, found.trouble)
    return _told(homer, ground, axis, found.value, one)


def _by_word(homer: Homer, ground: Ground, axis: Axis, says: float, value: float) -> Homed:
    """Have the operator say that the axis stands at a value, and tell the rig so."""
    _say(homer, f"\n{axis.name}", bold=True)
    stands = quantity(value, axis, "position")
    _say(homer, f"  {axis.name} says that it stands at {quantity(says, axis, 'position')}. Nothing moves now.")
    one = Homed(axis=axis.name, unit=axis.unit, by="word", said=says)
    if homer.asks and not typer.confirm(f"  Does {axis.name} stand at {stands}?"):
        _say(homer, "  it counts as before")
        return one
    return _told(homer, ground, axis, value, one)


def _told(homer: Homer, ground: Ground, axis: Axis, value: float, one: Homed) -> Homed:
    trouble = homing.declare(ground, axis, value)
    if not trouble:
        _say(homer, f"  {axis.name} counts from here: it stands at {quantity(value, axis, 'position')}")
    return _with(one, None if trouble else value, trouble)


def _with(one: Homed, stands: float | None, trouble: str) -> Homed:
    return replace(one, stands=stands, trouble=trouble)


def _say(homer: Homer, words: str, bold: bool = False) -> None:
    style = "bold" if bold else None
    homer.said.print(words, style=style, highlight=False, markup=False, soft_wrap=True)
