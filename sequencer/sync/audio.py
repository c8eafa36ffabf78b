"""Follow the program's own playback: which sample leaves when, position and speed at any instant out.

It plays nothing and reads no clock. Own audio cannot be wrong, only the stamps of its blocks jitter; they may lie
ahead, since a card is told its samples before they leave.

    from                     event                                                        to
    waiting, located, lost   a block plays                                                locking
    locking                  four blocks, and the first of them leaves                    locked
    locked, freewheel        a block elsewhere than 0.1 s from where it should be         locked there: a jump
    any                      it stops, and that instant has come                          located
    locked                   no block for 0.1 s and four blocks after the newest          freewheel
    freewheel, locking       longer than the operator allows                              lost

Source: none for the states; samples for the clock.
"""

from math import inf

from sequencer.sync.followed import Followed, Place
from sequencer.sync.reading import Counts, Follow, Lock
from sequencer.sync.samples import SampleClock
from sequencer.sync.troubles import Troubles
from sequencer.timebase.timecode import Timebase
from sequencer.wire.played import unpacked

_AS_USUAL = Follow()
_ENOUGH = 4  # blocks
_ELSEWHERE_S = 0.1
_QUIET_S, _QUIET_BLOCKS = 0.1, 4


class AudioChase:
    """The chase of the program's own playback, by records as `wire.played.packed` writes them.

    A record's stamp is when its sample is at the converter. Unit: `start_s` is where sample 0 belongs, in seconds from
    the project's start.
    """

    def __init__(self, timebase: Timebase, start_s: float, freewheel_s: float, troubles: Troubles) -> None:
        self._timebase = timebase
        self._start_s = start_s
        self._freewheel_s = freewheel_s
        self._troubles = troubles
        self.counts = Counts()
        self.lock = Lock.WAITING
        self.jumps = 0
        self.accepted: list[tuple[float, float]] = []
        self._rate_hz = 0
        self._block = 0  # samples from one record to the next, once two were heard
        self._clock: SampleClock | None = None
        self._blocks = 0  # since it began to play, or leapt
        self._begun = (0.0, 0)  # stamp and sample of the first of them
        self._newest = (0.0, 0)
        self._held_s = 0.0  # position at which it stands
        self._stop: tuple[float, float] | None = None  # instant and position of a stop still to come

    @property
    def told(self) -> str:
        return "playback audio" + (f", {self._rate_hz} samples a second" if self._rate_hz else "")

    def place(self, t_s: float) -> Place:
        """Return where playback is at `t_s`; sigma is infinite where nothing is known."""
        if self.lock in (Lock.LOCKED, Lock.FREEWHEEL) and self._clock is not None:
            at_ns = round(t_s * 1e9)
            sample = self._clock.sample(at_ns)
            return Place(self._position_s(sample), self._clock.speed, self._clock.sigma_s(sample))
        return Place(self._held_s, 0.0, 0.0 if self.lock in (Lock.LOCATED, Lock.LOCKING) else inf)

    def feed(self, t_s: float, data: bytes) -> None:
        """Take one record, which says where playback is at `t_s`."""
        try:
            playing = unpacked(data)
        except ValueError:
            self.counts.garbage_bytes += len(data)
            self._troubles.tell("garbage", "what arrives from the playback is no position; nothing else may send", t_s)
            return
        if not playing.running:
            position_s = self._start_s + playing.sample / playing.rate_hz
            if self._stop is None or self._stop[1] != position_s:  # it may say so with each block
                self._stop = t_s, position_s
            return
        if self._stop is not None:
            self._halt()
        if playing.rate_hz != self._rate_hz:
            self._rate_hz, self._block, self.lock = playing.rate_hz, 0, Lock.WAITING
        self._play(t_s, playing.sample)

    def age(self, t_s: float) -> None:
        """Let time pass to `t_s`."""
        if self._stop is not None and t_s >= self._stop[0]:
            self._halt()
        ready = self._clock is not None and self._blocks >= _ENOUGH
        if self.lock is Lock.LOCKING and ready and t_s >= self._begun[0]:
            self.lock = Lock.LOCKED
            self.jumps += 1
        block_s = self._block / self._rate_hz if self._rate_hz else 0.0
        quiet_s = t_s - self._newest[0] - block_s
        if self.lock is Lock.LOCKED and quiet_s > max(_QUIET_S, _QUIET_BLOCKS * block_s):
            self.lock = Lock.FREEWHEEL
        if self.lock in (Lock.FREEWHEEL, Lock.LOCKING) and quiet_s > max(_QUIET_S, self._freewheel_s):
            if self.lock is Lock.FREEWHEEL:
                self._held_s = self.place(self._newest[0] + block_s + self._freewheel_s).position_s
            self.lock = Lock.LOST
            at = self._timebase.label_at(self._position_s(self._newest[1]))
            self._troubles.tell("lost", f"the sound card took no more audio at {at}; check that it is still there", t_s)

    def _play(self, t_s: float, sample: int) -> None:
        """Take a block that plays."""
        if self.lock not in (Lock.LOCKED, Lock.FREEWHEEL, Lock.LOCKING):
            self.lock = Lock.LOCKING
            self._begin(t_s, sample)
        else:
            then_s, before = self._newest
            off_s = (sample - before) / self._rate_hz - (t_s - then_s)
            if abs(off_s) > _ELSEWHERE_S:
                self._leap(t_s, sample)
        if self._clock is None and self._blocks and sample > self._begun[1]:
            self._block = sample - self._begun[1]
            self._clock = SampleClock(self._rate_hz, self._block)
            self._clock.feed(self._begun[1], round(self._begun[0] * 1e9))
        self._blocks += 1
        self._newest = t_s, sample
        if self._clock is None:
            return
        slips = self._clock.jumps
        self._clock.feed(sample, round(t_s * 1e9))
        if self._clock.jumps > slips:
            words = "the sound card ran out of audio; give it longer blocks, or the machine less to do"
            self._troubles.tell("dry", words, t_s)
        if self.lock is Lock.FREEWHEEL:
            self.lock = Lock.LOCKED
        if self.lock is Lock.LOCKED:
            self.accepted.append((t_s, self._position_s(sample)))

    def _begin(self, t_s: float, sample: int) -> None:
        self._begun, self._blocks = (t_s, sample), 0
        self._held_s = self._position_s(sample)
        self._clock = SampleClock(self._rate_hz, self._block) if self._block else None

    def _leap(self, t_s: float, sample: int) -> None:
        if self.lock is not Lock.LOCKING:
            before = self._timebase.label_at(self.place(t_s).position_s)
            now = self._timebase.label_at(self._position_s(sample))
            self.counts.jumps += 1
            self.jumps += 1
            self._troubles.tell("jump", f"playback jumped from {before} to {now}", t_s)
        self._begin(t_s, sample)

    def _halt(self) -> None:
        assert self._stop is not None
        _, position_s = self._stop
        self._stop = None
        if self.lock is not Lock.LOCATED or position_s != self._held_s:
            self.jumps += 1
        self.lock = Lock.LOCATED
        self._held_s = position_s

    def _position_s(self, sample: float) -> float:
        return self._start_s + sample / self._rate_hz


def audio_follower(timebase: Timebase, start_s: float, how: Follow = _AS_USUAL) -> Followed:
    """Return a follower of the playback of a recording whose first sample belongs at `start_s` in the project."""
    troubles = Troubles()
    return Followed(AudioChase(timebase, start_s, how.freewheel_s, troubles), troubles, how)
