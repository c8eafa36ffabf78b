"""What MIDI bytes tell: timecode, clock, and every other message by its kind, also what this program has no use for.

It follows no master and gives no orders.

Source: MIDI 1.0 Detailed Specification for the messages and for 24 clock ticks in a quarter note.
"""

from collections import deque
from dataclasses import replace

import numpy as np
from mido.messages import Message

from sequencer.sync.address import CODE_NAMES
from sequencer.sync.facts import Fact, Facts, Values, rate_words, shown, told_time
from sequencer.sync.tracks import COUNTINGS, Track, Tracks
from sequencer.wire import mmc
from sequencer.wire.midi import Messages
from sequencer.wire.mtc import Address, QuarterFrame, Reader

_TICKS_A_QUARTER = 24
_TICKS_KEPT = 4 * _TICKS_A_QUARTER + 1
_TICKS_NEEDED = 7
_TICK_PAUSE_NS = 500_000_000  # a tick of 5 beats a minute: slower is no tempo
_CLOCK, _START, _CONTINUE, _STOP, _SENSING, _RESET = 0xF8, 0xFA, 0xFB, 0xFC, 0xFE, 0xFF
_REALTIME = {_START: "start", _CONTINUE: "continue", _STOP: "stop"}
_SYSEX = 0xF0


class ClockTicks:
    """MIDI clock: the tempo from the newest ticks. Source: MIDI 1.0, 24 ticks in a quarter note."""

    def __init__(self) -> None:
        self._stamps: deque[int] = deque(maxlen=_TICKS_KEPT)
        self.count = 0

    @property
    def newest_ns(self) -> int:
        return self._stamps[-1]

    def feed(self, stamp_ns: int) -> None:
        if self._stamps and stamp_ns - self._stamps[-1] > _TICK_PAUSE_NS:
            self._stamps.clear()
        self._stamps.append(stamp_ns)
        self.count += 1

    def bpm(self, now_ns: int) -> float | None:
        """Return quarter notes a minute, or None where no tempo is heard now."""
        if len(self._stamps) < _TICKS_NEEDED or now_ns - self._stamps[-1] > _TICK_PAUSE_NS:
            return None
        seconds = (np.array(self._stamps) - self._stamps[0]) / 1e9
        slope = float(np.polyfit(np.arange(len(seconds)), seconds, 1)[0])
        return 60 / (_TICKS_A_QUARTER * slope) if slope > 0 else None

    def fact(self, now_ns: int) -> Fact:
        bpm = self.bpm(now_ns)
        words = "stopped" if now_ns - self.newest_ns > _TICK_PAUSE_NS else "begins"
        values: Values = {} if bpm is None else {"bpm": round(bpm, 2)}
        words = words if bpm is None else f"{bpm:.1f} BPM"
        return Fact(what="MIDI clock", words=words, count=self.count, at_ns=self.newest_ns, values=values)


class MidiEar:
    """Hears MIDI bytes: timecode, clock, and every other message by its kind."""

    def __init__(self) -> None:
        self._messages = Messages()
        self._timecode = Reader()
        self._tracks = Tracks()
        self._ticks = ClockTicks()
        self._full: Fact | None = None
        self._others = Facts()
        self._quarter_ns = 0

    def feed(self, stamp_ns: int, data: bytes) -> None:
        for byte in data:
            if byte >= _CLOCK:
                self._realtime(byte, stamp_ns)
        garbage = self._messages.garbage
        for message in self._messages.feed(data):
            time = self._timecode.feed(message)
            if not time:
                self._other(message, stamp_ns)
            for one in time:
                if isinstance(one, QuarterFrame):
                    self._quarter_ns = stamp_ns
                    self._tracks.feed(stamp_ns / 1e9, one)
                else:
                    self._stands(one.address, stamp_ns)
        if self._messages.garbage > garbage:
            self._others.first("no MIDI", data, stamp_ns, wrong=True)

    def _stands(self, address: Address, stamp_ns: int) -> None:
        count = 1 + (self._full.count if self._full else 0)
        counting = COUNTINGS[address.rate]
        mark = ";" if counting.drop else ":"
        at = f"{address.hours:02}:{address.minutes:02}:{address.seconds:02}{mark}{address.frames:02}"
        words = f"{CODE_NAMES[address.rate]}, stands at {at} (full frame)"
        self._full = Fact(what="MTC", words=words, count=count, at_ns=stamp_ns, values={"timecode": at})

    def _realtime(self, byte: int, stamp_ns: int) -> None:
        if byte == _CLOCK:
            self._ticks.feed(stamp_ns)
        elif byte in _REALTIME:
            self._others.add("MIDI clock message", _REALTIME[byte], stamp_ns)
        elif byte != _SENSING:
            self._others.first("reset" if byte == _RESET else "undefined message", bytes((byte,)), stamp_ns)

    def _other(self, message: bytes, stamp_ns: int) -> None:
        if message[0] != _SYSEX:
            self._others.add(*_message_words(message), stamp_ns)
            return
        asked = mmc.decode(message)
        if asked is None:
            self._others.first("system exclusive", message, stamp_ns)
            return
        words = ", ".join(_command_words(command) for command in asked.commands)
        told = f"{words}{'; ' if words and asked.fault else ''}{asked.fault} (device {asked.device})"
        self._others.add("machine control", told, stamp_ns, {"device": asked.device}, wrong=bool(asked.fault))

    def facts(self, now_ns: int) -> tuple[Fact, ...]:
        ticks = (self._ticks.fact(now_ns),) if self._ticks.count else ()
        return (*self._time(now_ns), *ticks, *self._others.all())

    def _time(self, now_ns: int) -> tuple[Fact, ...]:
        """Return the facts about timecode: what runs, else what stands, else what ran."""
        tracks = self._tracks
        full = () if self._full is None else (self._full,)
        if not tracks.pieces:
            return full
        running = tracks.running(now_ns / 1e9)
        facts = [self._track(track) for track in running]
        if len(running) > 1:
            words = f"{len(running)} at once on this port; let one master send at a time"
            facts.append(replace(facts[0], what="two timecodes", words=words, values={}, wrong=True))
        if tracks.copies * 4 > tracks.pieces:
            words = "each quarter frame comes more than once; look for a loop or two cables of one master"
            facts.append(Fact(what="copies", words=words, count=tracks.copies, at_ns=self._quarter_ns, wrong=True))
        if running:
            return (*facts, *full)
        if tracks.latest is None:
            words = "quarter frames that make no time yet"
            return (Fact(what="MTC", words=words, count=tracks.pieces, at_ns=self._quarter_ns), *facts, *full)
        return (*full, self._stopped(tracks.latest), *facts)

    def _track(self, track: Track) -> Fact:
        assert track.counting is not None
        words, values = told_time(str(track.label), track.counting, track.pace)
        at_ns = round(track.newest_s * 1e9)
        return Fact(what="MTC", words=words, count=self._tracks.pieces, at_ns=at_ns, values=values)

    def _stopped(self, track: Track) -> Fact:
        assert track.counting is not None
        words = f"{rate_words(track.counting, track.pace)}, stopped at {track.label}"
        values = {"timecode": str(track.label)}
        at_ns = round(track.newest_s * 1e9)
        return Fact(what="MTC", words=words, count=self._tracks.pieces, at_ns=at_ns, values=values)


def _message_words(token: bytes) -> tuple[str, str]:
    """Return the kind of a short message and its words, numbers as on the wire but for the channel, from 1."""
    message = Message.from_bytes(list(token))
    channel = f" channel {message.channel + 1}" if token[0] < _SYSEX else ""
    match message.type:
        case "note_on" if message.velocity:
            return "note", f"{message.note}{channel}, velocity {message.velocity}"
        case "note_on" | "note_off":
            return "note off", f"{message.note}{channel}"
        case "program_change":
            return "program", f"{message.program}{channel}"
        case "control_change":
            return "controller", f"{message.control}{channel}, value {message.value}"
        case "pitchwheel":
            return "pitch bend", f"{message.pitch}{channel}"
        case "songpos":
            return "song position", f"{message.pos} (sixteenth notes)"
        case "song_select":
            return "song", str(message.song)
        case other:
            return other.replace("_", " "), f"{shown(token)}{channel}"


def _command_words(command: mmc.Command) -> str:
    if not isinstance(command, mmc.Locate):
        return str(command)
    mark = ";" if COUNTINGS[command.rate].drop else ":"
    return f"locate {command.hours:02}:{command.minutes:02}:{command.seconds:02}{mark}{command.frames:02}"
