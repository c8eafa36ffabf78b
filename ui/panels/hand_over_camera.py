"""A camera from elsewhere as keys of the rig: what it asks, shown dashed beside the move before it is taken.

It refuses to change the document by itself, and to show keys for a project that has changed since.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Any

from PyQt6.QtWidgets import QAbstractItemView, QVBoxLayout, QWidget

from sequencer.export.found import FoundCamera
from sequencer.live.filmed import Place, Placing
from sequencer.project.document import Project
from sequencer.project.previz import Asked, Convert
from sequencer.project.previz_within import Within, within_of
from ui.acts.bringing import Brought, Camera, fitted
from ui.acts.options import in_sight, labels
from ui.acts.written import decimal, written
from ui.desk import Desk
from ui.language import translate
from ui.panels.fields import Field, Pull, Tick
from ui.panels.hand_over_parts import Outcome, button, columns
from ui.panels.hand_over_words import cells, lines, titles, where
from ui.panels.job import Job
from ui.panels.tables import plain_table, put_row
from ui.panels.typed import Times, typed_factor, typed_instant, typed_number

_CONVERTS: tuple[Convert | None, ...] = (None, "time", "frames")
_PLACES: tuple[Place, ...] = ("world", "start")
_TABLE_PX = 140


@dataclass(frozen=True, slots=True)
class _Typed:
    """What the fields that are typed in say."""

    at: Fraction | None = None
    cue: str | None = None
    first: float | None = None
    last: float | None = None
    lasts: Fraction = Fraction(1)
    turn_deg: float = 0.0
    scale: float = 1.0
    within: Within = field(default_factory=Within)
    axes: tuple[str, ...] | None = None


class CameraForm(QWidget):
    """For one file at a time, and one of its cameras."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self._of: Brought | None = None
        self._job: Job | None = None
        self._asked: Project | None = None  # what the keys that are being made, or shown, are for
        self._typed = _Typed()
        self.found: Camera | None = None
        title = translate("hand over", "The camera as a move")
        self.setAccessibleName(title)
        self._build()
        self.table = plain_table(translate("hand over", "How near the axes come to the camera"), titles())
        self.table.setSelectionMode(QAbstractItemView.SelectionMode.NoSelection)
        self.table.setMinimumHeight(_TABLE_PX)
        self.show_it = button(translate("hand over", "Show it"), self.make)
        self.cancel = button(translate("hand over", "Cancel"), self.give_up)
        self.take = button(translate("hand over", "Take it"), desk.take_proposal)
        self.leave = button(translate("hand over", "Leave it"), desk.leave_proposal)
        tools = (self.show_it, self.cancel, self.take, self.leave)
        self.outcome = Outcome(desk, title, *tools, below=(self.table,))
        rows = (self.camera, self.shot, self.convert, self.begins, self.cue, self.replace_keys, self.place)
        more = (self.turn, self.scale, self.lasts, self.within, self.axes, self.shake, self.first, self.last)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addWidget(columns(title, (*rows, *more), self.outcome))
        desk.changed.connect(self._follow)
        desk.proposed.connect(self._enable)
        desk.faced.connect(self._enable)
        self._enable()

    def _build(self) -> None:
        desk, named = self._desk, labels()

        def text(label: str, put: Callable[[str], _Typed], means: str, unit: str = "") -> Field:
            def take(typed: str) -> None:
                self._typed = put(typed.strip())
                self._anew()

            return Field(desk, label, take, means, unit)

        def instant(typed: str) -> Fraction | None:
            return typed_instant(typed, self._times) if typed else None

        def put(**values: Any) -> _Typed:
            return replace(self._typed, **values)

        self.camera = Pull(
            desk, named["--camera"], (), self._choose, translate("hand over", "Which of those in the file.")
        )
        means = translate("hand over", "It jumps, or is held: a part is one shot, and a move is made of one.")
        self.shot = Pull(desk, translate("hand over", "Shot"), (), self._choose_shot, means)
        means = translate("hand over", "It has other frames a second than the project.")
        self.convert = Pull(desk, named["--convert"], (), self._anew, means)
        means = translate("hand over", "Its first sample; empty: at the cue, or where its timecode says.")
        self.begins = text(named["--at"], lambda typed: put(at=instant(typed)), means)
        means = translate(
            "hand over", "It goes into; one that is not there is made. Empty: the one around it, or a new one."
        )
        self.cue = text(named["--cue"], lambda typed: put(cue=typed or None), means)
        words = translate("hand over", "in its place")
        means = translate("hand over", "Keys of its axes may go; pinned ones stay.")
        self.replace_keys = Tick(desk, named["--replace"], self._anew, means, words)
        places = (named["--place world"], named["--place start"])
        means = translate("hand over", "Where the camera's own space is put.")
        self.place = Pull(desk, translate("hand over", "In the set"), places, self._anew, means)
        means = translate("hand over", "Its world, to the left about the rig's origin.")
        self.turn = text(
            named["--turn"], lambda typed: put(turn_deg=typed_number(typed, "deg") if typed else 0.0), means, "deg"
        )
        means = translate("hand over", "The set is a miniature: 1:6.")
        self.scale = text(named["--scale"], lambda typed: put(scale=_scale(typed) if typed else 1.0), means)
        means = translate("hand over", "So many times as long: 1.5 is slower.")
        self.lasts = text(
            named["--time-scale"],
            lambda typed: put(lasts=typed_factor(typed) if typed else Fraction(1)),
            means,
            "times",
        )
        means = translate("hand over", "How near: 2 px, or 0.02deg 0.5mm pan=0.1; empty: one pixel.")
        self.within = text(named["--within"], lambda typed: put(within=_within(typed) if typed else Within()), means)
        means = translate("hand over", "Only these, with commas between; empty: all that it can.")
        self.axes = text(named["--axis"], lambda typed: put(axes=_names(typed) or None), means)
        means = translate("hand over", "Also what shakes from sample to sample, as trackers leave it.")
        self.shake = Tick(desk, named["--follow-shake"], self._anew, means, translate("hand over", "follow it"))
        means = translate("hand over", "As the file numbers them; empty: its first.")
        self.first = text(named["--from"], lambda typed: put(first=typed_number(typed) if typed else None), means)
        means = translate("hand over", "As the file numbers them; empty: its last.")
        self.last = text(named["--to"], lambda typed: put(last=typed_number(typed) if typed else None), means)

    # what is chosen

    @property
    def busy(self) -> bool:
        """Whether keys are being made."""
        return self._job is not None

    @property
    def _times(self) -> Times:
        project = self._desk.project
        return Times(timebase=project.timebase, tempo=project.tempo, counted=self._desk.counted)

    @property
    def _film(self) -> FoundCamera | None:
        return None if self._of is None or not self._of.cameras else self._of.cameras[self._number]

    @property
    def _number(self) -> int:
        return max(0, self.camera.box.currentIndex())

    def show_cameras(self, of: Brought) -> None:
        """Look at another file, or at the same at another rate."""
        self.give_up()
        if self._of is None or self._of.file != of.file:
            self._forget()
        self._of = of
        self.camera.show_texts([one.name for one in of.cameras])
        self.camera.show_place(0)
        self.camera.setVisible(len(of.cameras) > 1)
        self._choose(0)

    def _forget(self) -> None:
        """What was asked of one file is not meant for the next."""
        self._typed = _Typed()
        for row in (self.begins, self.cue, self.turn, self.scale, self.lasts, self.within, self.axes):
            row.show_anew("")
        for tick in (self.replace_keys, self.shake):
            tick.show_tick(False)
        self.place.show_place(0)

    def _choose(self, _place: int) -> None:
        of, film = self._of, self._film
        if of is None or film is None:
            return
        parts = of.shots[self._number]
        span = translate("hand over", "frames {first:g} to {last:g}")
        self.shot.show_texts([span.format(first=first, last=last) for first, last in parts])
        self.shot.setVisible(len(parts) > 1)
        self.shot.show_place(0)
        self._show_span(parts[0] if len(parts) > 1 else None)
        rate = self._desk.project.timebase.rate
        lasts = film.frames[-1] - film.frames[0]
        kept, new = (lasts / float(one.fraction) for one in (film.rate, rate))
        time = translate("hand over", "{words}: {lasts} s").format(
            words=labels()["--convert time"], lasts=decimal(kept, 2)
        )
        same = translate("hand over", "{words}: {lasts} s").format(
            words=labels()["--convert frames"], lasts=decimal(new, 2)
        )
        self.convert.show_texts((translate("hand over", "choose…"), time, same))
        self.convert.show_place(0)
        words = translate("hand over", "It has {theirs} frames a second, and the project {ours}.")
        self.convert.means.tell(words.format(theirs=film.rate, ours=rate))
        self.convert.setVisible(film.rate.fraction != rate.fraction)
        self._anew()

    def _choose_shot(self, place: int) -> None:
        of = self._of
        if of is not None:
            self._show_span(of.shots[self._number][place])
            self._anew()

    def _show_span(self, span: tuple[float, float] | None) -> None:
        first, last = (None, None) if span is None else span
        self._typed = replace(self._typed, first=first, last=last)
        self.first.show_anew("" if first is None else decimal(first))
        self.last.show_anew("" if last is None else decimal(last))

    def _anew(self, _value: object = None) -> None:
        """Something else is asked: what is shown was for another question."""
        self.give_up()
        self._clear()

    def asked(self) -> Asked:
        """Return what the fields ask for. Error: ValueError in words."""
        typed, film = self._typed, self._film
        convert = _CONVERTS[max(0, self.convert.box.currentIndex())]
        if film is not None and convert is None and film.rate.fraction != self._desk.project.timebase.rate.fraction:
            words = translate("hand over", "choose “{other}”: whether it keeps its time, or goes frame for frame")
            raise ValueError(words.format(other=labels()["--convert"]))
        place = _PLACES[max(0, self.place.box.currentIndex())]
        return Asked(
            at=typed.at,
            cue=typed.cue,
            first=typed.first,
            last=typed.last,
            convert=convert,
            stretch=typed.lasts,
            placing=Placing(scale=typed.scale, turn_deg=typed.turn_deg, place=place),
            within=typed.within,
            axes=typed.axes,
            replace=self.replace_keys.box.isChecked(),
            shake=self.shake.box.isChecked(),
        )

    # the keys

    def make(self) -> None:
        """Make the keys, aside, and propose them."""
        of, desk, number = self._of, self._desk, self._number
        self._anew()
        if of is None or not of.cameras:
            return
        try:
            if desk.drafting:
                raise ValueError(translate("hand over", "end what you are dragging first"))
            asked = self.asked()
        except ValueError as fault:
            self.outcome.refuse(str(fault))
            return
        project, laws = desk.history.now, desk.laws
        self._asked = project
        job = Job(lambda _: fitted(of, number, project, laws, asked), self)
        job.done.connect(self._made)
        job.failed.connect(self._failed)
        self.outcome.tell((translate("hand over", "Making keys…"),))
        self._job = job.start()
        self._enable()

    def _made(self, found: object) -> None:
        assert isinstance(found, Camera)
        self._job = None
        if self._desk.history.now is not self._asked:
            self._stale()
            return
        self.found = found
        self.table.setRowCount(len(found.done.axes))
        for row, one in enumerate(found.done.axes):
            put_row(self.table, row, cells(found.done, one, self._at))
        told = lines(found, self._at)
        self.outcome.tell((where(found.done, self._at), *told))
        words = translate("hand over", "camera {camera} as keys").format(camera=found.done.film.name)
        self._desk.propose(found.done.project.move, words, told)
        self._enable()

    def _failed(self, words: str) -> None:
        self._job = self._asked = None
        self.outcome.tell(())
        self.outcome.refuse(in_sight(words.removeprefix("command line: ")))
        self._enable()

    def give_up(self) -> None:
        """Want no answer any more; the move is as it was."""
        if self._job is not None:
            self._job.cancel()
            self._job = None
            self.outcome.tell((translate("hand over", "Cancelled. The move is as it was."),))
        if self._mine():
            self._desk.leave_proposal()
        self._enable()

    def _mine(self) -> bool:
        proposal = self._desk.proposal
        return proposal is not None and self.found is not None and proposal.move is self.found.done.project.move

    def _clear(self) -> None:
        self.found = self._asked = None
        self.table.setRowCount(0)
        self.outcome.tell(())
        self.outcome.refuse("")
        self.outcome.say("")
        self._enable()

    def _follow(self) -> None:
        """Let keys go that were made for another project than is on the desk now."""
        if self._asked is None or self._desk.history.now is self._asked:
            return
        taken = self.found is not None and self._desk.history.now.move is self.found.done.project.move
        if self._job is not None:
            self._job.cancel()
            self._job = None
        if taken:
            self._asked = self.found = None
            self.outcome.say(translate("hand over", "Taken: one step, which undo takes back."))
        else:
            self._stale()
        self._enable()

    def _stale(self) -> None:
        self._clear()
        self.outcome.tell((translate("hand over", "The project was changed meanwhile; show it again."),))

    def _enable(self) -> None:
        mine = self._mine()
        self.show_it.setEnabled(self._job is None and self._film is not None)
        self.cancel.setVisible(self._job is not None)
        self.take.setEnabled(mine and not self._desk.locked)
        self.leave.setEnabled(mine)

    def _at(self, at: Fraction) -> str:
        project = self._desk.project
        return written(at, self._desk.counted, project.timebase, project.tempo, 2)


def _scale(text: str) -> float:
    return float(typed_factor(text.replace(":", "/")))


def _names(text: str) -> tuple[str, ...]:
    return tuple(name.strip() for name in text.split(",") if name.strip())


def _within(text: str) -> Within:
    """Return how near: a number of pixels, or the tolerances of axes and units. Error: ValueError."""
    plain = text.strip()
    if plain.endswith("px"):
        return Within(px=typed_number(plain.removesuffix("px")))
    return within_of(plain.split())
