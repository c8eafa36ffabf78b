"""What is heard at a port as facts: what it is, in words and numbers, and how often. It listens to nothing."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

from sequencer.sync.tracks import Pace
from sequencer.timebase.timecode import Counting

Values = Mapping[str, str | float | None]

_LEAST_JITTER_S = 1e-4  # that a line tells
_LONGEST_HEX = 16
_MOST_KINDS = 32  # told apart at one port; OSC addresses are without end


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """One kind of thing that a port hears: `what` it is, the newest of it in `words`, and how many there were.

    `values` are the words' numbers for a program to read; `wrong` says that it is something to mend.
    Unit: `at_ns` the stamp of the newest.
    """

    what: str
    words: str
    count: int
    at_ns: int
    values: Values = field(default_factory=dict)
    wrong: bool = False

    def __str__(self) -> str:
        return f"{self.what} {self.words}".rstrip()


class Ear(Protocol):
    """What hears one kind of port."""

    def feed(self, stamp_ns: int, data: bytes) -> None: ...

    def facts(self, now_ns: int) -> tuple[Fact, ...]: ...


class Facts:
    """The newest fact of each kind, the kinds in the order in which they came first."""

    def __init__(self) -> None:
        self._all: dict[str, Fact] = {}

    def add(self, what: str, words: str, at_ns: int, values: Values | None = None, wrong: bool = False) -> None:
        """Count one more of `what`; past the most kinds, all further ones are one."""
        if what not in self._all and len(self._all) >= _MOST_KINDS:
            what, words, values = "others", f"{what} {words}", None
        before = self._all.get(what)
        count = 1 + (before.count if before else 0)
        self._all[what] = Fact(what=what, words=words, count=count, at_ns=at_ns, values=values or {}, wrong=wrong)

    def first(self, what: str, data: bytes, at_ns: int, wrong: bool = False) -> None:
        """Count one more of `what`, told by the bytes of the first."""
        before = self._all.get(what)
        self.add(what, before.words if before else f"first: {shown(data)}", at_ns, wrong=wrong)

    def all(self) -> tuple[Fact, ...]:
        return tuple(self._all.values())


def shown(data: bytes) -> str:
    """Return bytes as people read them, the first of many: `F0 43 10 ... (120 bytes)`."""
    text = data[:_LONGEST_HEX].hex(" ").upper()
    return text if len(data) <= _LONGEST_HEX else f"{text} … ({len(data)} bytes)"


def rate_words(counting: Counting, pace: Pace | None) -> str:
    """Return a rate in words: `25 frames a second`."""
    slow = {24: "24 or 24000/1001", 30: "30 or 30000/1001"}
    told = counting.rate if pace is None else pace.rate or slow[counting.rate.nominal]
    return f"{told} frames a second{', drop-frame' if counting.drop else ''}"


def speed_words(speed: float) -> str:
    """Return a speed in words: `100.0 %`, `104.0 % backward`."""
    return f"{abs(speed) * 100:.1f} %{' backward' if speed < 0 else ''}"


def told_time(at: str, counting: Counting, pace: Pace) -> tuple[str, dict[str, str | float | None]]:
    """Return the words for timecode that runs, and their values."""
    jitter_ms = pace.jitter_s * 1000
    jitter = f"jitter {jitter_ms:.1f} ms" if pace.jitter_s > _LEAST_JITTER_S else "jitter 0.1 ms or less"
    words = f"{rate_words(counting, pace)}, {at}, {speed_words(pace.speed)}, {jitter}"
    return words, {
        "rate": str(pace.rate) if pace.rate else None,
        "drop": str(counting.drop).lower(),
        "timecode": at,
        "speed_percent": round(pace.speed * 100, 3),
        "jitter_ms": round(jitter_ms, 3),
    }
