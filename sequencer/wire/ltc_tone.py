"""The sound of linear timecode: words as biphase-mark tone, at any speed either way, sample by sample.

It counts no frames, it is told the word of each; it opens no sound card and keeps no clock. The tone is a function of
the position alone, so that calls in a row join without a click wherever the caller's positions do.

Source: SMPTE ST 12-1, linear time code: biphase mark, an edge at the start of each bit and a second one in the middle
of a 1; rise and fall times of 40 us, give or take 10 (as libltc states them, not checked against the standard).
"""

from collections.abc import Callable
from math import asin, pi

import numpy as np
from numpy.typing import NDArray

_HALVES = 160  # half bits in a word
_RISE_S = 40e-6  # from 10 to 90 percent
_EDGE_S = _RISE_S * pi / (2 * asin(0.8))  # the whole of an edge that is half a sine
_KEEP = 64  # words ready at hand

_Levels = NDArray[np.float64]


class Tone:
    """Linear timecode as sound. `word` gives the ten bytes of each frame number; any number may be asked for.

    Unit: `level_db` of the flat tops, against full scale.
    """

    def __init__(self, word: Callable[[int], bytes], *, level_db: float = -6.0) -> None:
        if level_db > 0:
            raise ValueError(f"a level of {level_db} dB would clip; full scale is 0 dB")
        self._word = word
        self._top = 10 ** (level_db / 20)
        self._known: dict[int, _Levels] = {}

    def render(self, position: float, frames_hz: float, rate_hz: float, out: NDArray[np.float32]) -> None:
        """Fill `out` with the tone from `position` on; a master that stands gives silence.

        Shape: `out` (n,). Unit: `position` in frames, frame n running from n to n + 1; `frames_hz` frames a second,
        negative backward; `rate_hz` samples a second.
        """
        if frames_hz == 0 or not len(out):
            out[:] = 0
            return
        at = (position + np.arange(len(out)) * (frames_hz / rate_hz)) * _HALVES
        edge = np.rint(at)  # the half bit whose start is nearest
        ends = sorted((int(edge[0]), int(edge[-1])))
        first = (ends[0] - 1) // _HALVES
        levels = np.concatenate([self._levels(number) for number in range(first, ends[1] // _HALVES + 1)])
        after = edge.astype(np.int64) - first * _HALVES
        before, behind = levels[after - 1], levels[after]
        # an edge takes its time whatever the speed, but never longer than half a bit
        steep = pi * max(1 / (_EDGE_S * abs(frames_hz) * _HALVES), 1.0)
        turn = np.sin(np.clip((at - edge) * steep, -pi / 2, pi / 2))
        out[:] = (before + behind + (behind - before) * turn) * (self._top / 2)

    def _levels(self, number: int) -> _Levels:
        """Return the polarity of the half bits of a frame, +1 or -1, which begins as every other frame does."""
        known = self._known.get(number)
        if known is None:
            if len(self._known) >= _KEEP:
                self._known.clear()
            bits = np.unpackbits(np.frombuffer(self._word(number), np.uint8), bitorder="little")
            edges = np.ones(_HALVES, np.int64)
            edges[1::2] = bits
            known = self._known[number] = np.where(np.cumsum(edges) % 2, 1.0, -1.0)
        return known
