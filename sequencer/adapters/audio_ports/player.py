"""Play samples at an instant, and say block by block where playback is. It opens no device: its `fill` is a Fill.

It never moves within what plays to make up for a gap: whoever follows hears of the gap by the stamps.
"""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from statistics import median

import numpy as np
from numpy.typing import NDArray

from sequencer.adapters.audio_ports.blocks import Samples
from sequencer.adapters.contract import Chunk
from sequencer.wire.played import Playing, packed

# Called like a Fill for a channel beside the music: the number of the block's first sample in the recording, which may
# lie before or after it, and what to fill (n,).
Generator = Callable[[int, Samples], None]

_FADE_S = 0.005
_KNOWN_AFTER = 31  # blocks; the stamps of the first dozen after opening are those of a device that does not play yet
_RECORDS_KEPT = 8192


@dataclass(frozen=True, slots=True, eq=False)
class _Start:
    at_ns: int
    sample: int | None  # None: where it stands
    whole: bool  # nothing may be left out


@dataclass(frozen=True, slots=True, eq=False)
class _Stand:
    sample: int | None  # None: where it is


class Player:
    """Playback of one recording. Orders come from one thread, `fill` is called in the card's.

    Shape: `samples` (n, channels), at `rate_hz`, which the output must run at; `channels` is how many it must have, the
    last of them for `generator` where there is one. Before its first sample and after its last one there is silence,
    in which the position runs on.
    """

    def __init__(self, samples: Samples, rate_hz: int, generator: Generator | None = None) -> None:
        self.channels = samples.shape[1] + (generator is not None)
        self._samples = samples
        self._rate_hz = rate_hz
        self._generator = generator
        self._order: _Start | _Stand = _Stand(0)
        self._obeyed: _Start | _Stand = self._order
        self._sample = 0  # at the beginning of the next block
        self._running = False
        self._faded_in = 0  # samples of the fade
        fade = max(1, round(_FADE_S * rate_hz))
        self._ramp = (np.sin(np.linspace(0, np.pi / 2, fade + 1)) ** 2).astype(np.float32)
        self._offsets_ns: deque[float] = deque(maxlen=_KNOWN_AFTER)
        self._records: deque[tuple[int, int, bool]] = deque(maxlen=_RECORDS_KEPT)

    def play(self, at_ns: int, sample: int | None = None) -> None:
        """Play so that `sample` leaves at `at_ns`; it may be negative: silence first.

        Where that is too soon for what is already on its way out, playback enters later, at the place where it would
        be by then. What plays already is faded out first.

        Without a sample it plays on from where it stands, later where it must, but then with nothing left out: the
        first note is the one that counts. What plays already, or is about to, is left alone.
        """
        order = self._order
        if sample is not None:
            self._order = _Start(at_ns, sample, whole=False)
        elif isinstance(order, _Stand):
            self._order = _Start(at_ns, order.sample, whole=True)

    def halt(self) -> None:
        """Fade out as soon as the device lets it, and stand there; what has not begun stands at its beginning."""
        order = self._order
        if isinstance(order, _Start):
            self._order = _Stand(None if order is self._obeyed else order.sample)

    def locate(self, sample: int) -> None:
        """Fade out what plays, and stand at `sample`."""
        self._order = _Stand(sample)

    def read(self, now_ns: int) -> tuple[Chunk, ...]:
        """Return where playback is, by a record Playing for each block filled since the last call.

        Its stamp is the instant at which the block's first sample is at the converter: mostly a little ahead.
        """
        taken = [self._records.popleft() for _ in range(len(self._records))]
        return tuple(
            Chunk(stamp_ns, packed(Playing(sample, self._rate_hz, running))) for stamp_ns, sample, running in taken
        )

    def fill(self, first: int, dac_ns: int, out: Samples) -> None:
        """Fill a block; see Fill."""
        self._offsets_ns.append(dac_ns - first * 1e9 / self._rate_hz)
        order = self._order
        if self._running:
            self._sound(out, self._sample)
            self._fade(out, 1 if order is self._obeyed else -1)
        elif isinstance(order, _Stand):
            self._stand(order)
        elif order is not self._obeyed:
            self._begin(order, first, out)
        self._records.append((dac_ns, self._sample, self._running))
        if self._running:
            self._sample += len(out)
            self._running = self._faded_in > 0

    def _stand(self, order: _Stand) -> None:
        if order is not self._obeyed and order.sample is not None:
            self._sample = order.sample
        self._obeyed = order

    def _begin(self, order: _Start, first: int, out: Samples) -> None:
        """Begin within this block if it is time; the median of the last blocks' stamps says when the block leaves."""
        if len(self._offsets_ns) < _KNOWN_AFTER:
            return
        leaves_ns = first * 1e9 / self._rate_hz + median(self._offsets_ns)
        wait = round((order.at_ns - leaves_ns) * self._rate_hz / 1e9)
        if wait >= len(out):
            return
        if order.whole:
            wait = max(wait, 0)
        self._obeyed = order
        self._running = True
        self._sample = (self._sample if order.sample is None else order.sample) - wait
        begun = out[max(wait, 0) :]
        self._sound(begun, self._sample + max(wait, 0))
        self._fade(begun, 1)

    def _sound(self, out: Samples, sample: int) -> None:
        """Put in what is to be heard from `sample` on."""
        begin = max(0, -sample)
        piece = self._samples[max(0, sample) : max(0, sample + len(out))]
        out[begin : begin + len(piece), : self._samples.shape[1]] = piece
        if self._generator is not None:
            self._generator(sample, out[:, -1])

    def _fade(self, out: Samples, way: int) -> None:
        """Raise or lower the music's gain from where it is, sample by sample, to its end."""
        whole = len(self._ramp) - 1
        if way > 0 and self._faded_in == whole:
            return
        steps: NDArray[np.intp] = np.clip(self._faded_in + way * np.arange(1, len(out) + 1), 0, whole)
        out[:, : self._samples.shape[1]] *= self._ramp[steps, None]
        self._faded_in = int(steps[-1])
