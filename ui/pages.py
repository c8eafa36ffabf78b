"""The pages of the window, each with the rooms that only it needs: they are read when it is first shown.

It refuses to join them: what they hear of each other is the window's.
"""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from PyQt6.QtCore import QSize, Qt
from PyQt6.QtWidgets import QFrame, QHBoxLayout, QLabel, QScrollArea, QSplitter, QTabWidget, QWidget

from sequencer.shell.messages import Fire
from ui.actions import Part
from ui.acts.files import Files
from ui.acts.poses import Poses
from ui.desk import Desk, Face
from ui.label import Label
from ui.language import translate
from ui.link.link import Link
from ui.panels.later import Later

if TYPE_CHECKING:
    from ui.panels.first_run import FirstRun
    from ui.panels.hand_over import HandOverPanel
    from ui.panels.help import HelpPage
    from ui.panels.music import MusicPanel
    from ui.panels.picker import Picker
    from ui.panels.takes import TakesPanel
    from ui.run.panel import RunPanel
    from ui.run.slate import Slate

# narrower than its parts like to be: the timeline and the views have their room as well
_POSES_PX: dict[Face, tuple[int, int]] = {"prepare": (584, 208), "run": (544, 208)}


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


def markers(desk: Desk, link: Link) -> QWidget:
    """Return markers, cues, passes, orders to the camera and points."""
    from ui.panels.marks_table import MarksPanel

    return scrolled(MarksPanel(desk, lambda name: link.tell(Fire(name))))


class PosesPage(QWidget):
    """The marks, and at their side what sends the rig to them."""

    def __init__(self, poses: Poses) -> None:
        from ui.panels.poses import PosesPanel
        from ui.run.going import GoPanel

        super().__init__()
        self._desk = poses.desk
        self._desk.faced.connect(self.updateGeometry)
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(0)
        row.setSizeConstraint(QHBoxLayout.SizeConstraint.SetNoConstraint)
        row.addWidget(PosesPanel(poses), 3)
        row.addWidget(GoPanel(poses), 2)

    def minimumSizeHint(self) -> QSize:
        return QSize(*_POSES_PX[self._desk.face])


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


def hand_over(desk: Desk, files: Files, listed: "Later[TakesPanel]") -> "HandOverPanel":
    """Return what hands the project over, and takes from files of others; `listed` is where takes are chosen."""
    from ui.panels.hand_over import HandOverPanel

    return HandOverPanel(desk, files, lambda: () if listed.there is None else listed.there.chosen())


def hand(desk: Desk, drawer: QTabWidget, page: "Later[HandOverPanel]", part: Part) -> None:
    """Turn to a part of what hands over."""
    desk.turn_to("prepare")
    drawer.setCurrentWidget(page)
    page.page.turn_to(part)


def setup(desk: Desk, files: Files, link: Link) -> QWidget:
    """Return what the project and its rig are made of."""
    from ui.panels.setup import SetupPanel

    return scrolled(SetupPanel(desk, files, lambda: link.hands.taken, lambda: link.choice.tick_hz))


def run(desk: Desk, link: Link) -> "RunPanel":
    """Return what connects, arms and starts."""
    from ui.run.panel import RunPanel

    return RunPanel(desk, link)


def drive(desk: Desk, link: Link) -> QWidget:
    """Return what drives the rig by hand."""
    from ui.run.drive import DrivePanel

    return scrolled(DrivePanel(desk, link))


def homing(desk: Desk, link: Link) -> QWidget:
    """Return what homes axes."""
    from ui.panels.typed import typed_number
    from ui.run.homing import HomingPanel

    return scrolled(HomingPanel(desk, link, typed_number))


def slate(desk: Desk, link: Link, window: QWidget) -> Callable[[], None]:
    """Return what shows the slate, in a window of its own, or takes it away."""
    made: list[Slate] = []

    def turn() -> None:
        from ui.run.slate import Slate

        if not made:
            made.append(Slate(desk, link, window))
        made[0].turn()

    return turn


def opening() -> QLabel:
    """Return what is there until a project is."""
    words = Label(translate("window", "The project is being opened."))
    words.setAlignment(Qt.AlignmentFlag.AlignCenter)
    return words


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
