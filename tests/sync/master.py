"""A master made up for tests and the benchmark: what it sends, when that arrives, and where it truly was."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import islice

import numpy as np

from sequencer.sync.address import running
from sequencer.sync.reading import Clock, Follower
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, Timecode

COUNTINGS = {
    "24": Counting(Rate(24)),
    "25": Counting(Rate(25)),
    "30 drop": Counting(Rate(30000, 1001), drop=True),
    "30": Counting(Rate(30)),
}


@dataclass(frozen=True, slots=True)
class Sent:
    """One message of a master. Unit: `at_s` when it arrives, `due_s` when it was due; `quarter` from midnight."""

    at_s: float
    due_s: float
    quarter: int
    data: bytes

    @property
    def at_ns(self) -> int:
        return round(self.at_s * 1e9)


def timebase(counting: Counting) -> Timebase:
    """Return a project that starts at ten o'clock."""
    return Timebase(counting, Timecode(10, 0, 0, 0, drop=counting.drop))


def ten_o_clock(counting: Counting) -> int:
    """Return the frame at which that project starts."""
    return int(counting.day * 10 / 24)


def gap_s(counting: Counting) -> float:
    """Return the nominal time between quarter frames."""
    return float(counting.rate.seconds(1)) / 4


def run(
    counting: Counting,
    frame: int,
    seconds: float,
    chance: np.random.Generator,
    *,
    at_s: float = 0.0,
    sigma_s: float = 1e-3,
    speed: float = 1.0,
    skip: int = 0,
    backward: bool = False,
) -> list[Sent]:
    """Return what a master sends that is at `frame` at `at_s`, without its first `skip` messages, in arrival order."""
    gap = gap_s(counting) / speed
    count = int(seconds / gap) + 1
    sent = []
    latest = at_s
    for quarter, data in islice(running(counting, frame, backward=backward), skip, skip + count):
        due = at_s + abs(quarter - 4 * frame) * gap
        # a wire keeps the order of what is sent into it
        latest = max(latest, due + sigma_s * float(chance.standard_normal()))
        sent.append(Sent(latest, due, quarter, data))
    return sent


def watch(follower: Follower, sent: Iterable[Sent], until_s: float, tick_s: float = 0.005) -> Iterator[Clock]:
    """Feed what was sent as it arrives and yield the follower's clock at each tick."""
    waiting = iter(sent)
    message = next(waiting, None)
    first = 0 if message is None else int(message.at_s / tick_s)
    for tick in range(first, int(until_s / tick_s)):
        now_ns = round(tick * tick_s * 1e9)
        while message is not None and message.at_ns <= now_ns:
            follower.feed(message.at_ns, message.data)
            message = next(waiting, None)
        yield follower.at(now_ns)


def chance(seed: int) -> np.random.Generator:
    return np.random.default_rng(seed)


def first(clocks: Iterable[Clock], fact: Callable[[Clock], bool]) -> float:
    """Return the first instant in seconds at which `fact` holds."""
    return next(clock.at_ns for clock in clocks if fact(clock)) * 1e-9


def until(sent: Iterable[Sent], at_s: float) -> list[Sent]:
    """Return what was due before `at_s`."""
    return [message for message in sent if message.due_s < at_s]


def later(sent: Iterable[Sent], by_s: float) -> list[Sent]:
    """Return the same messages, all of them `by_s` later."""
    return [replace(one, at_s=one.at_s + by_s, due_s=one.due_s + by_s) for one in sent]
