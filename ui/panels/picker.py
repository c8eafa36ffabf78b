"""Chooses a folder or a file inside the window, as a panel: the strip and the stop control stay in sight and in reach.

It refuses to change anything on the disk, and to open a box of its own.
"""

from pathlib import Path

from PyQt6.QtCore import Qt, pyqtSignal
from PyQt6.QtGui import QKeyEvent
from PyQt6.QtWidgets import QFileDialog, QHeaderView, QLabel, QLineEdit, QTreeView, QVBoxLayout, QWidget

from sequencer.project import files
from ui.acts.asking import Pick
from ui.acts.drops import AUDIO, dropped
from ui.desk import Desk
from ui.language import translate
from ui.panels.fields import Heading, Told
from ui.theme import GAP_PX


class _Inside(QFileDialog):
    """The list of files as a part of a panel. It neither closes nor complains by itself; the panel does."""

    taken = pyqtSignal()
    given_up = pyqtSignal()

    def accept(self) -> None:
        self.taken.emit()

    def reject(self) -> None:
        self.given_up.emit()

    def keyPressEvent(self, event: QKeyEvent | None) -> None:
        if event is not None and event.key() == Qt.Key.Key_Escape:
            self.given_up.emit()
            return
        super().keyPressEvent(event)


class Picker(QWidget):
    """Shown while something is to be chosen. `active`: whether that is so; show or hide the panel by it."""

    active = pyqtSignal(bool)

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._pick: Pick | None = None
        self.dialog: _Inside | None = None
        self._lines = QVBoxLayout(self)
        self._lines.setContentsMargins(2 * GAP_PX, GAP_PX, 2 * GAP_PX, GAP_PX)
        self.title: QLabel = Heading("")
        self.fault = Told(desk, fault=True)
        self.fault.hide()
        self._lines.addWidget(self.title)
        self._lines.addWidget(self.fault)

    def pick(self, pick: Pick) -> None:
        """Have the operator choose."""
        self._clear()
        self._pick = pick
        self.title.setText(pick.title)
        self.dialog = self._made(pick)
        self._lines.addWidget(self.dialog, 1)
        self.active.emit(True)
        self.dialog.show()
        if self.line is not None:
            self.line.setFocus()

    @property
    def line(self) -> QLineEdit | None:
        """Where a name is typed, while something is to be chosen."""
        return None if self.dialog is None else self.dialog.findChild(QLineEdit)

    def take(self, path: Path) -> None:
        """Choose this path, if it can be; else say why not."""
        pick = self._pick
        if pick is None:
            return
        if why := _unfit(pick, path):
            self.fault.tell(why)
            return
        self._leave()
        pick.then(path)

    def _made(self, pick: Pick) -> _Inside:
        dialog = _Inside(self)
        dialog.setOption(QFileDialog.Option.DontUseNativeDialog)
        dialog.setOption(QFileDialog.Option.ReadOnly)  # it asks about removing files in a box of its own
        dialog.setWindowFlags(Qt.WindowType.Widget)
        dialog.setModal(False)
        if pick.what in ("audio", "file"):
            dialog.setFileMode(QFileDialog.FileMode.ExistingFile)
            audio = pick.what == "audio"
            kinds = " ".join(f"*{kind} *{kind.upper()}" for kind in (AUDIO if audio else pick.suffixes))
            words = translate("picker", "Audio ({kinds})") if audio else translate("picker", "Files ({kinds})")
            dialog.setNameFilters([words.format(kinds=kinds)])
        else:
            dialog.setFileMode(QFileDialog.FileMode.Directory)
        accept = {
            "project": translate("picker", "Open this folder"),
            "audio": translate("picker", "Use this file"),
            "file": translate("picker", "Use this file"),
        }
        use = accept.get(pick.what, translate("picker", "Use this folder"))
        dialog.setLabelText(QFileDialog.DialogLabel.Accept, use)
        dialog.setLabelText(QFileDialog.DialogLabel.Reject, translate("picker", "Leave"))
        names = dict.fromkeys(("audio", "file"), translate("picker", "File"))
        dialog.setLabelText(QFileDialog.DialogLabel.FileName, names.get(pick.what, translate("picker", "Folder")))
        dialog.setDirectory(str(pick.start))
        dialog.setViewMode(QFileDialog.ViewMode.Detail)
        for table in dialog.findChildren(QTreeView):
            header = table.header()
            if header is not None and header.count() > 2:
                header.setSectionHidden(2, True)  # the kind of file, which its name says
                header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
                header.setSectionResizeMode(0, QHeaderView.ResizeMode.Stretch)
        dialog.taken.connect(lambda: self._taken(dialog))
        dialog.given_up.connect(self._leave)
        return dialog

    def _taken(self, dialog: QFileDialog) -> None:
        chosen = dialog.selectedFiles()
        if chosen:
            self.take(Path(chosen[0]))

    def _leave(self) -> None:
        self._clear()
        self.active.emit(False)

    def _clear(self) -> None:
        self._pick = None
        self.fault.tell("")
        if self.dialog is not None:
            self._lines.removeWidget(self.dialog)
            self.dialog.hide()
            self.dialog.deleteLater()
            self.dialog = None


def _unfit(pick: Pick, path: Path) -> str:
    """Return why this path cannot be chosen; empty where it can."""
    if pick.what == "project":
        found = dropped([path])
        if not path.exists():
            return translate("picker", "There is no {name}.").format(name=path)
        return (
            "" if found.what == "project" else found.words or translate("picker", "That is audio, no project folder.")
        )
    if pick.what in ("audio", "file"):
        return "" if path.is_file() else translate("picker", "There is no file {name}.").format(name=path)
    if path.exists() and not path.is_dir():
        return translate("picker", "{name} is a file; choose a folder, or write a new name.").format(name=path.name)
    if not path.parent.is_dir():
        return translate("picker", "There is no folder {name} to make it in.").format(name=path.parent)
    if pick.what == "folder" and path.is_dir() and any(path.iterdir()) and not (path / files.PROJECT).exists():
        words = translate("picker", "{name} holds other files. Add a name of its own to it: {name}/my-project")
        return words.format(name=path)
    return ""
