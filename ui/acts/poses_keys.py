"""Makes keys of marks, as a proposal that is seen before it is taken. It refuses marks to which the rig cannot go."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from sequencer.errors import ProjectError
from sequencer.project.build import check
from sequencer.project.document import Project
from sequencer.score.edits.from_marks import evenly, keyed, on_beats
from sequencer.score.marks import Mark, faults
from sequencer.score.move import Move
from ui.acts.doing import checked, plain_words, when
from ui.acts.laws import plain_ease
from ui.desk import Desk
from ui.language import translate

_KEY = re.compile(r"keys\[(\d+)\]")
When = Literal["instant", "beats", "evenly"]
_OVER = 1e-6  # of a limit: less is rounding


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """When marks become keys: one at an instant, one every so many beats from there, or evenly up to another instant.

    `law` shapes the legs between them. `clear` takes out the keys between the first and the last. Unit: frames.
    """

    when: When
    start: Fraction
    end: Fraction = Fraction(0)
    every: int = 1
    law: str = "poly345"
    clear: bool = False


def propose_keys(desk: Desk, marks: Sequence[Mark], how: Laid) -> None:
    """Propose the move with keys where the marks stand. Error: ValueError in words why there is no such move."""
    if desk.locked:
        raise ValueError(desk.locked)
    project = desk.history.now
    for name, words in faults(marks, project.rig).items():
        raise ValueError(translate("acts", "the rig cannot go to {name}: {why}").format(name=name, why=words))
    instants = _instants(project, len(marks), how)

    def edit(before: Project) -> Move:
        return keyed(before.move, marks, instants, plain_ease(desk, how.law), desk.laws, clear=how.clear)[0]

    move = edit(project)
    _refuse_faults(desk, project, move)
    checked(desk, project, lambda _: move)
    names = ", ".join(mark.name for mark in marks)
    begin_s, end_s = (float(project.timebase.rate.seconds(at)) for at in (instants[0], instants[-1]))
    if begin_s < desk.span_s[0] or end_s > desk.span_s[1]:
        desk.look(min(begin_s, desk.span_s[0]), max(end_s, desk.span_s[1]))
    pairs = [f"{mark.name} {when(desk, at)}" for mark, at in zip(marks, instants, strict=True)]
    words = translate("acts", "keys of the marks {names}").format(names=names)
    desk.propose(move, words, (", ".join(pairs),))
    over = () if desk.proposal is None else tuple(_too_fast(desk))
    if over:
        line = translate("acts", "over a limit then: {axes}; give it more time, another law, or repair it after")
        desk.propose(move, words, (", ".join(pairs), line.format(axes=", ".join(over))))


def _refuse_faults(desk: Desk, before: Project, move: Move) -> None:
    """Error: ValueError that names the axis and the key that no track could have so."""
    for track in move.tracks:
        if track in before.move.tracks:
            continue
        try:
            check(Move(tracks=(track,)), before.rig, desk.laws)
        except ProjectError as fault:
            found = _KEY.search(fault.path)
            at = track.keys[int(found[1])].at if found else track.keys[0].at
            words = translate("acts", "{axis} at {time}: {why}")
            raise ValueError(
                words.format(axis=track.axis, time=when(desk, at), why=plain_words(desk, fault))
            ) from fault


def _too_fast(desk: Desk) -> list[str]:
    """Return the axes that the proposal asks more of than they can, where it did not before."""
    assert desk.proposal is not None
    found = []
    for axis, shape in desk.proposal.shapes.items():
        was = desk.shapes.get(axis)
        before = 0.0 if was is None else float(was.excess.max(initial=0.0))
        if float(shape.excess.max(initial=0.0)) > max(before, _OVER):
            found.append(axis)
    return found


def _instants(project: Project, count: int, how: Laid) -> tuple[Fraction, ...]:
    """Return when each mark becomes keys. Error: ValueError."""
    if how.when == "evenly":
        return evenly(count, how.start, how.end)
    if how.when == "beats":
        if project.tempo is None:
            raise ValueError(translate("acts", "there are no beats; give the project a tempo first"))
        return on_beats(count, how.start, how.every, project.tempo, project.timebase.rate)
    if count > 1:
        words = translate("acts", "{count} marks cannot all be at one instant; choose one, or lay them out in time")
        raise ValueError(words.format(count=count))
    return (how.start,)
