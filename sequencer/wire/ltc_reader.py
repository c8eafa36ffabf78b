"""Read linear timecode out of sound, block by block: samples in, words with the instants of their boundaries out.

It opens no sound card, counts no frames and does not say where the master is; what it cannot read for certain it does
not hand on. Words come out the same however the samples are split, since they are worked on in pieces of one length.

Source: textbook: linear-phase filters, changes of sign; `ltc_cells` for the words. Constants tuned by experiment.
"""

from math import inf, sqrt

import numpy as np
from numpy.typing import NDArray

from sequencer.wire.ltc import Heard
from sequencer.wire.ltc_cells import HALVES, Cells, Counts

_Floats = NDArray[np.float32]

_PIECE_S = 512 / 48_000  # half of it is spared by half as many calls, and costs 5 ms until a word is handed over
_SLOWEST_HZ, _FASTEST_HZ, _USUAL_HZ = 8.0, 80.0, 35.0  # words a second: what is read, and what is expected at first
_LEAST_HZ = 16_000  # samples a second
_BASELINE, _BASELINE_S = 5.5, 3e-3  # half bits, and at most: hum and offset are the signal's mean over this, each way
_SHARP = 0.6  # half bits to the foot of the low-pass
_RETUNE = 1.18  # the filter goes with the speed when it is off by more
SILENT = 10 ** (-70 / 20)
_ROW = 16  # samples filtered by one row of a product


class LtcReader:
    """Reads one channel. Unit: `rate_hz` samples a second; marks are samples from the first one fed, delay taken off.

    `piece_s` is the length of the pieces that are worked on; longer ones take less work and come later.
    Error: ValueError for fewer than 16,000 samples a second.
    """

    def __init__(self, rate_hz: float, *, piece_s: float = _PIECE_S) -> None:
        if not _LEAST_HZ <= rate_hz < inf:
            raise ValueError(f"timecode needs {_LEAST_HZ} samples a second or more, not {rate_hz:g}")
        shortest, usual, longest = (rate_hz / (HALVES * hz) for hz in (_FASTEST_HZ, _USUAL_HZ, _SLOWEST_HZ))
        self._cells = Cells(usual, shortest, longest)
        self._piece = round(piece_s * rate_hz / _ROW) * _ROW
        self._reach = round(_BASELINE_S * rate_hz)  # of the widest filter, each way
        self._retune(usual)
        self._held = np.zeros(2 * self._reach, np.float32)  # what the filter still needs, and what waits to be a piece
        self._first = -self._reach  # number of the first sample that is not filtered yet
        self._last = np.zeros(1, np.float32)  # filtered

    @property
    def counts(self) -> Counts:
        """Words so far, and what of them could not be used."""
        return self._cells.counts

    def feed(self, samples: NDArray[np.floating]) -> list[Heard]:
        """Return the words that the next samples complete, their marks in samples.

        Shape: `samples` (n,), full scale 1; any number of them.
        """
        held = np.concatenate((self._held, samples), dtype=np.float32)
        found: list[Heard] = []
        window = self._piece + 2 * self._reach
        at = 0
        while len(held) - at >= window:
            found += self._cells.feed(self._edges(held[at : at + window]))
            at += self._piece
        self._held = held[at:]
        return found

    def _retune(self, half: float) -> None:
        """Make the filter for a half bit of that length: a triangle less a wide raised cosine, both around zero."""
        reach = min(self._reach, round(_BASELINE * half))
        at = np.arange(-reach, reach + 1)
        low = np.clip(1 - np.abs(at) / (_SHARP * half), 0, None)
        base = 1 + np.cos(np.pi * at / (reach + 1))
        taps = low / low.sum() - base / base.sum()
        # one column for each sample of a row: a product of matrices filters faster than one sample after the other
        self._filter = np.zeros((len(taps) + _ROW - 1, _ROW), np.float32)
        for column in range(_ROW):
            self._filter[column : column + len(taps), column] = taps
        self._tuned = half
        self._spare = self._reach - reach  # samples at hand at each end that this filter does not need

    def _edges(self, samples: _Floats) -> list[float]:
        """Return where the next piece changes sign. Shape: `samples` (piece + 2 reach,), the newest of them last."""
        fresh = samples[-self._piece :]
        if not np.abs(fresh).max() < inf:
            np.nan_to_num(fresh, copy=False, nan=0.0, posinf=0.0, neginf=0.0)
        half = self._cells.half
        if not 1 / _RETUNE < half / self._tuned < _RETUNE:
            self._retune(half)
        rows, size = (self._piece // _ROW, len(self._filter)), samples.itemsize
        overlapping = np.ndarray(rows, np.float32, samples, size * self._spare, (size * _ROW, size))
        signal = np.concatenate((self._last, (overlapping @ self._filter).ravel()))
        self._last = signal[-1:]
        level = sqrt(float(np.vdot(signal, signal)) / self._piece)
        first, self._first = self._first - 1, self._first + self._piece
        if level < SILENT:
            return []
        up = signal > 0
        before = (up[1:] != up[:-1]).nonzero()[0]
        value = signal[before]
        edges: list[float] = (before + value / (value - signal[before + 1]) + first).tolist()
        return edges
