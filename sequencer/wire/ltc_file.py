"""Read linear timecode out of a whole recording: every word in it, and the places where there is none, and why.

It opens no file: samples come as arrays, in one or in pieces. What the words say is for `ltc_rate`.

Source: `ltc_reader` does the reading, in longer pieces than from a wire, where nobody waits.
"""

from collections.abc import Iterable, Iterator
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from sequencer.wire.ltc import Heard
from sequencer.wire.ltc_cells import Counts
from sequencer.wire.ltc_reader import SILENT, LtcReader

_Flags = NDArray[np.bool_]

_PIECE_S = 1024 / 48_000
_FLUSH_S = 0.1  # of silence behind the last sample, so that its word is handed over
_BLOCK_S = 0.01  # in which silence and clipping are looked for
_FULL = 0.999  # of full scale: a sample that was clipped
_GAP = 0.5  # of a word: more between two words is a stretch without any
_TOGETHER = 10  # blocks: clipping that returns within these is one place


class Place(NamedTuple):
    """Something wrong in a recording, in plain words. Unit: samples from its beginning."""

    kind: str
    words: str
    first: float
    last: float


class Recording(NamedTuple):
    """All that was read, in the order in which it was heard. `samples` is its length."""

    heard: tuple[Heard, ...]
    places: tuple[Place, ...]
    counts: Counts
    samples: int


def read(pieces: Iterable[NDArray[np.floating]], rate_hz: float) -> Recording:
    """Read one channel of a recording.

    Shape: each piece (n,), full scale 1, any number of samples. Unit: `rate_hz` samples a second.
    Error: ValueError for a rate too low for timecode.
    """
    reader = LtcReader(rate_hz, piece_s=_PIECE_S)
    look = _Look(round(_BLOCK_S * rate_hz))
    heard: list[Heard] = []
    samples = 0
    for piece in pieces:
        heard += reader.feed(piece)
        look.at(piece)
        samples += len(piece)
    heard += reader.feed(np.zeros(round(_FLUSH_S * rate_hz), np.float32))
    places = [*_stretches(heard, samples, rate_hz, look), *look.clippings()]
    return Recording(tuple(heard), tuple(sorted(places, key=lambda place: place.first)), reader.counts, samples)


def span(heard: Heard) -> tuple[float, float]:
    """Return when a word began and ended to be heard, whatever way it ran."""
    begin, end = sorted((heard.marks[0], heard.marks[-1]))
    return begin, end


def _stretches(heard: list[Heard], samples: int, rate_hz: float, look: "_Look") -> Iterator[Place]:
    """Find what lies between words, before the first and after the last."""
    spans = [(0.0, 0.0), *(span(one) for one in heard), (float(samples), float(samples))]
    lengths = [end - begin for begin, end in spans if end > begin]
    for at, ((_, first), (last, _)) in enumerate(pairwise(spans)):
        # at either end of a recording a word may have been cut
        length = lengths[min(at, len(lengths) - 1)] if lengths else 0.0
        whole = 1.0 if at in (0, len(lengths)) else _GAP
        if last - first <= max(whole * length, 1.0):
            continue
        lasts = f"for {(last - first) / rate_hz:.2f} s"
        if look.quiet(first, last):
            yield Place("silent", f"silence {lasts}", first, last)
        else:
            yield Place("unread", f"sound without timecode that can be read {lasts}", first, last)


class _Look:
    """Where a recording is silent, and where it is clipped."""

    def __init__(self, block: int) -> None:
        self._block = block
        self._loose = np.zeros(0, np.float32)  # not a whole block yet
        self._silent: list[_Flags] = []
        self._clipped: list[NDArray[np.int64]] = []

    def at(self, samples: NDArray[np.floating]) -> None:
        """Take the next samples."""
        samples = np.concatenate((self._loose, samples), dtype=np.float32)
        whole = len(samples) // self._block * self._block
        blocks = samples[:whole].reshape(-1, self._block)
        self._loose = samples[whole:]
        self._silent.append(np.ptp(blocks, axis=1) < 2 * SILENT)  # whatever the offset
        self._clipped.append(np.count_nonzero(np.abs(blocks) >= _FULL, axis=1))

    def quiet(self, first: float, last: float) -> bool:
        """Say whether most of a stretch is silent."""
        silent = np.concatenate([*self._silent, np.zeros(1, np.bool_)])
        part = silent[int(first / self._block) : int(last / self._block) + 1]
        return bool(np.mean(part) > 0.5)

    def clippings(self) -> Iterator[Place]:
        """Return where samples stand at full scale."""
        clipped = np.concatenate([*self._clipped, np.zeros(1, np.int64)])
        blocks = clipped.nonzero()[0]
        if not len(blocks):
            return
        for run in np.split(blocks, (np.diff(blocks) > _TOGETHER).nonzero()[0] + 1):
            number = int(clipped[run].sum())
            first, last = int(run[0]) * self._block, (int(run[-1]) + 1) * self._block
            yield Place("clipped", f"{number} samples at full scale: it was recorded too loud", first, last)
