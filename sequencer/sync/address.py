"""From quarter frames to the place on the timeline that they name, and back.

Places are quarters: quarter n = 4 A + p is marked by piece p of the address A, A counted in frames from midnight. The
eight pieces of an address stand for the moment of piece 0, in either direction, so two frames later the next address
follows. No state is kept here but a few encoded addresses.

Source: MIDI Time Code and Cueing, Detailed Specification, 1987; SMPTE ST 12-1 for the labels.
"""

from collections.abc import Iterator

from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, Timecode, count, label
from sequencer.wire.mtc import Address, FullFrame, QuarterFrame

_CODES = {Rate(24): 0, Rate(24000, 1001): 0, Rate(25): 1, Rate(30000, 1001): 3, Rate(30): 3}
_DROP = 2
_HALVES = {Rate(48): Rate(24), Rate(50): Rate(25), Rate(60000, 1001): Rate(30000, 1001), Rate(60): Rate(30)}
CODE_NAMES = ("24 frames a second", "25 frames a second", "30 frames a second with drop-frame", "30 frames a second")
_REMEMBERED = 64


def mtc_rate(counting: Counting) -> int:
    """Return the rate code of `counting`. Error: ValueError for a rate that MIDI timecode cannot carry."""
    if counting.rate not in _CODES:
        mend = "25" if counting.rate.nominal == 50 else "24" if counting.rate.nominal == 48 else "30"
        raise ValueError(
            f"{counting.rate} frames a second cannot be carried by MIDI timecode; "
            f"set the project to {mend} or sync by another source"
        )
    return _DROP if counting.drop else _CODES[counting.rate]


def carried(timebase: Timebase) -> Timebase:
    """Return the timebase as MIDI timecode counts it: above 30 frames a second it counts pairs of frames.

    The instants are the same: frame 2 n of one is frame n of the other, over dropped labels too.
    Source: common practice; the specification has four rates and says nothing of others.
    """
    counting, start = timebase.counting, timebase.start
    half = _HALVES.get(counting.rate)
    if half is None:
        return timebase
    pairs = Counting(half, counting.drop)
    return Timebase(pairs, label(count(start, counting) / 2, pairs))


class Addresses:
    """The addresses of one way of counting, as quarter frames tell them. Unit: frames and quarters from midnight."""

    def __init__(self, counting: Counting) -> None:
        self.code = mtc_rate(counting)
        self.counting = counting
        self.day = 4 * counting.day
        self._encoded: dict[int, tuple[int, ...]] = {}

    def address(self, frame: int) -> Address:
        """Return the address of `frame`, which may lie beyond midnight on either side."""
        at = label(frame, self.counting)
        return Address(self.code, at.hours, at.minutes, at.seconds, at.frames)

    def frame(self, address: Address) -> int | None:
        """Return the frame that `address` names, or None where there is none in this counting."""
        rate, hours, minutes, seconds, frames = address
        if rate != self.code:
            return None
        try:
            return int(count(Timecode(hours, minutes, seconds, frames, drop=self.counting.drop), self.counting))
        except ValueError:
            return None

    def pieces(self, frame: int) -> tuple[int, ...]:
        """Return the values of the eight pieces of `frame`."""
        known = self._encoded.get(frame)
        if known is None:
            if len(self._encoded) >= _REMEMBERED:
                self._encoded.clear()
            known = self._encoded[frame] = self.address(frame).pieces()
        return known

    def value(self, quarter: int, piece: int) -> int:
        """Return what `piece` says where it marks `quarter`."""
        return self.pieces((quarter - piece) // 4)[piece]

    def at(self, quarter: int, base: int) -> QuarterFrame:
        """Return the message that marks `quarter`, where a piece 0 marks quarter `base`."""
        piece = (quarter - base) % 8
        return QuarterFrame(piece, self.value(quarter, piece))

    def solve(self, values: tuple[int, ...], newest: int, *, forward: bool) -> int | None:
        """Return the quarter of the newest of eight pieces in a row, or None where they name none, or not only one.

        `values` are the eight by piece number, `newest` the piece that came last. Unless that was the last of its
        cycle, the low pieces tell an address two frames later than the high ones.
        """
        low = newest if forward else newest - 1  # the last piece that tells the later address
        found = {
            later
            for later in self._candidates(values, low)
            if self.pieces(later)[: low + 1] + self.pieces(later - 2)[low + 1 :] == values
        }
        if len(found) != 1:
            return None
        later = found.pop()
        return 4 * (later if forward else later - 2) + newest

    def _candidates(self, values: tuple[int, ...], low: int) -> Iterator[int]:
        """Yield the later address as the pieces read, and with a carry into the high pieces."""
        read = self.frame(Address.of(values))
        if read is not None:
            yield read if low >= 0 else read + 2
        if not 0 <= low < 7:
            return  # all eight are of one address
        # the last frame that has these high pieces; in the next one they are carried
        high = Address.of((15,) * (low + 1) + values[low + 1 :])
        top = (min(high.hours, 23), min(high.minutes, 59), min(high.seconds, 59))
        last = self.frame(Address(high.rate, *top, min(high.frames, self.counting.rate.nominal - 1)))
        if last is not None:
            carried = self.frame(Address.of(values[: low + 1] + self.pieces(last + 1)[low + 1 :]))
            if carried is not None:
                yield carried


def running(counting: Counting, frame: int, *, backward: bool = False) -> Iterator[tuple[int, bytes]]:
    """Yield what a master sends that starts at `frame` and runs for ever: the quarter at which each message is due.

    Unit: quarters from midnight, counted on past it. Forward the first is piece 0 at the frame's start; backward it is
    piece 7 of the address two frames earlier.
    """
    addresses = Addresses(counting)
    base = 4 * frame
    quarter, step = (base - 1, -1) if backward else (base, 1)
    while True:
        yield quarter, addresses.at(quarter, base).data()
        quarter += step


def standing(counting: Counting, frame: int) -> bytes:
    """Return the full-frame message of a master that stands at `frame`."""
    return FullFrame(Addresses(counting).address(frame)).data()
