"""The music's tempo and beats: found in the playback, mended by hand, and put on the project's grid.

It refuses to change the document by itself: all it finds is a proposal on its own strip until it is put on the grid.
"""

import time
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction

import numpy as np
from PyQt6.QtCore import Qt
from PyQt6.QtGui import QShowEvent
from PyQt6.QtWidgets import QCheckBox, QComboBox, QFrame, QPushButton, QScrollArea, QSlider, QSpinBox

from sequencer.errors import SequencerError
from sequencer.music.beats import Beats
from sequencer.music.grid import (
    Fit,
    Metre,
    at_tempo,
    doubled,
    from_taps,
    halved,
    in_metre,
    instant,
    nudged,
    one_here,
    one_tempo,
    stepped,
    storable,
)
from sequencer.timebase.tempo import TempoMap
from ui.acts.disk import plain
from ui.desk import Desk
from ui.label import Label, tip
from ui.language import translate
from ui.panels.beat_strip import BeatStrip
from ui.panels.entry import Entry, refusal
from ui.panels.hearing import Hearing
from ui.panels.music_form import laid_out
from ui.panels.music_snap import SnapForm
from ui.panels.music_words import fit_words, found_words, grid_words, sureness, tempo_text
from ui.panels.taps import TapButton
from ui.panels.typed import typed_number

NUDGE = Fraction(1, 20)  # of a frame
_MOST_BEATS = 32  # in a bar
_A_THRESHOLD = 10  # slider steps for each whole


class MusicPanel(QScrollArea):
    """`grid` is what is proposed, None where that is what the project has."""

    def __init__(self, desk: Desk, clock: Callable[[], float] = time.perf_counter) -> None:
        super().__init__()
        self._desk = desk
        self.grid: TempoMap | None = None
        self._fit: Fit | None = None  # while the grid is as it was found
        self._one = 0  # which of the found beats begins a bar
        self.setAccessibleName(translate("music", "Music: tempo and beats"))
        self.setWidgetResizable(True)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.hearing = Hearing(desk)
        self.listen = QPushButton(translate("music", "Find the beat"))
        self.cancel = QPushButton(translate("music", "Cancel"))
        self.near = QPushButton(translate("music", "Find near this tempo"))
        self.others = QComboBox()
        self.strip = BeatStrip(desk)
        self.said, self.quality = Label(), Label()
        self.tempo = Entry(translate("music", "Tempo, BPM"), translate("music", "beats a minute, such as 96 or 93,7"))
        self.double, self.halve = QPushButton("×2"), QPushButton("÷2")
        self.steps = QCheckBox(translate("music", "Follow changes of tempo, bar by bar"))
        self.metre = QSpinBox()
        self.one = QPushButton(translate("music", "Beat one here"))
        self.onto_beat = QCheckBox(translate("music", "onto the nearest beat"))
        self.earlier, self.later = QPushButton("◂"), QPushButton("▸")
        self.half = QPushButton(translate("music", "½ beat later"))
        self.tap = TapButton(desk, clock)
        self.threshold = QSlider(Qt.Orientation.Horizontal)
        self.counted = Label()
        self.put, self.leave = QPushButton(translate("music", "Put it on the grid")), QPushButton()
        self.snap = SnapForm(desk, self.onsets)
        self._name()
        self.setWidget(laid_out(self))
        self._connect()
        self._follow()

    def _name(self) -> None:
        self.leave.setText(translate("music", "Leave it"))
        names: dict[QPushButton | QCheckBox | QComboBox | QSpinBox | QSlider, str] = {
            self.listen: translate("music", "Find the beat in the playback"),
            self.cancel: translate("music", "Stop listening"),
            self.near: translate("music", "Find the beat near this tempo"),
            self.others: translate("music", "Other tempi that may be meant"),
            self.double: translate("music", "Double the tempo"),
            self.halve: translate("music", "Halve the tempo"),
            self.steps: self.steps.text(),
            self.metre: translate("music", "Beats in a bar"),
            self.one: translate("music", "A bar begins at the playhead"),
            self.onto_beat: translate("music", "Beat one goes onto the beat nearest to the playhead"),
            self.earlier: translate("music", "All beats earlier by a twentieth of a frame"),
            self.later: translate("music", "All beats later by a twentieth of a frame"),
            self.half: translate("music", "All beats later by half a beat: where the beats between were found"),
            self.threshold: translate("music", "How strong an onset is at least"),
            self.put: translate("music", "Put the tempo on the project's grid"),
            self.leave: translate("music", "Leave the project's tempo as it is"),
        }
        for widget, name in names.items():
            widget.setAccessibleName(name)
            if not isinstance(widget, QComboBox | QSpinBox | QSlider) and name != widget.text():
                widget.setToolTip(tip(name))
            if isinstance(widget, QPushButton):
                widget.setAutoDefault(False)
        for button in (self.earlier, self.later):
            button.setAutoRepeat(True)
        self.metre.setRange(1, _MOST_BEATS)
        self.metre.setValue(4)
        self.onto_beat.setChecked(True)
        self.threshold.setRange(5, 120)
        self.threshold.setValue(20)

    def _connect(self) -> None:
        desk = self._desk
        self.listen.clicked.connect(self._find)
        self.cancel.clicked.connect(self.hearing.cancel)
        self.near.clicked.connect(self._find_near)
        self.others.activated.connect(lambda number: self.hearing.find(self.others.itemData(number)))
        self.hearing.changed.connect(self._hear)
        self.tempo.entered.connect(self._type)
        self.double.clicked.connect(lambda: self._mend(doubled))
        self.halve.clicked.connect(lambda: self._mend(halved))
        self.steps.clicked.connect(self._refit)
        self.metre.valueChanged.connect(self._count)
        self.one.clicked.connect(self._begin_bar)
        self.earlier.clicked.connect(lambda: self._nudge(-NUDGE))
        self.later.clicked.connect(lambda: self._nudge(NUDGE))
        self.half.clicked.connect(lambda: self._mend(lambda grid: nudged(grid, grid.stretches[0].beat_s / 2)))
        self.tap.tapped.connect(self._tapped)
        self.threshold.valueChanged.connect(self._follow)
        self.put.clicked.connect(self.put_on_grid)
        self.leave.clicked.connect(self._leave)
        for signal in (desk.changed, desk.opened, desk.faced):
            signal.connect(self._follow)
        desk.opened.connect(self._leave)

    # what others ask

    def shown(self) -> TempoMap | None:
        """Return what is proposed, or else what the project has."""
        return self._desk.project.tempo if self.grid is None else self.grid

    def onsets(self) -> tuple[Fraction, ...]:
        """Return the onsets that are strong enough, in frames from the project's start."""
        rate = self._desk.project.timebase.rate
        return tuple(rate.frames(instant(float(at), rate)) for at in self._onsets_s())

    def put_on_grid(self) -> None:
        """Make what is proposed the project's tempo, as one step."""
        if self.grid is None:
            return
        grid = storable(self.grid, self._desk.project.timebase.rate)
        words = translate("music", "tempo {tempo}").format(tempo=grid_words(grid))
        self._desk.attempt(words, lambda project: replace(project, tempo=grid))
        if self._desk.project.tempo == grid:
            self.grid = self._fit = None
            self._follow()

    # what was heard

    def _beats(self) -> Beats | None:
        heard = self.hearing.heard
        return heard.beats if heard is not None and isinstance(heard.beats, Beats) else None

    def _start_s(self) -> Fraction:
        project = self._desk.project
        return Fraction(0) if project.playback is None else project.timebase.rate.seconds(project.playback.at)

    def _onsets_s(self) -> np.ndarray:
        heard = self.hearing.heard
        if heard is None:
            return np.zeros(0)
        strong = heard.onsets.strength >= self.threshold.value() / _A_THRESHOLD
        out: np.ndarray = heard.onsets.at_s[strong] + float(self._start_s())
        return out

    def _hear(self) -> None:
        found = self._beats()
        if found is not None and not self.hearing.listening:
            self._one = 0
            self.steps.setChecked(not found.steady)
            if found.others:
                self.others.clear()
                self.others.setPlaceholderText(translate("music", "other tempi that may be meant"))
                for other in found.others[1:]:
                    words = translate("music", "find near {bpm} BPM ({sure})")
                    bpm = tempo_text(round(other.bpm, 1))
                    self.others.addItem(words.format(bpm=bpm, sure=sureness(other.confidence)), other.bpm)
                self.others.setCurrentIndex(-1)
            self._refit()
        self._follow()

    def _refit(self) -> None:
        found, project = self._beats(), self._desk.project
        if found is None:
            return
        fitted = stepped if self.steps.isChecked() else one_tempo
        note = project.tempo.beat_note if project.tempo is not None else 4
        metre = Metre(self.metre.value(), note)
        self._fit = fitted(found, self._start_s(), project.timebase.rate, metre, self._one)
        self.grid = self._fit.tempo
        self._follow()

    def _find(self) -> None:
        self.hearing.find()

    def _find_near(self) -> None:
        def near() -> None:
            self.hearing.find(typed_number(self.tempo.text))

        self.tempo.say(refusal(self._desk, near))

    # corrections by hand

    def _mend(self, change: Callable[[TempoMap], TempoMap]) -> str:
        """Change what is proposed; return why that is refused, or nothing, and say it."""
        shown = self.shown()
        try:
            if shown is None:
                raise ValueError(translate("music", "there is no tempo to change yet; find, tap or type one"))
            self.grid, self._fit = change(shown), None
            words = ""
        except (SequencerError, ValueError) as fault:
            words = plain(fault)
        self._follow()
        self._say(words or self.said.text())
        return words

    def _base(self, bpm: Fraction) -> TempoMap:
        """Return what is shown, or a first map whose first beat is at the playhead."""
        project = self._desk.project
        at_s = project.timebase.rate.seconds(self._desk.playhead)
        return self.shown() or TempoMap(bpm, self.metre.value(), at_s)

    def _type(self, text: str) -> None:
        def enter() -> None:
            bpm = Fraction(typed_number(text)).limit_denominator(1000)
            self.grid, self._fit = at_tempo(self._base(Fraction(120)), bpm), None

        self.tempo.answer(refusal(self._desk, enter))
        self._follow()

    def _count(self, beats_per_bar: int) -> None:
        if self._fit is not None:
            self._refit()
        elif self.shown() is not None and beats_per_bar != self._base(Fraction(120)).beats_per_bar:
            self._mend(lambda grid: in_metre(grid, beats_per_bar))

    def _begin_bar(self) -> None:
        at_s = self._desk.project.timebase.rate.seconds(self._desk.playhead)
        found = self._beats()
        if self._fit is not None and found is not None and self.onto_beat.isChecked():
            away_s = found.at_s + float(self._start_s()) - float(at_s)
            self._one = int(np.abs(away_s).argmin())
            self._refit()
        else:
            self._mend(lambda grid: one_here(grid, at_s, onto_beat=self.onto_beat.isChecked()))

    def _nudge(self, frames: Fraction) -> None:
        by_s = self._desk.project.timebase.rate.seconds(frames)
        self._mend(lambda grid: nudged(grid, by_s))

    def _tapped(self) -> None:
        try:
            taps = self.tap.said()
        except ValueError as fault:
            self._say(str(fault))
            return
        rate, on_time = self._desk.project.timebase.rate, self.tap.on_playhead
        self.grid, self._fit = from_taps(self._base(taps.bpm), taps, rate, phase=on_time), None
        self._follow()
        words = translate("music", "{count} taps: {bpm} BPM")
        if not on_time:
            words = translate(
                "music", "{count} taps: {bpm} BPM; where the beats fall stays, as the playhead stands still"
            )
        self._say(words.format(count=self.tap.count, bpm=tempo_text(taps.bpm)))

    def _leave(self) -> None:
        self.grid = self._fit = None
        self._follow()

    # what is shown

    def _say(self, words: str) -> None:
        self.said.setText(words)
        self.said.setAccessibleDescription(words)

    def showEvent(self, event: QShowEvent | None) -> None:
        super().showEvent(event)
        self._follow()

    def _follow(self) -> None:
        if not self.isVisible():
            return  # a key that is dragged elsewhere need not wait for this
        heard, found, shown = self.hearing.heard, self._beats(), self.shown()
        listening, free = self.hearing.listening, not self._desk.locked
        self.cancel.setVisible(listening)
        self._say(self.hearing.words or ("" if found is None else found_words(found)))
        self.others.setVisible(found is not None and self.others.count() > 0)
        self.steps.setVisible(found is not None)
        self.quality.setText(self._quality(shown))
        self.tempo.show_text("" if shown is None else tempo_text(shown.bpm), translate("music", "none yet"))
        if shown is not None:
            before = self.metre.blockSignals(True)
            self.metre.setValue(shown.beats_per_bar)
            self.metre.blockSignals(before)
        self.put.setEnabled(free and self.grid is not None and self.grid != self._desk.project.tempo)
        self.leave.setEnabled(self.grid is not None)
        onsets_s = self._onsets_s()
        self.threshold.setEnabled(heard is not None)
        self.counted.setText(translate("music", "{count} onsets").format(count=len(onsets_s)))
        self.strip.show_all(heard, float(self._start_s()), onsets_s, shown, self.grid is not None)

    def _quality(self, shown: TempoMap | None) -> str:
        if shown is None:
            return translate("music", "The project has no tempo yet.")
        if self.grid is None or self.grid == self._desk.project.tempo:
            return translate("music", "On the project's grid: {grid}.").format(grid=grid_words(shown))
        fit = "" if self._fit is None else f"; {fit_words(self._fit)}"
        return translate("music", "Proposed, dashed above: {grid}{fit}.").format(grid=grid_words(shown), fit=fit)
