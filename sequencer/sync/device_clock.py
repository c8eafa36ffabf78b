"""The clock of a device over a link that jitters: how it stands to ours, how sure that is, and whether it was stepped.

It asks no clock and sends nothing: what it is given are exchanges, a question out and an answer back with the device's
two stamps. How the clocks stand is `envelope`'s to say. Here an exchange that does not fit is doubted first: one whose
stamps were spoilt on the way says nothing, a way that became shorter shows one way only, and a clock that was stepped
shows both ways, turned round. A step is told once the others can be ruled out, and all is learnt anew from then on.
Which of two clocks a difference belongs to, or which of two ways a delay, nobody can tell from here: if the ways differ
for good, the offset is off by half of what they differ, at most by half the least round trip.
Source: offset and delay of the on-wire protocol, RFC 5905, section 8, with the numbers of its figure 15:
theta = ((T2 - T1) + (T3 - T4)) / 2, delta = (T4 - T1) - (T3 - T2); the rest is own arithmetic.
"""

from dataclasses import dataclass
from math import inf
from typing import Literal, NamedTuple

from sequencer.sync.envelope import MOST_SKEW, Floor, Lines, lines

GOOD_S = 5e-3  # an error below which a device may be told instants
MOST_SLEW = 1e-3  # by how much instants may be slewed against time itself while an axis moves

_SECOND_NS = 1_000_000_000
_FEWEST = 8  # exchanges
_FIT_EVERY_NS = 100_000_000
_FEW = 64  # exchanges up to which each makes new lines
_ODD_S = 5e-4  # below the floor by this, and by its error, is odd
_MOST_SLACK_NS = 1_000_000  # clocks that run at two speeds, and coarse stamps, may make a delay this negative
_MOST_DOUBTED = 128
_WATCHED = 30  # exchanges by which a lone odd one is judged
_UNLIKELY = 7.0  # in units of log likelihood


class Exchange(NamedTuple):
    """A question and its answer: `sent_ns` and `back_ns` (T1, T4) on our clock, the two between on the device's."""

    sent_ns: int
    received_ns: int
    answered_ns: int
    back_ns: int

    @property
    def offset_ns(self) -> float:
        """By how much the device's clock is ahead of ours, if both ways took alike."""
        return ((self.received_ns - self.sent_ns) + (self.answered_ns - self.back_ns)) / 2

    @property
    def delay_ns(self) -> int:
        """What both ways took."""
        return (self.back_ns - self.sent_ns) - (self.answered_ns - self.received_ns)


@dataclass(frozen=True, slots=True)
class _Doubt:
    """An exchange since something was odd: how far each way lies above its floor. Unit: seconds.

    `wrong`: 1 or -1 where the device's clock is ahead or behind beyond what any delay can explain, else 0.
    """

    exchange: Exchange
    out_s: float
    back_s: float
    wrong: Literal[-1, 0, 1]


class DeviceClock:
    """How the device's clock stands to ours. `steps` counts those of the device's clock, `step_s` is the last one.

    `nonsense` counts exchanges that cannot be, and those left aside as spoilt.
    """

    def __init__(self) -> None:
        self.steps = 0
        self.step_s = 0.0
        self.nonsense = 0
        self._begin()

    def _begin(self) -> None:
        """Forget all that was learnt."""
        self._zero: Exchange | None = None  # from which both clocks count, so that floats are fine enough
        self._out, self._back = Floor(), Floor()
        self._doubts: list[_Doubt] = []
        self._lines: Lines | None = None
        self._fit_ns = 0

    def feed(self, exchange: Exchange) -> None:
        """Take in an exchange, in the order in which answers come."""
        if exchange.answered_ns < exchange.received_ns or exchange.delay_ns < -_MOST_SLACK_NS:
            self.nonsense += 1
            return
        found = self._lines
        if found is None or self._out.count < _FEWEST:
            self._young(exchange)
            return
        doubt = self._doubt(exchange, found)
        if self._doubts or _odd(doubt, found, self._t_s(exchange.back_ns)):
            self._doubts.append(doubt)
            self._judge(found)
        else:
            self._take(exchange)

    def certain(self, now_ns: int) -> bool:
        """Whether instants of the device's clock may be told."""
        return self._out.count >= _FEWEST and self.error_s(now_ns) <= GOOD_S

    def error_s(self, now_ns: int) -> float:
        """Return by how much instants may be off where both ways take alike; infinite while nothing is known."""
        return inf if self._lines is None else self._lines.error_s(self._t_s(now_ns))

    @property
    def in_doubt(self) -> bool:
        """Whether more exchanges than usual are wanted."""
        return bool(self._doubts) or self._out.count < _FEW

    @property
    def round_trip_s(self) -> float:
        """The least time there and back; half of it is the most that ways of different length can spoil."""
        return inf if self._lines is None else self._lines.round_trip_s

    @property
    def skew(self) -> float:
        """By how much the device's clock runs faster than ours, as a part of it."""
        return 0.0 if self._lines is None else self._lines.skew

    def device_ns(self, here_ns: int) -> int:
        """Return what the device's clock says at an instant of ours. Error: ValueError while nothing is known."""
        zero, found = self._known()
        return here_ns + (zero.received_ns - zero.sent_ns) + round(found.offset_s(self._t_s(here_ns)) * 1e9)

    def here_ns(self, device_ns: int) -> int:
        """Return our instant at which the device's clock says so. Error: ValueError while nothing is known."""
        zero, found = self._known()
        since_s = (device_ns - zero.received_ns) * 1e-9
        here_s = (since_s - found.offset + found.skew * found.at_s) / (1 + found.skew)
        return device_ns - (zero.received_ns - zero.sent_ns) - round(found.offset_s(here_s) * 1e9)

    def _known(self) -> tuple[Exchange, Lines]:
        if self._zero is None or self._lines is None:
            raise ValueError("the device's clock is not known yet")
        return self._zero, self._lines

    def _t_s(self, here_ns: int) -> float:
        assert self._zero is not None
        return (here_ns - self._zero.sent_ns) * 1e-9

    def _young(self, exchange: Exchange) -> None:
        """Take one of the first in; where they contradict each other, the newest counts."""
        if self._lines is not None:
            doubt = self._doubt(exchange, self._lines)
            if doubt.wrong:
                self.nonsense += self._out.count
                self._begin()
        self._take(exchange)

    def _take(self, exchange: Exchange) -> None:
        if self._zero is None:
            self._zero = exchange
        out_s, back_s = self._delays(exchange)
        self._out.add(self._t_s(exchange.sent_ns), out_s)
        self._back.add(self._t_s(exchange.back_ns), back_s)
        if self._out.count <= _FEW or exchange.back_ns - self._fit_ns >= _FIT_EVERY_NS:
            self._fit(exchange.back_ns)

    def _fit(self, now_ns: int) -> None:
        self._fit_ns = now_ns
        self._lines = lines(self._out, self._back, self._t_s(now_ns))

    def _delays(self, exchange: Exchange) -> tuple[float, float]:
        """Return what each way took, as if both clocks agreed when they began to count."""
        assert self._zero is not None
        apart_ns = self._zero.received_ns - self._zero.sent_ns
        return (
            (exchange.received_ns - exchange.sent_ns - apart_ns) * 1e-9,
            (exchange.back_ns - exchange.answered_ns + apart_ns) * 1e-9,
        )

    def _doubt(self, exchange: Exchange, found: Lines) -> _Doubt:
        out_s, back_s = self._delays(exchange)
        sent_s, heard_s = self._t_s(exchange.sent_ns), self._t_s(exchange.back_ns)
        out_s -= found.offset_s(sent_s)
        back_s += found.offset_s(heard_s)
        # no way takes less than nothing; while lines are young, the device's clock may run at another speed
        most_s = _ODD_S + found.error_s(heard_s)
        if self._out.count < _FEWEST:
            most_s += MOST_SKEW * (heard_s - found.at_s)
        wrong: Literal[-1, 0, 1] = -1 if out_s < -most_s else 1 if back_s < -most_s else 0
        floor_s = found.round_trip_s / 2
        return _Doubt(exchange, out_s - floor_s, back_s - floor_s, wrong)

    def _wrong(self) -> int:
        """Return which way the clock was stepped, if two exchanges agree that it was, else 0."""
        signs = [one.wrong for one in self._doubts if one.wrong]
        return signs[-1] if len(signs) >= 2 and signs[-2] == signs[-1] else 0

    def _judge(self, found: Lines) -> None:
        """Decide what was odd, or wait for more."""
        doubts = self._doubts
        out_s, back_s = min(one.out_s for one in doubts), min(one.back_s for one in doubts)
        fell_s, other_s = min(out_s, back_s), max(out_s, back_s)
        spread_s = max(self._out.spread_s, self._back.spread_s)
        turned = other_s >= -0.6 * fell_s and len(doubts) * -0.6 * fell_s >= _UNLIKELY * spread_s
        if self._wrong() or (turned and len(doubts) >= _FEWEST):
            self._stepped()
        elif len(doubts) >= _WATCHED and (other_s < -0.3 * fell_s or len(doubts) >= _MOST_DOUBTED):
            self._doubts = []
            for one in doubts:
                # what no delay can explain, and nothing bore out, was spoilt on the way
                if one.wrong:
                    self.nonsense += 1
                else:
                    self._take(one.exchange)

    def _stepped(self) -> None:
        sign = self._wrong()
        odd = [one for one in self._doubts if not sign or one.wrong == sign]
        self.steps += 1
        self.step_s = (min(one.out_s for one in odd) - min(one.back_s for one in odd)) / 2
        self._begin()
        # the last odd one is surely of the new time; those before it may be of the old
        self._take(odd[-1].exchange)


def _odd(doubt: _Doubt, found: Lines, t_s: float) -> bool:
    return bool(doubt.wrong) or min(doubt.out_s, doubt.back_s) < -_ODD_S - 1.5 * found.error_s(t_s)


class Slewed:
    """Instants of the device's clock for setpoint sets: while an axis moves they are slewed, since a jump is a jerk."""

    def __init__(self) -> None:
        self._last: tuple[int, int] | None = None

    def device_ns(self, clock: DeviceClock, due_ns: int, moves: bool) -> int:
        """Return the device's instant for a set that is due at `due_ns` of our clock."""
        exact_ns = clock.device_ns(due_ns)
        if self._last is not None and moves:
            passed_ns = due_ns - self._last[0]
            if abs(passed_ns) <= _SECOND_NS:
                expected_ns = self._last[1] + passed_ns
                most_ns = round(MOST_SLEW * abs(passed_ns))
                exact_ns = min(max(exact_ns, expected_ns - most_ns), expected_ns + most_ns)
        self._last = due_ns, exact_ns
        return exact_ns
