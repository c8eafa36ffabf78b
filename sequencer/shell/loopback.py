"""How late time comes through a loop: timecode goes out at known instants, and is heard as a take would hear it.

A loop measures the way out and the way in together; it cannot say which part belongs to which.
"""

import time
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

import numpy as np

from sequencer.adapters.audio_ports.blocks import Samples
from sequencer.adapters.audio_ports.devices import find, outputs
from sequencer.adapters.audio_ports.streams import AudioOut, best_rate, open_output
from sequencer.adapters.contract import Source
from sequencer.adapters.midi_ports.outs import SCHEMES, open_out
from sequencer.adapters.midi_ports.systems import MidiOut
from sequencer.errors import LinkError
from sequencer.shell.kinds import open_source
from sequencer.sync.address import mtc_rate, running
from sequencer.timebase.timecode import Counting, Timecode, count, label
from sequencer.wire.ltc import unpacked
from sequencer.wire.ltc_tone import Tone
from sequencer.wire.ltc_word import NOMINALS, Word, encode
from sequencer.wire.ltc_word import decode as decode_word
from sequencer.wire.mtc import QuarterFrame, Reader

_POLL_NS = 1_000_000
_SETTLE_NS = 500_000_000  # before the first message: ports are joined, and clocks of drivers known
_LEAD_IN_NS = 200_000_000
_LEAD_IN_AUDIO_NS = 1_000_000_000
_LATEST_NS = 1_000_000_000  # after this a message is lost
_EARLY_NS = 5_000_000  # by which a stamp may lie before the instant of sending: two clocks are compared
_EARLY_AUDIO_NS = 200_000_000  # sound cards may be wrong by more than the loop is long
_AHEAD = 16  # messages in a row that may be lost before one that is heard
_HOUR = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class Loop:
    """What a loop did to timecode. `strange` counts what was heard and never sent, `held_up` what this machine was too
    busy to send in time, which counts for nothing else.

    Unit: milliseconds from sending to the stamp on arrival; `frame_ms` the length of a frame.
    """

    source: Literal["mtc", "ltc"]
    frame_ms: float
    sent: int
    lost: int
    strange: int
    held_up: int
    mean_ms: float
    sd_ms: float
    p99_ms: float
    latest_ms: float


class Matched:
    """Finds for each message that is heard the one that was sent, and so its delay. A wire keeps the order.

    What went out before the first that came back, and for `lead_in_ns` after it, does not count: ports are being
    joined, a card wakes up, and clocks of drivers are not known yet.
    """

    def __init__(self, lead_in_ns: int, early_ns: int = _EARLY_NS) -> None:
        self._lead_in_ns = lead_in_ns
        self._early_ns = early_ns
        self._from_ns: int | None = None
        self._waiting: deque[tuple[int, bytes, bool]] = deque()
        self.delays_ns: list[int] = []
        self.lost = 0
        self.held_up = 0
        self.strange = 0

    @property
    def waits(self) -> bool:
        """Whether something that went out has not come back."""
        return bool(self._waiting)

    def send(self, at_ns: int, data: bytes, in_time: bool = True) -> None:
        """Take note that `data` went out at `at_ns`, or later than that where it is not `in_time`."""
        self.held_up += not in_time
        self._waiting.append((at_ns, data, in_time))

    def hear(self, stamp_ns: int, data: bytes) -> None:
        """Take note that `data` came in at `stamp_ns`."""
        begun = self._from_ns is not None
        while begun and self._waiting and self._waiting[0][0] < stamp_ns - _LATEST_NS:
            self._lose()
        for missed, (at_ns, sent, in_time) in enumerate(self._waiting):
            if (begun and missed == _AHEAD) or at_ns > stamp_ns + self._early_ns:
                break
            if sent == data:
                if self._from_ns is None:
                    self._from_ns = at_ns + self._lead_in_ns
                for _ in range(missed):
                    self._lose()
                self._waiting.popleft()
                if in_time and at_ns >= self._from_ns:
                    self.delays_ns.append(stamp_ns - at_ns)
                return
        self.strange += 1

    def _lose(self) -> None:
        at_ns, _, in_time = self._waiting.popleft()
        self.lost += in_time and self._from_ns is not None and at_ns >= self._from_ns

    def result(self, source: Literal["mtc", "ltc"], counting: Counting) -> Loop:
        """Return what the loop did, when nothing more can come. Error: LinkError where nothing came back."""
        if not self.delays_ns:
            other = " although other timecode came; let nobody else send there" if self.strange else ""
            raise LinkError(
                f"nothing that was sent came back{other}; join the output to the input, by a cable or in the "
                f"system's own connections, and look at the input with: twintake ports --watch"
            )
        while self._waiting:
            self._lose()
        delays_ms = np.array(self.delays_ns) / 1e6
        return Loop(
            source=source,
            frame_ms=float(counting.rate.seconds(1)) * 1000,
            sent=len(delays_ms) + self.lost,
            lost=self.lost,
            strange=self.strange,
            held_up=self.held_up,
            mean_ms=float(delays_ms.mean()),
            sd_ms=float(delays_ms.std()),
            p99_ms=float(np.percentile(delays_ms, 99)),
            latest_ms=float(delays_ms.max()),
        )


def check_rate(out: str, counting: Counting) -> None:
    """Refuse a rate that the timecode of `out` cannot carry. Error: ValueError."""
    if not out.startswith("ltc:"):
        mtc_rate(counting)
    elif counting.rate.nominal not in NOMINALS:
        raise ValueError(f"linear timecode has no {counting.rate} frames a second; take half of it")


def measure(out: str, into: str, counting: Counting, seconds: float) -> Loop:
    """Send timecode out of `out` and hear it at `into` for so many seconds; return what came of it.

    `out` is `midi:NAME`, `virtual:NAME`, `rtmidi:NAME`, `pipe:PORT` or `ltc:DEVICE`; `into` the address of a source.
    Error: LinkError where a port cannot be opened, or nothing comes back; ValueError from `check_rate`.
    """
    check_rate(out, counting)
    scheme, _, device = out.partition(":")
    with ExitStack() as stack:
        if scheme == "ltc":
            rate_hz = best_rate(find(device, outputs(), "output"), "output")
            whole_s = Fraction(seconds) + Fraction(_LEAD_IN_AUDIO_NS, 1_000_000_000)
            playing = _Playing(counting, rate_hz, int(counting.rate.frames(whole_s)))
            source = stack.enter_context(open_source(into))
            card = stack.enter_context(open_output(device, rate_hz, 1, playing.fill))
            return _run_ltc(card, source, playing).result("ltc", counting)
        if scheme not in SCHEMES:
            raise LinkError(f"{out!r} is no output of timecode; it must begin with {': or '.join(SCHEMES)}: or ltc:")
        port, source = _both(stack, lambda: open_out(out), lambda: open_source(into), scheme in ("virtual", "rtmidi"))
        return _run_mtc(port, source, counting, seconds).result("mtc", counting)


def _both(
    stack: ExitStack,
    out: Callable[[], AbstractContextManager[MidiOut]],
    into: Callable[[], AbstractContextManager[Source]],
    out_first: bool,
) -> tuple[MidiOut, Source]:
    """Open both ends: first the one that the other one is to find."""
    if out_first:
        port = stack.enter_context(out())
        return port, stack.enter_context(into())
    source = stack.enter_context(into())
    return stack.enter_context(out()), source


def _start_frame(counting: Counting) -> int:
    return int(count(Timecode(_HOUR, 0, 0, 0, drop=counting.drop), counting))


def _due(counting: Counting, begin_ns: int, seconds: float) -> Iterator[tuple[int, bytes]]:
    """Yield each quarter frame with its instant."""
    first = _start_frame(counting)
    gap_ns = counting.rate.seconds(1) * 1_000_000_000 / 4
    for quarter, data in running(counting, first):
        at_ns = begin_ns + round((quarter - 4 * first) * gap_ns)
        if at_ns > begin_ns + seconds * 1e9:
            return
        yield at_ns, data


def _run_mtc(port: MidiOut, source: Source, counting: Counting, seconds: float) -> Matched:
    matched, reader = Matched(_LEAD_IN_NS), Reader()
    coming = _due(counting, time.monotonic_ns() + _SETTLE_NS, seconds + _LEAD_IN_NS / 1e9)
    following = next(coming, None)
    give_up_ns = 0
    while following is not None or (matched.waits and time.monotonic_ns() < give_up_ns):
        now_ns = time.monotonic_ns()
        while following is not None and following[0] - port.ahead_ns <= now_ns:
            due_ns, data = following
            # a port that sends at once sends now, not when it was due; another one needs about half of its lead
            if port.ahead_ns:
                matched.send(due_ns, data, in_time=due_ns - now_ns > port.ahead_ns // 2)
            else:
                matched.send(time.monotonic_ns(), data)
            port.send(data, due_ns)
            following = next(coming, None)
            give_up_ns = due_ns + _LATEST_NS
        for chunk in source.read(time.monotonic_ns()):
            for message in reader.feed(chunk.data):
                if isinstance(message, QuarterFrame):
                    matched.hear(chunk.stamp_ns, message.data())
        wake_ns = now_ns + _POLL_NS
        if following is not None:
            wake_ns = min(wake_ns, following[0] - port.ahead_ns)
        time.sleep(max(0, wake_ns - time.monotonic_ns()) / 1e9)
    return matched


class _Playing:
    """Fills a sound card's blocks with so many frames of linear timecode, and remembers when each one began."""

    def __init__(self, counting: Counting, rate_hz: int, frames: int) -> None:
        self._counting = counting
        self._rate_hz = rate_hz
        self._frames = frames
        self._start = _start_frame(counting)
        self._tone = Tone(self._word)
        self._blocks: deque[tuple[int, int, int]] = deque()
        self._next = 0
        self.ended_ns: int | None = None

    def _word(self, number: int) -> bytes:
        at = label(number, self._counting)
        word = Word(at.hours, at.minutes, at.seconds, at.frames, drop=at.drop)
        return encode(word, self._counting.rate.nominal)

    def fill(self, first: int, stamp_ns: int, out: Samples) -> None:
        """Fill a block; called in the card's thread."""
        hz = float(self._counting.rate.fraction)
        place = first * hz / self._rate_hz
        # half a frame more: the edge after the last word ends it
        if place < self._frames + 0.5:
            self._tone.render(self._start + place, hz, self._rate_hz, out[:, 0])
        self._blocks.append((first, stamp_ns, len(out)))

    def starts(self) -> Iterator[tuple[int, bytes]]:
        """Yield when each frame began whose block has been filled since the last call, and its word."""
        while self._blocks:
            first, stamp_ns, length = self._blocks.popleft()
            while (sample := self._counting.rate.seconds(self._next) * self._rate_hz) < first + length:
                at_ns = stamp_ns + round((sample - first) * 1_000_000_000 / self._rate_hz)
                if self._next == self._frames:
                    self.ended_ns = at_ns
                    return
                yield at_ns, self._word(self._start + self._next)
                self._next += 1


def _run_ltc(card: AudioOut, source: Source, playing: _Playing) -> Matched:
    matched = Matched(_LEAD_IN_AUDIO_NS, _EARLY_AUDIO_NS)
    while playing.ended_ns is None or (matched.waits and time.monotonic_ns() < playing.ended_ns + _LATEST_NS):
        card.check()
        for at_ns, bits in playing.starts():
            matched.send(at_ns, _named(bits))
        for chunk in source.read(time.monotonic_ns()):
            heard = unpacked(chunk.data).heard
            matched.hear(chunk.stamp_ns + round(heard.marks[0]), _named(heard.bits))
        time.sleep(_POLL_NS / 1e9)
    return matched


def _named(bits: bytes) -> bytes:
    """Return a word's label, whatever else a wire may have done to its bits."""
    return str(decode_word(bits)).encode("ascii")
