"""Follow a master by linear timecode: stamped words in, position and speed at any instant out.

It takes words (see wire.ltc) as a reader of samples heard them; it reads no samples and no clock, and does not smooth.
Places are quarters of a frame from midnight, and the boundaries inside a word are the ticks of the line, so that what
was tuned for MIDI timecode holds here. The direction is a flag and not a state.

    from                event                                                            to
    waiting, lost       a word                                                           locking
    located             two words that follow one another                                locking
    locking             three words that follow one another, in the project's rate       locked
    locked, freewheel   a word that begins where it should: used; any other is not       locked
    locked, freewheel   a word the other way, from near where we are                     locked, the other way
    locked, freewheel   three words that follow one another elsewhere                    locked there: a jump
    any                 three words in a row that say the same: the master stands        located
    locked              no word used for 0.1 s and 4 words                               freewheel
    freewheel           longer than the operator allows                                  lost
    locking             no word for half a second                                        waiting

A word says nothing of its rate but by the last frame of a second. Near the nominal speed its rate is taken for the
project's; at any other, where it might be another rate at its own speed, the end of a second has to be heard first.

Source: SMPTE ST 12-1 for the words; own experiments for the chase, no published standard says how to.
"""

from fractions import Fraction
from math import inf, sqrt

from sequencer.sync.followed import Followed, Place
from sequencer.sync.house import other_house
from sequencer.sync.line import Fit, Line
from sequencer.sync.ltc_row import ENOUGH, Row, Said, carried, named
from sequencer.sync.reading import Counts, Follow, Lock
from sequencer.sync.troubles import Troubles
from sequencer.timebase.timecode import Timebase, count, label
from sequencer.wire.ltc import unpacked

_AS_USUAL = Follow()
_NEAR_QUARTERS = 3
_TURN_QUARTERS = 12  # that a clock runs on while a master has turned and the first word back is not yet whole
_QUIET_S, _QUIET_WORDS = 0.1, 4
_GIVE_UP_S = 0.5
_NOMINAL = 0.02  # of nominal speed: the nearest two rates in use are twice that apart
# Half a word tells the speed better than where it lies: its marks are good to microseconds, while the clock behind them
# wanders. What is farther off is no flutter, and the line would be slow to believe it.
_OTHER_SPEED = 0.03
_UNREAD = 100  # words


class LtcChase:
    """The chase of a master by the words of its timecode, each of which travels as `wire.ltc.packed` writes it.

    A word's stamp is when it arrived here; its marks, which come with it, say when it ran.
    """

    def __init__(self, timebase: Timebase, freewheel_s: float, troubles: Troubles) -> None:
        counting = self._counting = carried(timebase.counting)
        pairs = timebase.rate.nominal // counting.rate.nominal
        self._start = count(timebase.start, timebase.counting) / pairs
        self._gap_s = float(counting.rate.seconds(1)) / 4
        self._freewheel_s = freewheel_s
        self._troubles = troubles
        self.told = f"LTC, {named(counting.rate.nominal, counting.drop)}"
        if pairs > 1:
            self.told += ", a word for two frames"
        self.counts = Counts()
        self.lock = Lock.WAITING
        self.jumps = 0
        self.accepted: list[tuple[float, float]] = []
        self._row = Row(counting, self.counts, troubles)
        self._line = Line(self._gap_s)
        self._direction = 1  # of the timeline, -1 backward
        self._start_at = 0.0  # quarter of the project's start, on this side of midnight
        self._held = 0.0  # quarter at which a master stands, or was lost
        self._newest = 0  # quarter of the newest mark used
        self._used_s = 0.0  # arrival of the newest word used
        self._heard_s = 0.0  # arrival of the newest word
        self._unread = 0

    def place(self, t_s: float) -> Place:
        """Return where the master is at `t_s`; sigma is infinite where nothing is known."""
        if self.lock in (Lock.LOCKING, Lock.LOCKED, Lock.FREEWHEEL):
            tick, fit = self._now(t_s)
            sigma_s = self._line.sigma_s * fit.spread(tick - fit.n)
            quarter = self._direction * tick - self._start_at
            return Place(quarter * self._gap_s, self._direction * self._gap_s / fit.v_s, sigma_s)
        sigma_s = 4 * self._gap_s / sqrt(12) if self.lock is Lock.LOCATED else inf
        return Place((self._held - self._start_at) * self._gap_s, 0.0, sigma_s)

    def feed(self, t_s: float, data: bytes) -> None:
        """Take one word as it arrived at `t_s`."""
        self.age(t_s)
        try:
            heard, noise = unpacked(data)
        except ValueError:
            self.counts.garbage_bytes += len(data)
            self._troubles.tell("garbage", "what arrives as linear timecode is none; check what is connected", t_s)
            return
        # the clock behind the marks wanders slowly, which from mark to mark does not show
        self._line.sigma_s = max(self._line.sigma_s, noise / sqrt(self._gap_s))
        self.counts.words += 1
        said = self._row.add(t_s, heard, t_s)
        if said is None:
            return
        self._heard_s = t_s
        if self._row.stands >= ENOUGH:
            self._stand(said)
        elif self._row.refused:
            self.lock = Lock.WAITING if self.lock is Lock.LOCKING else self.lock
        elif self.lock in (Lock.LOCKED, Lock.FREEWHEEL):
            self._follow(t_s, said)
        else:
            self._hunt(t_s, said)

    def age(self, t_s: float) -> None:
        """Let time pass to `t_s`."""
        quiet_s = t_s - self._used_s
        word_s = 4 * self._line.speed
        if self.lock is Lock.LOCKED and quiet_s > max(_QUIET_S, _QUIET_WORDS * word_s):
            self.lock = Lock.FREEWHEEL
        if self.lock is Lock.FREEWHEEL and quiet_s > self._freewheel_s:
            self._held = self._here(self._used_s + self._freewheel_s)
            self.lock = Lock.LOST
            self._row.clear()
            self._troubles.tell("lost", f"timecode stopped at {self._label(self._newest)}", t_s)
        if self.lock is Lock.LOCKING and t_s - self._heard_s > _GIVE_UP_S:
            self.lock = Lock.WAITING
            self._row.clear()

    # the ways to take a word

    def _hunt(self, t_s: float, said: Said) -> None:
        """Gather words that follow one another, and lock once there are enough in the right rate."""
        row = self._row
        self._unread += 1
        if self._unread == _UNREAD:
            words = "words of timecode arrive, but they do not follow one another in the project's rate"
            self._troubles.tell("unread", words, t_s)
        if self.lock is Lock.LOCATED and len(row.words) < 2:
            return
        if self.lock is Lock.LOCKING and len(row.words) > 1:
            self._take(t_s, said)
        else:
            self.lock = Lock.LOCKING
            self._join(t_s)
        off = abs(self._gap_s / self._line.speed - 1)
        if row.trusted and (row.proved or off < _NOMINAL):
            self._lock(t_s)

    def _follow(self, t_s: float, said: Said) -> None:
        """Use a word if it begins where it should; else see whether the master went elsewhere."""
        quarter, at_s = next(said.quarters())
        here = self._here(at_s)
        away = abs(self._near_by(quarter, here) - here)
        if said.way == self._direction and away <= _NEAR_QUARTERS:
            self.lock = Lock.LOCKED
            self._take(t_s, said)
        elif said.way != self._direction and away <= _TURN_QUARTERS:
            self.counts.turns += 1
            self._join(t_s)
            self._lock(t_s)
        elif self._row.trusted:
            self._tell_jump(t_s, here, quarter)
            self._join(t_s)
            self._lock(t_s)
        else:
            self.counts.misread += 1

    def _stand(self, said: Said) -> None:
        if self.lock is not Lock.LOCATED or self._held != 4 * said.frame:
            self.jumps += 1
        self.lock = Lock.LOCATED
        self._held = 4 * said.frame
        self._settle(4 * said.frame)

    # what they are made of

    def _join(self, t_s: float) -> None:
        """Begin a new line with the words that follow one another."""
        first = self._row.words[0]
        self._direction = first.way
        quarter, _ = next(first.quarters())
        self._settle(quarter)
        self._begin(self._gap_s)
        self._newest = quarter - self._direction
        for said in self._row.words:
            self._take(t_s, said)

    def _take(self, t_s: float, said: Said) -> None:
        """Feed the line with those marks of a word that are new; a new line where its speed is another."""
        before = self._newest
        marks = [(self._near_by(told, before), at_s) for told, at_s in said.quarters()]
        # the end of the word before is the beginning of this one
        fresh = [(quarter, at_s) for quarter, at_s in marks if self._direction * (quarter - before) > 0]
        if not fresh:
            self.counts.doubled += 1
            return
        gap_s = (said.marks[-1] - said.marks[-3]) / 2
        if self.lock is not Lock.LOCKING and abs(gap_s / self._line.speed - 1) > _OTHER_SPEED:
            self._begin(gap_s)
        for quarter, at_s in fresh:
            if not self._line.feed(self._direction * quarter, at_s):
                self.counts.set_aside += 1
        if self.lock is Lock.LOCKED:
            self.accepted += [(at_s, (quarter - self._start_at) * self._gap_s) for quarter, at_s in fresh]
            if words := other_house(self._line.fit, self._gap_s):
                self._troubles.tell("speed", words, t_s)
        self._newest, _ = fresh[-1]
        # a row begins with a mark more than it goes on with
        self.counts.lost += (abs(self._newest - before) - 2) // 4
        self._used_s = t_s

    def _begin(self, gap_s: float) -> None:
        """Begin a new line at a speed that is known; the jitter of the clock stays what it was."""
        sigma_s = self._line.sigma_s
        self._line = Line(gap_s)
        self._line.sigma_s = sigma_s

    def _lock(self, t_s: float) -> None:
        self.lock = Lock.LOCKED
        self.jumps += 1
        self._unread = 0
        if self._direction < 0:
            self._troubles.tell("backward", "timecode runs backward", t_s)

    def _here(self, t_s: float) -> float:
        """Return the quarter at `t_s`."""
        return self._direction * self._now(t_s)[0]

    def _now(self, t_s: float) -> tuple[float, Fit]:
        """Return the tick at `t_s`, with its part, and the fit that says so.

        Ticks come four at a time, late: until the next four, the newest speed goes on, and is no coast yet.
        """
        fit = self._line.fit
        if fit is None or self.lock is Lock.FREEWHEEL:
            return self._line.now(t_s)
        return fit.n + (t_s - fit.x_s) / fit.v_s, fit

    def _settle(self, quarter: int) -> None:
        """Choose the side of midnight on which the project's start is nearer."""
        day = self._counting.day
        since = (Fraction(quarter, 4) - self._start + Fraction(day, 2)) % day - Fraction(day, 2)
        self._start_at = quarter - 4 * float(since)

    def _near_by(self, quarter: int, here: float) -> int:
        """Return `quarter` counted on the same side of midnight as `here`: a line runs on past it, a label does not."""
        day = 4 * self._counting.day
        return quarter + round((here - quarter) / day) * day

    # what the operator should know

    def _tell_jump(self, t_s: float, before: float, quarter: int) -> None:
        self.counts.jumps += 1
        self._troubles.tell("jump", f"timecode jumped from {self._label(before)} to {self._label(quarter)}", t_s)

    def _label(self, quarter: float) -> str:
        return str(label(round(quarter) // 4, self._counting))


def ltc_follower(timebase: Timebase, how: Follow = _AS_USUAL) -> Followed:
    """Return a follower of linear timecode for one project. Above 30 frames a second it has one word for two frames."""
    troubles = Troubles()
    return Followed(LtcChase(timebase, how.freewheel_s, troubles), troubles, how)
