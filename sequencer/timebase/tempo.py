"""Beats and bars of the music, exactly placed in time. Tempo changes in steps; it refuses to glide.

A beat is the note that the metre counts, a quarter note unless the metre says another. Beats are counted from the
first beat of the first bar, which is beat 0, and go below zero before it; bars likewise. People count both from one.

Source: Standard MIDI Files 1.0 (RP-001): a tempo is the length of a quarter note, a metre is a number of notes and
which note (4 a quarter, 8 an eighth), and each holds until the next one. That a metre begins a bar: common practice.
"""

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from math import ceil, floor
from typing import NamedTuple

QUARTER = 4
BEAT_NOTES = (1, 2, 4, 8, 16, 32, 64)


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """From `beat` on another tempo, another metre, or both; None leaves what there was.

    A metre begins a bar, and cuts the one before short where that is not over. Where only the note of the beat
    changes, notes keep their length: a quarter note lasts as long as before.
    """

    beat: Fraction
    bpm: Fraction | None = None
    beats_per_bar: int | None = None
    beat_note: int | None = None

    @property
    def metre(self) -> bool:
        """Whether a metre begins here."""
        return self.beats_per_bar is not None or self.beat_note is not None


class InBar(NamedTuple):
    """A beat by its bar: both counted from zero, the beat with its part."""

    bar: int
    beat: Fraction

    def __str__(self) -> str:
        return f"bar {self.bar + 1}, beat {float(self.beat + 1):.9g}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """What holds from `beat` to the next change, as one steady tempo and metre.

    Unit: `at_s` seconds from the project's start, `quarter` quarter notes from beat 0. Bars are counted from the beat
    `origin`, which begins the bar `bar`.
    """

    beat: Fraction
    at_s: Fraction
    quarter: Fraction
    bpm: Fraction
    beats_per_bar: int
    beat_note: int
    origin: Fraction
    bar: int

    def __post_init__(self) -> None:
        if self.bpm <= 0:
            raise ValueError(f"tempo is {self.bpm} beats a minute; it must be above zero")
        if self.beats_per_bar < 1:
            raise ValueError(f"a bar has {self.beats_per_bar} beats; it needs at least one")
        if self.beat_note not in BEAT_NOTES:
            notes = ", ".join(map(str, BEAT_NOTES))
            raise ValueError(f"a beat cannot be a note of 1/{self.beat_note}; the lower numbers of a metre are {notes}")

    @property
    def beat_s(self) -> Fraction:
        """How long a beat lasts."""
        return 60 / self.bpm

    @property
    def quarter_bpm(self) -> Fraction:
        """Quarter notes a minute."""
        return self.bpm * QUARTER / self.beat_note

    @property
    def metre(self) -> str:
        """The metre as music writes it: `6/8`."""
        return f"{self.beats_per_bar}/{self.beat_note}"

    def seconds(self, beat: Fraction | int) -> Fraction:
        """Return the instant of `beat`."""
        return self.at_s + (beat - self.beat) * self.beat_s

    def quarters(self, beat: Fraction | int) -> Fraction:
        """Return the quarter notes from beat 0 to `beat`."""
        return self.quarter + (beat - self.beat) * QUARTER / self.beat_note

    def at_quarter(self, quarter: Fraction | int) -> Fraction:
        """Return the beat that is `quarter` quarter notes from beat 0."""
        return self.beat + (quarter - self.quarter) * self.beat_note / QUARTER

    def in_bar(self, beat: Fraction | int) -> InBar:
        """Return the bar that `beat` is in, and where in it."""
        bars = floor((beat - self.origin) / self.beats_per_bar)
        return InBar(self.bar + bars, beat - self.origin - bars * self.beats_per_bar)

    def beat_of(self, bar: int, beat: Fraction | int = 0) -> Fraction:
        """Return the beat that is `beat` beats into the bar."""
        return self.origin + (bar - self.bar) * self.beats_per_bar + beat

    def then(self, change: Change) -> "Stretch":
        """Return what holds from `change` on. Error: ValueError for one that is none, or not after this one's start."""
        if change.beat <= self.beat:
            raise ValueError(
                f"a change at {self.in_bar(change.beat)} is not after that at {self.in_bar(self.beat)}; sort them"
            )
        if change.bpm is None and not change.metre:
            raise ValueError(f"the change at {self.in_bar(change.beat)} changes nothing; leave it out")
        note = self.beat_note if change.beat_note is None else change.beat_note
        origin, bar = self.origin, self.bar
        if change.metre:
            origin, bar = change.beat, bar + ceil((change.beat - origin) / self.beats_per_bar)
        return Stretch(
            beat=change.beat,
            at_s=self.seconds(change.beat),
            quarter=self.quarters(change.beat),
            bpm=self.bpm * note / self.beat_note if change.bpm is None else change.bpm,
            beats_per_bar=self.beats_per_bar if change.beats_per_bar is None else change.beats_per_bar,
            beat_note=note,
            origin=origin,
            bar=bar,
        )


@dataclass(frozen=True, slots=True)
class TempoMap:
    """Beat 0 at `at_s` seconds from the project's start, `bpm` beats a minute and `beats_per_bar` until a change.

    Unit: seconds from the project's start as Fraction; beats and bars counted from zero. All answers are exact.
    Error: ValueError for a tempo or metre that is none, and for changes that are not in order.
    """

    bpm: Fraction
    beats_per_bar: int
    at_s: Fraction = Fraction(0)
    beat_note: int = QUARTER
    changes: tuple[Change, ...] = ()
    stretches: tuple[Stretch, ...] = field(init=False, repr=False, compare=False)
    _origins: tuple[Fraction, ...] = field(init=False, repr=False, compare=False)  # beat at which each metre begins

    def __post_init__(self) -> None:
        zero = Fraction(0)
        stretches = [
            Stretch(
                beat=zero,
                at_s=self.at_s,
                quarter=zero,
                bpm=self.bpm,
                beats_per_bar=self.beats_per_bar,
                beat_note=self.beat_note,
                origin=zero,
                bar=0,
            )
        ]
        for change in self.changes:
            stretches.append(stretches[-1].then(change))
        object.__setattr__(self, "stretches", tuple(stretches))
        object.__setattr__(self, "_origins", tuple(dict.fromkeys(one.origin for one in stretches)))

    def at(self, beat: Fraction | int) -> Stretch:
        """Return the tempo and metre at `beat`; those of the first beat hold before it too."""
        return self.stretches[max(0, bisect_right(self.stretches, beat, key=lambda one: one.beat) - 1)]

    def seconds(self, beat: Fraction | int) -> Fraction:
        """Return the instant of `beat`."""
        return self.at(beat).seconds(beat)

    def beat(self, seconds: Fraction | int) -> Fraction:
        """Return the beat at `seconds`, with its part."""
        there = self.stretches[max(0, bisect_right(self.stretches, seconds, key=lambda one: one.at_s) - 1)]
        return there.beat + (seconds - there.at_s) / there.beat_s

    def at_quarter(self, quarter: Fraction | int) -> Fraction:
        """Return the beat that is `quarter` quarter notes from beat 0."""
        there = max(0, bisect_right(self.stretches, quarter, key=lambda one: one.quarter) - 1)
        return self.stretches[there].at_quarter(quarter)

    def in_bar(self, beat: Fraction | int) -> InBar:
        """Return the bar that `beat` is in, and where in it."""
        return self.at(beat).in_bar(beat)

    def beat_of(self, bar: int, beat: Fraction | int = 0) -> Fraction:
        """Return the beat that is `beat` beats into the bar."""
        return self.stretches[max(0, bisect_right(self.stretches, bar, key=lambda one: one.bar) - 1)].beat_of(bar, beat)

    def bars(self, from_s: Fraction | int, to_s: Fraction | int) -> Iterator[tuple[int, Fraction]]:
        """Yield the bars that begin from `from_s` up to `to_s`: number, and beat at which it begins."""
        last = self.beat(to_s)
        first = self.beat(from_s)
        bar = self.in_bar(first).bar
        while (begins := self.beat_of(bar)) <= last:
            if begins >= first:
                yield bar, begins
            bar += 1

    def grid(
        self, from_s: Fraction | int, to_s: Fraction | int, part: Fraction | int = Fraction(1)
    ) -> Iterator[Fraction]:
        """Yield the lines from `from_s` up to `to_s`, as beats: each `part` of a beat, as `nearest` has them."""
        first, last = self.beat(from_s), self.beat(to_s)
        line, after = self._beside(first, Fraction(part))
        if line < first:
            line = after
        while line <= last:
            yield line
            line = self._beside(line, Fraction(part))[1]

    def nearest(self, seconds: Fraction | int, part: Fraction | int = Fraction(1)) -> Fraction:
        """Return the instant of the line nearest to `seconds`; in the middle between two, the later one.

        Lines are `part` of a beat apart, counted from beat 0, and anew from each metre.
        """
        before, after = map(self.seconds, self._beside(self.beat(seconds), Fraction(part)))
        return before if seconds - before < after - seconds else after

    def _beside(self, beat: Fraction, part: Fraction) -> tuple[Fraction, Fraction]:
        """Return the last line that is not after `beat`, and the one that follows it."""
        if part <= 0:
            raise ValueError(f"the lines of a grid cannot be {part} beats apart; give a number above zero")
        metre = bisect_right(self._origins, beat)
        origin = self._origins[max(0, metre - 1)]
        line = origin + floor((beat - origin) / part) * part
        following = self._origins[metre] if 0 < metre < len(self._origins) else None
        return line, line + part if following is None else min(line + part, following)
