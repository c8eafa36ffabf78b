"""Draws the main views of a project into PNG files, as the operator would see them. It saves nothing else."""

import sys
from collections.abc import Iterator
from pathlib import Path

from PyQt6.QtCore import QTimer
from PyQt6.QtWidgets import QApplication

from ui.acts import choose
from ui.desk import Note
from ui.language import translate
from ui.panels.setup import SetupPanel
from ui.run.slate import Slate
from ui.theme import DARK, SUN
from ui.window import Window

SIZE_PX = (1600, 940)
SMALL_PX = (1280, 720)
_READ_MS = 800  # for what workers find out meanwhile
_SETTLE_MS = 120  # for each view
_OPEN_MS = 50
_PATIENCE = 200  # looks at whether the project is open


class Painter:
    """Goes through the views, one after another, and ends the application; its status is 2 where nothing opens."""

    def __init__(self, window: Window, folder: Path) -> None:
        self._window = window
        self._folder = folder
        self._steps = self._views()
        self._looks = 0
        self._slate: Slate | None = None  # while it is drawn in the place of the window

    def begin(self) -> None:
        """Wait for the project, then draw."""
        self._folder.mkdir(parents=True, exist_ok=True)
        self._window.desk.noted.connect(self._refused)
        self._window.resize(*SIZE_PX)
        self._window.show()
        self._wait()

    def _refused(self, note: Note) -> None:
        """End where nothing can be opened, and say why where somebody reads it."""
        if note.weight == "refused" and self._window.desk.folder is None:
            print(f"twintake: {note.words}", file=sys.stderr)
            QApplication.exit(2)

    def _wait(self) -> None:
        self._looks += 1
        if self._window.desk.folder is not None:
            QTimer.singleShot(_READ_MS, self._next)
        elif self._looks > _PATIENCE or self._window.questions.asks:
            QApplication.exit(2)
        else:
            QTimer.singleShot(_OPEN_MS, self._wait)

    def _next(self) -> None:
        name = next(self._steps, None)
        if name is None:
            self._window.close()
            QApplication.exit(0)
            return
        QTimer.singleShot(_SETTLE_MS, lambda: self._draw(name))

    def _draw(self, name: str) -> None:
        page = self._window.hand_over.there
        if page is not None and page.export.busy:
            QTimer.singleShot(_SETTLE_MS, lambda: self._draw(name))
            return
        (self._slate or self._window).grab().save(str(self._folder / f"{name}.png"))
        self._next()

    def _views(self) -> Iterator[str]:
        """Bring one view after another in sight, and say what it is called."""
        window, desk = self._window, self._window.desk
        begin_s, end_s = desk.span_s
        rate = desk.project.timebase.rate
        desk.place(rate.frames(round((begin_s * 2 + end_s) / 3)))
        track = next(iter(desk.project.move.tracks), None)
        if track is not None:
            choose.choose_key(desk, track.axis, min(1, len(track.keys) - 1))
        for number, name in enumerate(
            ("motion", "keys", "check", "markers", "marks", "music", "set", "takes", "hand-over", "setup")
        ):
            window.drawer.setCurrentIndex(number)
            yield f"prepare-{name}"
        setup = window.setup.page.findChild(SetupPanel)
        if setup is not None:
            setup.turn_to(translate("setup", "Controllers"))
            before = window.middle.sizes()
            window.middle.setSizes([1, SIZE_PX[1], 0])
            yield "prepare-controllers"
            window.middle.setSizes(before)
        window.drawer.setCurrentIndex(0)
        desk.dress(SUN)
        yield "prepare-sun"
        window.resize(*SMALL_PX)
        yield "prepare-small"
        window.resize(*SIZE_PX)
        yield from self._running()
        window.pages.setCurrentWidget(window.first_run)
        yield "first-page"
        if setup is not None:
            # the last one, since what is undone behind it is told in all that follow
            window.pages.setCurrentWidget(window.body)
            desk.turn_to("prepare")
            window.drawer.setCurrentWidget(window.setup)
            window.middle.setSizes([1, SIZE_PX[1], 0])
            setup.turn_to(translate("setup", "Outputs"))
            setup.outputs.add()
            yield "prepare-outputs"
            desk.undo()

    def _running(self) -> Iterator[str]:
        """Bring the views of the face for running in sight, and the slate."""
        window, desk = self._window, self._window.desk
        desk.dress(DARK)
        desk.turn_to("run")
        yield "run"
        desk.dress(SUN)
        yield "run-sun"
        self._slate = Slate(desk, window.link, window)
        self._slate.resize(*SMALL_PX)
        yield "slate"
        self._slate = None
        window.run_page.setCurrentIndex(1)
        yield "run-drive"
        window.run_page.setCurrentIndex(2)
        yield "run-marks"
        window.run_page.setCurrentIndex(3)
        yield "run-homing"
        window.resize(*SMALL_PX)
        window.run_page.setCurrentIndex(0)
        yield "run-small"
        window.resize(*SIZE_PX)
        desk.dress(DARK)
