"""How loud the playback is along its time: the least and the largest sample of each stretch, coarse and fine.

It refuses to keep the samples.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np
from numpy.typing import NDArray

Floats32 = NDArray[np.float32]
Floats = NDArray[np.float64]

BASE = 256  # samples that the finest stretches have
FACTOR = 4  # how many stretches make one of the next coarser level


@dataclass(frozen=True, slots=True, eq=False)
class Waveform:
    """The extremes of a recording, all channels in one, level after level, the finest first.

    Shape: `low`, `high` per level (n,), where a stretch of level k has BASE * FACTOR**k samples; the last one of a
    level may have fewer. Full scale is 1.
    """

    samples: int
    rate_hz: int
    low: tuple[Floats32, ...]
    high: tuple[Floats32, ...]

    @property
    def lasts_s(self) -> float:
        return self.samples / self.rate_hz

    def columns(self, edge_s: Floats) -> tuple[Floats32, Floats32]:
        """Return the least and the largest sample between each edge and the next; 0 where there is no sound.

        Whole stretches count, of the coarsest level that has two in a column: nothing between the edges is left out,
        and less than that stretch beyond them is let in.
        Shape: `edge_s` (C+1,) rising, results (C,). Unit: seconds from the first sample.
        """
        count = len(edge_s) - 1
        low, high = np.zeros(count, np.float32), np.zeros(count, np.float32)
        if not self.samples or count < 1:
            return low, high
        a_column = (edge_s[-1] - edge_s[0]) * self.rate_hz / count
        level = 0
        while level + 1 < len(self.low) and 2 * BASE * FACTOR ** (level + 1) <= a_column:
            level += 1
        stretch, last = BASE * FACTOR**level, len(self.low[level])
        at = edge_s * self.rate_hz
        begin = np.floor(at[:-1] / stretch).astype(np.int64)
        end = np.maximum(begin + 1, np.ceil(at[1:] / stretch).astype(np.int64))
        there = np.flatnonzero((at[1:] > 0) & (at[:-1] < self.samples) & (begin < last) & (end > 0))
        if not len(there):
            return low, high
        begin, end = np.maximum(begin[there], 0), np.minimum(end[there], last)
        # reduceat wants pairs, and an end that is an index: one stretch more that nothing is read from
        pairs = np.stack((begin, end), axis=1).ravel()
        for out, all_of_it, least_or_most in ((low, self.low, np.minimum), (high, self.high, np.maximum)):
            out[there] = least_or_most.reduceat(np.append(all_of_it[level], np.float32(0)), pairs)[::2]
        return low, high


class Reading:
    """A waveform in the making: it is given samples as they are read."""

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self._samples = 0
        self._low: list[Floats32] = []
        self._high: list[Floats32] = []
        self._rest = np.empty((2, 0), np.float32)

    def add(self, samples: Floats32) -> None:
        """Take the next samples in; what is no number is silence. Shape: (n, channels)."""
        self._samples += len(samples)
        heard = samples if np.isfinite(samples).all() else np.nan_to_num(samples, posinf=1.0, neginf=-1.0)
        channels = list(heard.T)  # one after the other: to reduce rows of two takes ten times as long
        both = np.stack((reduce(np.minimum, channels), reduce(np.maximum, channels)))
        both = np.concatenate((self._rest, both), axis=1)
        whole = both.shape[1] // BASE * BASE
        self._rest = both[:, whole:]
        self._low.append(both[0, :whole].reshape(-1, BASE).min(axis=1))
        self._high.append(both[1, :whole].reshape(-1, BASE).max(axis=1))

    def done(self) -> Waveform:
        """Return the waveform of all that was added."""
        ends = self._rest[:, :0] if not self._rest.shape[1] else np.stack((self._rest[0].min(), self._rest[1].max()))
        ends = ends.reshape(2, -1)
        low = _levels(np.concatenate([*self._low, ends[0]]), np.minimum)
        high = _levels(np.concatenate([*self._high, ends[1]]), np.maximum)
        return Waveform(self._samples, self._rate_hz, tuple(low), tuple(high))


def _levels(finest: Floats32, least_or_most: np.ufunc) -> Sequence[Floats32]:
    levels = [finest.astype(np.float32)]
    while len(levels[-1]) > FACTOR:
        levels.append(least_or_most.reduceat(levels[-1], np.arange(0, len(levels[-1]), FACTOR)).astype(np.float32))
    return levels
