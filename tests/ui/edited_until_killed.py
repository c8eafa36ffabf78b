"""A child of the tests: the whole editor on a project, edited again and again, each edit said, until it is killed."""

import sys
import time
from pathlib import Path

from PyQt6.QtCore import QTimer
from PyQt6.QtWidgets import QApplication

from sequencer.score.edits.offset import offset
from ui.app import compose

EVERY_MS = 20


def main() -> None:
    """Edit every few milliseconds; each line is the number of an edit and when it was made."""
    app = QApplication(sys.argv[:1])
    window = compose(Path(sys.argv[1]), root=Path(sys.argv[2]))
    window.show()
    timer = QTimer(window)
    window.files.opened.connect(lambda _: timer.start(EVERY_MS))
    number = 0

    def edit() -> None:
        nonlocal number
        number += 1
        window.desk.edit("raise", offset(window.desk.project.move, {"tilt": {1}}, value=1 / 1024))
        print(number, time.time(), flush=True)

    timer.timeout.connect(edit)
    app.exec()


if __name__ == "__main__":
    main()
