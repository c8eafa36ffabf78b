"""Move keys to the nearest line of a grid in time: frames, beats of the music, or instants that are given.

It refuses to put two keys of an axis on one line, and to move a pinned key unless asked.
"""

from bisect import bisect_left
from dataclasses import dataclass, replace
from fractions import Fraction
from math import floor
from typing import Protocol

from sequencer.score.edits.selection import Selection, rekeyed
from sequencer.score.move import Key, Move
from sequencer.timebase.rate import Rate
from sequencer.timebase.tempo import TempoMap


@dataclass(frozen=True, slots=True)
class Grid:
    """Lines at every `step` frames, one of them at `origin`. Unit: frames, exact."""

    step: Fraction = Fraction(1)
    origin: Fraction = Fraction(0)

    def __post_init__(self) -> None:
        if self.step <= 0:
            raise ValueError(f"the lines of a grid cannot be {self.step} frames apart; give a number above zero")

    def nearest(self, at: Fraction) -> Fraction:
        """Return the line nearest to `at`; in the middle between two, the later one."""
        return self.origin + floor((at - self.origin) / self.step + Fraction(1, 2)) * self.step


@dataclass(frozen=True, slots=True)
class Beats:
    """Lines at the beats of the music, or at each `part` of a beat: one half for quavers where a beat is a crotchet."""

    tempo: TempoMap
    rate: Rate
    part: Fraction = Fraction(1)

    def __post_init__(self) -> None:
        if self.part <= 0:
            raise ValueError(f"the lines of a grid cannot be {self.part} beats apart; give a number above zero")

    def nearest(self, at: Fraction) -> Fraction:
        """Return the line nearest to `at`; in the middle between two, the later one."""
        return self.rate.frames(self.tempo.nearest(self.rate.seconds(at), self.part))


@dataclass(frozen=True, slots=True)
class Stops:
    """Lines at some instants, such as markers or the keys of other axes, given in any order. Unit: frames, exact."""

    instants: tuple[Fraction, ...]

    def __post_init__(self) -> None:
        if not self.instants:
            raise ValueError("there is no instant to snap to; add a marker first")
        # floats are quick to put in order; what they cannot tell apart the second time does, exactly
        nearly = sorted(self.instants, key=lambda at: at.numerator / at.denominator)
        object.__setattr__(self, "instants", tuple(sorted(nearly)))

    def nearest(self, at: Fraction) -> Fraction:
        """Return the instant nearest to `at`; in the middle between two, the later one."""
        later = bisect_left(self.instants, at)
        if later == len(self.instants):
            return self.instants[-1]
        if later == 0 or self.instants[later] - at <= at - self.instants[later - 1]:
            return self.instants[later]
        return self.instants[later - 1]


class Lines(Protocol):
    """Any grid."""

    def nearest(self, at: Fraction) -> Fraction: ...


def snap(move: Move, selection: Selection, grid: Lines, *, pinned: bool = False) -> Move:
    """Return the move with the chosen keys on the grid; `pinned` keys only if asked.

    Error: ProjectError naming two keys of an axis that would come to one instant.
    """

    def moved(key: Key) -> Key:
        return key if key.pin and not pinned else replace(key, at=grid.nearest(key.at))

    return rekeyed(move, selection, moved)
