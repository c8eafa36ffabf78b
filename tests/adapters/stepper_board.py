"""A motor board in simulated time: a wire with its speed, a buffer of characters, a queue of ways to go, its own clock.

It does what such boards do (common practice, no source): lines wait in a buffer of characters until the queue has room;
the next way begins when the one before is done; an M word waits until all before it is done.
"""

import bisect
from collections import deque
from dataclasses import dataclass, field
from typing import Literal

from tests.adapters.ngc_reader import Move, NotNgc, Reader

STEP_NS = 500_000
TURN_NS = 500_000  # from a line's end to the first character of its answer


@dataclass
class Done:
    """A way that was gone, or is being gone."""

    begins_ns: float
    ends_ns: float
    start: dict[str, float]
    to: dict[str, float]


@dataclass
class StepperBoard:
    """`slow` is by how much its clock runs slow: 0.005 makes a second last 1.005 s of true time."""

    characters: int = 128
    blocks: int = 16
    answers: Literal["taken", "done"] = "taken"
    slow: float = 0.0
    baud: int = 115_200
    now_ns: int = 0
    reader: Reader = field(default_factory=Reader)
    lines: list[str] = field(default_factory=list)
    ways: list[Done] = field(default_factory=list)
    fired: list[tuple[str, float]] = field(default_factory=list)
    overfull: bool = False
    deepest: float = 0.0  # the most motion that it held, in seconds
    mute: bool = False  # it works, and answers nothing
    dead: bool = False  # it does not work either
    times: int = 1  # how often it acknowledges
    late_ns: int = 0  # its answers take so much longer
    refuses: str = ""  # lines that begin so are refused

    def __post_init__(self) -> None:
        self._coming: deque[tuple[int, int]] = deque()
        self._buffer = b""
        self._queue: deque[Move | str] = deque()
        self._free_ns = 0.0
        self._at = dict(self.reader.at)
        self._out: list[tuple[int, bytes]] = []
        self._wire_ns = 0.0

    def hear(self, data: bytes, now_ns: int) -> None:
        """Take what the host writes at `now_ns`; it comes in at the wire's speed."""
        for byte in data:
            self._wire_ns = max(self._wire_ns, now_ns) + 1e10 / self.baud
            self._coming.append((int(self._wire_ns), byte))

    def say(self, text: str, at_ns: int) -> None:
        bisect.insort(self._out, (at_ns, text.encode("latin-1") + b"\r\n"), key=lambda one: one[0])

    def spoken(self, now_ns: int) -> bytes:
        """Return what the host has heard by `now_ns`."""
        data = b""
        while self._out and self._out[0][0] <= now_ns:
            data += self._out.pop(0)[1]
        return data

    def reset(self) -> None:
        """Begin anew, as after a dip of the supply: the place is lost, and all that waited."""
        self._buffer = b""
        self._queue.clear()
        if self.ways:
            self.ways[-1].ends_ns = min(self.ways[-1].ends_ns, self.now_ns)
        self._free_ns = self.now_ns
        self.reader = Reader()
        self._at = dict(self.reader.at)
        self.say("board 1.0 ready", self.now_ns)

    def advance(self, to_ns: int) -> None:
        """Live until `to_ns`."""
        while self.now_ns < to_ns:
            self.now_ns = min(self.now_ns + STEP_NS, to_ns)
            while self._coming and self._coming[0][0] <= self.now_ns:
                self._buffer += bytes([self._coming.popleft()[1]])
            self.overfull |= len(self._buffer) > self.characters
            if not self.dead:
                self._work()

    def at(self, now_ns: float, letter: str) -> float:
        """Return where an axis stands at an instant that is past."""
        place = self.ways[0].start[letter] if self.ways else self._at[letter]
        for way in self.ways:
            if way.begins_ns > now_ns:
                break
            part = min(1.0, (now_ns - way.begins_ns) / max(1.0, way.ends_ns - way.begins_ns))
            place = way.start[letter] + part * (way.to[letter] - way.start[letter])
        return place

    def _work(self) -> None:
        while self._queue and self._free_ns <= self.now_ns:
            self._go(self._queue.popleft())
        while b"\n" in self._buffer and len(self._queue) < self.blocks:
            line, _, self._buffer = self._buffer.partition(b"\n")
            self._take(line.decode())
        if self._queue or self._free_ns > self.now_ns:
            held_s = sum(one.lasts_s for one in self._queue if isinstance(one, Move))
            self.deepest = max(self.deepest, held_s + max(0.0, self._free_ns - self.now_ns) * 1e-9)

    def _go(self, what: Move | str) -> None:
        if isinstance(what, Move):
            begins_ns = max(self._free_ns, self.now_ns - STEP_NS)
            self._free_ns = begins_ns + what.lasts_s * (1 + self.slow) * 1e9
            self.ways.append(Done(begins_ns, self._free_ns, self._at, what.to))
            self._at = what.to
            if self.answers == "done":
                self._answer("ok", self._free_ns)
        else:
            self.fired.append((what, max(self._free_ns, self.now_ns - STEP_NS)))
            if self.answers == "done":
                self._answer("ok", self.now_ns)

    def _take(self, line: str) -> None:
        self.lines.append(line)
        if self.refuses and line.startswith(self.refuses):
            self._answer("error: not now", self.now_ns)
            return
        try:
            what = self.reader.read(line)
        except NotNgc as fault:
            self._answer(f"error: {fault}", self.now_ns)
            return
        if what is None:
            self._at = dict(self.reader.at)
            self._answer("ok", self.now_ns)
            return
        self._queue.append(what)
        if self.answers == "taken":
            self._answer("ok", self.now_ns)
        while self._queue and self._free_ns <= self.now_ns:
            self._go(self._queue.popleft())

    def _answer(self, text: str, at_ns: float) -> None:
        if not self.mute:
            for _ in range(self.times):
                self.say(text, int(at_ns) + TURN_NS + self.late_ns)
