"""Sound that says in each of its samples which one it is, so that a recording of it shows every slip.

It takes two channels, at full volume and at one sample rate: sixteen bits each way.
"""

import numpy as np
from numpy.typing import NDArray

from sequencer.adapters.audio_ports.blocks import Samples

_LOW = 14  # bits in the first channel
_SCALE = 1 << 15


def coded(numbers: NDArray[np.int64]) -> Samples:
    """Return the samples of these numbers from 0 to 2**28. Shape: (n,) to (n, 2)."""
    low, high = numbers & ((1 << _LOW) - 1), numbers >> _LOW
    return (np.stack((low, high), axis=1) / _SCALE).astype(np.float32)


def numbers(samples: Samples) -> NDArray[np.int64]:
    """Return which samples these are. Shape: (n, 2) to (n,)."""
    low, high = np.rint(samples.astype(np.float64) * _SCALE).astype(np.int64).T
    found: NDArray[np.int64] = low + (high << _LOW)
    return found
