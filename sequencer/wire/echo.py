"""How a link is, from numbers that are sent out and come back: its round trip, and the part that it loses.

It sends nothing and reads no clock. A number that comes back twice, or that was never sent, says nothing.
Source: the idea is the echo request of RFC 792, whose sequence number the reply brings back (from memory); the times
below are our own.
"""

from dataclasses import dataclass, replace
from statistics import median

EVERY_NS = 200_000_000
ROUND_TRIP_NS = 1_000_000_000  # of the newest returns that count for the round trip
LOSS_NS = 4_000_000_000  # of numbers that count for the loss
LATE_NS = 500_000_000  # a number younger than this may still be on its way
_NUMBERS = 1 << 31  # what a signed 32-bit number can count


@dataclass(frozen=True, slots=True)
class Call:
    """One number that was sent at `sent_ns`, and when it came back, None while it has not."""

    number: int
    sent_ns: int
    back_ns: int | None = None


@dataclass(frozen=True, slots=True)
class Echo:
    """The calls of the last while, the newest last. `heard`: whether any number ever came back."""

    calls: tuple[Call, ...] = ()
    heard: bool = False

    @property
    def number(self) -> int:
        """The number that was sent last, or -1."""
        return self.calls[-1].number if self.calls else -1


def due(echo: Echo, now_ns: int) -> bool:
    """Whether it is time to send the next number."""
    return not echo.calls or now_ns - echo.calls[-1].sent_ns >= EVERY_NS


def call(echo: Echo, now_ns: int) -> Echo:
    """Return the echo after its next number, which is then `number`, was sent."""
    kept = tuple(one for one in echo.calls if now_ns - one.sent_ns <= LOSS_NS + LATE_NS)
    return replace(echo, calls=(*kept, Call((echo.number + 1) % _NUMBERS, now_ns)))


def hear(echo: Echo, number: int, now_ns: int) -> Echo:
    """Return the echo after `number` came back."""
    for place, one in enumerate(echo.calls):
        if one.number == number and one.back_ns is None:
            calls = (*echo.calls[:place], replace(one, back_ns=now_ns), *echo.calls[place + 1 :])
            return Echo(calls, heard=True)
    return echo


def round_trip_s(echo: Echo, now_ns: int) -> float | None:
    """Return the median of what came back in the last second, None where nothing did."""
    took_ns = [
        one.back_ns - one.sent_ns
        for one in echo.calls
        if one.back_ns is not None and now_ns - one.back_ns <= ROUND_TRIP_NS
    ]
    return median(took_ns) * 1e-9 if took_ns else None


def lost(echo: Echo, now_ns: int) -> float | None:
    """Return the part of the numbers of four seconds that did not come back, those left out that still may.

    None where none ever came back, for then the other end does not echo, or before the first is half a second old.
    """
    judged = [one for one in echo.calls if LATE_NS <= now_ns - one.sent_ns <= LOSS_NS + LATE_NS]
    if not echo.heard or not judged:
        return None
    return sum(one.back_ns is None for one in judged) / len(judged)
