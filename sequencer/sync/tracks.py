"""The timecodes on one MIDI wire told apart, whatever their rates: no project says beforehand what is to be heard.

It follows no master for a rig and judges no address; that is the chase's. A track is a run of quarter frames that
follow one another in piece, in value and in time; two masters on one wire are two tracks.

Source: MIDI Time Code and Cueing, Detailed Specification, 1987; its rate code cannot tell 24 from 24000/1001 nor 30
from 30000/1001 without drop-frame, which only the measured speed can (common practice, no source).
"""

from collections import deque
from math import inf
from typing import NamedTuple

from sequencer.sync.address import Addresses
from sequencer.sync.line import Line
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timecode, label
from sequencer.wire.mtc import QuarterFrame

COUNTINGS = (Counting(Rate(24)), Counting(Rate(25)), Counting(Rate(30000, 1001), drop=True), Counting(Rate(30)))
RUNNING_S = 0.25  # without a piece for longer than this it has stopped
_CYCLE = 8
_USUAL_GAP_S = 0.0095
_LONGEST_GAP_S = 0.05  # shorter than the seven gaps that a new track takes to tell its place
_MOST = 4  # tracks at a time: two masters, and what strays
_HELD_BACK = 6.0  # gaps that the next piece in order may come late
_OFF = 2.0  # gaps that a piece after lost ones may lie off its time
_REMEMBERED = 17  # newest pieces that tell how many are lost
_PROVED = 16  # pieces of which the later half came as the first half foretold: no chance of random ones
_MOST_LOST = 0.5  # a track that lacks more lives on another one's pieces
_FAR = 1e6  # ticks
_COPY_S = 0.02  # within these the same piece again is a copy
_SLOW = 1000 / 1001
_HOUSE = 5e-4  # of the speed: half of the way between a rate and its slow brother
_SURE = 4e-4  # three standard deviations of the speed with which they are told apart


class Pace(NamedTuple):
    """How timecode runs. `rate` is None while 24 and 24000/1001, or 30 and 30000/1001, cannot be told apart yet.

    Unit: `speed` of `rate` (or of the whole number), 1.0 as it should be, negative backward; `jitter_s` one standard
    deviation of arrival.
    """

    rate: Rate | None
    speed: float
    jitter_s: float


def pace(nominal: Rate, drop: bool, ratio: float, ratio_sd: float, jitter_s: float) -> Pace:
    """Return the pace of timecode that counts `nominal` frames a second and runs at `ratio` of them.

    Unit: `ratio` negative backward; `ratio_sd` its standard deviation.
    """
    if drop or nominal.nominal not in (24, 30):
        return Pace(nominal, ratio, jitter_s)
    if abs(abs(ratio) - _SLOW) < _HOUSE or abs(abs(ratio) - 1) < _HOUSE:
        if 3 * ratio_sd > _SURE:
            return Pace(None, ratio, jitter_s)
        if abs(abs(ratio) - _SLOW) < _HOUSE:
            return Pace(Rate(nominal.nominal * 1000, 1001), ratio / _SLOW, jitter_s)
    return Pace(nominal, ratio, jitter_s)


def speed_sd(line: Line) -> float:
    """Return the standard deviation of the line's speed, as a part of it: far ahead, the phase counts no more."""
    assert line.fit is not None
    return line.sigma_s * line.fit.spread(_FAR) / (_FAR * line.fit.v_s)


class Track:
    """One run of quarter frames. `counting` is None until eight pieces in a row have told where it stands."""

    def __init__(self, t_s: float, piece: int, value: int) -> None:
        self._run: deque[tuple[float, int, int]] = deque([(t_s, piece, value)], maxlen=_CYCLE)
        self._way = 0  # 1 or -1 once two pieces are here
        self._addresses: Addresses | None = None
        self._quarter = 0
        self._ticks: deque[int] = deque(maxlen=_REMEMBERED)
        self._line = Line(_USUAL_GAP_S)

    @property
    def newest_s(self) -> float:
        """When the newest piece came."""
        return self._run[-1][0]

    @property
    def counting(self) -> Counting | None:
        return self._addresses.counting if self._addresses else None

    @property
    def lost(self) -> float:
        """The part of its newest pieces that did not come, or went to another track."""
        return 1 - (len(self._ticks) - 1) / (self._ticks[-1] - self._ticks[0]) if len(self._ticks) > 1 else 0.0

    def runs(self, now_s: float) -> bool:
        """Return whether it is timecode that runs now."""
        return len(self._ticks) >= _PROVED and now_s - self.newest_s < RUNNING_S and self.lost < _MOST_LOST

    @property
    def label(self) -> Timecode:
        """The label of the frame that the newest piece stands for."""
        assert self._addresses is not None
        return label(self._quarter // 4, self._addresses.counting)

    @property
    def pace(self) -> Pace:
        """How it runs."""
        assert self._addresses is not None
        counting, fit = self._addresses.counting, self._line.fit
        assert fit is not None
        gap_s = float(counting.rate.seconds(1)) / 4
        return pace(counting.rate, counting.drop, self._way * gap_s / fit.v_s, speed_sd(self._line), self._line.sigma_s)

    def copies(self, t_s: float, piece: int, value: int) -> bool:
        """Return whether this is the newest piece once more."""
        newest_s, *same = self._run[-1]
        return same == [piece, value] and t_s - newest_s < _COPY_S

    def off(self, t_s: float, piece: int, value: int) -> tuple[float, int]:
        """Return how many gaps this piece lies off the time of the next one here, and how many steps on it is.

        Infinite where it does not belong here.
        """
        newest_s, newest, _ = self._run[-1]
        later_s = t_s - newest_s
        if later_s > RUNNING_S:
            return inf, 0
        if self._addresses is None:
            step = (piece - newest) % _CYCLE
            if later_s > _LONGEST_GAP_S or step not in ((1, _CYCLE - 1) if not self._way else (self._way % _CYCLE,)):
                return inf, 0
            return abs(later_s / _USUAL_GAP_S - 1), 1 if step == 1 else -1
        gaps = later_s / self._line.speed
        first = self._way * (piece - newest) % _CYCLE or _CYCLE
        step = min((first, first + _CYCLE, first + 2 * _CYCLE), key=lambda steps: abs(gaps - steps))
        if first == 1 and gaps < _HELD_BACK:
            step = 1
        elif abs(gaps - step) > _OFF:
            return inf, 0
        if self._addresses.value(self._quarter + self._way * step, piece) != value:
            return inf, 0
        return abs(gaps - step), self._way * step

    def add(self, t_s: float, piece: int, value: int, step: int) -> None:
        """Append a piece that is `step` on."""
        self._run.append((t_s, piece, value))
        self._way = 1 if step > 0 else -1
        if self._addresses is None:
            self._solve()
            return
        self._quarter += step
        self._ticks.append(self._ticks[-1] + abs(step))
        self._line.feed(self._ticks[-1], t_s)

    def _solve(self) -> None:
        if len(self._run) < _CYCLE:
            return
        values = [0] * _CYCLE
        for _, piece, value in self._run:
            values[piece] = value
        addresses = Addresses(COUNTINGS[values[7] >> 1 & 3])
        quarter = addresses.solve(tuple(values), self._run[-1][1], forward=self._way > 0)
        if quarter is None:
            return
        self._addresses, self._quarter = addresses, quarter
        self._line = Line(float(addresses.counting.rate.seconds(1)) / 4)
        for tick, (t_s, _, _) in enumerate(self._run):
            self._ticks.append(tick)
            self._line.feed(tick, t_s)


class Tracks:
    """The timecodes on one wire. `pieces` counts quarter frames, `copies` those that came twice.

    Unit: seconds from any fixed instant, never going back.
    """

    def __init__(self) -> None:
        self._all: list[Track] = []
        self._latest: Track | None = None
        self.pieces = 0
        self.copies = 0

    def feed(self, t_s: float, message: QuarterFrame) -> None:
        """Take the quarter frame that came at `t_s`."""
        self.pieces += 1
        piece, value = message
        offers = [(*track.off(t_s, piece, value), track) for track in self._all]
        # between two that fit as well, the one that lacks fewer: else a chance likeness lives on another's pieces
        off, step, track = min(offers, key=lambda offer: offer[0] + _OFF * offer[2].lost, default=(inf, 0, None))
        if track is not None and off < inf:
            track.add(t_s, piece, value, step)
            if track.runs(t_s):
                self._latest = track
        elif any(track.copies(t_s, piece, value) for track in self._all):
            self.copies += 1
        else:
            if len(self._all) == _MOST:
                self._all.remove(min(self._all, key=lambda one: (one.runs(t_s), one.newest_s)))
            self._all.append(Track(t_s, piece, value))

    def running(self, now_s: float) -> tuple[Track, ...]:
        """Return the timecodes that run now; what a master sent before it jumped is none of them."""
        running = [track for track in self._all if track.runs(now_s)]
        newest_s = max((track.newest_s for track in running), default=0.0)
        return tuple(track for track in running if newest_s - track.newest_s < _LONGEST_GAP_S)

    @property
    def latest(self) -> Track | None:
        """The timecode that was heard last, running or not."""
        return self._latest
