"""Follow a master by MIDI clock: a move that is written in beats is played in the master's tempo.

Clocks carry no numbers: start, continue and song position say where the first one stands, and from there they are
counted. What is lost or doubled on the way shows in the spacing alone: where clocks come a whole number of gaps off,
and three in a row agree, the count is put right by that number; anything between is uneven and not used. What was
counted wrong all the same is mended by the next song position or start.

    from            event                                                              to
    any             start; a song position while standing, or more than a sixteenth away    located
    located         the first clock after start or continue, in step with those before it   locked
    located         the same, out of step                                                   locking
    locking         16 clocks that are evenly spaced, at 0.2 to 1.6 of the project's tempo  locked
    locked          stop                                                                    located
    locked          no clock for 50 ms and 6 gaps, or none that fits for 12                 freewheel
    freewheel       3 clocks in a row, each a whole number of gaps from the coast           locked
    freewheel       longer than the operator allows                                         lost
    locked          the spacing leaves 0.2 to 1.6 of the project's tempo                    lost
    locking         no clock for a quarter of a second and 6 gaps                           lost
    waiting, lost   clocks alone                                                            the same: they say no place

It opens no port and reads no clock.
Source: MIDI 1.0 Detailed Specification: 24 clocks a quarter note; song position in units of 6 clocks; the clock after
start or continue stands at the beginning, or at the song position. The states: own choice.
"""

from collections import deque
from fractions import Fraction
from itertools import pairwise

from sequencer.sync.clock_line import ClockLine, Music
from sequencer.sync.followed import Followed, Place
from sequencer.sync.reading import Counts, Follow, Lock
from sequencer.sync.troubles import Troubles
from sequencer.timebase.tempo import TempoMap
from sequencer.timebase.timecode import Timebase
from sequencer.wire.midi_clock import CLOCKS_PER_QUARTER, CLOCKS_PER_SIXTEENTH, Reader, RealTime, SongPosition

_AS_USUAL = Follow()
_ENOUGH = 16  # clocks, two thirds of a quarter note
_EVEN = 0.25  # of a gap, RMS of the newest: what is less even is no clock
_SLOWEST, _FASTEST = 0.2, 1.6  # of the project's tempo; two masters on one port come out at twice
_WHOLE = 0.25  # of a gap that clocks may lie off a whole number of gaps
_AT_ONCE = 0.2  # of a gap: what comes closer together was held back
_TOLD_BY = 6  # clocks that tell a speed
_DRIFT = 2.0  # standard deviations of a stamp, from clock to clock
_AGREE = 3  # clocks in a row that tell of lost or doubled ones
_QUIET_S, _QUIET_GAPS = 0.05, 6
_UNFIT_GAPS = 12
_GIVE_UP_S = 0.25
_UNPLACED = 4 * CLOCKS_PER_QUARTER
_TEMPO_MEMORY, _TEMPO_OFF = 128, 0.005


class ClockChase:
    """The chase of a master by MIDI clock, start, stop, continue and song position."""

    def __init__(self, timebase: Timebase, tempo: TempoMap, freewheel_s: float, troubles: Troubles) -> None:
        self._timebase, self._tempo = timebase, tempo
        self._freewheel_s = freewheel_s
        self._troubles = troubles
        self._reader = Reader()
        self._music = Music(tempo)
        self._line = ClockLine(self._music)
        self.told = f"MIDI clock, {_tempi(tempo)} BPM"
        self.counts = Counts()
        self.lock = Lock.WAITING
        self.jumps = 0
        self.accepted: list[tuple[float, float]] = []
        self._runs = False  # between start or continue, and stop
        self._known = False  # whether it was ever said where, and no clock can have been missed since
        self._stands = 0  # clock that the next one marks while the master stands
        self._held = 0.0  # clock at which it stands, or was lost
        self._pointer: int | None = None  # clock of a song position, until the next clock
        self._heard_s = self._fitted_s = float("-inf")
        self._fits = True  # whether the newest clock was on the line
        self._newest: deque[float] = deque(maxlen=_AGREE)  # gaps that the newest clocks were off
        self._off: list[float] = []  # stamps of clocks that are whole gaps off, and not used yet
        self._told_speed = 1.0
        self._unused = 0  # clocks since the newest that fitted, or without a place

    # what the follower reads

    def feed(self, t_s: float, data: bytes) -> None:
        """Take MIDI bytes as they arrived at `t_s`."""
        for event in self._reader.feed(data):
            self.age(t_s)
            match event:
                case RealTime.CLOCK:
                    self._clock(t_s)
                case RealTime.START:
                    self._go(t_s, 0)
                    self._runs = True
                case RealTime.CONTINUE:
                    self._continue(t_s)
                case RealTime.STOP:
                    self._stop(t_s)
                case SongPosition(sixteenths):
                    self._point(t_s, sixteenths * CLOCKS_PER_SIXTEENTH)
        self.counts.other_messages = self._reader.others
        if self._reader.garbage > self.counts.garbage_bytes:
            self.counts.garbage_bytes = self._reader.garbage
            self._troubles.tell("garbage", "bytes that are no MIDI arrive with the clock; check the cable", t_s)

    def age(self, t_s: float) -> None:
        """Let time pass to `t_s`."""
        quiet_s, gap_s = t_s - self._fitted_s, self._line.gap_s
        silent = t_s - self._heard_s > max(_QUIET_S, _QUIET_GAPS * gap_s)
        if self.lock is Lock.LOCKED and (silent or quiet_s > max(_QUIET_S, _UNFIT_GAPS * gap_s)):
            self._drop()
            self.lock = Lock.FREEWHEEL
        if self.lock is Lock.FREEWHEEL and quiet_s > self._freewheel_s:
            if t_s - self._heard_s < quiet_s / 2:
                words = "MIDI clock is uneven: two masters on one port, or a bad cable"
            else:
                words = f"MIDI clock stopped at {self._words(self._line.clock(self._fitted_s))}"
            self._lose(self._fitted_s + self._freewheel_s, words)
        if self.lock is Lock.LOCKING and t_s - self._heard_s > max(_GIVE_UP_S, _QUIET_GAPS * gap_s):
            self._lose(t_s, "MIDI clock stopped before it was locked")

    def place(self, t_s: float) -> Place:
        """Return where the master is at `t_s`; sigma is infinite where nothing is known."""
        if self.lock in (Lock.LOCKING, Lock.LOCKED, Lock.FREEWHEEL):
            return Place(*self._line.now(t_s))
        sigma_s = self._line.gap_s / 12**0.5 if self.lock is Lock.LOCATED else float("inf")
        return Place(self._music.seconds(self._held), 0.0, sigma_s)

    # what a master does beside clocks

    def _go(self, t_s: float, clock: int) -> None:
        """Stand at `clock`, which the next clock marks if the master runs."""
        if self.lock in (Lock.LOCKED, Lock.FREEWHEEL):
            self.counts.jumps += 1
            words = f"MIDI clock jumped from {self._words(self._line.clock(t_s))} to {self._words(clock)}"
            self._troubles.tell("jump", words, t_s)
        if self.lock is not Lock.LOCATED or self._held != clock:
            self.jumps += 1
        self._drop()
        self.lock = Lock.LOCATED
        self._stands, self._held = clock, float(clock)
        self._known = True
        self._unused = 0

    def _continue(self, t_s: float) -> None:
        if self._pointer is not None:
            self._go(t_s, self._pointer)
        elif not self._known:
            words = "MIDI clock continues from a place that was never said; locate the master, or start it"
            self._troubles.tell("unplaced", words, t_s)
        self._runs = True

    def _stop(self, t_s: float) -> None:
        if self.lock in (Lock.LOCKING, Lock.LOCKED, Lock.FREEWHEEL):
            coasts = self.lock is Lock.FREEWHEEL
            clock = self._line.clock(t_s)
            self._drop()
            self._stands = int(clock) + 1 if coasts else self._line.next
            self._held = clock if coasts else min(max(clock, self._stands - 1), self._stands)
            self.lock = Lock.LOCATED
        self._runs = False

    def _point(self, t_s: float, clock: int) -> None:
        """Take a song position. While clocks run it has no place in time, and counts where it is plainly another."""
        self._pointer = clock
        runs = self._runs and self.lock in (Lock.LOCKING, Lock.LOCKED)
        if not runs or abs(clock - self._line.next) > CLOCKS_PER_SIXTEENTH:
            self._go(t_s, clock)

    # clocks

    def _clock(self, t_s: float) -> None:
        self.counts.clocks += 1
        self._heard_s, silent_s = t_s, t_s - self._heard_s
        self._pointer = None
        if not (self._runs and self._known):
            if silent_s > _QUIET_GAPS * self._line.gap_s:
                self._line.begin(self._stands)
            self._line.take(t_s, moving=False)  # so that the spacing is known when it starts
            self._unused += 1
            if self._unused == _UNPLACED and not self._known:
                words = "MIDI clock is heard, but not where it is: start the master, or locate it"
                self._troubles.tell("unplaced", words, t_s)
        elif self.lock is Lock.LOCATED:
            self._first(t_s, silent_s)
        elif self.lock is Lock.LOCKING:
            self._take(t_s)
            self._confirm(t_s)
        else:
            self._follow(t_s, silent_s)

    def _first(self, t_s: float, silent_s: float) -> None:
        """Begin to run: at once where this clock is in step with those that came while the master stood."""
        line = self._line
        settled = line.count >= _ENOUGH and silent_s < _QUIET_GAPS * line.gap_s
        if settled and abs(line.clock(t_s, moving=False) - line.next) < _WHOLE:
            line.move(self._stands)
        else:
            line.begin(self._stands)
        self.lock = Lock.LOCKING
        self._take(t_s)
        self._confirm(t_s)

    def _confirm(self, t_s: float) -> None:
        """Trust the clocks once enough of them are even and neither too slow nor too fast."""
        line = self._line
        if line.count < _ENOUGH:
            return
        plausible = _SLOWEST <= line.speed <= _FASTEST
        if plausible and line.unevenness <= _EVEN:
            self.lock = Lock.LOCKED
            self.jumps += 1
        elif line.count % _UNPLACED == 0:
            self._troubles.tell("uneven", self._complaint(plausible), t_s)

    def _complaint(self, plausible: bool) -> str:
        if plausible:
            return "MIDI clock is uneven: two masters on one port, or a bad cable"
        theirs, ours = self._tempi_now()
        about = f"{float(theirs):.3g}"
        return f"MIDI clock comes at {about} BPM where the project has {ours}: two masters on one port, or another song"

    def _follow(self, t_s: float, silent_s: float) -> None:
        """Use a clock that is on the line; three that are off by one whole number of gaps tell of lost or doubled ones.

        What was held back on the way comes at once, or is a single one among those. What is off by more and more is
        another tempo, which is for the line to judge.
        """
        coasts = self.lock is Lock.FREEWHEEL
        off = self._line.clock(t_s) - self._line.next - len(self._off)
        before = self._newest[-1] if self._newest else 0.0
        self._newest.append(off)
        if round(off) == 0 and not coasts:
            self._drop()
            self._take(t_s)
            return
        at_once = silent_s < _AT_ONCE * self._line.gap_s
        drifts = not at_once and self._drifts()
        begins = coasts or (self._fits and abs(before) <= _WHOLE) or round(off) == round(before)
        telling = _on_grid(off) and not drifts and (begins or bool(self._off))
        single = bool(self._off) and _on_grid(before) and not drifts
        self._off.append(t_s)
        if telling and len(self._off) >= _AGREE and max(self._newest) - min(self._newest) <= _WHOLE:
            self._recount(t_s, round(off))
        elif not (telling or at_once or single) or len(self._off) > CLOCKS_PER_QUARTER:
            self._pass(coasts)

    def _drifts(self) -> bool:
        """Return whether each clock is farther off than the one before by about as much, and more than by jitter."""
        if len(self._newest) < _AGREE:
            return False
        way = 1 if self._newest[-1] > 0 else -1
        steps = [way * (b - a) for a, b in pairwise(self._newest)]
        return max(steps) - min(steps) <= _WHOLE and min(steps) > _DRIFT * self._line.sigma_s / self._line.gap_s

    def _pass(self, coasts: bool) -> None:
        """Let the clocks that are off be what they seem, and the line judge them; on a coast they say nothing."""
        if coasts:
            self._drop()
            return
        passed = self._off.copy()
        self._off.clear()
        for t_s in passed:
            self._take(t_s)

    def _drop(self) -> None:
        """Count the clocks that are off, and use none of them."""
        self.counts.set_aside += len(self._off)
        self._line.next += len(self._off)
        self._off.clear()

    def _recount(self, t_s: float, whole: int) -> None:
        """Put the count right by a whole number of gaps, and use the clocks that told, each where it belongs."""
        if whole > 0:
            self.counts.lost += whole
            words = f"MIDI clock: {whole} lost on the way; the count is put right by the spacing"
            self._troubles.tell("lost clocks", words, t_s)
        elif whole < 0:
            self.counts.doubled -= whole
            words = f"MIDI clock: {-whole} too many; the count is put right by the spacing"
            self._troubles.tell("doubled clocks", words, t_s)
        self.lock = Lock.LOCKED
        told, first = self._off.copy(), self._line.next
        self._off.clear()
        self._newest.clear()
        self.counts.set_aside += len(told) - _AGREE
        for at, stamp in enumerate(told):
            self._line.next = first + at + whole
            if at >= len(told) - _AGREE and not self._line.repeats:
                self._take(stamp)
        self._line.next = first + len(told) + whole

    def _take(self, t_s: float) -> None:
        clock = self._line.next
        self._fits = self._line.take(t_s)
        if not self._fits:
            self.counts.set_aside += 1
            return
        self._fitted_s = t_s
        if self.lock is not Lock.LOCKED:
            return
        self.accepted.append((t_s, self._music.seconds(clock)))
        speed = self._line.speed
        if not _SLOWEST <= speed <= _FASTEST and self._line.memory >= _TOLD_BY:
            self._lose(t_s, self._complaint(False))
        elif self._line.memory >= _TEMPO_MEMORY and abs(speed - self._told_speed) > _TEMPO_OFF:
            self._told_speed = speed
            theirs, ours = self._tempi_now()
            words = f"MIDI clock runs at {theirs} BPM where the project has {ours}: the move runs at {speed:.1%}"
            self._troubles.tell("tempo", words, t_s)

    def _lose(self, t_s: float, words: str) -> None:
        """Stand where the master was at `t_s`, and wait to be told anew where it is."""
        self._held = self._line.clock(t_s)
        self._drop()
        self.lock = Lock.LOST
        self._known = False
        self._unused = 0
        self._troubles.tell("lost", words, t_s)

    # words

    def _tempi_now(self) -> tuple[str, str]:
        """Return the master's tempo and the project's, in quarter notes a minute."""
        ours = 60 / CLOCKS_PER_QUARTER / (self._line.gap_s * self._line.speed)
        return f"{ours * self._line.speed:.4g}", f"{ours:.4g}"

    def _words(self, clock: float) -> str:
        seconds = self._music.seconds(clock)
        bar, beat = self._tempo.in_bar(self._tempo.at_quarter(Fraction(int(clock), CLOCKS_PER_QUARTER)))
        return f"{self._timebase.label_at(seconds)} (bar {bar + 1}, beat {int(beat) + 1})"


def _on_grid(off: float) -> bool:
    return abs(off - round(off)) <= _WHOLE


def _tempi(tempo: TempoMap) -> str:
    """Return the tempo in quarter notes a minute, or the slowest and the fastest."""
    tempi = sorted(float(one.quarter_bpm) for one in tempo.stretches)
    return " to ".join(dict.fromkeys(f"{bpm:.6g}" for bpm in (tempi[0], tempi[-1])))


def clock_follower(timebase: Timebase, tempo: TempoMap | None, how: Follow = _AS_USUAL) -> Followed:
    """Return a follower of MIDI clock for one project. Error: ValueError for a project without a tempo."""
    if tempo is None:
        raise ValueError(
            "MIDI clock counts beats, and the project has no tempo; write one, or read one with twintake tempo --midi"
        )
    troubles = Troubles()
    return Followed(ClockChase(timebase, tempo, how.freewheel_s, troubles), troubles, how)
