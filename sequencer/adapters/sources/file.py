"""A recording of linear timecode as a source: it plays in real time, for a rehearsal without a sound card.

It makes no sound, counts no frames and follows nobody. Its time is the monotonic clock's, from when it is first read.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl

import numpy as np

from sequencer.adapters.contract import Chunk, SourceKind
from sequencer.errors import LinkError
from sequencer.wire.ltc import Heard, packed
from sequencer.wire.ltc_reader import LtcReader

_MOST = {"channel": 256, "after": 3600}
_LEAST_SAMPLES = 256
_MOST_S = 1.0  # read in one go; a reader that was held up for longer catches up in the next ones
_FLUSH_S = 0.1  # of silence behind the end, so that the last word is handed over


class FileIn:
    """The recording that plays. Without a channel, it is the first one on which a word is read."""

    def __init__(self, address: str, file: Any, channel: int | None, after_s: float) -> None:
        self.address = address
        self._file = file
        self._rate_hz = int(file.samplerate)
        channels = range(file.channels) if channel is None else [channel - 1]
        self._readers = {number: LtcReader(self._rate_hz) for number in channels}
        self._after_ns = round(after_s * 1e9)
        self._began_ns: int | None = None
        self._read = 0  # samples
        self._notices: list[str] = []
        self._over = False

    def fileno(self) -> None:
        """Return None: a file is always readable."""

    def notices(self) -> tuple[str, ...]:
        """Return what happened since the last call, in words for the operator."""
        said, self._notices = tuple(self._notices), []
        return said

    def read(self, heard_ns: int) -> tuple[Chunk, ...]:
        """Return the words that have been played since the last call. Error: LinkError where it cannot be read on."""
        if self._began_ns is None:
            self._began_ns = heard_ns + self._after_ns
        due = (heard_ns - self._began_ns) * self._rate_hz // 1_000_000_000 - self._read
        if self._over or due < _LEAST_SAMPLES:
            return ()
        asked = min(due, round(_MOST_S * self._rate_hz))
        try:
            samples = self._file.read(asked, dtype="float32", always_2d=True)
        except RuntimeError as fault:
            raise LinkError(f"{self.address} cannot be read on ({fault}); export it again") from fault
        self._read += len(samples)
        if len(samples) < asked:
            self._over = True
            self._notices.append(f"the recording is over: {self.address}")
            silence = np.zeros((round(_FLUSH_S * self._rate_hz), samples.shape[1]), np.float32)
            samples = np.concatenate((samples, silence))
        return tuple(self._chunk(word, heard_ns) for word in self._words(samples))

    def _words(self, samples: Any) -> list[Heard]:
        for number, reader in self._readers.items():
            words = reader.feed(np.nan_to_num(samples[:, number]))
            if words:
                self._readers = {number: reader}
                return words
        return []

    def _chunk(self, word: Heard, heard_ns: int) -> Chunk:
        assert self._began_ns is not None
        zero, one, two, three, four = (self._began_ns + mark * 1e9 / self._rate_hz for mark in word.marks)
        return Chunk(heard_ns, packed(word._replace(marks=(zero, one, two, three, four)), heard_ns))


@contextmanager
def open_file(address: str) -> Iterator[FileIn]:
    """Open `file:PATH`, an audio file with linear timecode; `?channel=2&after=10` for one channel, and to begin later.

    Unit: `after` whole seconds. Error: LinkError where it is no such file, or has no such channel.
    """
    path, _, text = address.partition(":")[2].partition("?")
    given = dict(parse_qsl(text, keep_blank_values=True))
    for key, value in given.items():
        if key not in _MOST or not (value.isascii() and value.isdigit() and int(value) <= _MOST[key]):
            raise LinkError(f"{address!r}: {key}={value} is not understood; write it as file:PATH?channel=2&after=10")
    try:
        import soundfile
    except (ImportError, OSError) as fault:
        raise LinkError(
            f"audio files need the package soundfile and its library ({fault}); pip install soundfile"
        ) from fault
    if not Path(path).is_file():
        raise LinkError(f"there is no file {path!r}; write its path, as in file:takes/quay.wav")
    try:
        file = soundfile.SoundFile(path)
    except (RuntimeError, TypeError) as fault:
        raise LinkError(f"{path!r} is no audio file that can be read ({fault}); export it as WAV or FLAC") from fault
    with file:
        channel = int(given["channel"]) if "channel" in given else None
        if channel is not None and not 0 < channel <= file.channels:
            raise LinkError(f"{path!r} has {file.channels} channels, and none with the number {channel}; name another")
        try:
            playing = FileIn(f"file:{path}", file, channel, float(given.get("after", 0)))
        except ValueError as fault:
            raise LinkError(f"{path!r} cannot carry timecode: {fault}") from fault
        yield playing


KIND = SourceKind(schemes=("file",), blocks=True, open=open_file, names=lambda: (), carries="ltc")
