"""`twintake fit`: repair a move that asks too much of its motors; the operator sees before and after, and chooses."""

import json as plain_json
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction
from pathlib import Path
from typing import Annotated, Any, Literal

import typer
from rich import box
from rich.progress import Progress
from rich.table import Table

from sequencer.cli.exits import FOUND, console, errors, exits
from sequencer.cli.options import Folder, Json, PassName, Write
from sequencer.cli.verdict import finite, kept, verdict
from sequencer.errors import ProjectError
from sequencer.motion.check import Check, check
from sequencer.motion.peaks import Peak
from sequencer.motion.repair.choices import CHOICES, Choice, Task
from sequencer.motion.repair.outcome import AS_IT_IS, Repaired, Tell, Unrepaired
from sequencer.motion.repair.settled import settled
from sequencer.project.document import Project
from sequencer.project.passed import in_pass
from sequencer.project.store import load, save
from sequencer.rig.speed import at_speed
from sequencer.score.move import Move, Pass
from sequencer.score.pins import at_instants, on_beats, pinned, unpinned
from sequencer.shell.kinds import laws
from sequencer.timebase.instants import labelled

How = Literal["soften", "smooth", "spread", "stretch", "stretch-smooth", "earliest"]


class PinTo(StrEnum):
    """Where keys are pinned. An enumeration, since the command line takes no list of a Literal."""

    BEATS = "beats"
    MARKERS = "markers"
    CUES = "cues"
    ALL = "all"


def fit(
    project: Folder,
    how: Annotated[How | None, typer.Option(help="Which repair; without it, all are tried and shown.")] = None,
    offer: Annotated[
        int | None, typer.Option(min=1, help="Where the repair is impossible: take the offer of this number.")
    ] = None,
    pin: Annotated[
        list[PinTo] | None, typer.Option(help="Keys there are not moved, beside those pinned already; may be repeated.")
    ] = None,
    unpin: Annotated[bool, typer.Option("--unpin", help="First take all pins away.")] = False,
    overshoot: Annotated[
        bool, typer.Option("--overshoot", help="A smoothed leg may leave the values of its two keys.")
    ] = False,
    run: PassName = None,
    write: Write = False,
    json: Json = False,
) -> None:
    """Repair a move that the motors cannot do. Nothing is written without --write.

    Ends with status 1 where the repair that was asked for is not possible, or something is over a limit after it.
    """
    with exits():
        if (offer is not None or write) and how is None:
            raise ProjectError("--how", "choose the repair", f"one of {', '.join(CHOICES)}", file="command line")
        opened = load(project, laws())
        _, own = in_pass(opened, run, laws())
        _refuse_placed(own)
        opened = replace(opened, move=_with_pins(opened, pin or [], unpin))
        given = _Given(project=opened, speed=own.speed, overshoot=overshoot)
        before = given.judge(opened.move)
        tried = [_tried(given, CHOICES[name], json) for name in ([how] if how else CHOICES)]
        chosen = tried[0].taken(offer) if how else None
        written = _save(project, opened, chosen, write)
        if json:
            print(plain_json.dumps(_facts(before, tried, chosen, written, project), indent=2, allow_nan=False))
        elif how is None:
            _show_all(before, tried, project)
        else:
            _show_one(opened, before, tried[0], chosen, written)
        raise typer.Exit(0 if how is None or (chosen is not None and chosen.after.ok) else FOUND)


def _refuse_placed(own: Pass) -> None:
    """Refuse a pass whose positions are not those that a repair would write. Error: ProjectError.

    A pass that runs backward asks for just as much, and is as good as the move the other way.
    """
    if own.offset or own.scale is not None:
        what = f"the pass {own.name} shoots scaled or offset positions, and a repair changes those that are written"
        mend = "choose a pass of the move as it is; twintake passes says at which speed this one fits"
        raise ProjectError("--pass", what, mend, file="command line")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Given:
    """The project, and the speed at which its move is run."""

    project: Project
    speed: Fraction
    overshoot: bool

    def task(self, tell: Tell) -> Task:
        return Task(
            rig=at_speed(self.project.rig, self.speed),
            move=self.project.move,
            rate=self.project.timebase.rate,
            laws=laws(),
            overshoot=self.overshoot,
            tell=tell,
        )

    def judge(self, move: Move) -> Check:
        return check(self.project.rig, move, self.project.timebase.rate, laws(), self.speed)

    def result(self, move: Move, *words: str) -> "_Result":
        opened = self.project
        move, more = settled(opened.rig, move, opened.timebase.rate, laws(), self.speed)
        if more:
            words = tuple(word for word in words if word != AS_IT_IS) + more
        return _Result(move=move, words=tuple(map(self.say, words)), after=self.judge(move))

    def say(self, words: str) -> str:
        return labelled(words, self.project.timebase.label)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Result:
    """A changed move, what was changed, and what it asks of the motors."""

    move: Move
    words: tuple[str, ...]
    after: Check


@dataclass(frozen=True, slots=True, kw_only=True)
class _Tried:
    """A repair that was tried: its result, or why there is none and what is offered instead."""

    choice: Choice
    result: _Result | None = None
    reasons: tuple[str, ...] = ()
    offers: tuple[_Result, ...] = ()

    def taken(self, offer: int | None) -> _Result | None:
        """Return the result, or the offer of that number. Error: ProjectError where it is not there."""
        if offer is None:
            return self.result
        if self.result is not None:
            raise ProjectError("--offer", "the repair is possible as it is", "leave it out", file="command line")
        if offer > len(self.offers):
            mend = f"choose one up to {len(self.offers)}" if self.offers else "none was found: choose another repair"
            raise ProjectError("--offer", f"there is no offer {offer}", mend, file="command line")
        return self.offers[offer - 1]


def _with_pins(project: Project, pin: list[PinTo], unpin: bool) -> Move:
    move, timebase = unpinned(project.move) if unpin else project.move, project.timebase
    for where in pin:
        match where:
            case PinTo.BEATS if project.tempo is None:
                mend = "write one, or pin to something else"
                raise ProjectError("tempo", "there is none, so no key is on a beat", mend)
            case PinTo.BEATS if project.tempo is not None:
                move = pinned(move, on_beats(project.tempo, timebase.rate))
            case PinTo.MARKERS:
                move = pinned(move, at_instants(marker.at for marker in move.markers))
            case PinTo.CUES:
                move = pinned(move, at_instants(at for cue in move.cues for at in (cue.start, cue.end)))
            case PinTo.ALL:
                move = pinned(move)
    return move


def _tried(given: _Given, choice: Choice, quiet: bool) -> _Tried:
    """Run one repair, and show how far it is when it takes long."""
    with Progress(console=errors, transient=True, disable=quiet or not errors.is_terminal) as progress:
        bar = progress.add_task(choice.name, total=1.0)

        def tell(done: float) -> bool:
            progress.update(bar, completed=done)
            return True

        try:
            outcome = choice.run(given.task(tell))
        except Unrepaired as fault:
            return _Tried(choice=choice, reasons=(str(fault),))
    if isinstance(outcome, Repaired):
        return _Tried(choice=choice, result=given.result(outcome.move, *outcome.words))
    sure = {True: " (proven for every curve)", False: ""}
    reasons = tuple(given.say(one.words) + sure[one.proven] for one in outcome.reasons)
    offers = tuple(given.result(one.move, one.words) for one in outcome.offers)
    return _Tried(choice=choice, reasons=reasons, offers=offers)


def _save(folder: Path, project: Project, chosen: _Result | None, write: bool) -> bool:
    if not write or chosen is None:
        return False
    save(folder, replace(project, move=chosen.move), laws())
    return True


def _lasts_s(of: Check) -> float:
    return of.trajectory.end_s - of.trajectory.start_s


def _show_all(before: Check, tried: list[_Tried], folder: Path) -> None:
    table = Table(box=box.SIMPLE_HEAD, title=f"now: {_lasts_s(before):.3f} s, {verdict(before)}", title_justify="left")
    for name in ("--how", "what it changes", "then"):
        table.add_column(name, overflow="fold")
    for one in tried:
        if one.result is not None:
            then = f"{_lasts_s(one.result.after):.3f} s, {verdict(one.result.after)}"
        else:
            then = f"not possible; {len(one.offers)} {'offer' if len(one.offers) == 1 else 'offers'}"
        table.add_row(one.choice.name, one.choice.changes, then)
    console.print(table)
    console.print(f"look at one with: twintake fit {folder} --how NAME; add --write to keep it", highlight=False)


def _show_one(project: Project, before: Check, tried: _Tried, chosen: _Result | None, written: bool) -> None:
    for reason in tried.reasons:
        console.print(f"not possible: {reason}", markup=False, highlight=False)
    for number, one in enumerate(tried.offers, 1):
        console.print(f"offer {number}: {'; '.join(one.words)} ({verdict(one.after)})", markup=False, highlight=False)
    if chosen is None:
        if tried.offers:
            console.print("take one with --offer NUMBER", highlight=False)
        return
    for word in chosen.words:
        console.print(word, markup=False, highlight=False)
    console.print(_compared(project, before, chosen.after))
    words = f"{_lasts_s(before):.3f} s before, {_lasts_s(chosen.after):.3f} s after: {verdict(chosen.after)}"
    console.print(words, highlight=False)
    console.print(kept(written))


def _compared(project: Project, before: Check, after: Check) -> Table:
    """Return each axis's peaks before and after, in parts of its limits."""
    table = Table(box=box.SIMPLE_HEAD, title="peaks in percent of the limits, before > after", title_justify="left")
    table.add_column("axis")
    for name in ("speed", "acceleration", "jerk"):
        table.add_column(name, justify="right")
    for axis, old, new in zip(before.rig.axes, before.axes(), after.axes(), strict=True):
        limits = (axis.speed, axis.acceleration, axis.jerk)
        cells = [
            f"{_percent(a, limit)} > {_percent(b, limit)}"
            for a, b, limit in zip(_of(old), _of(new), limits, strict=True)
        ]
        table.add_row(axis.name, *cells)
    return table


def _of(peak: Peak) -> tuple[float, float, float]:
    return peak.speed.value, peak.acceleration.value, peak.jerk.value


def _percent(value: float, limit: float) -> str:
    return "step" if value == float("inf") else f"{value / limit:.1%}"


def _facts(before: Check, tried: list[_Tried], chosen: _Result | None, written: bool, folder: Path) -> dict[str, Any]:
    """Return what was tried as one document. Numbers that are infinite, of a step, are null."""

    def judged(of: Check) -> dict[str, Any]:
        peaks = {
            peak.axis: dict(zip(("speed", "acceleration", "jerk"), map(finite, _of(peak)), strict=True))
            for peak in of.axes()
        }
        return {
            "ok": of.ok,
            "lasts_s": _lasts_s(of),
            "reserve_percent": finite(100 * of.reserve),
            "peaks": peaks,
        }

    def result(of: _Result) -> dict[str, Any]:
        return {"words": list(of.words), **judged(of.after)}

    return {
        "project": str(folder),
        "before": judged(before),
        "tried": [
            {
                "how": one.choice.name,
                "possible": one.result is not None,
                "after": None if one.result is None else result(one.result),
                "reasons": list(one.reasons),
                "offers": [result(each) for each in one.offers],
            }
            for one in tried
        ],
        "chosen": None if chosen is None else result(chosen),
        "written": written,
    }
