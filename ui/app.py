"""Starts the editor, or draws its views into files and ends."""

import sys
from pathlib import Path

from PyQt6.QtWidgets import QApplication

from sequencer.project.store import load
from sequencer.shell.kinds import laws
from ui.desk import Desk
from ui.theme import style
from ui.window import Window


def main(project: Path) -> int:
    """Open the editor on a project folder; return the exit status."""
    app = QApplication(sys.argv[:1])
    desk = Desk(load(project, laws()), laws(), project)
    app.setStyleSheet(style(desk.theme))
    window = Window(desk)
    window.show()
    return app.exec()
