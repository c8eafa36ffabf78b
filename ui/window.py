"""The window: a strip across the top that is always in sight, the rig at the left, the work in the middle, the view at
the right, and along the bottom what happens next. It only puts them together."""

from PyQt6.QtWidgets import QMainWindow

from ui.desk import Desk


class Window(QMainWindow):
    """One window with two faces: one for preparing, one for running."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self.desk = desk
