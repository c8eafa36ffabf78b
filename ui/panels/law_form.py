"""The motion law of the chosen legs, with a field for each of its settings. It refuses to edit what a repair drew."""

from collections.abc import Sequence
from dataclasses import fields
from typing import Any, get_args, get_origin, get_type_hints

from PyQt6.QtWidgets import QComboBox, QGridLayout, QVBoxLayout, QWidget

from sequencer.score.easing import settings_of
from sequencer.score.laws.spline import Spline
from sequencer.score.move import Ease
from ui.acts.laws import offered_laws, plain_settings, set_law
from ui.acts.written import decimal
from ui.desk import Desk
from ui.label import Label
from ui.language import translate
from ui.panels.entry import Entry, refusal
from ui.panels.typed import typed_number
from ui.theme import GAP_PX

_HANDLES = ("x1", "y1", "x2", "y2")


class LawForm(QWidget):
    """Which law, and its settings; both go to all legs that begin at the chosen keys."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self._ease: Ease | None = None
        self._law: str | None = None
        self._laws = offered_laws(desk)
        self.laws = QComboBox()
        self.laws.setAccessibleName(translate("selected", "Law of the leg"))
        self.laws.addItems(self._laws)
        self.laws.setPlaceholderText(translate("selected", "several"))
        self.laws.activated.connect(self._choose)
        self.said = Label()
        self.said.setWordWrap(True)
        self.said.hide()
        self.entries: dict[str, Entry] = {}
        self._grid = QGridLayout()
        self._grid.setSpacing(GAP_PX // 2)
        label = Label(translate("selected", "Law of the leg"))
        label.setBuddy(self.laws)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(2)
        column.addWidget(label)
        column.addWidget(self.laws)
        column.addLayout(self._grid)
        column.addWidget(self.said)

    def show_eases(self, eases: Sequence[Ease]) -> None:
        """Show what these legs share."""
        laws = {ease.law for ease in eases}
        law = laws.pop() if len(laws) == 1 else None
        self._ease = eases[0] if eases and law is not None and all(ease == eases[0] for ease in eases) else None
        drawn = law is not None and law not in self._laws
        self.laws.setPlaceholderText(
            translate("selected", "drawn by a repair") if drawn else translate("selected", "several") if eases else ""
        )
        self.laws.setCurrentIndex(self._laws.index(law) if law in self._laws else -1)
        if law != self._law:
            self._law = law
            self._build()
        self._fill()

    def _build(self) -> None:
        while (item := self._grid.takeAt(0)) is not None:
            if (widget := item.widget()) is not None:
                widget.hide()
                widget.deleteLater()
        self.entries = {}
        self._say("")
        if self._law is None or self._law not in self._laws:
            return
        for name, hint in _settings(self._desk.laws[self._law].settings):
            entry = Entry(name, hint)
            entry.entered.connect(self._set)
            self._grid.addWidget(entry, len(self.entries) // 2, len(self.entries) % 2)
            self.entries[name] = entry

    def _fill(self) -> None:
        several = translate("selected", "several")
        if self._ease is None:
            for entry in self.entries.values():
                entry.show_text("", several)
            return
        how = settings_of(self._ease, self._desk.laws)[1]
        if not isinstance(how, Spline):
            for (name, _), value in zip(_settings(type(how)), _values(how), strict=True):
                self.entries[name].show_text(value if isinstance(value, str) else decimal(value))

    def _choose(self, number: int) -> None:
        law = self._laws[number]
        if law != self._law:
            self._say(refusal(self._desk, lambda: set_law(self._desk, law)))
            if self._law in self._laws:
                self.laws.setCurrentIndex(self._laws.index(self._law))
            elif self._law is None:
                self.laws.setCurrentIndex(-1)

    def _set(self, text: str) -> None:
        law, entry = self._law, self._entry_of(text)
        if law is None or entry is None:
            return
        entry.answer(refusal(self._desk, lambda: set_law(self._desk, law, self._typed(law, entry, text))))

    def _entry_of(self, text: str) -> Entry | None:
        sender = self.sender()
        return sender if isinstance(sender, Entry) else None

    def _typed(self, law: str, changed: Entry, text: str) -> Any:
        """Return the settings with one changed. Error: ValueError in words."""
        kind = self._desk.laws[law]
        how = plain_settings(self._desk, law) if self._ease is None else settings_of(self._ease, self._desk.laws)[1]
        read: list[Any] = []
        for (name, hint), value in zip(_settings(kind.settings), _values(how), strict=True):
            if self.entries[name] is not changed:
                read.append(value)
            elif hint and text.strip().lower() == "limits":
                read.append("limits")
            else:
                read.append(typed_number(text, "part"))
        return _made(kind.settings, read)

    def _say(self, words: str) -> None:
        self.said.setText(words)
        self.said.setVisible(bool(words))


def _settings(kind: type[Any]) -> list[tuple[str, str]]:
    """Return the name of each field of a law's settings, and what may be written there beside a number."""
    hints = get_type_hints(kind)
    found: list[tuple[str, str]] = []
    for field in fields(kind):
        hint = hints[field.name]
        if get_origin(hint) is tuple:
            found += [(name, "") for name in _HANDLES[: len(get_args(hint))]]
        else:
            limits = any("limits" in get_args(each) for each in get_args(hint))
            words = translate("selected", "a part from 0 to 0.5, or the word limits: then the axis's limits say")
            found.append((field.name, words if limits else ""))
    return found


def _values(how: Any) -> list[Any]:
    found: list[Any] = []
    for field in fields(how):
        value = getattr(how, field.name)
        found += list(value) if isinstance(value, tuple) else [value]
    return found


def _made(kind: type[Any], values: list[Any]) -> Any:
    hints = get_type_hints(kind)
    rest, made = list(values), {}
    for field in fields(kind):
        count = len(get_args(hints[field.name])) if get_origin(hints[field.name]) is tuple else 0
        made[field.name] = tuple(rest[:count]) if count else rest[0]
        rest = rest[max(1, count) :]
    return kind(**made)
