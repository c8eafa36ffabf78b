"""Counts how late ticks were and how long they worked, so that percentiles cost nothing in the tick."""

_BINS = 20_000


class Tally:
    """A histogram of one-microsecond bins; the last one holds all that is longer."""

    def __init__(self) -> None:
        self._bins = [0] * _BINS
        self._number = 0

    def add(self, ns: int) -> None:
        self._bins[min(max(ns, 0) // 1000, _BINS - 1)] += 1
        self._number += 1

    def percentiles(self, *parts: float) -> tuple[float, ...]:
        """Return the values below which each part in (0, 1] of all lies, to one microsecond. Unit: microseconds."""
        found = []
        for part in parts:
            wanted, seen = part * self._number, 0
            for value, count in enumerate(self._bins):
                seen += count
                if seen >= wanted:
                    found.append(float(value))
                    break
        return tuple(found)
