"""What goes through a sound card, block by block: the joint between whoever opens it and whoever fills or reads it."""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32]


class Block(NamedTuple):
    """One block that came in. Shape: `samples` (n, channels), full scale 1. `first` counts samples from the opening.

    `stamp_ns` is the monotonic instant at which the first sample was at the converter, as well as the system knows.
    """

    first: int
    stamp_ns: int
    samples: Samples


# Called in the card's own thread for each block that goes out, and never waits: the number of the block's first sample
# since the opening, the monotonic instant when that will be at the converter, and what to fill (n, channels), zeros.
Fill = Callable[[int, int, Samples], None]
