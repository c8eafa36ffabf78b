"""Linear timecode from an audio input of this machine: each word with the instants of its boundaries.

It counts no frames and follows nobody; what a word says is left to whoever does.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from urllib.parse import parse_qsl

from sequencer.adapters.audio_ports.devices import inputs
from sequencer.adapters.audio_ports.level import Level
from sequencer.adapters.audio_ports.streams import BLOCK, AudioIn, open_input
from sequencer.adapters.contract import Chunk, SourceKind
from sequencer.errors import LinkError
from sequencer.sync.samples import SampleClock
from sequencer.wire.ltc import Heard, packed
from sequencer.wire.ltc_reader import LtcReader

_RATE_HZ = 48_000
_MOST = {"channel": 256, "rate": 384_000}


@dataclass(frozen=True, slots=True)
class _Wanted:
    name: str
    channel: int
    rate_hz: int


def _wanted(address: str) -> _Wanted:
    """Return what `ltc:NAME?channel=2&rate=48000` asks for. Error: LinkError."""
    name, _, text = address.partition(":")[2].partition("?")
    given = dict(parse_qsl(text, keep_blank_values=True))
    for key, value in given.items():
        if key not in _MOST or not (value.isascii() and value.isdigit() and 0 < int(value) <= _MOST[key]):
            raise LinkError(f"{address!r}: {key}={value} is not understood; write it as ltc:NAME?channel=2&rate=48000")
    return _Wanted(name, int(given.get("channel", 1)), int(given.get("rate", _RATE_HZ)))


class LtcIn:
    """Timecode on one channel of an audio input."""

    def __init__(self, heard: AudioIn, channel: int, rate_hz: int) -> None:
        self.address = f"ltc:{heard.device.label}?channel={channel}&rate={rate_hz}"
        self._heard = heard
        self._channel = channel
        self._rate_hz = rate_hz
        self._clock = SampleClock(rate_hz, BLOCK)
        self._level = Level(rate_hz, f"timecode on channel {channel} of {heard.device.name!r}")
        self._reader = LtcReader(rate_hz)
        self._begin = self._next = 0  # the first sample that the reader was given, and the one that it waits for

    def fileno(self) -> None:
        """Return None: a sound card has no descriptor to wait on."""

    def notices(self) -> tuple[str, ...]:
        """Return what happened to the link since the last call, in words for the operator."""
        return self._heard.notices() + self._clock.troubles() + self._level.notices()

    def read(self, heard_ns: int) -> tuple[Chunk, ...]:
        """Return the words since the last call. Error: LinkError once the device has stopped."""
        chunks: list[Chunk] = []
        for first, stamp_ns, samples in self._heard.read(heard_ns):
            self._clock.feed(first, stamp_ns)
            if first != self._next:
                # what lies between was lost, and no word goes on across it
                self._reader, self._begin = LtcReader(self._rate_hz), first
            self._next = first + len(samples)
            words = self._reader.feed(samples[:, self._channel - 1])
            self._level.feed(samples[:, self._channel - 1], len(words))
            chunks += [self._chunk(word, heard_ns) for word in words]
        if not chunks:
            self._heard.check()
        return tuple(chunks)

    def _chunk(self, word: Heard, heard_ns: int) -> Chunk:
        clock, marks = self._clock, [self._begin + mark for mark in word.marks]
        zero, one, two, three, four = (float(clock.at_ns(mark)) for mark in marks)
        timed = word._replace(marks=(zero, one, two, three, four))
        return Chunk(heard_ns, packed(timed, heard_ns, clock.noise))


@contextmanager
def open_ltc(address: str) -> Iterator[LtcIn]:
    """Open `ltc:NAME`, the sound device whose name contains NAME (none: the system's default), or one of its channels.

    Error: LinkError where no device or more than one fits, or it cannot do the rate.
    """
    wanted = _wanted(address)
    with open_input(wanted.name, wanted.rate_hz, wanted.channel) as heard:
        yield LtcIn(heard, wanted.channel, wanted.rate_hz)


def names() -> tuple[str, ...]:
    """Return the addresses of the devices that can be recorded from. Error: LinkError where PortAudio is missing."""
    return tuple(f"ltc:{device.label}" for device in inputs())


KIND = SourceKind(schemes=("ltc",), blocks=True, open=open_ltc, names=names, carries="ltc")
