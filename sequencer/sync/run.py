"""The newest quarter frames as they arrived: which way they step, the place that they name together, and whether they
come from two masters.

It knows no line and no state of a chase; a piece is here what the wire said, right or wrong.
"""

from collections import deque

from sequencer.sync.address import Addresses

LONGEST = 32
_CYCLE = 8
_LONGEST_GAP = 5.0  # of the nominal gap between neighbours in a run
_SHORTEST_MEAN = 0.2
_REPEAT_GAPS = 4  # within these a piece that says the same again is a copy
_WOVEN, _CROSSINGS = 16, 6  # pieces in a row that go on with one of two streams, and how often the stream changes
_CLASH, _CLASHES = 6, 20  # pieces that a clash counts for, of which each later one takes one away; what is too many
_AFTER = 64  # pieces for which two streams stay in doubt


class Run:
    """Remembers pieces with their stamps, and how many of the newest follow one another.

    `length` counts the newest pieces that step by one, all the same way; `direction` is that way, 1 or -1. `copies`
    counts the newest pieces in a row that came twice or more often.
    """

    def __init__(self, addresses: Addresses, gap_s: float) -> None:
        self._addresses = addresses
        self._gap_s = gap_s
        self._values = [0] * _CYCLE
        self._copied = False  # whether the newest piece came twice
        self.copies = 0
        self.clear()

    def clear(self) -> None:
        """Forget all."""
        self.pieces: deque[tuple[float, int, int]] = deque(maxlen=LONGEST)
        self.length = 0
        self.direction = 1

    def repeats(self, t_s: float, piece: int, value: int) -> bool:
        """Return whether this piece is a copy of the newest one, and count it as that."""
        if not self.pieces:
            return False
        t1, piece1, value1 = self.pieces[-1]
        if piece != piece1 or value != value1 or t_s - t1 >= _REPEAT_GAPS * self._gap_s:
            return False
        self.copies += not self._copied
        self._copied = True
        return True

    def add(self, t_s: float, piece: int, value: int) -> None:
        """Append a piece."""
        if not self._copied:
            self.copies = 0
        self._copied = False
        step = (piece - self.pieces[-1][1]) % _CYCLE if self.pieces else 0
        near = bool(self.pieces) and t_s - self.pieces[-1][0] <= _LONGEST_GAP * self._gap_s
        way = 1 if step == 1 else -1
        if not near or step not in (1, _CYCLE - 1):
            self.length = 1
        elif self.length > 1 and way == self.direction:
            self.length += 1
        else:
            self.length, self.direction = 2, way
        self.pieces.append((t_s, piece, value))
        self._values[piece] = value

    def solve(self, needed: int = _CYCLE) -> int | None:
        """Return the quarter of the newest piece if the newest `needed` all tell one place, else None."""
        if self.length < needed:
            return None
        (t0, _, _), (t1, piece, _) = self.pieces[-_CYCLE], self.pieces[-1]
        if t1 - t0 < (_CYCLE - 1) * _SHORTEST_MEAN * self._gap_s:
            return None  # held back and come all at once: their stamps say nothing of time
        quarter = self._addresses.solve(tuple(self._values), piece, forward=self.direction > 0)
        if quarter is None or (needed > _CYCLE and not self.tells(quarter, quarter - piece, needed)):
            return None
        return quarter

    def tells(self, quarter: int, base: int, pieces: int) -> bool:
        """Return whether the newest `pieces` are what marks `quarter` and those before it."""
        for back in range(pieces):
            _, piece, value = self.pieces[-1 - back]
            if self._addresses.at(quarter - self.direction * back, base) != (piece, value):
                return False
        return True

    def stamps(self, quarter: int, pieces: int) -> list[tuple[int, float]]:
        """Return the newest `pieces` as quarters with their stamps, the oldest first; the newest is `quarter`."""
        return [(quarter - self.direction * back, self.pieces[-1 - back][0]) for back in range(pieces - 1, -1, -1)]


class Weave:
    """Tells the quarter frames of two masters on one port: two streams, each of which steps forward piece by piece.

    Where they keep step with each other and tell nearly the same, copies drop out and the rest clash: one piece comes
    twice and says different things. One stream with faults does neither for long.
    """

    def __init__(self) -> None:
        self._last = [0, 0]  # newest piece of each stream
        self._newer = 0  # the stream that the newest piece went on with
        self._woven = 0
        self._crossings = 0
        self._clashes = 0
        self._doubtful = 0  # pieces still to come

    @property
    def mixed(self) -> bool:
        """Whether the newest pieces make two streams and not one."""
        return self._doubtful > 0

    def add(self, piece: int) -> None:
        """Take the number of a piece that is not a copy of the one before."""
        clash = _CLASH if piece == self._last[self._newer] else -1
        self._clashes = min(max(0, self._clashes + clash), _CLASHES)
        for stream in (self._newer, 1 - self._newer):
            if (piece - self._last[stream]) % _CYCLE == 1:
                self._woven += 1
                self._crossings += stream != self._newer
                break
        else:
            stream = 1 - self._newer
            self._woven = self._crossings = 0
        self._last[stream] = piece
        self._newer = stream
        two = self._clashes == _CLASHES or (self._woven >= _WOVEN and self._crossings >= _CROSSINGS)
        self._doubtful = _AFTER if two else max(0, self._doubtful - 1)
