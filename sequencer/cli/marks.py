"""`twintake marks`: the poses of the rig that a project keeps; store, order and pace them, and make keys of them.

Each command only says what its operation is told; the edits are in `score.edits`. Nothing moves here: `drive` goes.
"""

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from sequencer.cli.exits import exits
from sequencer.cli.keys_run import Wanted, conclude
from sequencer.cli.marks_run import Told, run, show, words_of
from sequencer.cli.marks_stored import Sources, position
from sequencer.cli.options import Folder, Json, Write, fraction, instant
from sequencer.errors import ProjectError
from sequencer.project.document import Project
from sequencer.project.store import load
from sequencer.score.edits import marks as edits
from sequencer.score.edits.from_marks import evenly, keyed, on_beats
from sequencer.score.edits.selection import Selection
from sequencer.score.marks import AtSpeed, Fastest, Lasting, Mark, Marks, Pace, faults
from sequencer.score.move import Ease, Move
from sequencer.shell.kinds import laws


class _Listed(TyperGroup):
    """A group that lists the marks where no operation is named: `twintake marks PROJECT`."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:  # its type is private in some versions of typer
        named = args and (args[0] in self.commands or args[0] == "--help")
        whole: list[str] = super().parse_args(ctx, args if named or not args else ["list", *args])
        return whole


Name = Annotated[str, typer.Argument(metavar="MARK", help="The name of the mark.")]
Names = Annotated[list[str], typer.Argument(metavar="MARK", help="Names of marks.")]

marks = typer.Typer(
    cls=_Listed,
    help="Keep poses of the rig, in an order, each with how the rig goes there. PROJECT alone lists them.",
    no_args_is_help=True,
)


@marks.command("list")
def list_marks(project: Folder, json: Json = False) -> None:
    """List the marks, and how long the leg to each takes from the one before."""
    with exits():
        opened = load(project, laws())
        show(Told(project, write=False, json=json), opened, opened, "")


@marks.command("store")
def store_mark(
    project: Folder,
    name: Name,
    values: Annotated[
        list[str] | None, typer.Argument(metavar="AXIS=VALUE", help="Where axes stand, as in pan=-20.")
    ] = None,
    at: Annotated[
        str | None, typer.Option(metavar="TIMECODE", help="Where the move, or the take, has the rig at this instant.")
    ] = None,
    from_take: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Where a take has the rig: at --at, or at its end.")
    ] = None,
    after: Annotated[str | None, typer.Option(metavar="MARK", help="Behind this one; else the last.")] = None,
    over: Annotated[bool, typer.Option("--over", help="Overwrite the mark of this name; its leg stays.")] = False,
    write: Write = False,
    json: Json = False,
) -> None:
    """Store where the rig is to stand: by numbers, from the move, or from a take. A number that is given counts."""

    def edit(opened: Project) -> tuple[Marks, str]:
        there, source = position(opened, Sources(tuple(values or ()), at, from_take))
        if over:
            if after is not None:
                what = "a mark that is overwritten keeps its place"
                raise ProjectError("--after", what, "leave it out, and `move` it", file="command line")
            return edits.overwritten(opened.marks, name, there), f"overwrote {name} {source}"
        return edits.stored(opened.marks, Mark(name, there), after), f"stored {name} {source}"

    run(Told(project, write, json), edit)


@marks.command("rename")
def rename_mark(
    project: Folder,
    name: Name,
    to: Annotated[str, typer.Argument(metavar="NAME", help="Its new name.")],
    write: Write = False,
    json: Json = False,
) -> None:
    """Give a mark another name."""
    run(Told(project, write, json), lambda old: (edits.renamed(old.marks, name, to), f"renamed {name} to {to}"))


@marks.command("delete")
def delete_marks(project: Folder, names: Names, write: Write = False, json: Json = False) -> None:
    """Delete marks."""
    run(Told(project, write, json), lambda old: (edits.deleted(old.marks, names), f"deleted {', '.join(names)}"))


@marks.command("clear")
def clear_marks(
    project: Folder,
    yes: Annotated[
        int, typer.Option("--yes", count=True, show_default=False, help="Given twice, nothing is asked.")
    ] = 0,
    write: Write = False,
    json: Json = False,
) -> None:
    """Delete all marks. With --write it asks twice."""

    def edit(old: Project) -> tuple[Marks, str]:
        cleared = edits.cleared(old.marks)
        count = f"all {len(old.marks)} marks" if len(old.marks) > 1 else f"the only mark ({old.marks[0].name})"
        questions = (f"Delete {count} of {old.name}?", "They are gone from the project then. Really delete?")
        if write and not all(_agreed(question) for question in questions[yes:]):
            return old.marks, "kept all marks"
        return cleared, f"deleted {count}"

    run(Told(project, write, json), edit)


def _agreed(question: str) -> bool:
    """Ask the operator. Error: ProjectError where nobody answers."""
    try:
        return typer.confirm(question, err=True)
    except typer.Abort as fault:
        what = "all marks are deleted only where that is said twice"
        raise ProjectError("--yes", what, "answer, or say --yes --yes", file="command line") from fault


@marks.command("move")
def move_mark(
    project: Folder,
    name: Name,
    before: Annotated[str | None, typer.Option(metavar="MARK", help="Just before this one.")] = None,
    last: Annotated[bool, typer.Option("--last", help="Behind all others.")] = False,
    write: Write = False,
    json: Json = False,
) -> None:
    """Put a mark elsewhere in the order."""

    def edit(old: Project) -> tuple[Marks, str]:
        if (before is None) == (not last):
            raise ProjectError("--before, --last", "where to?", "give one of them", file="command line")
        return edits.before(old.marks, name, before), f"put {name} {'last' if before is None else f'before {before}'}"

    run(Told(project, write, json), edit)


@marks.command("leg")
def pace_marks(
    project: Folder,
    names: Names,
    lasts: Annotated[
        Fraction | None, typer.Option(parser=fraction, metavar="SECONDS", help="It takes just so long.")
    ] = None,
    speed: Annotated[
        Fraction | None,
        typer.Option(parser=fraction, metavar="PART", help="No more than this part of each axis's speed limit: 1/2."),
    ] = None,
    fastest: Annotated[bool, typer.Option("--fastest", help="As fast as the axes may.")] = False,
    write: Write = False,
    json: Json = False,
) -> None:
    """Say how the rig goes to marks, from the one before or from wherever it is."""

    def edit(old: Project) -> tuple[Marks, str]:
        given: list[Pace] = [] if lasts is None else [Lasting(lasts)]
        given += [] if speed is None else [AtSpeed(speed)]
        given += [Fastest()] if fastest else []
        if len(given) != 1:
            what = "a leg has one pace"
            raise ProjectError("--lasts, --speed, --fastest", what, "give one of them", file="command line")
        return edits.paced(old.marks, names, given[0]), f"{words_of(given[0])} to {', '.join(names)}"

    run(Told(project, write, json), edit)


@marks.command("to-keys")
def keys_from_marks(
    project: Folder,
    at: Annotated[str, typer.Option(metavar="TIMECODE", help="The instant of the first one.")],
    names: Annotated[list[str] | None, typer.Argument(metavar="MARK", help="Which, in their order; else all.")] = (
        None
    ),
    to: Annotated[str | None, typer.Option(metavar="TIMECODE", help="The last one here, all as far apart.")] = None,
    beats: Annotated[
        int | None, typer.Option(metavar="N", help="Or one every N beats, from the beat nearest to --at.")
    ] = None,
    ease: Annotated[str, typer.Option(metavar="LAW", help="The law of the legs that begin at the new keys.")] = (
        "poly345"
    ),
    clear: Annotated[bool, typer.Option("--clear", help="Take out the keys between the first and the last.")] = False,
    write: Write = False,
    json: Json = False,
) -> None:
    """Make keys of marks: of one at an instant, of more evenly between two instants, or on beats."""

    def edit(opened: Project, _: Selection) -> tuple[Move, str]:
        chosen = [opened.marks[edits.numbered(opened.marks, name)] for name in names] if names else opened.marks
        for name, words in faults(chosen, opened.rig).items():
            raise ProjectError("", f"the rig cannot go to {name}: {words}", file="command line")
        instants = _instants(opened, len(chosen), at, to, beats)
        move, _ = keyed(opened.move, chosen, instants, Ease(ease), laws(), clear=clear)
        return move, f"made keys of {', '.join(mark.name for mark in chosen)}"

    with exits():
        wanted = Wanted(project, None, None, None, write, json)
        raise typer.Exit(conclude(wanted, load(project, laws()), edit, {}))


def _instants(opened: Project, count: int, at: str, to: str | None, beats: int | None) -> Sequence[Fraction]:
    """Return when each mark becomes keys. Error: ProjectError, ValueError."""
    timebase = opened.timebase
    start = instant("--at", at, timebase)
    if to is not None and beats is not None:
        raise ProjectError("--to, --beats", "they say two things", "leave one of them out", file="command line")
    if to is not None:
        return evenly(count, start, instant("--to", to, timebase))
    if beats is not None:
        if opened.tempo is None:
            raise ProjectError("tempo", "there is none, so there are no beats", "write one, or use --to")
        return on_beats(count, start, beats, opened.tempo, timebase.rate)
    if count > 1:
        what = f"{count} marks cannot all be at one instant"
        raise ProjectError("--to, --beats", what, "give one of them, or name one mark", file="command line")
    return (start,)
