"""How an act is done: the pure edit, the rules of a whole document, and why it was refused, in words for the operator.

It refuses what no project file could hold: keys outside of their axis's travel, or half a day away, and triggers
without the cue or the marker that they call.
"""

from collections.abc import Callable, Iterable
from dataclasses import replace
from fractions import Fraction

from sequencer.errors import ProjectError
from sequencer.project.build import check
from sequencer.project.build_passes import build_passes, plain_passes
from sequencer.project.called import refuse_uncalled
from sequencer.project.document import Project
from sequencer.score.move import Move
from sequencer.timebase.instants import labelled
from ui.acts.written import written
from ui.desk import Desk
from ui.language import translate

Edit = Callable[[Project], Project | Move]


def do(desk: Desk, words: str, edit: Edit, merge: str = "") -> bool:
    """Edit the document as one step, or note why it is refused; return whether it was done."""
    if desk.locked:
        desk.note(desk.locked, "refused")
        return False
    return desk.attempt(words, lambda project: checked(desk, project, edit), merge)


def checked(desk: Desk, project: Project, edit: Edit) -> Project | Move:
    """Return what `edit` makes of the project. Error: ValueError in words for the operator."""
    try:
        value = edit(project)
        _refuse_faults(desk, project, value if isinstance(value, Project) else replace(project, move=value))
    except ProjectError as fault:
        raise ValueError(plain_words(desk, fault)) from fault
    return value


def plain_words(desk: Desk, fault: ProjectError) -> str:
    """Return what is wrong and the mend, without the place in a file, instants as time is counted."""
    return with_times(desk, f"{fault.what}; {fault.mend}" if fault.mend else fault.what)


def with_times(desk: Desk, words: str) -> str:
    """Return words whose instants stand as time is counted."""
    return labelled(words, lambda at: when(desk, at))


def when(desk: Desk, at: Fraction) -> str:
    """Return an instant as time is counted, short enough for a sentence."""
    return written(at, desk.counted, desk.project.timebase, desk.project.tempo, 3)


def _refuse_faults(desk: Desk, before: Project, after: Project) -> None:
    """Look at what changed only. What was at fault already is no reason to refuse an edit that may mend it."""
    was = {track.axis: track for track in before.move.tracks}
    changed = [track for track in after.move.tracks if was.get(track.axis) is not track]
    for track in changed:
        try:
            check(Move(tracks=(track,)), after.rig, desk.laws)
        except ProjectError:
            if track.axis in was and _at_fault(desk, before, Move(tracks=(was[track.axis],))):
                continue
            raise
    ends = [key.at for track in changed for key in (track.keys[:1] + track.keys[-1:])]
    if after.move.cues is not before.move.cues:
        ends += [at for cue in after.move.cues for at in (cue.start, cue.end)]
    if after.move.markers is not before.move.markers:
        ends += [marker.at for marker in after.move.markers]
    if after.camera is not before.camera:
        ends += [order.at for order in after.camera if not isinstance(order.at, str)]
    if after.move.passes is not before.move.passes:
        rate = after.timebase.rate
        build_passes(plain_passes(after.move.passes, rate), rate)
    _refuse_far(after, ends)
    if after.move.cues is not before.move.cues or after.move.markers is not before.move.markers:
        refuse_uncalled(after)


def _at_fault(desk: Desk, project: Project, move: Move) -> bool:
    try:
        check(move, project.rig, desk.laws)
    except ProjectError:
        return True
    return False


def _refuse_far(project: Project, instants: Iterable[Fraction]) -> None:
    half = Fraction(project.timebase.counting.day, 2)
    if any(not -half <= at < half for at in instants):
        raise ValueError(translate("acts", "that is half a day or more from the project's start; bring it nearer"))
