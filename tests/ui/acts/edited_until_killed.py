"""A child of the tests: edits a project with the keeper at work, and says each edit, until it is killed."""

import sys
import time
from pathlib import Path

from PyQt6.QtCore import QCoreApplication, QTimer

from sequencer.project.recovery import fingerprint
from sequencer.project.store import load
from sequencer.score.edits.offset import offset
from sequencer.shell.kinds import laws
from ui.acts.keeping import Keeper
from ui.desk import Desk


def main() -> None:
    """Edit every few milliseconds; each line is the number of an edit and when it was made."""
    folder, root = Path(sys.argv[1]), Path(sys.argv[2])
    app = QCoreApplication(sys.argv[:1])
    project = load(folder, laws())
    desk = Desk(project, laws(), folder)
    keeper = Keeper(desk, root)
    keeper.begin(folder, project, fingerprint(folder))
    number = 0

    def edit() -> None:
        nonlocal number
        number += 1
        desk.edit("raise", offset(project.move, {"tilt": {1}}, value=number / 1024))
        print(number, time.time(), flush=True)

    timer = QTimer()
    timer.timeout.connect(edit)
    timer.start(9)
    app.exec()


if __name__ == "__main__":
    main()
