"""Beats and bars of the music, exactly placed in time."""

from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class TempoMap:
    """A steady tempo: beat 0 at `at_s` seconds from the project's start, `bpm` beats a minute, `beats_per_bar`.

    Unit: seconds from the project's start as Fraction; beats and bars counted from zero.
    """

    bpm: Fraction
    beats_per_bar: int
    at_s: Fraction = Fraction(0)

    def __post_init__(self) -> None:
        if self.bpm <= 0:
            raise ValueError(f"tempo is {self.bpm} beats a minute; it must be above zero")
        if self.beats_per_bar < 1:
            raise ValueError(f"a bar has {self.beats_per_bar} beats; it needs at least one")

    def seconds(self, beat: Fraction | int) -> Fraction:
        """Return the instant of `beat`."""
        return self.at_s + Fraction(beat) * 60 / self.bpm

    def beat(self, seconds: Fraction) -> Fraction:
        """Return the beat at `seconds`, with its part."""
        return (Fraction(seconds) - self.at_s) * self.bpm / 60
