"""How every operation of `twintake keys` runs: which keys it is for, what it changed, what that asks of the motors.

It refuses a choice without a key, and an edit that could not be written. The JSON document: `project`; what was `done`,
in words; the `keys` that changed, each with its `axis`, what it `was` and what it is `now` (`at`, `value`, `ease`,
`turn`, `passing`, `pin`; null where there is no key); `cues` and `markers` that moved, as they are now; `cut`, the cues
that now start in mid-move, each with its `name` and the `axes` that move there; `before` and `after`, each with `ok`,
`reserve_percent` (null: without end, as something jumps), `legs_over` and `combined_over`; `written`.
"""

import json as plain_json
import re
import shlex
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import typer

from sequencer.cli.exits import FOUND, console, exits
from sequencer.cli.keys_changes import Change, changes, facts, summary, table
from sequencer.cli.options import instant
from sequencer.cli.verdict import finite, kept, verdict, worst
from sequencer.errors import ProjectError
from sequencer.motion.check import Check, check
from sequencer.motion.compile import compile_move
from sequencer.playback.cued import cue_up
from sequencer.project import build
from sequencer.project.document import Project
from sequencer.project.store import dump, load, save
from sequencer.score.edits.selection import Selection, between
from sequencer.score.move import Move
from sequencer.shell.kinds import laws
from sequencer.timebase.instants import labelled

# from a project and the chosen keys to the edited move, and what was done in words
Edit = Callable[[Project, Selection], tuple[Move, str]]
_KEY = re.compile(r"tracks\[(\d+)\]\.keys\[(\d+)\]")


@dataclass(frozen=True, slots=True)
class Wanted:
    """What every operation is told: of which project, which keys, and what to do with the result."""

    folder: Path
    axes: list[str] | None
    start: str | None
    end: str | None
    write: bool
    json: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class _Done:
    words: str
    old: Project
    new: Project
    found: list[Change]
    cut: dict[str, tuple[str, ...]]
    before: Check
    after: Check
    written: bool


def run(wanted: Wanted, edit: Edit) -> None:
    """Edit, show or print what that changed, and end the command: with status 1 where the edited move is over."""
    with exits():
        old = load(wanted.folder, laws())
        raise typer.Exit(conclude(wanted, old, edit, _chosen(old, wanted)))


def conclude(wanted: Wanted, old: Project, edit: Edit, chosen: Selection) -> int:
    """Edit, show or print what that changed, keep it where that is wanted; return the exit status."""
    move, words = _edited(edit, old, chosen)
    new = replace(old, move=move)
    _refuse(new)
    before, after = _judge(old), _judge(new)
    written = wanted.write and new != old
    if written:
        save(wanted.folder, new, laws())
    done = _Done(
        words=words,
        old=old,
        new=new,
        found=changes(old.move, move),
        cut={name: axes for name, axes in _moving(new).items() if axes and not _moving(old)[name]},
        before=before,
        after=after,
        written=written,
    )
    if wanted.json:
        print(plain_json.dumps(_facts(done, wanted.folder), indent=2, allow_nan=False, ensure_ascii=False))
    else:
        _show(done, wanted.folder)
    return 0 if after.ok else FOUND


def _refuse(project: Project) -> None:
    """Refuse now, not when --write is added, what could not be written. Error: ProjectError."""
    try:
        build.check(project.move, project.rig, laws())
        dump(project)
    except ProjectError as fault:
        raise _placed(fault, project) from fault


def one_unit(project: Project, chosen: Selection, option: str) -> None:
    """Refuse one number for axes that count in different units. Error: ProjectError."""
    axes = [axis for axis in project.rig.axes if chosen.get(axis.name)]
    for axis in axes:
        if axis.unit != axes[0].unit:
            both = f"{axes[0].name} in {axes[0].unit}, {axis.name} in {axis.unit}"
            mend = "choose axes of one unit with --axis"
            raise ProjectError(option, f"one number cannot be for {both}", mend, file="command line")


def _edited(edit: Edit, project: Project, chosen: Selection) -> tuple[Move, str]:
    """Run the edit; what it refuses is told with the option's or the key's place."""
    try:
        return edit(project, chosen)
    except ValueError as fault:
        raise ProjectError("", labelled(str(fault), project.timebase.label), file="command line") from fault
    except ProjectError as fault:
        raise _placed(fault, project) from fault


def _placed(fault: ProjectError, project: Project) -> ProjectError:
    """Return the fault with the timecode of the key that it is about, and of every instant in its words."""
    label = project.timebase.label
    placed = replace(fault, what=labelled(fault.what, label))
    if place := _KEY.match(fault.path):
        track = project.move.tracks[int(place[1])]
        placed.path = f"{fault.path} ({track.axis} at {label(track.keys[int(place[2])].at)})"
    return placed


def _chosen(project: Project, wanted: Wanted) -> Selection:
    """Return the keys that the options choose. Error: ProjectError where that is none, saying what there is."""
    tracks, timebase = project.move.tracks, project.timebase
    there = [track.axis for track in tracks]
    for axis in wanted.axes or ():
        if axis not in there:
            mend = f"there are tracks for {', '.join(there) or 'no axis'}"
            raise ProjectError("--axis", f"no track moves {axis!r}", mend, file="command line")
    axes = frozenset(wanted.axes or there)
    all_at = [key.at for track in tracks if track.axis in axes for key in track.keys]
    if not all_at:
        raise ProjectError("tracks", "the move has no keys", "write some first")
    start = min(all_at) if wanted.start is None else instant("--from", wanted.start, timebase)
    end = max(all_at) if wanted.end is None else instant("--to", wanted.end, timebase)
    chosen = between(project.move, start, end, axes)
    if any(chosen.values()):
        return chosen
    option = "--from" if wanted.end is None else "--to" if wanted.start is None else "--from, --to"
    span = [] if wanted.start is None else [f"from {timebase.label(start)}{' on' if wanted.end is None else ''}"]
    span += [] if wanted.end is None else [f"up to {timebase.label(end)}"]
    names = ", ".join(axis for axis in there if axis in axes)
    mend = f"the keys of {names} stand from {timebase.label(min(all_at))} to {timebase.label(max(all_at))}"
    raise ProjectError(option, f"no key stands {' '.join(span)}", mend, file="command line")


def _judge(project: Project) -> Check:
    """Check the first pass, as `twintake check` does where no other is named."""
    return check(project.rig, project.move, project.timebase.rate, laws(), project.run(None).speed)


def _moving(project: Project) -> dict[str, tuple[str, ...]]:
    """Return which axes move at the start of each cue, where they should rest."""
    rate = project.timebase.rate
    timeline = compile_move(project.rig, project.move, rate, laws())
    return {
        cue.name: cue_up(project.rig, timeline, float(rate.seconds(cue.start)), float(rate.seconds(cue.end))).moving
        for cue in project.move.cues
    }


def _show(done: _Done, folder: Path) -> None:
    def say(line: str) -> None:
        console.print(line, markup=False, highlight=False, soft_wrap=True)

    say(f"{done.words}: {summary(done.old.move, done.new.move, done.found)}")
    if done.found:
        console.print()
        console.print(table(done.found, done.new.timebase))
        console.print()
    say(f"before: {verdict(done.before)}")
    say(f"after:  {verdict(done.after)}")
    if not done.after.ok:
        say(f"worst:  {worst(done.after, done.new.timebase)}")
    for name, axes in done.cut.items():
        say(f"cue:    {name} now starts in mid-move ({', '.join(axes)})")
    if done.new != done.old:
        mend = f"; try: twintake fit {shlex.quote(str(folder))}" if done.written and not done.after.ok else ""
        say(f"{kept(done.written)}{mend}")


def _facts(done: _Done, folder: Path) -> dict[str, Any]:
    label, old, new = done.new.timebase.label, done.old.move, done.new.move

    def judged(of: Check) -> dict[str, Any]:
        return {
            "ok": of.ok,
            "reserve_percent": finite(100 * of.reserve),
            "legs_over": len(of.over()),
            "combined_over": len(of.combined_over()),
        }

    cues = [now for was, now in zip(old.cues, new.cues, strict=True) if was != now]
    markers = [now for was, now in zip(old.markers, new.markers, strict=True) if was != now]
    return {
        "project": str(folder),
        "done": done.words,
        "keys": facts(done.found, done.new.timebase),
        "cues": [{"name": cue.name, "from": str(label(cue.start)), "to": str(label(cue.end))} for cue in cues],
        "markers": [{"name": marker.name, "at": str(label(marker.at))} for marker in markers],
        "cut": [{"name": name, "axes": axes} for name, axes in done.cut.items()],
        "before": judged(done.before),
        "after": judged(done.after),
        "written": done.written,
    }
