"""A painted picture that can be scrolled: what is shifted is not moved in memory, only its beginning is elsewhere.

It refuses to know what is painted.
"""

import numpy as np
from numpy.typing import NDArray
from PyQt6.QtGui import QImage

from ui.timeline import ink

Pixels = NDArray[np.uint32]

_ROOM = 1 << 17  # pixels to both sides, at least: so far it is scrolled before anything is moved


class Roll:
    """`image` to paint on, and the same memory as `pixels`. Shape: (rows, columns)."""

    def __init__(self, wide: int, high: int, ratio: float) -> None:
        self.ratio = ratio
        self._shape = high, wide
        self._room = max(_ROOM, wide)
        self._memory: Pixels = np.zeros(high * wide + 2 * self._room, np.uint32)
        self._begin = self._room
        self._show()

    @property
    def size(self) -> tuple[int, int]:
        """How wide and how high it is. Unit: pixels of the screen."""
        return self._shape[1], self._shape[0]

    def shift(self, columns: int, still: int) -> None:
        """Shift the picture to the left by so many columns, or to the right by minus as many; the first `still` stay.

        What comes in sight at the edge is not painted yet. Error: ValueError for more columns than there are.
        """
        if abs(columns) > self._shape[1]:
            raise ValueError(f"the picture has {self._shape[1]} columns and cannot be shifted by {columns}")
        kept = self.pixels[:, :still].copy()
        if not 0 <= self._begin + columns <= 2 * self._room:
            size = self.pixels.size
            self._memory[self._room : self._room + size] = self.pixels.copy().ravel()
            self._begin = self._room
        # a row runs over into the next one: what leaves it at one edge is what must be painted at the other
        self._begin += columns
        self._show()
        self.pixels[:, :still] = kept

    def _show(self) -> None:
        high, wide = self._shape
        self.pixels = self._memory[self._begin : self._begin + high * wide].reshape(high, wide)
        self.image = ink.image(self.pixels, QImage.Format.Format_RGB32)
        self.image.setDevicePixelRatio(self.ratio)
