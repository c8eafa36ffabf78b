"""Orders from a MIDI port: notes and program changes that the project maps, and MIDI Machine Control.

It opens no port and reads no clock. Timecode and clock on the same port are somebody else's. Of bytes that come faster
than four cables carry them nothing is read but stops, so that a flood holds up nobody.
Source: MIDI 1.0 Detailed Specification; MIDI Machine Control, RP-013, for play, stop, pause and locate;
MIDI 1.0 for the 3,125 bytes a second of a cable.
"""

from collections import deque
from collections.abc import Iterable, Iterator
from fractions import Fraction

from sequencer.sync.allowance import Allowance
from sequencer.sync.complaints import Complaints
from sequencer.sync.midi_stops import Stops
from sequencer.sync.orders import Due, Locate, Mapped, Order, OrderCounts, StartClock, StopClock, StopRig
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, Timecode, count
from sequencer.wire import mmc
from sequencer.wire.midi import Messages
from sequencer.wire.mmc import ALL_CALL, Transport

_NOTE_ON, _PROGRAM, _SYSEX = 0x90, 0xC0, 0xF0
# the nearest counting of each rate code; whether a second lasts 1.001 the code does not say
_COUNTINGS = (Counting(Rate(24)), Counting(Rate(25)), Counting(Rate(30000, 1001), drop=True), Counting(Rate(30)))
BYTES_PER_S = 4 * 3_125
BYTES_AT_ONCE = 1_024
_TRANSPORT: dict[Transport, Order] = {
    Transport.PLAY: StartClock(),
    Transport.DEFERRED_PLAY: StartClock(),  # our clock is there as soon as it is set
    Transport.STOP: StopClock(),
    Transport.PAUSE: StopClock(),
}


def by_message(mapped: Iterable[Mapped]) -> dict[tuple[int, int], Order]:
    """Return what is ordered by the first two bytes of a message. Of two entries for the same one the first counts."""
    orders: dict[tuple[int, int], Order] = {}
    for one in mapped:
        kind = _NOTE_ON if one.message == "note" else _PROGRAM
        for channel in range(16) if one.channel is None else (one.channel - 1,):
            orders.setdefault((kind | channel, one.number), one.order)
    return orders


class MidiOrders:
    """The reader of one MIDI port. `mmc_device` is our number, None obeys every number."""

    def __init__(self, mapped: tuple[Mapped, ...], mmc_device: int | None, timebase: Timebase) -> None:
        self._messages = Messages()
        self._orders = by_message(mapped)
        stops = [message for message, order in self._orders.items() if isinstance(order, StopClock | StopRig)]
        self._stops = Stops(stops, mmc_device)
        self._room = Allowance(BYTES_PER_S, BYTES_AT_ONCE)
        self._flooded = False
        self._device = mmc_device
        self._timebase = timebase
        self._complaints = Complaints()
        self._counts = OrderCounts()

    @property
    def counts(self) -> OrderCounts:
        """What has been heard so far."""
        return self._counts

    def feed(self, stamp_ns: int, data: bytes) -> list[Due]:
        """Return the orders in the MIDI bytes `data`, split in any way; each is due at the stamp of its last byte."""
        if not self._room.grants(stamp_ns, len(data)):
            return self._only_stops(stamp_ns, data)
        if self._flooded:
            self._flooded, self._messages = False, Messages()
            deque(self._messages.feed(self._stops.begun), maxlen=0)
        self._stops.pass_by(data)
        garbage = self._messages.garbage
        due = [one for message in self._messages.feed(data) for one in self._due(stamp_ns, message)]
        self._counts.orders += len(due)
        if self._messages.garbage > garbage:
            self._wrong("bytes that are no MIDI arrive among the triggers; check the cable")
        return due

    def _due(self, stamp_ns: int, message: bytes) -> list[Due]:
        asked = self._machine(message) if message[0] == _SYSEX else self._played(message)
        return [Due(stamp_ns, order, by) for order, by in asked]

    def _only_stops(self, stamp_ns: int, data: bytes) -> list[Due]:
        self._flooded = True
        self._counts.left_aside += len(data)
        words = "more MIDI arrives among the triggers than four cables carry; nothing of it is obeyed but stops"
        self._complaints.tell("flood", f"{words}. Look for what sends so much")
        stops = [one for message in self._stops.find(data) for one in self._due(stamp_ns, message)]
        self._counts.orders += len(stops)
        return stops

    def troubles(self) -> tuple[str, ...]:
        """Return what the operator should know since the last call, in plain words."""
        return self._complaints.take()

    def _played(self, message: bytes) -> Iterator[tuple[Order, str]]:
        """Yield what a note or program change is mapped to. A note on with velocity 0 is a note off."""
        kind, channel = message[0] & 0xF0, message[0] & 0x0F
        order = self._orders.get((message[0], message[1])) if kind in (_NOTE_ON, _PROGRAM) else None
        if order is None or (kind == _NOTE_ON and message[2] == 0):
            self._counts.others += 1
            return
        yield order, f"{'note' if kind == _NOTE_ON else 'program'} {message[1]} on channel {channel + 1}"

    def _machine(self, message: bytes) -> Iterator[tuple[Order, str]]:
        asked = mmc.decode(message)
        if asked is None:
            self._counts.others += 1
            return
        if self._device is not None and asked.device not in (self._device, ALL_CALL):
            self._counts.elsewhere += 1
            words = f"MIDI Machine Control for device {asked.device} came, and this is device {self._device}"
            self._complaints.tell("elsewhere", f"{words}; nothing was done")
            return
        for command in asked.commands:
            order = self._locate(command) if isinstance(command, mmc.Locate) else _plain(command)
            if order is not None:
                yield order, f"MMC {command}"
            elif isinstance(command, mmc.Other):
                self._counts.others += 1
                words = f"MMC {command} is not obeyed; play, deferred play, stop, pause and locate to a time are"
                self._complaints.tell("other", words)
        if asked.fault:
            self._wrong(f"a MIDI Machine Control message cannot be read to its end: {asked.fault}")

    def _locate(self, asked: mmc.Locate) -> Order | None:
        """Return where our clock is to be set.

        There is no code for 48, 50 and 60: each frame of 24, 25 and 30 is two of theirs, exactly.
        """
        theirs, ours = _COUNTINGS[asked.rate], self._timebase.counting
        times, rest = divmod(ours.rate.nominal, theirs.rate.nominal)
        named = f"{theirs.rate.nominal} frames a second{' with drop-frame' if theirs.drop else ''}"
        if rest or theirs.drop != ours.drop:
            own = f"{ours.rate}{' with drop-frame' if ours.drop else ''}"
            self._wrong(f"MMC locate counts {named}, and the project {own}; set the sender to that. Nothing was done")
            return None
        part = Fraction(asked.subframes, 100)
        label = Timecode(asked.hours, asked.minutes, asked.seconds, asked.frames, part, theirs.drop)
        try:
            since_midnight = times * count(label, theirs)
        except ValueError as fault:
            self._wrong(f"MMC locate: {fault}; nothing was done")
            return None
        if times > 1:
            self._complaints.tell("rate", f"MMC locate counts {named}; each is {times} frames of the project")
        return Locate(float(self._timebase.rate.seconds(self._timebase.wrap(since_midnight))))

    def _wrong(self, words: str) -> None:
        self._counts.wrong += 1
        self._complaints.tell("wrong", words)


def _plain(command: Transport | mmc.Other) -> Order | None:
    return _TRANSPORT[command] if isinstance(command, Transport) else None
