"""What is sent so that other machines follow our clock: MIDI timecode messages, and stretches of linear timecode.

It sends nothing and reads no clock; instants are arguments, in rising order. It gives time only while the clock is
known: running while it is locked or freewheels, its place while it stands, and nothing before it is known or after it
is lost.

Source: MIDI Time Code and Cueing, Detailed Specification, 1987; SMPTE ST 12-1; that a full frame tells a locate, and is
repeated while the master stands or shuttles, is common practice.
"""

from collections.abc import Iterator
from math import ceil, exp, floor
from typing import NamedTuple

from sequencer.sync.address import Addresses, standing
from sequencer.sync.ltc_row import carried
from sequencer.sync.reading import Clock, Lock
from sequencer.timebase.timecode import Counting, Timebase, count, label
from sequencer.wire.ltc_word import Word, encode

_STALE_NS = 250_000_000  # a clock that nobody has renewed for so long is not known any more
_SLOWEST, _FASTEST = 0.05, 4.0  # speeds at which quarter frames are sent; beside them, full frames
_STANDS_NS = 1_000_000_000  # between full frames of a clock that stands
_SHUTTLES_NS = 100_000_000  # and of one that is too fast
_SETTLE_NS = 10_000_000  # from a full frame to the first quarter frame: ten bytes take 3.2 ms on a cable
_JUMP_FRAMES = 0.5  # beyond what the newest clock led to expect; less is caught up with
_CYCLE = 8
_MOST_LATE_NS = 25_000_000  # a sender that was held up for longer begins anew, and never sends a burst
_ROUNDING = 1e-6  # of a frame: seconds in binary may fall short of it
# Time constant of the tone's corrections: an instant of the sound card may be a millisecond off. Half a frame is closed
# in on at 4 % of the speed at most, which a receiver takes for a change of speed.
_CLOSE_IN_S = 0.5


class Course(NamedTuple):
    """A clock as a line. Unit: `place` frames from midnight at `at_ns`; `pace` frames a nanosecond."""

    at_ns: int
    place: float
    pace: float

    def at(self, now_ns: int) -> float:
        """Return the frame at `now_ns`."""
        return self.place + self.pace * (now_ns - self.at_ns)

    def led_to(self, other: "Course") -> bool:
        """Whether the clock has flowed from here to `other`, without a jump."""
        return abs(self.at(other.at_ns) - other.place) <= _JUMP_FRAMES


class _Counted:
    """The clock's seconds as frames from midnight. `speed` turns a pace into timeline seconds a second."""

    def __init__(self, timebase: Timebase, counting: Counting) -> None:
        # one label of `counting` may last for two frames of the project
        self._start = float(count(timebase.start, timebase.counting) * counting.rate.fraction / timebase.rate.fraction)
        self._rate_hz = float(counting.rate.fraction)

    def course(self, clock: Clock, now_ns: int) -> Course | None:
        """Return the line that the clock is on, or None while no time can be given."""
        if now_ns - clock.at_ns > _STALE_NS or not (clock.steers or clock.lock is Lock.LOCATED):
            return None
        pace = clock.speed * self._rate_hz * 1e-9 if clock.steers else 0.0
        return Course(clock.at_ns, self._start + clock.position_s * self._rate_hz, pace)

    def speed(self, course: Course) -> float:
        return course.pace * 1e9 / self._rate_hz


class MtcGiving:
    """The MIDI timecode of a clock. Error: ValueError for a project's rate that MIDI timecode cannot carry.

    Piece 0 falls on even frames from midnight, whatever the start, so that each quarter has one message for ever.
    After a jump, a turn or a stop quarter frames begin with a new cycle: a receiver may hold pieces of an old one.
    """

    def __init__(self, timebase: Timebase) -> None:
        self._counting = timebase.counting
        self._addresses = Addresses(timebase.counting)
        self._counted = _Counted(timebase, timebase.counting)
        self._course: Course | None = None
        self._last: int | None = None  # the quarter that was told last in this run
        self._last_ns = 0
        self._full_ns = 0

    def due(self, clock: Clock, from_ns: int, until_ns: int) -> list[tuple[int, bytes]]:
        """Return what is to be sent from `from_ns` to `until_ns`, as far as `clock` tells now, each with its instant.

        What was returned once counts as sent. The next call's `from_ns` may lie before this `until_ns`.
        """
        course, before = self._counted.course(clock, from_ns), self._course
        self._course = course
        if course is None:
            self._last = None
            return []
        jumped = before is None or not before.led_to(course)
        runs = self._runs(course)
        if before is None or jumped or course.pace * before.pace <= 0:
            self._last = None
        sent: list[tuple[int, bytes]] = []
        pause_ns = _STANDS_NS if abs(self._counted.speed(course)) < _SLOWEST else _SHUTTLES_NS
        stopped = not runs and before is not None and self._runs(before)
        if jumped or stopped or (not runs and from_ns - self._full_ns >= pause_ns):
            self._full_ns = self._last_ns = max(from_ns, self._last_ns)
            sent.append((self._full_ns, standing(self._counting, floor(course.at(self._full_ns) + _ROUNDING))))
        if runs:
            sent += self._quarters(course, from_ns, until_ns)
        else:
            self._last = None
        return sent

    def _runs(self, course: Course) -> bool:
        """Whether quarter frames are sent at this speed."""
        return _SLOWEST <= abs(self._counted.speed(course)) <= _FASTEST

    def _quarters(self, course: Course, from_ns: int, until_ns: int) -> Iterator[tuple[int, bytes]]:
        """Yield the quarter frames that are due, in the run that goes on or in a new one."""
        step = 1 if course.pace > 0 else -1
        closest_ns = round(1 / (8 * abs(course.pace)))  # what a correction has made late is sent at twice the speed

        def due_ns(quarter: int) -> int:
            return course.at_ns + round((quarter / 4 - course.place) / course.pace)

        if self._last is not None and due_ns(self._last + step) < from_ns - _MOST_LATE_NS:
            self._last = None
        if self._last is None:
            begin_ns = max(from_ns, self._full_ns + _SETTLE_NS, self._last_ns)
            quarter = _cycle_from(4 * course.at(begin_ns), step)
            at_ns = max(due_ns(quarter), begin_ns)
        else:
            quarter = self._last + step
            at_ns = max(due_ns(quarter), self._last_ns + closest_ns)
        while at_ns <= until_ns:
            yield at_ns, self._addresses.at(quarter, 0).data()
            self._last, self._last_ns = quarter, at_ns
            quarter += step
            at_ns = max(due_ns(quarter), at_ns + closest_ns)


def _cycle_from(quarter: float, step: int) -> int:
    """Return the next quarter that a cycle begins at: of piece 0 forward, of piece 7 backward."""
    if step > 0:
        return ceil(quarter / _CYCLE - _ROUNDING) * _CYCLE
    return floor((quarter + 1) / _CYCLE + _ROUNDING) * _CYCLE - 1


class Stretch(NamedTuple):
    """A stretch of tone. Unit: `position` in words from midnight at its first sample; `words_hz` words a second."""

    position: float
    words_hz: float


class LtcGiving:
    """The linear timecode of a clock, for a tone that is rendered block by block (`wire.ltc_tone.Tone`).

    Up to 30 frames a second there is one word for each; at 48, 50 and 60 one for two frames, as ST 12-1 has it.
    """

    def __init__(self, timebase: Timebase) -> None:
        self._counting = carried(timebase.counting)
        self._counted = _Counted(timebase, self._counting)
        self._next: float | None = None  # where the last block ended

    def word(self, number: int) -> bytes:
        """Return the ten bytes of the word `number` from midnight."""
        at = label(number, self._counting)
        word = Word(at.hours, at.minutes, at.seconds, at.frames, drop=self._counting.drop)
        return encode(word, self._counting.rate.nominal)

    def block(self, clock: Clock, due_ns: int, samples: int, rate_hz: float) -> Stretch | None:
        """Return what to render for a block whose first sample is heard at `due_ns`, or None for silence.

        A block begins where the one before ended; what the clock says meanwhile is closed in on by its speed. After a
        jump of the clock, and of nothing else, the tone jumps too.
        """
        course = self._counted.course(clock, due_ns)
        if course is None or abs(self._counted.speed(course)) < _SLOWEST:
            self._next = None
            return None
        wanted, words_hz = course.at(due_ns), course.pace * 1e9
        block_s = samples / rate_hz
        if self._next is None or abs(wanted - self._next) > _JUMP_FRAMES:
            position = wanted
        else:
            position = self._next
            words_hz += (wanted - position) * (1 - exp(-block_s / _CLOSE_IN_S)) / block_s
        self._next = position + words_hz * block_s
        return Stretch(position, words_hz)
