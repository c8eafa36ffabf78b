"""Follow a master by MIDI timecode: stamped bytes in, position and speed at any instant out.

It opens no port and reads no clock; the same bytes, stamps and instants give the same answers.

Source: MIDI Time Code and Cueing, Detailed Specification, 1987, for the bytes; `line` and `chase` for the rest.
"""

from math import hypot

from sequencer.sync.chase import Chase
from sequencer.sync.playout import Playout
from sequencer.sync.reading import Clock, Counts, Follow, Lock
from sequencer.sync.troubles import Troubles
from sequencer.timebase.timecode import Timebase
from sequencer.wire.mtc import QuarterFrame, Reader

_AS_USUAL = Follow()
_SLIP_QUARTERS = 2  # half a frame: jitter and changes of speed stay far below


class MtcFollower:
    """A follower of MIDI timecode for one project. Error: ValueError for a rate that MIDI timecode cannot carry.

    The uncertainty is one standard deviation: that of the fitted line at the instant asked for (jitter times the
    Cramér-Rao spread of the memory in use, which grows while coasting), together with what the playout clock, which is
    the position told, still has to make up for. It takes jitter for independent from message to message; the beat of a
    driver's period is not, and its error is two to three times what is told. It foresees nothing: until the pieces
    that prove a jump have come, the position is that of a master that went on.

    A master that slips by less than about five quarter frames, as after a stall, is caught up with at most 6 % faster
    or slower; by more, that is a jump.
    """

    def __init__(self, timebase: Timebase, how: Follow = _AS_USUAL) -> None:
        self._how = how
        self._quarter_s = float(timebase.rate.seconds(1)) / 4
        self._reader = Reader()
        self._troubles = Troubles()
        self._chase = Chase(timebase, how.freewheel_s, self._troubles)
        self._playout = Playout()
        self._begin_ns: int | None = None
        self._jumps = -1  # jumps of the chase when it was last asked

    @property
    def counts(self) -> Counts:
        """What has been heard so far."""
        return self._chase.counts

    def feed(self, stamp_ns: int, data: bytes) -> None:
        """Take MIDI bytes as they arrived at `stamp_ns`, split in any way."""
        t_s = self._seconds(stamp_ns)
        counts = self._chase.counts
        for message in self._reader.feed(data):
            if isinstance(message, QuarterFrame):
                self._chase.piece(t_s, message.piece, message.value)
            else:
                self._chase.full(t_s, message.address)
        counts.other_messages = self._reader.others
        if self._reader.garbage > counts.garbage_bytes:
            counts.garbage_bytes = self._reader.garbage
            self._troubles.tell("garbage", "bytes that are no MIDI arrive with the timecode; check the cable", t_s)

    def at(self, now_ns: int) -> Clock:
        """Return where the master is at `now_ns`, and let the playout clock flow to there."""
        t_s = self._seconds(now_ns)
        chase = self._chase
        chase.age(t_s)
        lock = chase.lock
        if lock is Lock.WAITING:
            return Clock(lock, now_ns, jumps=chase.jumps)
        place = chase.place(t_s)
        speed = place.speed * self._quarter_s
        measured = place.quarter * self._quarter_s + speed * self._how.delay_s
        if chase.jumps == self._jumps and lock in (Lock.LOCKED, Lock.FREEWHEEL):
            self._playout.advance(t_s, measured, speed)
        else:
            self._playout.set(t_s, measured, speed)
        self._jumps = chase.jumps
        position = self._playout.position
        behind_s = measured - position
        if abs(behind_s) > _SLIP_QUARTERS * self._quarter_s:
            words = "timecode slipped by more than half a frame; the rig is catching up"
            self._troubles.tell("slip", words, t_s)
        sigma_s = place.sigma_s * (abs(speed) or 1.0)
        return Clock(lock, now_ns, position, self._playout.speed, hypot(sigma_s, behind_s), chase.jumps)

    def sightings(self) -> tuple[tuple[int, float], ...]:
        """Return each quarter frame used as running time since the last call: stamp in ns, position in s.

        The stamp is that of the master, with the delay of the cable taken off.
        """
        begin_ns = self._begin_ns or 0
        seen = tuple(
            (begin_ns + round((t_s - self._how.delay_s) * 1e9), quarter * self._quarter_s)
            for t_s, quarter in self._chase.accepted
        )
        self._chase.accepted.clear()
        return seen

    def troubles(self) -> tuple[str, ...]:
        """Return what the operator should know since the last call, in plain words."""
        return self._troubles.take()

    def _seconds(self, stamp_ns: int) -> float:
        """Return seconds since the first instant seen: small enough for a float to hold them to the nanosecond."""
        if self._begin_ns is None:
            self._begin_ns = stamp_ns
        return (stamp_ns - self._begin_ns) * 1e-9
