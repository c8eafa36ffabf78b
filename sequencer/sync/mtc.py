"""Follow a master by MIDI timecode: stamped bytes in, position and speed at any instant out.

It opens no port and reads no clock.

Source: MIDI Time Code and Cueing, Detailed Specification, 1987, for the bytes; `line` and `chase` for the rest.
"""

from sequencer.sync.address import CODE_NAMES, carried, mtc_rate
from sequencer.sync.chase import QuarterChase
from sequencer.sync.followed import Followed, Place
from sequencer.sync.reading import Counts, Follow, Lock
from sequencer.sync.troubles import Troubles
from sequencer.timebase.timecode import Timebase
from sequencer.wire.mtc import QuarterFrame, Reader

_AS_USUAL = Follow()


class MtcChase:
    """The chase of a master by the MIDI bytes that it sends, split in any way.

    A project above 30 frames a second follows a master at half its rate, as those send it.
    """

    def __init__(self, timebase: Timebase, freewheel_s: float, troubles: Troubles) -> None:
        ours, timebase = timebase, carried(timebase)
        self._quarter_s = float(timebase.rate.seconds(1)) / 4
        self._reader = Reader()
        self._troubles = troubles
        self._chase = QuarterChase(timebase, freewheel_s, troubles)
        self.told = f"MTC, {CODE_NAMES[mtc_rate(timebase.counting)]}"
        if timebase is not ours:
            self.told += ", a frame for two of the project's"

    @property
    def lock(self) -> Lock:
        return self._chase.lock

    @property
    def jumps(self) -> int:
        return self._chase.jumps

    @property
    def counts(self) -> Counts:
        return self._chase.counts

    @property
    def accepted(self) -> list[tuple[float, float]]:
        return self._chase.accepted

    def feed(self, t_s: float, data: bytes) -> None:
        """Take MIDI bytes as they arrived at `t_s`."""
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

    def age(self, t_s: float) -> None:
        """Let time pass to `t_s`."""
        self._chase.age(t_s)

    def place(self, t_s: float) -> Place:
        """Return where the master is at `t_s`."""
        quarter, speed, sigma_s = self._chase.place(t_s)
        return Place(quarter * self._quarter_s, speed * self._quarter_s, sigma_s)


def mtc_follower(timebase: Timebase, how: Follow = _AS_USUAL) -> Followed:
    """Return a follower of MIDI timecode for one project.

    A master that slips by less than about five quarter frames, as after a stall, is caught up with at most 6 % faster
    or slower; by more, that is a jump.
    """
    troubles = Troubles()
    return Followed(MtcChase(timebase, how.freewheel_s, troubles), troubles, how)
