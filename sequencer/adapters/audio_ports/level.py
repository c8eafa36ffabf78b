"""What is wrong with the level of timecode on an audio input, in plain words. It hears no timecode itself.

Source: none; the thresholds are common practice.
"""

import numpy as np

from sequencer.adapters.audio_ports.blocks import Samples

_WINDOW_S = 0.5
_SILENT, _LOW = 10 ** (-60 / 20), 10 ** (-40 / 20)  # peaks, against full scale
_FULL, _CLIPPED = 0.999, 0.05  # a sample at the end of the scale, and how many are too many: of a sine 0.03 fit in


class Level:
    """Watches one channel. What is wrong is told once it has lasted for two windows, and again when it changes."""

    def __init__(self, rate_hz: float, what: str) -> None:
        self._window = round(_WINDOW_S * rate_hz)
        self._what = what
        self._told = ""  # what the operator knows; nothing is said of a good level at the start
        self._last = ""
        self._notices: list[str] = []
        self._begin()

    def _begin(self) -> None:
        self._count = self._full = self._words = 0
        self._peak = 0.0

    def feed(self, samples: Samples, words: int) -> None:
        """Take what came in, shape (n,), and how many words of timecode were read in it."""
        size = np.abs(samples)
        self._peak = max(self._peak, float(size.max(initial=0.0)))
        self._full += int(np.count_nonzero(size >= _FULL))
        self._count += len(samples)
        self._words += words
        if self._count >= self._window:
            self._judge()
            self._begin()

    def _judge(self) -> None:
        if self._peak < _SILENT:
            now = "silent"
        elif self._full > _CLIPPED * self._count:
            now = "clipped"
        elif self._peak < _LOW:
            now = "low"
        else:
            now = "" if self._words else "strange"
        if now == self._last and now != self._told:
            self._told = now
            self._notices.append(_words(self._what, now))
        self._last = now

    def notices(self) -> tuple[str, ...]:
        """Return what is to be told since the last call."""
        said, self._notices = tuple(self._notices), []
        return said


def _words(what: str, now: str) -> str:
    """Return how it sounds, with the mend."""
    match now:
        case "silent":
            return f"{what} is silent; check the cable, the input's gain, and that the channel is the one with timecode"
        case "low":
            return f"{what} is very low; turn it up where it comes from, or raise the input's gain"
        case "clipped":
            return f"{what} is clipped; turn it down where it comes from, or lower the input's gain"
        case "strange":
            return f"{what} carries sound but no timecode that can be read; check that the channel is the one with it"
    return f"{what} is heard at a good level"
