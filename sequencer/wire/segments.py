"""Cuts a stream of setpoints into the straight pieces that a motor board is handed, and says when each is due to go.

A board begins the next piece when it is through with the one before, and one that has nothing at once. So a piece that
follows another is handed over while the board is busy, and one after a rest goes when it shall begin. What stands still
needs no piece. Positions are whole steps; every piece ends at a setpoint, at that setpoint's instant.
"""

from collections import deque
from dataclasses import dataclass

_BREAK_NS = 500_000_000  # setpoints that are further apart belong to two streams
_UP_TO = 10  # what a stop has left undone is made up at a tenth of an axis's speed

Steps = tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Piece:
    """Go from `at` to `to`, within the piece's time; `ends_ns` is the instant of the setpoint at its end.

    `late_ns`: how much later than it should it begins, for want of room or of time.
    """

    at: Steps
    to: Steps
    begins_ns: int
    ends_ns: int
    late_ns: int
    _wanted: Steps


@dataclass(frozen=True, slots=True)
class Code:
    """A line that is no way to go, at `due_ns`."""

    due_ns: int
    text: bytes


class Segments:
    """The setpoints that the board has not been handed yet, and where it will be once it is through.

    `at` is that place in steps, None where nobody knows; `until_ns` when it is through.
    Unit: `speeds` steps a second.
    """

    def __init__(self, period_ns: int, speeds: tuple[float, ...]) -> None:
        self._period_ns, self._speeds = period_ns, speeds
        self._points: deque[tuple[int, Steps]] = deque()
        self._codes: list[Code] = []
        self._from: tuple[int, Steps] | None = None  # the setpoint at which the next piece begins
        self._catching = False
        self.at: Steps | None = None
        self.until_ns = 0

    def add(self, due_ns: int, steps: Steps) -> None:
        """Take a setpoint; one that is not newer than those before says nothing."""
        last_ns = self._points[-1][0] if self._points else None if self._from is None else self._from[0]
        if last_ns is not None and due_ns <= last_ns:
            return
        if last_ns is None or due_ns - last_ns > _BREAK_NS:
            self._points.clear()
            self._from = (due_ns, steps)
            self.at = steps if self.at is None else self.at
        else:
            self._points.append((due_ns, steps))

    def replace(self, from_ns: int) -> None:
        """Forget the setpoints that are due at `from_ns` or later."""
        while self._points and self._points[-1][0] >= from_ns:
            self._points.pop()
        if self._from is not None and self._from[0] > self.until_ns:
            # at rest one runs ahead of what the board was handed; from there it still stands where it stands
            self._from = (min(self._from[0], max(from_ns - 1, self.until_ns)), self._from[1])

    def fire(self, code: Code) -> None:
        """Have a line go between the pieces, at its instant."""
        self._codes.append(code)
        self._codes.sort(key=lambda one: one.due_ns)

    def clear(self) -> None:
        """Forget all that was not handed over."""
        self._points.clear()
        self._codes.clear()
        self._from, self._catching = None, False

    def stands(self, place: int, steps: int) -> None:
        """Take in that the axis at `place` counts anew, at rest."""
        if self.at is not None:
            self.at = (*self.at[:place], steps, *self.at[place + 1 :])
        self._from, self._catching = None, False
        self._points.clear()

    def due(self, now_ns: int, lead_ns: int, wire_ns: int) -> Piece | Code | None:
        """Return what is to be handed over now, or nothing. `take` it once it was.

        Unit: the board shall hold `lead_ns` at most; what is written now reaches it `wire_ns` later.
        """
        ready_ns = now_ns + wire_ns
        code = self._codes[0] if self._codes else None
        if code is not None and (code.due_ns <= ready_ns or self._reached(code, ready_ns, now_ns + lead_ns)):
            return code
        while self._from is not None:
            if self._rests(self._from):
                self._drop(*self._points[0])
                continue
            reach = self._reach(self._from[0], ready_ns, code)
            if reach is None:
                return None
            begins_ns, ends_ns, wanted = reach
            if wanted == self._from[1] and not self._catching:
                self._drop(ends_ns, wanted)
                continue
            follows = begins_ns > ready_ns and self.until_ns == self._from[0]
            if not (ends_ns <= now_ns + lead_ns if follows else begins_ns <= ready_ns):
                return None
            assert self.at is not None
            to = self._towards(self._from[1], wanted, self.at, (ends_ns - begins_ns) * 1e-9)
            if to != self.at:
                return Piece(self.at, to, begins_ns, ends_ns, begins_ns - self._from[0], wanted)
            self._drop(ends_ns, wanted)
        return None

    def take(self, handed: Piece | Code) -> None:
        """Take in that the board was handed it."""
        if isinstance(handed, Code):
            self._codes.remove(handed)
            return
        self.at, self.until_ns = handed.to, handed.ends_ns
        self._catching = handed.to != handed._wanted
        self._drop(handed.ends_ns, handed._wanted)

    def _rests(self, start: tuple[int, Steps]) -> bool:
        """Whether the board stands still at `start` and at the next setpoint too: no way begins before that one."""
        if self._catching or not self._points or start[0] == self.until_ns:
            return False
        return self._points[0][1] == start[1]

    def _reached(self, code: Code, ready_ns: int, lead_end_ns: int) -> bool:
        """Whether all that moves before the code was handed over, and the board is busy with it."""
        if self._from is None or self._from[0] != self.until_ns:
            return False
        return code.due_ns <= self.until_ns and ready_ns < self.until_ns <= lead_end_ns

    def _reach(self, from_ns: int, ready_ns: int, code: Code | None) -> tuple[int, int, Steps] | None:
        """Return when the next piece begins, when it ends, and where; None where no setpoint is far enough."""
        begins_ns = max(from_ns, ready_ns)
        least_ns = max(from_ns + self._period_ns, begins_ns + self._period_ns // 2) - self._period_ns // 16
        if code is not None and begins_ns < code.due_ns < least_ns:
            least_ns = code.due_ns
        for due_ns, wanted in self._points:
            if due_ns >= least_ns:
                return begins_ns, due_ns, wanted
        return None

    def _towards(self, start: Steps, wanted: Steps, at: Steps, lasts_s: float) -> Steps:
        """Return where the board shall go while the setpoints go from `start` to `wanted`.

        Where it does not stand at `start`, it makes that up slowly; and never is an axis faster than its speed.
        """
        most = [int(speed * lasts_s) + 1 for speed in self._speeds]
        if at == start:
            steps = [b - a for a, b in zip(start, wanted, strict=True)]
            if all(-end <= step <= end for step, end in zip(steps, most, strict=True)):
                return wanted
        else:
            steps = []
            for a, b, there, end in zip(start, wanted, at, most, strict=True):
                slow = max(1, end // _UP_TO)
                steps.append(b - a + max(-slow, min(slow, a - there)))
        return tuple(there + max(-end, min(end, step)) for there, step, end in zip(at, steps, most, strict=True))

    def _drop(self, ends_ns: int, wanted: Steps) -> None:
        """Go on from a setpoint: what is no newer is through."""
        while self._points and self._points[0][0] <= ends_ns:
            self._points.popleft()
        self._from = (ends_ns, wanted)


class Steering:
    """Keeps a board whose clock runs a little fast or slow in time, by how long its pieces are said to take.

    It is told how late pieces were done, and answers with the factor for the next ones: a controller with a
    proportional and an integral part, critically damped, that never asks for more than one part in a hundred.
    """

    MOST = 0.01
    _GAIN = 0.5  # a second: what is late is made up in about two seconds
    _LONGEST_S = 0.1

    def __init__(self) -> None:
        self._sum = 0.0
        self._heard_ns: int | None = None
        self.late_s = 0.0

    @property
    def factor(self) -> float:
        """By how much longer the next pieces shall be said to take."""
        return 1.0 - max(-self.MOST, min(self.MOST, self._GAIN * self.late_s + self._sum))

    def hear(self, late_s: float, at_ns: int) -> None:
        """Take in that a piece was done `late_s` after it should have been."""
        since_s = 0.0 if self._heard_ns is None else min(self._LONGEST_S, (at_ns - self._heard_ns) * 1e-9)
        self._heard_ns, self.late_s = at_ns, late_s
        grown = self._sum + self._GAIN**2 / 4 * late_s * since_s
        self._sum = max(-self.MOST, min(self.MOST, grown))

    def rest(self) -> None:
        """Take in that the board stood still, so that it begins in time again; what its clock does is kept."""
        self._heard_ns, self.late_s = None, 0.0
