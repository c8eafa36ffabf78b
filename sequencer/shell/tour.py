"""From mark to mark: which one is next, and the orders that lead there. It sends nobody by itself."""

from dataclasses import dataclass

from sequencer.rig.axis import Rig
from sequencer.score.edits.marks import step_to
from sequencer.score.marks import AtSpeed, Lasting, Mark, Marks
from sequencer.shell.messages import Go, Status

ORIGIN = "the origin"
HOMING_PART = "1/2"  # of each axis's speed, as on the way to the start of a cue


def order_to(mark: Mark) -> Go:
    """Return the order to go to a mark."""
    part = str(mark.leg.part) if isinstance(mark.leg, AtSpeed) else ""
    lasts_s = str(mark.leg.lasts_s) if isinstance(mark.leg, Lasting) else ""
    return Go(name=mark.name, position=mark.position, part=part, lasts_s=lasts_s)


@dataclass(slots=True)
class Tour:
    """Which mark the rig came to last, so that next and previous mean something.

    A leg that a hand interrupted has led nowhere: the same step goes on with it.
    """

    at: str | None = None
    _bound_for: str | None = None

    def step(self, marks: Marks, by: int) -> Go:
        """Return the order to go to the next mark (1), or to the one before (-1). Error: ValueError at an end."""
        known = self.at if any(mark.name == self.at for mark in marks) else None
        return self.to(step_to(marks, known, by))

    def to(self, mark: Mark) -> Go:
        """Return the order to go to this mark."""
        self._bound_for = mark.name
        return order_to(mark)

    def home(self, rig: Rig) -> Go:
        """Return the order to go back to the origin of every axis, which is no mark."""
        self._bound_for = None
        return Go(name=ORIGIN, position=tuple((axis.name, axis.home) for axis in rig.axes), part=HOMING_PART)

    def arrived(self) -> None:
        """Take in that the rig came to where it was sent."""
        self.at = self._bound_for

    def renamed(self, name: str, to: str) -> None:
        """Take in that a mark is called otherwise now."""
        if self.at == name:
            self.at = to
        if self._bound_for == name:
            self._bound_for = to

    def stored(self, name: str) -> None:
        """Take in that the rig stands at a mark that was just stored."""
        self.at = name


def new_mark(marks: Marks, rig: Rig, status: Status) -> Mark:
    """Return a mark of where every axis was sent last, with the first free name of `mark 1`, `mark 2` and so on."""
    names = {mark.name for mark in marks}
    name = next(f"mark {number}" for number in range(1, len(names) + 2) if f"mark {number}" not in names)
    return Mark(name, tuple((axis, round(value, 4)) for axis, value in zip(rig.names, status.asked, strict=True)))
