"""The pages of the window, each with the rooms that only it needs: they are read when it is first shown.

It refuses to join them: what they hear of each other is the window's.
"""

from pathlib import Path
from typing import TYPE_CHECKING

from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QFrame, QScrollArea, QSplitter, QWidget

from ui.acts.files import Files
from ui.desk import Desk

if TYPE_CHECKING:
    from ui.panels.first_run import FirstRun
    from ui.panels.help import HelpPage
    from ui.panels.music import MusicPanel
    from ui.panels.picker import Picker
    from ui.panels.takes import TakesPanel


class Numbers(QSplitter):
    """Keys as a table, and the numbers of the chosen ones."""

    def __init__(self, desk: Desk) -> None:
        from ui.panels.keys_table import KeysTable
        from ui.panels.selected import Selected

        super().__init__(Qt.Orientation.Horizontal)
        self.selected = Selected(desk)
        fill(self, scrolled(KeysTable(desk)), scrolled(self.selected))
        self.setSizes([3000, 2000])


def judged(desk: Desk) -> QWidget:
    """Return the check, and its repairs."""
    from ui.panels.check import CheckPanel
    from ui.panels.repairs import RepairsPanel

    pair = QSplitter(Qt.Orientation.Horizontal)
    fill(pair, scrolled(CheckPanel(desk)), scrolled(RepairsPanel(desk)))
    pair.setSizes([3000, 2000])
    return pair


def marks(desk: Desk) -> QWidget:
    """Return markers, cues and passes."""
    from ui.panels.marks_table import MarksPanel

    return scrolled(MarksPanel(desk))


def music(desk: Desk) -> "MusicPanel":
    """Return what finds the beat."""
    from ui.panels.music import MusicPanel

    return MusicPanel(desk)


def stage(desk: Desk) -> QWidget:
    """Return the set."""
    from ui.panels.stage import StagePanel

    return scrolled(StagePanel(desk))


def takes(desk: Desk) -> "TakesPanel":
    """Return the takes."""
    from ui.panels.takes import TakesPanel

    return TakesPanel(desk)


def setup(desk: Desk, files: Files) -> QWidget:
    """Return what the project and its rig are made of."""
    from ui.panels.setup import SetupPanel

    return scrolled(SetupPanel(desk, files))


def help_page(desk: Desk) -> "HelpPage":
    """Return the keys of the timeline, and the cautions."""
    from ui.panels.help import HelpPage

    return HelpPage(desk)


def picker(desk: Desk) -> "Picker":
    """Return what chooses files and folders."""
    from ui.panels.picker import Picker

    return Picker(desk)


def first_run(desk: Desk, root: Path | None) -> "FirstRun":
    """Return the page that begins."""
    from ui.panels.first_run import FirstRun

    return FirstRun(desk, root)


def scrolled(part: QWidget) -> QScrollArea:
    """Return the part where it may be smaller than it likes."""
    area = QScrollArea()
    area.setWidget(part)
    area.setWidgetResizable(True)
    area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
    area.setFrameShape(QFrame.Shape.NoFrame)
    return area


def fill(splitter: QSplitter, *parts: QWidget) -> None:
    """Put parts into a splitter, none of which can be pulled away."""
    splitter.setChildrenCollapsible(False)
    for part in parts:
        splitter.addWidget(part)
