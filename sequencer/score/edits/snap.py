"""Move keys to the nearest line of a grid in time: frames, or beats of the music.

It refuses to put two keys of an axis on one line, and to move a pinned key unless asked.
"""

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
            raise ValueError(f"the lines of a grid are some frames apart, not {self.step}")

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
            raise ValueError(f"the lines of a grid are some part of a beat apart, not {self.part}")

    def nearest(self, at: Fraction) -> Fraction:
        """Return the line nearest to `at`; in the middle between two, the later one."""
        return self.rate.frames(self.tempo.nearest(self.rate.seconds(at), self.part))


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
