"""Shift keys in time, in value, or both. It refuses to shift a key past one that stays."""

import math
from dataclasses import replace
from fractions import Fraction

from sequencer.score.edits.selection import Selection, demand_place, rekeyed
from sequencer.score.move import Key, Move


def offset(move: Move, selection: Selection, *, frames: Fraction = Fraction(0), value: float = 0.0) -> Move:
    """Return the move with the chosen keys `frames` later and `value` higher.

    Error: ValueError for a value that is no number, or where no axis can be; ProjectError for keys out of order.
    """
    if not math.isfinite(value):
        raise ValueError(f"keys cannot be shifted by {value}; give a number in the axis's unit")

    def shifted(key: Key) -> Key:
        demand_place(key.value + value)
        return replace(key, at=key.at + frames, value=key.value + value)

    return rekeyed(move, selection, shifted)
