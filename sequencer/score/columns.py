"""The keys of a move as columns of numbers, read once for all that looks at thousands of them. It judges nothing."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sequencer.score.move import Ease, Move, Passing, Turn
from sequencer.timebase.rate import Rate

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Columns:
    """All keys of all tracks, track after track.

    Shape: `first` (tracks + 1,), where each track's keys begin; `above`, `below`, `value`, `ease` (N,): the key's
    frame is above / below, and its ease is `eases[ease]`. Each ease that occurs stands in `eases` once. `passing` and
    `turn` are the few choices that differ from the default, by the key's place.
    """

    first: Ints
    above: Floats
    below: Floats
    value: Floats
    ease: Ints
    eases: tuple[Ease, ...]
    passing: dict[int, Passing]
    turn: dict[int, Turn]

    @property
    def frames(self) -> Floats:
        """The keys' frames after the project's start, as near as floats are."""
        return self.above / self.below

    def seconds(self, rate: Rate) -> Floats:
        """The keys' instants in seconds, rounded once while numbers stay below 2**53."""
        return self.above * rate.den / (self.below * rate.num)


def columns(move: Move) -> Columns:
    """Read the keys of `move`. A number too large for a float is read as infinite."""
    first = [0]
    at: list[int] = []
    value: list[float] = []
    ease: list[int] = []
    eases: list[Ease] = []
    # a law without settings is known by its name, which is much cheaper to look up
    places: dict[str | tuple[str, object], int] = {}
    passing: dict[int, Passing] = {}
    turn: dict[int, Turn] = {}
    last, place = None, 0
    for track in move.tracks:
        # one plain pass: with thousands of keys, reading them is most of the work
        for key in track.keys:
            if key.passing != "pass":
                passing[len(value)] = key.passing
            if key.turn is not None:
                turn[len(value)] = key.turn
            at += key.at.as_integer_ratio()
            value.append(key.value)
            own = key.ease
            # mostly the very ease of the key before it
            if own is not last:
                last = own
                place = places.setdefault(own.law if own.how is None else (own.law, own.how), len(places))
                if place == len(eases):
                    eases.append(own)
            ease.append(place)
        first.append(len(value))
    above, below = _floats(at).reshape(-1, 2).T
    return Columns(
        np.array(first),
        above,
        below,
        _floats(value),
        np.array(ease, np.int64),
        tuple(eases),
        passing,
        turn,
    )


def _floats(numbers: Sequence[float]) -> Floats:
    try:
        return np.array(numbers, np.float64)
    except OverflowError:
        return np.array([number if abs(number) < 2**1000 else np.inf for number in numbers], np.float64)
