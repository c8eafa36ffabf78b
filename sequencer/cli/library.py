"""`twintake library`: the takes of a project, what the crew says of them, and taking some out of the list.

It refuses to delete a take: one that is removed goes into `takes/removed`, and comes back from there.
"""

import json as plain_json
from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path
from typing import Annotated, Literal

import typer
from rich.table import Table
from rich.text import Text

from sequencer.cli.exits import console, exits, say
from sequencer.cli.options import Folder, Json
from sequencer.errors import ProjectError, TakeError
from sequencer.project import takelog
from sequencer.project.library import (
    FOLDER,
    REMOVED,
    Filed,
    Library,
    chosen,
    found,
    ordered,
    size_words,
    when,
)
from sequencer.project.library import library as library_of
from sequencer.project.library import remove as take_out
from sequencer.project.library import restore as bring_back
from sequencer.project.takelog import Change
from sequencer.rig.axis import Axis
from sequencer.shell.words import visible

_RING = "◯"
_NAME_WIDTH = 32


def library(
    project: Folder,
    words: Annotated[
        list[str] | None,
        typer.Argument(help="Only takes of which all these words are said: name, cue, pass, note, date, how it went."),
    ] = None,
    circled: Annotated[bool, typer.Option("--circled", help="Only takes that are circled.")] = False,
    order: Annotated[
        Literal["newest", "oldest", "largest", "longest", "name"], typer.Option("--order", help="Which come first.")
    ] = "newest",
    note: Annotated[
        tuple[str, str] | None, typer.Option("--note", help="TAKE TEXT: write a note; an empty text takes it away.")
    ] = None,
    circle: Annotated[list[str] | None, typer.Option("--circle", help="TAKE: circle it; may be repeated.")] = None,
    uncircle: Annotated[list[str] | None, typer.Option("--uncircle", help="TAKE: no longer circled.")] = None,
    remove: Annotated[
        list[str] | None, typer.Option("--remove", help="TAKE: move it to takes/removed; nothing is deleted.")
    ] = None,
    restore: Annotated[list[str] | None, typer.Option("--restore", help="TAKE: bring it back from there.")] = None,
    removed: Annotated[bool, typer.Option("--removed", help="Show those that were removed.")] = False,
    json: Json = False,
) -> None:
    """List the takes of a project, search and circle them, write notes. TAKE is a name, or a number if of one only."""
    with exits():
        there = _there(project)
        shown = found(there.takes, words or (), circled=circled)
        said = list(_say(there, shown, note, circle or [], uncircle or []))
        said += list(_move(there, shown, remove or [], restore or []))
        if said:
            there = library_of(there.folder, (*there.takes, *there.removed))
        takes = ordered(found(there.removed if removed else there.takes, words or (), circled=circled), order)
        if json:
            print(plain_json.dumps(_facts(there, takes, said), indent=2, allow_nan=False))
        elif said:
            for line in said:
                say(line)
        else:
            _show(there, takes, removed)


def _there(project: Path) -> Library:
    """Return the library of a project, or of a folder of takes. Error: ProjectError, TakeError."""
    if not project.is_dir():
        raise ProjectError("", f"there is no folder {project}", "give the folder that holds the project", "takes")
    return library_of(project / FOLDER)


def _say(
    there: Library, shown: Sequence[Filed], note: tuple[str, str] | None, circle: list[str], uncircle: list[str]
) -> Iterator[str]:
    """Keep what is said of takes, all of it or nothing; yield what was done, in words."""
    changes: dict[str, Change] = {}
    done = []
    for named, on in [(one, True) for one in circle] + [(one, False) for one in uncircle]:
        take = chosen(shown, named)
        if take.path.name in changes:
            raise TakeError(f"{take.name} is to be circled and not to be; say it once")
        changes[take.path.name] = Change(circled=on)
        done.append(f"{take.name}: {'circled' if on else 'not circled any more'}")
    if note is not None:
        take, words = chosen(shown, note[0]), " ".join(note[1].split())
        changes[take.path.name] = Change(circled=changes.get(take.path.name, Change()).circled, note=words)
        done.append(f"{take.name}: {f'note: {words}' if words else 'no note any more'}")
    if changes and (aside := takelog.write(there.folder, changes)) is not None:
        done.append(f"the log of takes could not be read; it is kept as {aside.name}, and a new one begun")
    yield from done


def _move(there: Library, shown: Sequence[Filed], out: list[str], back: list[str]) -> Iterator[str]:
    """Take takes out of the list and bring others back; yield what was done. Error: TakeError before any is moved."""
    leaving, coming = [chosen(shown, one) for one in out], [chosen(there.removed, one) for one in back]
    for take in {one.path: one for one in leaving}.values():
        yield f"{take.name}: moved to {take_out(take)}"
    for take in {one.path: one for one in coming}.values():
        yield f"{take.name}: back as {bring_back(take)}"


def _facts(there: Library, takes: Sequence[Filed], said: list[str]) -> dict[str, object]:
    return {
        "folder": str(there.folder),
        "takes": [_take(one) for one in takes],
        "bytes": sum(one.bytes for one in takes),
        "all_takes": len(there.takes),
        "all_bytes": there.bytes,
        "removed": [one.name for one in there.removed],
        "removed_bytes": sum(one.bytes for one in there.removed),
        "free_bytes": there.free,
        "fault": there.fault,
        "done": said,
    }


def _take(one: Filed) -> dict[str, object]:
    heading, rig = one.heading, one.rig
    return {
        "name": one.name,
        "file": str(one.path),
        "project": heading.project if heading else None,
        "cue": one.cue,
        "pass": one.run,
        "number": one.number or None,
        "speed": str(one.speed),
        "started": one.started,
        "lasts_s": one.lasts_s,
        "bytes": one.bytes,
        "standing": one.standing,
        "complete": one.complete,
        "fault": one.fault,
        "stops": list(one.stops),
        "troubles": list(one.troubles),
        "remarks": list(one.remarks),
        "by_hand": list(one.by_hand),
        "circled": one.circled,
        "note": one.note,
        "made": heading.made if heading else "",
        "document": heading.document if heading else "",
        "limits": None if rig is None else [_limits(axis) for axis in rig.axes],
    }


def _limits(axis: Axis) -> dict[str, object]:
    names = ("name", "unit", "travel", "speed", "acceleration", "jerk")
    return {name: getattr(axis, name) for name in names}


def _show(there: Library, takes: Sequence[Filed], removed: bool) -> None:
    if takes:
        table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="bold")
        table.add_column(_RING, no_wrap=True)
        table.add_column("take, note", overflow="fold", min_width=min(_NAME_WIDTH, max(len(one.name) for one in takes)))
        table.add_column("started", no_wrap=True)
        for name in ("length", "size"):
            table.add_column(name, justify="right", no_wrap=True)
        table.add_column("how it went", overflow="fold")
        for one in takes:
            table.add_row(*(Text(cell) for cell in _cells(one)))
        console.print(table)
    for line in _below(there, takes, removed):
        say(line)


def _cells(one: Filed) -> tuple[str, ...]:
    of = ", ".join(part for part in (one.cue, one.run) if part)
    named = one.name.replace("-", " ").replace("_", ", ").startswith(of.replace("-", " "))
    ways = [] if named else [of]
    ways += [] if one.speed == 1 else [f"speed {one.speed}"]
    ways += [f"by hand: {', '.join(one.by_hand)}"] if one.by_hand else []
    ways += [f"“{one.note}”"] if one.note else []
    take = "\n".join(visible(line) for line in (one.name, *(f"  {way}" for way in ways)))
    started = when(one.started).rpartition(":")[0].removeprefix(f"{datetime.now().year}-") or visible(one.started)
    lasts = f"{one.lasts_s:.1f} s" if one.usable else ""
    return _RING if one.circled else "", take, started, lasts, size_words(one.bytes), one.standing


def _below(there: Library, takes: Sequence[Filed], removed: bool) -> Iterator[str]:
    """Yield what stands below the table."""
    for one in takes:
        for words in (one.fault, *one.stops, *one.troubles, *one.remarks):
            if words:
                yield f"{one.name}: {words}"
    all_of_them = there.removed if removed else there.takes
    if not all_of_them:
        yield f"no take was removed from {there.folder}" if removed else f"there are no takes yet in {there.folder}"
    elif not takes:
        yield f"none of {len(all_of_them)} takes fits these words"
    else:
        size = size_words(sum(one.bytes for one in takes))
        of = "" if len(takes) == len(all_of_them) else f" of {len(all_of_them)}"
        many = "take" if len(all_of_them) == 1 else "takes"
        yield f"{len(takes)}{of} {many}, {size}, {sum(one.circled for one in takes)} circled ({_RING})"
    if there.removed and not removed:
        size = size_words(sum(one.bytes for one in there.removed))
        yield f"{len(there.removed)} removed, {size}, in {there.folder / REMOVED}; --removed lists them"
    if there.free is not None:
        yield f"{size_words(there.free)} free on the disk"
    if there.fault:
        yield there.fault
