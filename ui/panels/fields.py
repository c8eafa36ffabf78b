"""Fields of forms that explain themselves: what it is, its unit, what it means and how one finds it, and what is wrong.

They refuse to change anything while it is typed: a value counts when the field is left, or with return.
"""

from collections.abc import Callable, Sequence
from typing import TypeVar

from PyQt6.QtCore import Qt
from PyQt6.QtGui import QKeyEvent, QResizeEvent
from PyQt6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QHBoxLayout,
    QLineEdit,
    QListWidget,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)

from sequencer.errors import ProjectError, SequencerError
from sequencer.project.document import Project
from ui.desk import Desk
from ui.label import Label
from ui.theme import GAP_PX, Theme

T = TypeVar("T")
_LABEL_PX = 140
_EDIT_PX = 170
_UNIT_PX = 58
_WIDE_PX = 580  # of a row that has room for its explanation at the side


class Told(Label):
    """A line that is only read: an explanation, or with `fault` what is wrong."""

    def __init__(self, desk: Desk, words: str = "", *, fault: bool = False) -> None:
        super().__init__(words)
        self._desk, self._fault = desk, fault
        self.setWordWrap(True)
        desk.preferred.connect(self._dress)
        self._dress()

    def tell(self, words: str) -> None:
        """Show other words; a fault without words is not seen."""
        self.setText(words)
        if self._fault:
            self.setVisible(bool(words))

    def _dress(self) -> None:
        theme: Theme = self._desk.theme
        if self._fault:
            self.setStyleSheet(
                f"background: {theme.over}; color: {theme.over_text}; border-radius: 3px; padding: 2px 6px;"
            )
        else:
            self.setStyleSheet(f"color: {theme.weak};")


class Heading(Label):
    """The name of a part of a form."""

    def __init__(self, words: str) -> None:
        super().__init__(words)
        self.setStyleSheet("font-weight: bold; font-size: 18px;")


class Picks(QListWidget):
    """A list of which one line is chosen, with lines high enough for a finger."""

    def __init__(self, name: str) -> None:
        super().__init__()
        self.setAccessibleName(name)
        self.setStyleSheet("QListWidget::item { padding: 5px 4px; }")
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)

    def texts(self) -> list[str]:
        """Return all lines."""
        return [item.text() for place in range(self.count()) if (item := self.item(place)) is not None]


class Row(QWidget):
    """A label, something to change, its unit, what it means, and below it what is wrong.

    With `is_long` it takes all the width that there is, and what it means stands below.
    """

    def __init__(
        self, desk: Desk, label: str, editor: QWidget, unit: str, means: str, *, is_long: bool = False
    ) -> None:
        super().__init__()
        self._is_long = is_long
        self.editor = editor
        editor.setAccessibleName(f"{label}, {unit}" if unit else label)
        editor.setAccessibleDescription(means)
        self._lines = QVBoxLayout(self)
        self._lines.setContentsMargins(0, 0, 0, 0)
        self._lines.setSpacing(2)
        row = self._row = QHBoxLayout()
        row.setSpacing(GAP_PX)
        self._is_wide = True
        title = Label(label)
        title.setFixedWidth(_LABEL_PX)
        title.setWordWrap(True)
        title.setBuddy(editor)
        if not is_long:
            editor.setFixedWidth(_EDIT_PX)
        self.unit = Label(unit)
        self.unit.setFixedWidth(_UNIT_PX)
        self.means = Told(desk, means)
        self.means.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Preferred)
        for widget in (title, editor, self.unit):
            row.addWidget(widget, int(is_long and widget is editor), Qt.AlignmentFlag.AlignVCenter)
        self.means.setMinimumWidth(1)
        self._lines.addLayout(row)
        if is_long:
            self.unit.setVisible(bool(unit))
            self.means.setVisible(bool(means))
            self._lines.addWidget(self.means)
        else:
            row.addWidget(self.means, 1)
        self.fault = Told(desk, fault=True)
        self.fault.hide()
        self._lines.addWidget(self.fault)

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        super().resizeEvent(event)
        is_wide = self.width() >= _WIDE_PX
        if is_wide == self._is_wide or self._is_long:
            return
        self._is_wide = is_wide
        if is_wide:
            self._lines.removeWidget(self.means)
            self._row.takeAt(self._row.count() - 1)
            self._row.addWidget(self.means, 1)
        else:
            self._row.removeWidget(self.means)
            self._row.addStretch(1)
            self._lines.insertWidget(1, self.means)
        self.means.setVisible(is_wide or bool(self.means.text()))

    def fail(self, words: str) -> None:
        """Say what is wrong with it; nothing, with empty words."""
        self.fault.tell(words)


class Line(QLineEdit):
    """A line of text that tells when its content is meant: with return, or when it is left. Escape takes it back."""

    def __init__(self, meant: Callable[[], None]) -> None:
        super().__init__()
        self._before = ""
        self._meant = meant
        self.editingFinished.connect(self._finish)

    def show_text(self, text: str) -> None:
        """Show what the document has, unless the operator is typing something else right now."""
        if self.hasFocus() and self.isModified():
            return
        self._before = text
        if text != self.text():
            self.setText(text)
            self.setCursorPosition(0)

    def keyPressEvent(self, event: QKeyEvent | None) -> None:
        if event is not None and event.key() == Qt.Key.Key_Escape:
            self.setText(self._before)
            self.setModified(False)
        super().keyPressEvent(event)

    def _finish(self) -> None:
        if self.isModified():
            self.setModified(False)
            self._meant()


class Field(Row):
    """A line to type in. `take` gets the text and changes the document; what it raises is said below the line."""

    def __init__(
        self,
        desk: Desk,
        label: str,
        take: Callable[[str], None],
        means: str,
        unit: str = "",
        *,
        is_long: bool = False,
    ) -> None:
        self.line = Line(self._meant)
        self._take = take
        super().__init__(desk, label, self.line, unit, means, is_long=is_long)

    def show_text(self, text: str) -> None:
        """Show what the document has; a fault that was said stays until something else is typed."""
        if self.fault.text() and not self.line.isModified() and self.line.text() != text:
            return  # what was refused stays to be corrected
        self.line.show_text(text)

    def show_anew(self, text: str) -> None:
        """Show what the document has, whatever was typed."""
        self.fail("")
        self.line.setModified(False)
        self.line.show_text(text)

    def _meant(self) -> None:
        self.fail(attempt(self._take, self.line.text()))


class Pull(Row):
    """A choice among few. `take` gets the chosen value's place."""

    def __init__(
        self,
        desk: Desk,
        label: str,
        texts: Sequence[str],
        take: Callable[[int], None],
        means: str,
        *,
        is_long: bool = False,
    ) -> None:
        self.box = QComboBox()
        self.box.addItems(texts)
        self._take = take
        self.box.activated.connect(self._meant)
        super().__init__(desk, label, self.box, "", means, is_long=is_long)
        if (view := self.box.view()) is not None:
            view.setAccessibleName(label)
        if is_long:
            # its texts may be longer than there is room; opened, they are read whole
            self.box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self._open_wide()

    def show_texts(self, texts: Sequence[str]) -> None:
        """Offer other choices."""
        if [self.box.itemText(place) for place in range(self.box.count())] != list(texts):
            self.box.clear()
            self.box.addItems(texts)
            self._open_wide()

    def _open_wide(self) -> None:
        view = self.box.view()
        if self._is_long and view is not None:
            view.setMinimumWidth(view.sizeHintForColumn(0) + 2 * GAP_PX)

    def show_place(self, place: int) -> None:
        """Show what the document has."""
        self.box.setCurrentIndex(place)
        self.fail("")

    def _meant(self, place: int) -> None:
        self.fail(attempt(self._take, place))


class Tick(Row):
    """Something that is so or not."""

    def __init__(self, desk: Desk, label: str, take: Callable[[bool], None], means: str, words: str = "") -> None:
        self.box = QCheckBox(words)
        self._take = take
        self.box.clicked.connect(self._meant)
        super().__init__(desk, label, self.box, "", means)

    def show_tick(self, ticked: bool) -> None:
        """Show what the document has."""
        self.box.setChecked(ticked)
        self.fail("")

    def _meant(self, ticked: bool) -> None:
        self.fail(attempt(self._take, ticked))
        if self.fault.text():
            self.box.setChecked(not ticked)


def attempt(take: Callable[[T], None], value: T) -> str:
    """Do it, and return why it is refused, in words; empty where it was done."""
    try:
        take(value)
    except (SequencerError, ValueError) as fault:
        return words_of(fault)
    return ""


def words_of(fault: Exception) -> str:
    """Return a fault in words, without the place in a file: it is said at the field."""
    if isinstance(fault, ProjectError):
        return f"{fault.what}; {fault.mend}." if fault.mend else f"{fault.what}."
    return str(fault)


def change(desk: Desk, words: str, edit: Callable[[Project], Project], merge: str = "") -> None:
    """Edit the project as one step. Error: what `edit` raises; and ValueError while nothing may be edited."""
    if desk.locked:
        raise ValueError(desk.locked)
    desk.edit(words, edit(desk.history.now), merge)
