"""What lies on the operator's desk: the document with its history, what is chosen, the playhead, the stretch in sight.

It is the one mutable object of the editor. It refuses to draw, to open a port, and to keep half an edit.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Literal

from PyQt6.QtCore import QObject, pyqtSignal

from sequencer.errors import SequencerError
from sequencer.motion.shape import Shape, reshaped, shape
from sequencer.project.document import Project
from sequencer.project.extent import extent
from sequencer.project.history import History
from sequencer.score.easing import Laws
from sequencer.score.edits.selection import Selection, brought, followed
from sequencer.score.marks import Marks
from sequencer.score.move import Key, Move, Track
from ui.language import translate
from ui.theme import DARK, Theme

Counted = Literal["timecode", "frames", "seconds", "bars"]
Onto = Literal["nothing", "frames", "beats", "markers", "keys"]
Face = Literal["prepare", "run"]
Weight = Literal["done", "told", "refused"]
COUNTED: tuple[Counted, ...] = ("timecode", "frames", "seconds", "bars")
ONTO: tuple[Onto, ...] = ("nothing", "frames", "beats", "markers", "keys")
_SHORTEST_S = 0.05  # in sight


@dataclass(frozen=True, slots=True)
class Snapping:
    """What keys snap onto while they are moved; `part` of a frame or a beat."""

    onto: Onto = "frames"
    part: Fraction = Fraction(1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """A changed move that is shown beside the document until the operator takes it or leaves it.

    `words` name the step, as the history has it; `lines` say what changes, one each. `shapes` as those of the desk.
    """

    move: Move
    words: str
    lines: tuple[str, ...]
    shapes: Mapping[str, Shape]


@dataclass(frozen=True, slots=True)
class Note:
    """One sentence for the operator: what was done, what is told, or what was refused and how to mend it."""

    words: str
    weight: Weight = "told"


class Desk(QObject):
    """Whoever changes something here has all views follow by one signal.

    `changed`: the document, or the draft of a gesture, is another value. `proposed`: a proposal is there, or none any
    more. `selected`: other keys are chosen. `placed`: the playhead stands elsewhere. `zoomed`: another stretch of time
    is in sight. `faced`: another face is shown, or editing was locked or freed. `preferred`: time is counted
    otherwise, keys snap onto something else, or the theme is another. `opened`: another project, or other bytes of
    it, came from the disk; all of the others follow. `noted`: a Note.
    """

    changed = pyqtSignal()
    proposed = pyqtSignal()
    selected = pyqtSignal()
    placed = pyqtSignal()
    zoomed = pyqtSignal()
    faced = pyqtSignal()
    preferred = pyqtSignal()
    opened = pyqtSignal()
    noted = pyqtSignal(object)

    def __init__(self, project: Project, laws: Laws, folder: Path | None = None) -> None:
        super().__init__()
        self.laws = laws
        self._snapping = Snapping()
        self._counted: Counted = "timecode"
        self._theme = DARK
        self._face: Face = "prepare"
        self._locked = ""
        self._open(project, folder)

    def _open(self, project: Project, folder: Path | None) -> None:
        self.folder = folder
        self._history = History(project)
        self._saved = project
        self._draft: Project | None = None
        self._proposal: Proposal | None = None
        self._shapes: Mapping[str, Shape] = {}
        self._selection: Selection = {}
        self._run_name: str | None = None
        self._playhead, end = extent(project)
        rate = project.timebase.rate
        begin_s, end_s = float(rate.seconds(self._playhead)), float(rate.seconds(end))
        room_s = max(0.02 * (end_s - begin_s), _SHORTEST_S)
        self._span_s = (begin_s - room_s, end_s + room_s)
        self._reshape()

    # the document

    @property
    def project(self) -> Project:
        """The document as it is shown: the draft while a gesture goes on."""
        return self._history.now if self._draft is None else self._draft

    @property
    def history(self) -> History[Project]:
        return self._history

    @property
    def drafting(self) -> bool:
        """Whether a gesture goes on."""
        return self._draft is not None

    @property
    def dirty(self) -> bool:
        """Whether the document differs from what was opened or saved last."""
        return self._history.now is not self._saved and self._history.now != self._saved

    @property
    def shapes(self) -> Mapping[str, Shape]:
        """Every track, compiled and judged at the speed of the chosen pass, by its axis."""
        return self._shapes

    def track(self, axis: str) -> Track | None:
        """Return the track that moves `axis`, or None."""
        return next((track for track in self.project.move.tracks if track.axis == axis), None)

    def open(self, project: Project, folder: Path | None) -> None:
        """Put another project on the desk; what was there before is gone, with its history."""
        self._open(project, folder)
        for signal in (self.opened, self.proposed, self.changed, self.selected, self.placed, self.zoomed):
            signal.emit()

    def saved(self, project: Project) -> None:
        """Be told that `project` is what is on the disk now."""
        self._saved = project
        self.changed.emit()

    def edit(self, words: str, value: Project | Move, merge: str = "") -> None:
        """Make `value` the document, as one step; steps in a row with the same `merge` are one."""
        if self._free():
            self._push(words, self._whole(value), merge)

    def edit_marks(self, words: str, marks: Marks) -> None:
        """Keep other marks, as one step, also while the rig is armed or moves: it plays none of them."""
        self._push(words, replace(self._history.now, marks=marks), "")

    def attempt(self, words: str, edit: Callable[[Project], Project | Move], merge: str = "") -> bool:
        """Edit, or note why it is refused and leave all as it is; return whether it was done."""
        if not self._free():
            return False
        try:
            value = edit(self._history.now)
        except (SequencerError, ValueError) as fault:
            self.note(str(fault), "refused")
            return False
        self.edit(words, value, merge)
        return True

    def draft(self, value: Project | Move) -> None:
        """Show and judge `value` while a gesture goes on; the history does not know it."""
        if self._free():
            before, self._draft = self.project, self._whole(value)
            self._show(before)

    def settle(self, words: str) -> None:
        """End the gesture: what it drafted becomes one step."""
        if self._draft is not None:
            self.edit(words, self._draft)

    def abandon(self) -> None:
        """End the gesture as if it had not been."""
        if self._draft is not None:
            before, self._draft = self._draft, None
            self._show(before)

    def undo(self) -> None:
        """Go one step back, or say that there is none."""
        self._go(History.undo, translate("desk", "undone: {words}"))

    def redo(self) -> None:
        """Go one step on, or say that there is none."""
        self._go(History.redo, translate("desk", "done again: {words}"))

    @property
    def proposal(self) -> Proposal | None:
        return self._proposal

    def propose(self, move: Move, words: str, lines: tuple[str, ...] = ()) -> None:
        """Show a changed move beside the document; any edit dismisses it."""
        shapes = self._shaped(replace(self._history.now, move=move))
        self._proposal = Proposal(move=move, words=words, lines=lines, shapes=shapes)
        self.proposed.emit()

    def take_proposal(self) -> None:
        """Make the proposal the document, as one step."""
        if self._proposal is not None:
            self.edit(self._proposal.words, self._proposal.move)

    def leave_proposal(self) -> None:
        """Let the proposal be, and keep the document as it is."""
        if self._proposal is not None:
            self._proposal = None
            self.proposed.emit()

    def seal(self) -> None:
        """Have the next edit be a step of its own, whatever it merges with."""
        self._history = self._history.sealed()

    # what is looked at

    @property
    def selection(self) -> Selection:
        """The chosen keys, as the edits take them; no axis without any."""
        return self._selection

    def select(self, selection: Selection) -> None:
        """Choose other keys; those that are not there are left out."""
        there = {track.axis: len(track.keys) for track in self.project.move.tracks}
        chosen = {
            axis: frozenset(number for number in numbers if 0 <= number < there.get(axis, 0))
            for axis, numbers in selection.items()
        }
        chosen = {axis: numbers for axis, numbers in chosen.items() if numbers}
        if chosen != self._selection:
            self.seal()
            self._selection = chosen
            self.selected.emit()

    def chosen_keys(self) -> list[tuple[str, int, Key]]:
        """Return the chosen keys: axis, number, key; in the order of tracks and time."""
        return [
            (track.axis, number, track.keys[number])
            for track in self.project.move.tracks
            for number in sorted(self._selection.get(track.axis, ()))
        ]

    @property
    def playhead(self) -> Fraction:
        """Where the playhead stands, in frames from the project's start."""
        return self._playhead

    @property
    def playhead_s(self) -> float:
        return float(self.project.timebase.rate.seconds(self._playhead))

    def place(self, at: Fraction) -> None:
        """Put the playhead at frame `at`."""
        if at != self._playhead:
            self._playhead = at
            self.placed.emit()

    @property
    def span_s(self) -> tuple[float, float]:
        """The stretch of time in sight, in seconds from the project's start."""
        return self._span_s

    def look(self, begin_s: float, end_s: float) -> None:
        """Bring a stretch of time in sight; one that is too short is widened about its middle."""
        short = max(0.0, _SHORTEST_S - (end_s - begin_s)) / 2
        span_s = (begin_s - short, end_s + short)
        if span_s != self._span_s:
            self._span_s = span_s
            self.zoomed.emit()

    @property
    def run_name(self) -> str | None:
        """The pass whose speed the motion is judged at; None for the first one."""
        return self._run_name

    def choose_run(self, name: str | None) -> None:
        """Judge the motion as it is in another pass. Error: ValueError for one that is not there."""
        self.project.run(name)
        self._run_name = name
        self._show(self.project)

    # how it is shown

    @property
    def snapping(self) -> Snapping:
        return self._snapping

    def snap_onto(self, snapping: Snapping) -> None:
        self._snapping = snapping
        self.preferred.emit()

    @property
    def counted(self) -> Counted:
        """How time is written and ruled."""
        return self._counted

    def count(self, how: Counted) -> None:
        self._counted = how
        self.preferred.emit()

    @property
    def theme(self) -> Theme:
        """The colours that painted widgets use."""
        return self._theme

    def dress(self, theme: Theme) -> None:
        self._theme = theme
        self.preferred.emit()

    @property
    def face(self) -> Face:
        return self._face

    def turn_to(self, face: Face) -> None:
        """Show the face for preparing, or the one for running."""
        if face != self._face:
            self._face = face
            self.faced.emit()

    @property
    def locked(self) -> str:
        """Why nothing may be edited now; empty where it may."""
        return self._locked

    def lock(self, why: str) -> None:
        """Refuse edits from now on, and say `why`; free them with an empty one. A gesture that goes on is abandoned."""
        if why != self._locked:
            self.abandon()
            self._locked = why
            self.faced.emit()

    def note(self, words: str, weight: Weight = "told") -> None:
        """Say one sentence to the operator."""
        self.noted.emit(Note(words, weight))

    # inside

    def _free(self) -> bool:
        if self._locked:
            self.note(self._locked, "refused")
        return not self._locked

    def _push(self, words: str, value: Project, merge: str) -> None:
        before, self._draft = self.project, None
        self._history = self._history.push(value, words, merge)
        self._show(before)

    def _whole(self, value: Project | Move) -> Project:
        return replace(self._history.now, move=value) if isinstance(value, Move) else value

    def _go(self, step: Callable[[History[Project]], History[Project]], words: str) -> None:
        if not self._free():
            return
        try:
            after = step(self._history)
        except ValueError as fault:
            self.note(str(fault), "refused")
            return
        steps = after.future if len(after.future) > len(self._history.future) else after.past
        before, self._draft, self._history = self.project, None, after
        self._show(before, brought(before.move, after.now.move))
        self.note(words.format(words=steps[-1].words), "done")

    def _show(self, before: Project, selection: Selection | None = None) -> None:
        """Have all views follow; what is chosen are the same keys as before, or others if there are any."""
        was = self._selection
        self._selection = dict(selection or followed(before.move, self.project.move, was))
        self._reshape()
        self.leave_proposal()
        self.changed.emit()
        if self._selection != was:
            self.seal()
            self.selected.emit()

    def _reshape(self) -> None:
        if self._run_name not in {one.name for one in self.project.move.passes}:
            self._run_name = None
        self._shapes = self._shaped(self.project)

    def _shaped(self, project: Project) -> Mapping[str, Shape]:
        """Compile and judge what is another value than on the desk."""
        speed, rate = project.run(self._run_name).speed, project.timebase.rate
        shapes = {}
        for track in project.move.tracks:
            axis = project.rig.axes[project.rig.index(track.axis)]
            before = self._shapes.get(track.axis)
            if before is not None and before.axis is axis and before.speed == speed:
                shapes[track.axis] = reshaped(before, track, rate, self.laws)
            else:
                shapes[track.axis] = shape(axis, track, rate, self.laws, speed)
        return shapes
