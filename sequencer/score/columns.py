"""The keys of a move as columns of numbers, read once for all that looks at thousands of them. It judges nothing."""

from collections.abc import Sequence
from dataclasses import dataclass
from operator import attrgetter

import numpy as np
from numpy.typing import NDArray

from sequencer.score.move import Ease, Key, Move
from sequencer.timebase.rate import Rate

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Columns:
    """All keys of all tracks, track after track.

    Shape: `first` (tracks + 1,), where each track's keys begin; `above`, `below`, `value`, `ease` (N,): the key's
    frame is above / below, and its ease is `eases[ease]`. Each ease that occurs stands in `eases` once.
    """

    first: Ints
    above: Floats
    below: Floats
    value: Floats
    ease: Ints
    eases: tuple[Ease, ...]

    @property
    def frames(self) -> Floats:
        """The keys' frames after the project's start, as near as floats are."""
        return self.above / self.below

    def seconds(self, rate: Rate) -> Floats:
        """The keys' instants in seconds, rounded once while numbers stay below 2**53."""
        return self.above * rate.den / (self.below * rate.num)


def columns(move: Move) -> Columns:
    """Read the keys of `move`. A number too large for a float is read as infinite."""
    keys: list[Key] = []
    first = [0]
    for track in move.tracks:
        keys += track.keys
        first.append(len(keys))
    # a law without settings is known by its name, which is much cheaper to look up
    places: dict[str | tuple[str, object], int] = {}
    ease = [
        places.setdefault(each.law if each.how is None else (each.law, each.how), len(places))
        for each in map(attrgetter("ease"), keys)
    ]
    return Columns(
        np.array(first),
        _floats(list(map(attrgetter("at.numerator"), keys))),
        _floats(list(map(attrgetter("at.denominator"), keys))),
        _floats(list(map(attrgetter("value"), keys))),
        np.array(ease, np.int64),
        tuple(Ease(name) if isinstance(name, str) else Ease(*name) for name in places),
    )


def _floats(numbers: Sequence[float]) -> Floats:
    try:
        return np.array(numbers, np.float64)
    except OverflowError:
        return np.array([number if abs(number) < 2**1000 else np.inf for number in numbers], np.float64)
