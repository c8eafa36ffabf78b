"""A device's buffer of setpoint sets that are due later, as docs/device.md describes it; time is an argument.

Numbers are counted on beyond their wrap in here, so that they compare like any others.
Source: the cubic between two sets is Hermite's form, as in any textbook of numerical analysis.
"""

from dataclasses import dataclass

import numpy as np

from sequencer.rig.signals import Floats

NUMBERS = 1 << 31
JOINED_NS = 500_000_000  # sets further apart are not joined


@dataclass(frozen=True, slots=True, eq=False)
class Held:
    """A set. Shape: `position`, `velocity` (A,). `scheduled`: it came with the instant at which it is due."""

    number: int
    due_ns: int
    position: Floats
    velocity: Floats
    scheduled: bool


class Buffer:
    """What is held, and what has come. `played`: the set that was played last, since the count began."""

    def __init__(self, room: int) -> None:
        self.room = room
        self.refused = 0
        self._floor_ns: int | None = None  # what is due then or before is never played
        self.played: Held | None = None
        self.begin()

    def begin(self, since_ns: int | None = None) -> None:
        """Forget everything; the count begins with whatever number comes next that is due after `since_ns`."""
        self._raise(since_ns)
        self._sets: dict[int, Held] = {}
        self._come: set[int] = set()
        self._near: int | None = None
        self._first = 0
        self._from = (-1, 0)
        self.played = None
        self._played = -1

    def __len__(self) -> int:
        return len(self._sets)

    def take(self, held: Held, from_ns: int | None) -> None:
        """Take a set in, unless its number has come, a newer one has taken its place, or there is no room."""
        stale = self._floor_ns is not None and held.due_ns <= self._floor_ns
        if stale and self._near is None:
            return
        number = self._counted(held.number)
        if number in self._come or (self.played is not None and number <= self._played):
            return
        if from_ns is not None and number > self._from[0]:
            self._from = (number, from_ns)
            self._drop(number, from_ns)
        void = number < self._from[0] and held.due_ns >= self._from[1]
        void = void or any(other > number and one.due_ns <= held.due_ns for other, one in self._sets.items())
        if not void and not stale:
            if len(self._sets) >= self.room:
                furthest = max(self._sets)
                if number > furthest:
                    self.refused += 1
                    return
                # a gap is filled: the furthest set makes room, and is waited for again
                del self._sets[furthest]
                self._come.discard(furthest)
                self._first = min(self._first, furthest)
            self._drop(number, held.due_ns)
            self._sets[number] = held
        self._come.add(number)
        self._go_on()

    def play(self, now_ns: int) -> Held | None:
        """Return the next set that is due by `now_ns`, None where there is none."""
        number = min(self._sets, default=None)
        if number is None or self._sets[number].due_ns > now_ns:
            return None
        self.played, self._played = self._sets.pop(number), number
        self._raise(self.played.due_ns)
        self._come = {one for one in self._come if one > number}
        self._first = max(self._first, number + 1)
        self._go_on()
        return self.played

    def next(self) -> Held | None:
        """Return the set that will be played next."""
        return self._sets[min(self._sets)] if self._sets else None

    def report(self) -> tuple[int, int, int] | None:
        """Return how many are held, the first number missing, and a mask of which of the 64 after it have come.

        None where nothing has come since the count began. The mask is a signed number of 64 bits.
        """
        if self._near is None:
            return None
        mask = sum(1 << one - self._first - 1 for one in self._come if 0 < one - self._first <= 64)
        return len(self._sets), self._first % NUMBERS, mask - (mask >> 63 << 64)

    def _counted(self, number: int) -> int:
        if self._near is None:
            # room below it, for sets that it overtook
            self._near = self._first = number + NUMBERS
        apart = (number - self._near + NUMBERS // 2) % NUMBERS - NUMBERS // 2
        self._near += apart
        return self._near

    def _drop(self, before: int, from_ns: int) -> None:
        for number in [one for one, held in self._sets.items() if one < before and held.due_ns >= from_ns]:
            del self._sets[number]

    def _raise(self, floor_ns: int | None) -> None:
        if floor_ns is not None and (self._floor_ns is None or floor_ns > self._floor_ns):
            self._floor_ns = floor_ns

    def _go_on(self) -> None:
        while self._first in self._come:
            self._first += 1


@dataclass(frozen=True, slots=True, eq=False)
class Point:
    """A place on the plan, with its speed. Shape: `position`, `velocity` (A,)."""

    at_ns: int
    position: Floats
    velocity: Floats


def onward(point: Point, held: Held | None, at_ns: int) -> Point:
    """Return the plan at `at_ns`, on the cubic from `point` to the set `held`; it stands where there is none."""
    if held is None:
        return Point(at_ns, point.position, np.zeros_like(point.velocity))
    lasts_s = (held.due_ns - point.at_ns) * 1e-9
    u = (at_ns - point.at_ns) * 1e-9 / lasts_s
    way, leaves, comes = held.position - point.position, point.velocity * lasts_s, held.velocity * lasts_s
    square, cube = 3 * way - 2 * leaves - comes, leaves + comes - 2 * way
    position = point.position + u * (leaves + u * (square + u * cube))
    return Point(at_ns, position, (leaves + u * (2 * square + 3 * u * cube)) / lasts_s)
