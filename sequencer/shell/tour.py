"""From mark to mark: which one is next, and the orders that lead there. It sends nobody by itself."""

from dataclasses import dataclass, field

from sequencer.rig.axis import Rig
from sequencer.score.edits.marks import step_to
from sequencer.score.marks import AtSpeed, Lasting, Mark, Marks
from sequencer.shell.messages import Go, Status

ORIGIN = "the origin"
GOING = "going"  # the phase in which it is on its way to a mark
_LONGEST_TOLD = 200
HOMING_PART = "1/2"  # of each axis's speed, as on the way to the start of a cue


def order_to(mark: Mark) -> Go:
    """Return the order to go to a mark."""
    part = str(mark.leg.part) if isinstance(mark.leg, AtSpeed) else ""
    lasts_s = str(mark.leg.lasts_s) if isinstance(mark.leg, Lasting) else ""
    return Go(name=mark.name, position=mark.position, part=part, lasts_s=lasts_s)


@dataclass(slots=True)
class Tour:
    """Which mark the rig came to last, so that next and previous mean something; and where it was sent, by whomever.

    A leg that a hand interrupted has led nowhere: the same step goes on with it.
    """

    at: str | None = None
    bound_for: str | None = None  # where it was sent last
    under_way: bool = False  # there, as the engine says
    _came: bool = False  # it arrived since the last look
    _sure_ns: int = 0  # what the engine's status said before that is old
    _called: dict[str, str] = field(default_factory=dict)  # what marks are called now that the engine knows otherwise

    def step(self, marks: Marks, by: int) -> Go:
        """Return the order to go to the next mark (1), or to the one before (-1). Error: ValueError at an end."""
        known = self.at if any(mark.name == self.at for mark in marks) else None
        return self.to(step_to(marks, known, by))

    def to(self, mark: Mark) -> Go:
        """Return the order to go to this mark."""
        self.bound_for = mark.name
        self._called.pop(mark.name, None)
        return order_to(mark)

    def home(self, rig: Rig) -> Go:
        """Return the order to go back to the origin of every axis, which is no mark."""
        self.bound_for = ORIGIN
        return Go(name=ORIGIN, position=tuple((axis.name, axis.home) for axis in rig.axes), part=HOMING_PART)

    def look(self, status: Status | None) -> None:
        """Take in where the engine says that the rig was sent: a trigger may have done so."""
        if status is None or status.at_ns < self._sure_ns:
            return
        self.under_way = status.phase == GOING
        if status.mark and (self.under_way or self._came):
            self.bound_for = self._called.get(status.mark, status.mark)
            if not self.under_way:
                self._arrive()
        self._came = False

    def arrived(self, at_ns: int) -> None:
        """Take in that the rig came to where it was sent."""
        self._came, self._sure_ns, self.under_way = True, at_ns, False
        self._arrive()

    def interrupted(self, at_ns: int) -> None:
        """Take in that a hand took over."""
        self._sure_ns, self.under_way = at_ns, False

    def _arrive(self) -> None:
        self.at = None if self.bound_for == ORIGIN else self.bound_for

    def renamed(self, name: str, to: str) -> None:
        """Take in that a mark is called otherwise now."""
        if self.at == name:
            self.at = to
        if self.bound_for == name:
            self.bound_for = to
        self._called = {known: to if now == name else now for known, now in self._called.items()} | {name: to}

    def stored(self, name: str) -> None:
        """Take in that the rig stands at a mark that was just stored."""
        self.at = name


def told(mark: Mark | None) -> str:
    """Return the name of a mark as a status carries it: nothing for one that would not find room there."""
    return mark.name if mark is not None and len(mark.name) <= _LONGEST_TOLD else ""


def new_mark(marks: Marks, rig: Rig, status: Status) -> Mark:
    """Return a mark of where every axis was sent last, with the first free name of `mark 1`, `mark 2` and so on."""
    names = {mark.name for mark in marks}
    name = next(f"mark {number}" for number in range(1, len(names) + 2) if f"mark {number}" not in names)
    return Mark(name, tuple((axis, round(value, 4)) for axis, value in zip(rig.names, status.asked, strict=True)))
