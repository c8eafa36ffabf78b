"""Hands over the camera's path, takes or markers: what, in which format, where to; and what a format cannot hold.

It refuses to write over a file unless that is ticked, and to change the document.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from PyQt6.QtGui import QShowEvent
from PyQt6.QtWidgets import QVBoxLayout, QWidget

from sequencer.export.contract import ExportKind, Wanted
from sequencer.export.delivery import Source as Holds
from sequencer.export.opening import BEGINS, MOST_SAMPLES, Opening
from sequencer.project.library import Filed
from sequencer.shell.handover import Asked, Handed
from ui.acts.handing import UPS, Ready, formats, leaves_up, needs, ready, written
from ui.acts.judging import Judging
from ui.acts.options import fault_words, in_sight, labels
from ui.acts.working import Worker
from ui.acts.written import decimal
from ui.desk import Desk
from ui.language import translate
from ui.panels.fields import Field, Pull
from ui.panels.hand_over_parts import Outcome, Picking, Where, button, columns
from ui.panels.typed import typed_number

Chosen = Callable[[], Sequence[Filed]]


@dataclass(frozen=True, slots=True)
class _What:
    """One thing to hand over: the planned move, the timelapse's frames, or a take as it was asked or as it went."""

    words: str
    take: Path | None = None
    source: Holds | None = None
    timelapse: bool = False


class ExportForm(QWidget):
    """`chosen` are the takes that are chosen in the list of takes; `pick` has the operator choose a folder."""

    def __init__(self, desk: Desk, pick: Picking, chosen: Chosen) -> None:
        super().__init__()
        self._desk, self._chosen = desk, chosen
        self._kinds = formats()
        self._whats: list[_What] = []
        self._angle_deg: Fraction | None = None
        self._samples = 1
        self._first: int | None = None
        self.ready: Ready | None = None
        self.worker = Worker(self)
        self.judging: Judging[Ready] = Judging(self._tell, self._untold, self)
        title = translate("hand over", "Hand over")
        self.setAccessibleName(title)
        self._build(pick)
        self.write = button(translate("hand over", "Write the files"), self.hand)
        self.outcome = Outcome(desk, title, self.write)
        rows = (self.what, self.cue, self.run, self.kind, self.where)
        more = (self.up, self.samples, self.shutter, self.begins, self.first)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addWidget(columns(title, (*rows, *more), self.outcome))
        desk.changed.connect(self._follow_if_seen)
        desk.opened.connect(self._begin)
        self._begin()

    def _build(self, pick: Picking) -> None:
        desk, named = self._desk, labels()
        means = translate("hand over", "Takes that are chosen on the page Takes can be handed over as well.")
        self.what = Pull(desk, named["--take"], (), self._changed, means, is_long=True)
        self.cue = Pull(desk, named["--cue"], (), self._changed, "")
        self.run = Pull(desk, named["--pass"], (), self._changed, "")
        titles = [f"{kind.title} ({' '.join(kind.suffixes)})" for kind in self._kinds]
        self.kind = Pull(desk, translate("hand over", "Format"), titles, self._changed, " ", is_long=True)
        means = translate(
            "hand over", "Instants from the shutter's opening to its closing; 1 for each frame's own alone."
        )
        self.samples = Field(desk, named["--samples"], self._take_samples, means)
        means = translate("hand over", "Its angle; empty for that of the camera in Setup.")
        self.shutter = Field(desk, named["--shutter"], self._take_shutter, means, "deg")
        opens = (translate("hand over", "around the frame"), translate("hand over", "from the frame on"))
        means = translate("hand over", "Around the instant of the timecode, or from there on.")
        self.begins = Pull(desk, named["--shutter-from"], opens, self._changed, means)
        means = translate("hand over", "Which axis points up in the file: as whoever reads it likes it.")
        self.up = Pull(desk, translate("hand over", "Up"), ("Y", "Z"), self._changed, means)
        means = translate("hand over", "Its number in the file; empty to count from the project's start.")
        self.first = Field(desk, named["--first"], self._take_first, means)
        means = translate("hand over", "Beside it go a text that says how to check it, and a chart for a camera.")
        self.where = Where(desk, pick, translate("hand over", "Where the files are to be written"), means)
        self.where.changed.connect(self._changed)
        self.samples.show_text("1")

    # what is asked

    @property
    def busy(self) -> bool:
        """Whether something is being looked at or written."""
        return self.worker.at_work or self.judging.worker.at_work

    @property
    def format(self) -> ExportKind:
        return self._kinds[max(0, self.kind.box.currentIndex())]

    @property
    def wanted(self) -> Wanted:
        return Wanted(up=UPS[max(0, self.up.box.currentIndex())], first=self._first)

    def asked(self) -> Asked:
        """Return what the fields ask for."""
        desk, what = self._desk, self._whats[max(0, self.what.box.currentIndex())]
        planned = what.take is None and not what.timelapse
        edited = desk.history.now if desk.dirty or desk.folder is None else None
        return Asked(
            project=desk.folder,
            edited=edited,
            take=what.take,
            cue=self._cue() if planned else None,
            run=self.run.box.currentText() if planned else None,
            source=what.source,
            angle_deg=self._angle_deg,
            begins=BEGINS[max(0, self.begins.box.currentIndex())],
            samples=1 if what.timelapse else self._samples,
            timelapse=what.timelapse,
        )

    def _cue(self) -> str | None:
        move = self._desk.project.move
        run = next((one for one in move.passes if one.name == self.run.box.currentText()), None)
        own = None if run is None else run.of
        return own or (self.cue.box.currentText() if move.cues else None)

    def _take_samples(self, text: str) -> None:
        number = typed_number(text)
        if number != int(number) or not 1 <= number <= MOST_SAMPLES:
            words = translate("hand over", "write a whole number from 1 to {most}, such as 3")
            raise ValueError(words.format(most=MOST_SAMPLES))
        self._samples = int(number)
        self._changed()

    def _take_shutter(self, text: str) -> None:
        angle = None if not text.strip() else Fraction(typed_number(text, "deg")).limit_denominator(10**6)
        Opening(angle)
        self._angle_deg = angle
        self._changed()

    def _take_first(self, text: str) -> None:
        number = None if not text.strip() else typed_number(text)
        if number is not None and number != int(number):
            raise ValueError(translate("hand over", "write a whole number, such as 1001"))
        self._first = None if number is None else int(number)
        self._changed()

    def _changed(self, _place: int = 0) -> None:
        self.outcome.say("")
        self._allow()
        self.ask()

    # what is shown

    def showEvent(self, event: QShowEvent | None) -> None:
        super().showEvent(event)
        self.follow()

    def _follow_if_seen(self) -> None:
        if self.isVisible() and not self._desk.drafting:
            self.follow()

    def _begin(self) -> None:
        """Another project is on the desk."""
        self.outcome.say("")
        self.what.box.setCurrentIndex(0)
        self.follow()

    def follow(self) -> None:
        """Offer what there is now, and look at what would be written."""
        project = self._desk.project
        self._whats = _whats(self._chosen(), timelapse=project.timelapse is not None)
        _offer(self.what, [one.words for one in self._whats])
        whole = translate("hand over", "the whole move")
        _offer(self.cue, [one.name for one in project.move.cues] or [whole])
        _offer(self.run, [one.name for one in project.move.passes] or [project.run(None).name])
        camera = project.rig.camera
        own = None if camera is None else camera.shutter_deg
        self.shutter.line.setPlaceholderText("" if own is None else decimal(own))
        self._allow()
        self.ask()

    def _allow(self) -> None:
        kind, what = self.format, self._whats[max(0, self.what.box.currentIndex())]
        planned, camera = what.take is None and not what.timelapse, kind.holds == "camera"
        move = self._desk.project.move
        run = next((one for one in move.passes if one.name == self.run.box.currentText()), None)
        self.cue.setEnabled(planned and bool(move.cues) and (run is None or run.of is None))
        self.run.setEnabled(planned)
        for row in (self.samples, self.shutter, self.begins):
            row.setVisible(camera and not what.timelapse)
        self.first.setVisible(camera)
        self.up.setVisible(camera and leaves_up(kind))
        self.kind.means.tell(needs(kind))
        self.kind.means.setVisible(bool(self.kind.means.text()))

    def ask(self) -> None:
        """Look, beside the window, at what would be written."""
        if not self.isVisible():
            return
        asked, kind, wanted = self.asked(), self.format, self.wanted
        self.judging.ask(lambda: ready(asked, kind, wanted))

    def _tell(self, found: Ready) -> None:
        self.ready = found
        self.where.show_usual(found.name)
        lines = [found.span] if found.span else []
        if found.missing:
            words = translate("hand over", "{count} frames are not known: the rig did not say where it stood.")
            lines.append(words.format(count=found.missing))
        for title, told in (
            (translate("hand over", "What was guessed, or must be known:"), found.guessed),
            (translate("hand over", "What this format cannot hold:"), found.lost),
        ):
            if told:
                lines += [title, *(f"– {in_sight(one)}" for one in told)]
        self.outcome.tell(lines)
        if self.outcome.refused.text():
            self.outcome.refuse("")
        self._enable()

    def _untold(self, fault: Exception) -> None:
        self.ready = None
        self.outcome.tell(())
        self.outcome.refuse(fault_words(fault))
        self._enable()

    def _enable(self) -> None:
        self.write.setEnabled(self.ready is not None and not self.worker.at_work)

    # the files

    def hand(self) -> None:
        """Write the files."""
        asked, kind, wanted = self.asked(), self.format, self.wanted
        folder, name, force = self.where.path, self.where.typed, self.where.replaces

        def work() -> tuple[Handed, str]:
            done = written(asked, kind, wanted, folder, name, force)
            return done, done.files[-1].read_text(encoding="utf-8")

        self.outcome.refuse("")
        self.worker.do(translate("hand over", "writing the files"), work, self._written, self._not_written)
        self._enable()

    def _written(self, what: tuple[Handed, str]) -> None:
        done, text = what
        words = translate("hand over", "Written in {folder}: {file}. Beside it: {others}.")
        others = translate("hand over", ", ").join(one.name for one in done.files[1:])
        words = words.format(folder=done.files[0].parent, file=done.files[0].name, others=others)
        self.outcome.say(words, text)
        self._desk.note(translate("hand over", "Written: {file}").format(file=done.files[0]), "done")
        self._enable()

    def _not_written(self, fault: Exception) -> None:
        self.outcome.refuse(fault_words(fault))
        self._enable()


def _whats(takes: Sequence[Filed], *, timelapse: bool) -> list[_What]:
    found = [_What(translate("hand over", "the move as it is planned"))]
    if timelapse:
        found.append(_What(translate("hand over", "the frames that the timelapse exposes"), timelapse=True))
    for one in takes:
        if one.usable:
            went = translate("hand over", "{take}: where the rig says it stood").format(take=one.name)
            sent = translate("hand over", "{take}: what was asked of the rig").format(take=one.name)
            found += [_What(went, one.path, "actual"), _What(sent, one.path, "asked")]
    return found


def _offer(pull: Pull, texts: list[str]) -> None:
    """Offer these, and keep what is chosen if it is still there."""
    before = pull.box.currentText()
    pull.show_texts(texts)
    pull.box.setCurrentIndex(texts.index(before) if before in texts else 0)
