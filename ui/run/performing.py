"""Axes that hands perform while the others play: the game controllers are in hand from ready on, and given back after.

It refuses to begin a move: what it passes on moves nothing that was not armed and is not already playing.
"""

from PyQt6.QtCore import QObject, pyqtSignal

from sequencer.live.handling import Deed
from sequencer.shell.messages import Pressed, Status
from ui.link.link import Link

_PLAYING = ("running", "freewheeling")
_ARMED = ("locating", "ready", *_PLAYING)


class Performing(QObject):
    """What is performed in this run. `changed`: it is otherwise."""

    changed = pyqtSignal()

    def __init__(self, link: Link, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._link = link
        self._taken = False  # by this, for this run
        self._shown: tuple[object, ...] = ()
        link.status.connect(self._look)
        link.standing.connect(self._tell)
        link.chosen.connect(self._tell)
        link.hands.pressed.connect(self._pressed)

    @property
    def axes(self) -> tuple[str, ...]:
        """The axes that hands perform, or would when armed as is chosen."""
        return self._link.choice.by_hand

    @property
    def armed(self) -> bool:
        """Whether a performance is armed, or plays."""
        status = self._link.newest
        return bool(self.axes) and self._link.dangerous and status is not None and status.phase in _ARMED

    @property
    def playing(self) -> bool:
        status = self._link.newest
        return self.armed and status is not None and status.phase in _PLAYING

    @property
    def within(self) -> bool:
        """Whether hands have their axes, or will have them when the move begins."""
        return self._link.newest is not None and self._link.newest.punched

    @property
    def in_hand(self) -> bool:
        """Whether game controllers are in hand."""
        return self._link.newest is not None and self._link.newest.hands

    def punch(self) -> None:
        """Punch in, or out where hands are in."""
        self._link.hands.punch(not self.within)

    def _pressed(self, pressed: Pressed) -> None:
        if pressed.deed == Deed.PUNCH:
            self.punch()

    def _look(self, status: Status) -> None:
        if self.armed and status.phase != "locating":
            if not self._taken:
                self._taken = self._link.hands.perform()
        elif self._taken and status.phase not in _ARMED:
            # also in the middle of a stop: what is held then must drive nothing after it
            self._taken = False
            self._link.hands.take(False)
        self._tell()

    def _tell(self) -> None:
        shown = (self.armed, self.playing, self.within, self.in_hand, self.axes)
        if shown != self._shown:
            self._shown = shown
            self.changed.emit()
