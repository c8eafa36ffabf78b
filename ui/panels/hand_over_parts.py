"""Parts that all of the page *Hand over* is made of: where a file goes, what came of it, and two columns for both."""

from collections.abc import Callable, Iterable
from pathlib import Path

from PyQt6.QtCore import Qt, pyqtSignal
from PyQt6.QtGui import QFontDatabase
from PyQt6.QtWidgets import (
    QHBoxLayout,
    QPlainTextEdit,
    QPushButton,
    QScrollArea,
    QSplitter,
    QVBoxLayout,
    QWidget,
)

from ui.acts.asking import Pick
from ui.acts.options import labels
from ui.desk import Desk
from ui.label import Label, tip
from ui.language import translate
from ui.panels.fields import Field, Row, Tick, Told
from ui.theme import GAP_PX

Picking = Callable[[Pick], None]
_LEAST_PX = 270
_TEXT_PX = 160
_WHOLE = 100  # more than there are pixels: only the proportion counts


def button(words: str, do: Callable[[], object], name: str = "") -> QPushButton:
    """Return a button that says what it does, to eyes and to a screen reader."""
    made = QPushButton(words)
    made.setAccessibleName(name or words)
    made.setAutoDefault(False)
    made.clicked.connect(lambda _: do())
    return made


def columns(title: str, asked: Iterable[QWidget], answered: QWidget, share: int = 57) -> QSplitter:
    """Return what is asked, row below row, and beside it what is answered; each may be lower than it likes.

    Unit: `share` percent of the width are for what is asked.
    """
    rows = QWidget()
    lines = QVBoxLayout(rows)
    lines.setContentsMargins(0, 0, 0, 0)
    lines.setSpacing(GAP_PX)
    for row in asked:
        lines.addWidget(row)
        if isinstance(row, Row):
            # explanations stand below here: no column of units lines them up
            row.unit.setFixedWidth(row.unit.sizeHint().width())
    lines.addStretch(1)
    area = QScrollArea()
    area.setAccessibleName(title)
    area.setWidget(rows)
    area.setWidgetResizable(True)
    area.setFrameShape(QScrollArea.Shape.NoFrame)
    area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
    area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
    pair = QSplitter(Qt.Orientation.Horizontal)
    pair.setChildrenCollapsible(False)
    for side in (area, answered):
        side.setMinimumWidth(_LEAST_PX)
        pair.addWidget(side)
    pair.setSizes([share * _WHOLE, (100 - share) * _WHOLE])
    return pair


class Where(QWidget):
    """A folder, a file's name in it, and whether a file that is there may go. `changed`: one of them is another.

    `usual` is the name where none is typed.
    """

    changed = pyqtSignal()

    def __init__(self, desk: Desk, pick: Picking, title: str, means: str) -> None:
        super().__init__()
        self._desk, self._pick, self._title = desk, pick, title
        self.path = Path()
        self.typed, self.usual = "", ""
        self.folder = Field(desk, translate("hand over", "Folder"), self._take_folder, "", is_long=True)
        words = translate("hand over", "{title}: choose a folder")
        self.choose = button(translate("hand over", "Choose…"), self._choose, words.format(title=title))
        self.name = Field(desk, translate("hand over", "File"), self._take_name, means, is_long=True)
        self.force = Tick(desk, labels()["--force"], self._take_force, "", translate("hand over", "files there"))
        row = QHBoxLayout()
        row.setSpacing(GAP_PX)
        row.addWidget(self.folder, 1)
        row.addWidget(self.choose)
        lines = QVBoxLayout(self)
        lines.setContentsMargins(0, 0, 0, 0)
        lines.setSpacing(GAP_PX)
        lines.addLayout(row)
        lines.addWidget(self.name)
        lines.addWidget(self.force)
        desk.opened.connect(self._begin)
        self._begin()

    @property
    def replaces(self) -> bool:
        """Whether files that are there may be replaced."""
        return self.force.box.isChecked()

    @property
    def file(self) -> Path:
        """The file as it stands there."""
        return self.path / (self.typed or self.usual)

    def show_usual(self, name: str) -> None:
        """Show what the file is called where nobody names it."""
        self.usual = name
        self.name.line.setPlaceholderText(name)
        self.name.line.setToolTip(tip(name))

    def _begin(self) -> None:
        """Another project is on the desk: its files go beside it, until another folder is chosen."""
        self.path = Path.home() if self._desk.folder is None else self._desk.folder.resolve()
        self.folder.show_anew(str(self.path))
        self.typed = ""
        self.name.show_anew("")
        self.force.show_tick(False)

    def _choose(self) -> None:
        self._pick(Pick(self._title, "place", self._chosen, self.path))

    def _chosen(self, path: Path) -> None:
        self.path = path
        self.folder.show_anew(str(path))
        self.changed.emit()

    def _take_folder(self, text: str) -> None:
        path = Path(text.strip()).expanduser()
        if not text.strip() or not path.is_absolute():
            raise ValueError(translate("hand over", "write the whole path of a folder, or choose one"))
        if not path.is_dir():
            raise ValueError(
                translate("hand over", "there is no folder {name}; make it, or choose one").format(name=path)
            )
        self.path = path
        self.changed.emit()

    def _take_name(self, text: str) -> None:
        name = text.strip()
        if name in (".", "..") or any(mark in name for mark in "/\\\0"):
            raise ValueError(translate("hand over", "a file's name has no slash; the folder stands above"))
        self.typed = name
        self.changed.emit()

    def _take_force(self, _ticked: bool) -> None:
        self.changed.emit()


class Outcome(QWidget):
    """What is told before something is done, why it was refused, what was done, and below that `tools`.

    `between` stand above what is told, `below` under it.
    """

    def __init__(
        self, desk: Desk, title: str, *tools: QWidget, between: Iterable[QWidget] = (), below: Iterable[QWidget] = ()
    ) -> None:
        super().__init__()
        self.refused = Told(desk, fault=True)
        self.refused.hide()
        self.done, self.told = Label(), Label()
        for label, name in (
            (self.done, translate("hand over", "{title}: what was done")),
            (self.told, translate("hand over", "{title}: what must be known")),
        ):
            label.setWordWrap(True)
            label.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
            label.setAccessibleName(name.format(title=title))
        self.done.hide()
        self.text = QPlainTextEdit()
        self.text.setReadOnly(True)
        self.text.setTabChangesFocus(True)
        self.text.setFont(QFontDatabase.systemFont(QFontDatabase.SystemFont.FixedFont))
        self.text.setAccessibleName(translate("hand over", "{title}: the text beside the file").format(title=title))
        self.text.setMinimumHeight(_TEXT_PX)
        self.text.hide()
        inside = QWidget()
        lines = QVBoxLayout(inside)
        lines.setContentsMargins(GAP_PX, 0, GAP_PX, 0)
        lines.setSpacing(GAP_PX)
        for part in (self.refused, self.done, *between, self.told, *below, self.text):
            lines.addWidget(part, int(part is self.text))
        lines.addStretch(1)
        area = QScrollArea()
        area.setAccessibleName(translate("hand over", "{title}: what is answered").format(title=title))
        area.setWidget(inside)
        area.setWidgetResizable(True)
        area.setFrameShape(QScrollArea.Shape.NoFrame)
        area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        row = QHBoxLayout()
        row.setContentsMargins(GAP_PX, 0, 0, 0)
        for tool in tools:
            row.addWidget(tool)
        row.addStretch(1)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addWidget(area, 1)
        whole.addLayout(row)

    def tell(self, lines: Iterable[str]) -> None:
        """Say what must be known, one line each."""
        self.told.setText("\n".join(lines))
        self.told.setVisible(bool(self.told.text()))

    def say(self, words: str, text: str = "") -> None:
        """Say what was done, and show a text that was written."""
        self.done.setText(words)
        self.done.setVisible(bool(words))
        self.text.setPlainText(text)
        self.text.setVisible(bool(text))
        if words:
            self.refused.tell("")

    def refuse(self, words: str) -> None:
        """Say why nothing was done; nothing, with empty words."""
        self.refused.tell(words)
        if words:
            self.say("")
