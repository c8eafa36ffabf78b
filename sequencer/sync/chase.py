"""The chase of a master by its quarter frames: waiting, located, locking, locked, freewheel, lost.

It takes pieces and full frames with their instants and knows where the master is; it reads no bytes and no clock, and
does not smooth. Places are quarters from midnight (see address); the direction is a flag and not a state.

    from            event                                                              to
    any             a full frame more than 1.5 frames away                             located
    freewheel       any full frame                                                     located
    located         pieces 0 and 1 that fit -2 to +6 frames from there                 locked
    locked          one of the next six pieces after those says something else         located, and 8 pieces are needed
    waiting, located, lost, locking   8 pieces in a row that tell one place            locking
    locking         each of the eight pieces once more, none of them wrong             locked
    locked          a piece that is not what marks the place: not used (a miss)
    locked          3 misses in 8: no piece is used, the line coasts
    locked, freewheel   the last 16 to 32 pieces tell another place                    locked there: a jump
    locked          3 pieces that step the other way and fit                           locked, the other way
    locked          no piece fits for 50 ms and 4 gaps; located if a full frame was the last   freewheel
    freewheel       2 pieces in a row within 3 quarters of the coast                   locked
    freewheel       longer than the operator allows                                    lost
    locking         no piece for a quarter of a second                                 waiting

Source: own experiments; no published standard says how to chase.
"""

from fractions import Fraction
from typing import NamedTuple

from sequencer.sync.address import CODE_NAMES, Addresses
from sequencer.sync.house import other_house
from sequencer.sync.line import Line
from sequencer.sync.reading import Counts, Lock
from sequencer.sync.run import Run, Weave
from sequencer.sync.troubles import Troubles
from sequencer.timebase.timecode import Timebase, label
from sequencer.wire.mtc import Address

_LOCATE_QUARTERS = 6  # 1.5 frames
_START_FRAMES = range(-2, 7)
_CYCLE, _JUMP_RUN = 8, 16  # pieces
_NEAR_QUARTERS = 3
_HELD_QUARTERS = 8  # a piece that follows the one before it may be this late
_EARLY_QUARTERS = 1.5  # none other comes earlier than this
_QUIET_S, _QUIET_GAPS, _GIVE_UP_S = 0.05, 4, 0.25
_WRONG_RATES = 3  # times in a row that the rate code must be told
_FIRST_TWO, _ALL_EIGHT = 0x03, 0xFF
_ONCE_WRONG, _HOPELESS = 11, 12  # pieces that must agree after one that did not; of 24 that did not
_COPIES = 24
_UNREAD = 240  # quarter frames


class QuarterPlace(NamedTuple):
    """Where the master is. Unit: quarters from the project's start, quarters a second; sigma in seconds."""

    quarter: float
    speed: float
    sigma_s: float


class QuarterChase:
    """One master followed. `lock`, `jumps` and `counts` may be read; instants must not go back."""

    def __init__(self, timebase: Timebase, freewheel_s: float, troubles: Troubles) -> None:
        self._timebase = timebase
        self._addresses = Addresses(timebase.counting)
        self._freewheel_s = freewheel_s
        self._troubles = troubles
        self._gap_s = float(timebase.rate.seconds(1)) / 4
        self._line = Line(self._gap_s)
        self._run = Run(self._addresses, self._gap_s)
        self._weave = Weave()
        self.counts = Counts()
        self.lock = Lock.WAITING
        self.jumps = 0
        self.accepted: list[tuple[float, float]] = []  # stamps and seconds used while locked, for the owner to take
        self._direction = 1  # of the timeline, -1 backward
        self._start_at = 0.0  # quarter of the project's start, on this side of midnight
        self._held = 0.0  # quarter at which a master stands, or was lost
        self._base = 0  # a quarter that a piece 0 marks
        self._newest = 0  # quarter of the newest piece that fitted
        self._fitted_s = 0.0  # its instant
        self._heard_s = 0.0  # instant of the newest piece, fitting or not
        self._before: int | None = None  # quarter of the piece before, if it fitted
        self._confirmed = 0  # bit for each piece that told this place since it was found
        self._agreed = 0  # pieces since that agreed with it, less those that make up for one that did not
        self._stood = False  # whether two pieces are enough to start from where a full frame was
        self._misses = 0  # bit for each of the last 24 pieces, the newest lowest
        self._unused = 0  # pieces that came since the newest that fitted
        self._back: list[tuple[int, float]] = []  # pieces that fit the coast, on the way back from it
        self._stands: int | None = None  # frame of a full frame that came while running
        self._code: tuple[int, int] = (self._addresses.code, 0)  # newest wrong rate code, times in a row
        self._unread = 0

    @property
    def refused(self) -> bool:
        """Whether the master counts in another rate than the project."""
        return self._code[1] >= _WRONG_RATES

    def place(self, t_s: float) -> QuarterPlace:
        """Return where the master is at `t_s`; sigma is infinite where nothing is known."""
        if self.lock in (Lock.LOCKING, Lock.LOCKED, Lock.FREEWHEEL):
            tick, fit = self._line.now(t_s)
            sigma = self._line.sigma_s * fit.spread(tick - fit.n)
            return QuarterPlace(self._direction * tick - self._start_at, self._direction / fit.v_s, sigma)
        sigma = 4 * self._gap_s / 12**0.5 if self.lock is Lock.LOCATED else float("inf")
        return QuarterPlace(self._held - self._start_at, 0.0, sigma)

    def _here(self, t_s: float) -> float:
        """Return the quarter at `t_s`."""
        return self.place(t_s).quarter + self._start_at

    def piece(self, t_s: float, piece: int, value: int) -> None:
        """Take one quarter frame."""
        self.age(t_s)
        self.counts.quarter_frames += 1
        self._stands = None
        self._heard_s = t_s
        if self._run.repeats(t_s, piece, value):
            self.counts.doubled += 1
            if self._run.copies == _COPIES:
                self._troubles.tell("twice", "each quarter frame arrives twice; is the master connected twice?", t_s)
            return
        self._run.add(t_s, piece, value)
        self._watch_rate(t_s, piece, value)
        self._weave.add(piece)
        if self._weave.mixed:
            self._stand_off(t_s)
        elif self.lock in (Lock.LOCKED, Lock.FREEWHEEL):
            self._follow(t_s, piece, value)
        elif self.lock is Lock.LOCKING:
            self._confirm(t_s, piece, value)
        elif self.lock is not Lock.LOCATED or not self._start(t_s):
            self._hunt(t_s)

    def full(self, t_s: float, address: Address) -> None:
        """Take one full frame."""
        self.age(t_s)
        self.counts.full_frames += 1
        if address.rate != self._addresses.code:
            self.counts.wrong_rate += 1
            self._tell_rate(t_s, address.rate)
            return
        frame = self._addresses.frame(address)
        if frame is None:
            self.counts.misread += 1
            return
        self._code = address.rate, 0
        if self.lock in (Lock.LOCKED, Lock.LOCKING):
            here = self._here(t_s)
            if abs(self._near_by(4 * frame, here) - here) <= _LOCATE_QUARTERS:
                self._stands = frame
                return
            self._tell_jump(t_s, 4 * frame)
        self._locate(frame)

    def age(self, t_s: float) -> None:
        """Let time pass to `t_s` without a message."""
        quiet_s = t_s - self._fitted_s
        if self.lock is Lock.LOCKED and quiet_s > _QUIET_S and quiet_s > _QUIET_GAPS * self._line.speed:
            self._back.clear()
            self.lock = Lock.FREEWHEEL
            if self._stands is not None:
                self._locate(self._stands)
        if self.lock is Lock.FREEWHEEL and quiet_s > self._freewheel_s:
            self._held = self._here(self._fitted_s + self._freewheel_s)
            self.lock = Lock.LOST
            self._run.clear()
            self._troubles.tell("lost", f"timecode stopped at {self._label(self._newest)}", t_s)
        if self.lock is Lock.LOCKING and t_s - self._heard_s > _GIVE_UP_S:
            self.lock = Lock.WAITING
            self._run.clear()
            if self._stands is not None:
                self._locate(self._stands)

    def _near_by(self, quarter: int, here: float) -> int:
        """Return `quarter` counted on the same side of midnight as `here`: a line runs on past it, a label does not."""
        day = self._addresses.day
        return quarter + round((here - quarter) / day) * day

    # the four ways to take a piece

    def _hunt(self, t_s: float) -> None:
        """Look for an address in the newest eight pieces."""
        self._unread += 1
        if self._unread == _UNREAD and not self.refused:
            self._troubles.tell("unread", "quarter frames arrive, but they do not make a timecode", t_s)
        quarter = self._run.solve()
        if quarter is not None and not self.refused:
            self._join(quarter, _CYCLE)
            self._agreed *= self.lock is Lock.LOCKING
            self.lock, self._confirmed = Lock.LOCKING, 0

    def _start(self, t_s: float) -> bool:
        """From a stand: take pieces 0 and 1 as running time if they tell a place near by."""
        run = self._run
        if not self._stood or self.refused or run.length < 2 or run.direction < 0 or run.pieces[-1][1] != 1:
            return False
        for ahead in _START_FRAMES:
            frame = int(self._held) // 4 + ahead
            if run.tells(4 * frame + 1, 4 * frame, 2):
                self._join(4 * frame + 1, 2)
                self._confirmed = _FIRST_TWO
                self._lock(t_s)
                return True
        return False

    def _confirm(self, t_s: float, piece: int, value: int) -> None:
        """Compare the address found with the pieces that follow, until each has told it again."""
        quarter, _ = self._nearest(t_s, piece)
        if self._addresses.value(quarter, piece) != value:
            self.counts.misread += 1
            self._confirmed, self._before, self._agreed = 0, None, -_ONCE_WRONG
            self._misses = self._misses << 1 & 0xFFFFFF | 1
            if self._misses.bit_count() > _HOPELESS:
                self.lock = Lock.WAITING
            self._hunt(t_s)
            return
        self._take(t_s, quarter)
        self._confirmed |= 1 << piece
        self._agreed, self._misses = self._agreed + 1, self._misses << 1 & 0xFFFFFF
        if self._confirmed == _ALL_EIGHT and self._agreed > 0 and not self.refused:
            self._lock(t_s)

    def _follow(self, t_s: float, piece: int, value: int) -> None:
        """Use a piece if it is what marks the place where it should come; else see whether the master moved away."""
        if self._turned():
            return
        quarter, away = self._nearest(t_s, piece)
        next_in_turn = self._before is not None and quarter == self._before + self._direction
        fits = self._addresses.value(quarter, piece) == value and (next_in_turn or away > -_EARLY_QUARTERS)
        if not fits:
            self.counts.misread += 1
            self._before = None
            if not self._confirmed >> piece & 1:  # what began where a full frame was runs elsewhere
                self.lock, self._stood = Lock.LOCATED, False
                return
        self._confirmed |= 1 << piece
        if self.lock is Lock.FREEWHEEL:
            fits = fits and abs(away) <= _NEAR_QUARTERS
        self._misses = (self._misses << 1 | (not fits)) & 0xFFFFFF
        if self._jumped(t_s):
            return
        if not fits:
            self._unused += 1
            self._back.clear()
        elif self.refused or (self._misses & 0xFF).bit_count() >= 3:
            self._unused += 1
            self._before = quarter
        elif self.lock is Lock.FREEWHEEL:
            self._return(t_s, quarter)
        else:
            self._take(t_s, quarter)

    def _return(self, t_s: float, quarter: int) -> None:
        """Collect pieces that fit the coast; two in a row end it."""
        self._back.append((quarter, t_s))
        self._before = quarter
        if len(self._back) == 2:
            self.lock = Lock.LOCKED
            for one, stamp in self._back:
                self._take(stamp, one)
            self._back.clear()

    def _stand_off(self, t_s: float) -> None:
        """Use no piece while two masters send: nobody can tell whose it is."""
        self.counts.mixed += 1
        self._unused, self._before = self._unused + 1, None
        if self.lock is Lock.LOCKING:
            self.lock = Lock.WAITING
        self._troubles.tell("two", "two timecodes arrive on this port; leave only one of them connected", t_s)

    # what they are made of

    def _nearest(self, t_s: float, piece: int) -> tuple[int, float]:
        """Return the quarter that `piece` must mark at `t_s`, and how far the line is past it, in its direction."""
        here = self._direction * self._line.now(t_s)[0]
        if self._before is not None and (self._before + self._direction - self._base) % 8 == piece:
            following = self._before + self._direction
            late = self._direction * (here - following)
            if -_HELD_QUARTERS / 2 < late < _HELD_QUARTERS:
                return following, late
        quarter = round((here - piece - self._base) / 8) * 8 + piece + self._base
        return quarter, self._direction * (here - quarter)

    def _take(self, t_s: float, quarter: int) -> None:
        """Feed the line, unless this quarter has been there already."""
        ahead = self._direction * (quarter - self._newest)
        if ahead <= 0:
            self.counts.doubled += 1
            return
        self.counts.lost += max(0, ahead - 1 - self._unused)
        self._unused = 0
        self._newest, self._before, self._fitted_s = quarter, quarter, t_s
        if not self._line.feed(self._direction * quarter, t_s):
            self.counts.set_aside += 1
        if self.lock is Lock.LOCKED:
            self.accepted.append((t_s, (quarter - self._start_at) * self._gap_s))
            if words := other_house(self._line.fit, self._gap_s):
                self._troubles.tell("speed", words, t_s)

    def _join(self, quarter: int, pieces: int) -> None:
        """Begin a new line with the newest `pieces`, the last of which marks `quarter`."""
        self._direction = self._run.direction
        self._base = quarter - self._run.pieces[-1][1]
        self._settle(quarter)
        self._begin(quarter, pieces)

    def _begin(self, quarter: int, pieces: int) -> None:
        self._line.clear()
        for one, stamp in self._run.stamps(quarter, pieces):
            self._line.feed(self._direction * one, stamp)
            self._newest, self._fitted_s = one, stamp
        self._before = quarter
        self._misses = self._unread = self._unused = 0
        self._back.clear()

    def _lock(self, t_s: float) -> None:
        self.lock = Lock.LOCKED
        self.jumps += 1
        if self._direction < 0:
            self._troubles.tell("backward", "timecode runs backward", t_s)

    def _settle(self, quarter: int) -> None:
        """Choose the side of midnight on which the project's start is nearer."""
        self._start_at = quarter - 4 * float(self._timebase.wrap(Fraction(quarter, 4)))

    def _locate(self, frame: int) -> None:
        if self.lock is not Lock.LOCATED or self._held != 4 * frame:
            self.jumps += 1
        self.lock = Lock.LOCATED
        self._held = 4 * frame
        self._settle(4 * frame)
        self._stands = None
        self._stood = True
        self._run.clear()

    def _jumped(self, t_s: float) -> bool:
        """Go to the place that the newest pieces tell, if it is another one and enough of them tell it."""
        if (self._misses.bit_count() < 2 and self.lock is Lock.LOCKED) or self.refused:
            return False
        wrong = [self._run.pieces[-1 - back][1] for back in range(_CYCLE) if self._misses >> back & 1]
        # where few pieces differ it takes more cycles; an odd one has few bits, and is often misread as the same
        needed = _JUMP_RUN + _CYCLE * ((len(wrong) < 3) + (len(wrong) == 1 and wrong[0] % 2))
        quarter = self._run.solve(needed)
        if quarter is None:
            return False
        base = quarter - self._run.pieces[-1][1]
        quarter = self._near_by(quarter, self._here(t_s))
        if self._direction == self._run.direction and self._base % 8 == base % 8:
            # pieces held back are late and never early, so the least late of them tells whether the place is another
            late = min(self._direction * (self._here(at_s) - one) for one, at_s in self._run.stamps(quarter, needed))
            if abs(late) <= _NEAR_QUARTERS:
                return False
        self._tell_jump(t_s, quarter)
        self._join(quarter, needed)
        self._confirmed = _ALL_EIGHT
        self._lock(t_s)
        return True

    def _turned(self) -> bool:
        """Turn round if the newest three pieces step the other way and fit where the master is."""
        run = self._run
        if run.length != 3 or run.direction == self._direction or self.refused:
            return False
        t_s, _, _ = run.pieces[-3]
        here = self._direction * self._line.now(t_s)[0] + 2 * run.direction
        piece = run.pieces[-1][1]
        quarter = round((here - piece - self._base) / 8) * 8 + piece + self._base
        if not run.tells(quarter, self._base, 3):
            return False
        self._direction = run.direction
        self._begin(quarter, 2)  # the oldest of the three came before the turn
        self.counts.turns += 1
        self._lock(run.pieces[-1][0])
        return True

    # what the operator should know

    def _watch_rate(self, t_s: float, piece: int, value: int) -> None:
        if piece != 7 or self._run.length < 8:
            return
        code = value >> 1
        if code == self._addresses.code:
            self._code = code, 0
            return
        self.counts.wrong_rate += 1
        self._code = code, self._code[1] + 1 if code == self._code[0] else 1
        if self.refused:
            self._tell_rate(t_s, code)

    def _tell_rate(self, t_s: float, code: int) -> None:
        ours, theirs = CODE_NAMES[self._addresses.code], CODE_NAMES[code]
        self._troubles.tell("rate", f"the timecode says {theirs}, the project {ours}; set one of them", t_s)

    def _tell_jump(self, t_s: float, quarter: int) -> None:
        self.counts.jumps += 1
        before = self._here(t_s)
        self._troubles.tell("jump", f"timecode jumped from {self._label(before)} to {self._label(quarter)}", t_s)

    def _label(self, quarter: float) -> str:
        return str(label(int(quarter // 4), self._addresses.counting))
