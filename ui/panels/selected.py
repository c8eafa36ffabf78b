"""The numbers of the chosen keys, to read and to type. It refuses to show one number where the keys have several."""

from collections.abc import Iterator
from typing import get_args

from PyQt6.QtCore import Qt, QTimer
from PyQt6.QtGui import QShowEvent
from PyQt6.QtWidgets import QCheckBox, QComboBox, QFormLayout, QFrame, QScrollArea, QVBoxLayout, QWidget

from sequencer.score.move import PASSINGS, TURNS, Key, Passing, Turn
from ui.acts.keys import move_first_to, set_values
from ui.acts.laws import set_passing, set_pin, set_turn
from ui.acts.written import value_text, written
from ui.desk import Desk
from ui.label import Label
from ui.language import translate
from ui.panels.change_form import ChangeForm
from ui.panels.entry import Entry, refusal
from ui.panels.law_form import LawForm
from ui.panels.typed import Times, typed_instant, typed_number
from ui.theme import GAP_PX

_LEAST_LETTERS = 8  # of a choice, where there is little room
_AT_ONCE = 2000  # keys: more are read when the selection stands still
_LATER_MS = 120


class Selected(QScrollArea):
    """Time, value, law, passing, turn and pin of what is chosen, and what is done to it as a whole."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self.setAccessibleName(translate("selected", "Numbers of the chosen keys"))
        self.setWidgetResizable(True)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.head = Label()
        self.head.setWordWrap(True)
        self.time = Entry(translate("selected", "Time"), translate("selected", "also +10, -2 s or bar 3 beat 2"))
        self.value = Entry(translate("selected", "Value"))
        self.law = LawForm(desk)
        self.passing, self.turn = QComboBox(), QComboBox()
        self.pin = QCheckBox(translate("selected", "Pinned"))
        self.pin.setAccessibleName(translate("selected", "Pinned"))
        self.pin.setToolTip(translate("selected", "no drag and no repair moves it"))
        self.change = ChangeForm(desk)
        self._late = QTimer(self)
        self._late.setSingleShot(True)
        self._late.setInterval(_LATER_MS)
        self._late.timeout.connect(self._read)
        self._lay()
        self.time.entered.connect(self._set_time)
        self.value.entered.connect(self._set_value)
        self.passing.activated.connect(lambda number: set_passing(desk, PASSINGS[number]))
        self.turn.activated.connect(lambda number: set_turn(desk, _TURNS[number]))
        self.pin.clicked.connect(self._set_pin)
        desk.selected.connect(self._forget)
        for signal in (desk.selected, desk.changed, desk.preferred, desk.faced, desk.opened):
            signal.connect(self._follow)
        self._read()

    def ask(self) -> None:
        """Bring the keyboard to the first number."""
        self.time.line.setFocus(Qt.FocusReason.ShortcutFocusReason)
        self.ensureWidgetVisible(self.time)

    def _lay(self) -> None:
        for combo, name, words in (
            (self.passing, translate("selected", "At the key"), [_passing(each) for each in PASSINGS]),
            (self.turn, translate("selected", "Way round"), [_turn(each) for each in _TURNS]),
        ):
            combo.setAccessibleName(name)
            combo.addItems(words)
            combo.setPlaceholderText(translate("selected", "several"))
            combo.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
            combo.setMinimumContentsLength(_LEAST_LETTERS)
        self.fields = QWidget()
        column = QVBoxLayout(self.fields)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(GAP_PX)
        for widget in (self.time, self.value, self.law):
            column.addWidget(widget)
        self._form = QFormLayout()
        self._form.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
        self._form.addRow(translate("selected", "At the key"), self.passing)
        self._form.addRow(translate("selected", "Way round"), self.turn)
        column.addLayout(self._form)
        column.addWidget(self.pin)
        column.addWidget(_line())
        column.addWidget(self.change)
        inside = QWidget()
        whole = QVBoxLayout(inside)
        whole.setContentsMargins(GAP_PX, GAP_PX, GAP_PX, GAP_PX)
        whole.setSpacing(GAP_PX)
        whole.addWidget(self.head)
        whole.addWidget(self.fields)
        whole.addStretch(1)
        self.setWidget(inside)

    def showEvent(self, event: QShowEvent | None) -> None:
        super().showEvent(event)
        self._read()

    def _forget(self) -> None:
        """What is being typed is for the keys that were chosen, not for others."""
        for entry in (self.time, self.value, *self.law.entries.values()):
            entry.forget()

    def _follow(self) -> None:
        if not self.isVisible():
            return
        if sum(map(len, self._desk.selection.values())) > _AT_ONCE:
            self._late.start()
        else:
            self._read()

    def _read(self) -> None:
        desk = self._desk
        self._late.stop()
        keys = [key for _, key in _chosen(desk)]
        self.head.setText(_head(desk, keys))
        self.fields.setVisible(bool(keys))
        self.fields.setEnabled(not desk.locked)
        if not keys:
            return
        several = translate("selected", "several values")
        first = min(key.at for key in keys)
        self.time.show_text(written(first, desk.counted, desk.project.timebase, desk.project.tempo))
        values, units = {key.value for key in keys}, self._units()
        common = len(values) == 1 and len(units) == 1
        self.value.show_text(value_text(keys[0].value, units[0], 9) if common else "", several)
        self.value.setEnabled(len(units) == 1)
        self.law.show_eases([key.ease for key in keys])
        passings, turns, pins = {key.passing for key in keys}, {key.turn for key in keys}, {key.pin for key in keys}
        self.passing.setCurrentIndex(PASSINGS.index(keys[0].passing) if len(passings) == 1 else -1)
        self.turn.setCurrentIndex(_TURNS.index(keys[0].turn) if len(turns) == 1 else -1)
        self._form.setRowVisible(self.turn, self._goes_round() or turns != {None})
        self.pin.setTristate(len(pins) > 1)
        self.pin.setCheckState(
            Qt.CheckState.PartiallyChecked
            if len(pins) > 1
            else Qt.CheckState.Checked
            if keys[0].pin
            else Qt.CheckState.Unchecked
        )

    def _units(self) -> list[str]:
        rig = self._desk.project.rig
        return sorted({rig.axes[rig.index(axis)].unit for axis in self._desk.selection})

    def _goes_round(self) -> bool:
        rig = self._desk.project.rig
        axes = [rig.axes[rig.index(axis)] for axis in self._desk.selection]
        return all(axis.travel is None and axis.unit == "deg" for axis in axes)

    def _set_time(self, text: str) -> None:
        desk = self._desk
        here = min(key.at for _, key in _chosen(desk)) if desk.selection else None
        times = Times(timebase=desk.project.timebase, tempo=desk.project.tempo, counted=desk.counted, here=here)
        self.time.answer(refusal(desk, lambda: move_first_to(desk, typed_instant(text, times))))

    def _set_value(self, text: str) -> None:
        units = self._units()
        if len(units) == 1:
            self.value.answer(refusal(self._desk, lambda: set_values(self._desk, typed_number(text, units[0]))))

    def _set_pin(self) -> None:
        set_pin(self._desk, self.pin.checkState() != Qt.CheckState.Unchecked)
        self._read()


_TURNS: tuple[Turn | None, ...] = (None, *TURNS)


def _passing(how: Passing) -> str:
    words: dict[Passing, str] = {
        "pass": translate("selected", "pass on without a stop"),
        "stop": translate("selected", "stop for an instant"),
        "hold": translate("selected", "come to rest"),
        "free": translate("selected", "pass free; may overshoot"),
    }
    assert words.keys() == set(get_args(Passing))
    return words[how]


def _turn(turn: Turn | None) -> str:
    return {
        None: translate("selected", "as the values say"),
        "short": translate("selected", "the short way"),
        "up": translate("selected", "up"),
        "down": translate("selected", "down"),
    }[turn]


def _chosen(desk: Desk) -> Iterator[tuple[str, Key]]:
    for track in desk.project.move.tracks:
        for number in desk.selection.get(track.axis, ()):
            yield track.axis, track.keys[number]


def _head(desk: Desk, keys: list[Key]) -> str:
    if not keys:
        return translate("selected", "No key is chosen. Click one, or go to it with the arrows in the timeline.")
    axes = list(desk.selection)
    if len(keys) == 1:
        track, number = desk.track(axes[0]), next(iter(desk.selection[axes[0]]))
        words = translate("selected", "{axis}, key {number} of {count}")
        words = words.format(axis=axes[0], number=number + 1, count=len(track.keys) if track else 0)
    else:
        words = translate("selected", "{count} keys of {axes}").format(count=len(keys), axes=", ".join(axes))
    return f"{words}\n{desk.locked}" if desk.locked else words


def _line() -> QFrame:
    line = QFrame()
    line.setFrameShape(QFrame.Shape.HLine)
    return line
