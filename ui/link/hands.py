"""What hands ask of the rig: game controllers, marks to go to, and axes that are performed while others play.

It only passes on. Whether anything may move the engine decides; whether it may be asked for, `Link`.
"""

from collections.abc import Callable

from PyQt6.QtCore import QObject, pyqtSignal

from sequencer.rig.axis import Rig
from sequencer.score.marks import Mark, Marks
from sequencer.shell.messages import Command, Drive, Go, Punch, Said, Status, TakeHands
from sequencer.shell.tour import Tour
from ui.link.arming import punched


class Hands(QObject):
    """One operator's hands, while a rig is connected.

    `pressed` tells of a button of a game controller that asks for something, as a `Pressed`; `toured` that the rig came
    to a mark, or is at none any more: `at`. `drove_ns` is when axes were driven from the screen last, `taken` whether
    game controllers drive, as the engine says.
    """

    pressed = pyqtSignal(object)
    toured = pyqtSignal()

    def __init__(
        self,
        tell: Callable[[Command], bool],
        why_not: Callable[[], str],
        performed: Callable[[], tuple[str, ...]],
        say: Callable[[str, str], None],
        judge: Callable[[], None],
        now_ns: Callable[[], int],
    ) -> None:
        """Begin with nobody's hand on the rig.

        `tell` passes a command to the engine, and says whether there is one; `why_not` says in words why the rig may
        not be moved by hand now; `performed` which axes hands perform in what is armed; `say` tells the operator: a
        code, and words; `judge` judges anew how the rig stands.
        """
        super().__init__()
        self._tell, self._why_not, self._say, self._judge, self._now_ns = tell, why_not, say, judge, now_ns
        self._performed, self._punched = performed, False
        self._tour = Tour()
        self.taken = False
        self.drove_ns: int | None = None

    @property
    def at(self) -> str | None:
        """The mark that the rig came to last."""
        return self._tour.at

    @property
    def bound_for(self) -> str | None:
        """The mark that the rig was sent to last, by whomever, as it is called now."""
        return self._tour.bound_for

    @property
    def under_way(self) -> bool:
        """Whether the engine says that the rig is on its way there."""
        return self._tour.under_way

    @property
    def performed(self) -> tuple[str, ...]:
        """The axes that hands perform in what is armed or plays; none where they do not."""
        return self._performed()

    @property
    def waits(self) -> bool:
        """Whether such axes are not in the hands at this moment, but may be: before the move, or a punch in."""
        return bool(self._performed()) and not self._punched

    def why_not_drive(self) -> str:
        """Return why a hand on the screen drives nothing, and performs nothing either; empty where it may."""
        return "" if self._performed() else self._why_not()

    def drive(self, order: Drive) -> bool:
        """Drive axes by hand, for as long as this is said anew; return whether that was passed on.

        While others play it is passed on only where hands have their axes, which are all that it moves then. To let go
        is always passed on.
        """
        refused = order.held and (self.waits or self.why_not_drive())
        if refused or not self._tell(order):
            return False
        self.drove_ns = self._now_ns()
        self._judge()
        return True

    def take(self, on: bool) -> bool:
        """Have the game controllers drive, or no longer; return whether that was passed on."""
        return (not on or self._allowed()) and self._tell(TakeHands(on))

    def perform(self) -> bool:
        """Have the game controllers perform the axes that are armed for it; return whether that was passed on.

        Call it while such axes are armed or play: else they would drive the rig.
        """
        return self._tell(TakeHands(True))

    def go(self, mark: Mark) -> bool:
        """Go to a mark; return whether that was passed on."""
        return self._allowed() and self._tell(self._tour.to(mark))

    def step(self, marks: Marks, by: int) -> bool:
        """Go to the next mark (1), or to the one before (-1); return whether that was passed on."""
        if not self._allowed():
            return False
        try:
            order: Go = self._tour.step(marks, by)
        except ValueError as fault:
            self._say("refused", str(fault))
            return False
        return self._tell(order)

    def home(self, rig: Rig) -> bool:
        """Go back to the origin of every axis; return whether that was passed on."""
        return self._allowed() and self._tell(self._tour.home(rig))

    def punch(self, within: bool) -> bool:
        """Give the hands the axes that they perform from now on, or no longer; return whether that was passed on."""
        return self._tell(Punch(within))

    def stored(self, name: str) -> None:
        """Take in that the rig stands at a mark that was just stored."""
        self._tour.stored(name)
        self.toured.emit()

    def renamed(self, name: str, to: str) -> None:
        """Take in that a mark is called otherwise now, also on the way there."""
        self._tour.renamed(name, to)

    def heard(self, said: Said) -> None:
        """Take in what the engine said."""
        if said.code == "at mark":
            self._tour.arrived(said.at_ns)
            self.toured.emit()
        elif said.code == "driving":
            self._tour.interrupted(said.at_ns)

    def look(self, status: Status | None) -> None:
        """Take in what the engine's newest status says; None where there is none."""
        self._tour.look(status)
        self.taken = status is not None and status.hands
        self._punched = punched(status)

    def forget(self) -> None:
        """Be at no mark: another rig, or another project."""
        self._tour, self.taken, self._punched = Tour(), False, False
        self.toured.emit()

    def _allowed(self) -> bool:
        why = self._why_not()
        if why:
            self._say("refused", why)
        return not why
