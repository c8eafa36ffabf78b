"""What the operator wrote, as data: tracks of keys, cues, markers and passes. No decision is made here.

Instants are frames after the project's start, exact, with parts of a frame (see timebase.timecode).
"""

from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class Ease:
    """The motion law that shapes the leg from a key to the next one. `how` is the law's settings value."""

    law: str
    how: object = None


@dataclass(frozen=True, slots=True)
class Key:
    """The axis stands at `value` at frame `at`; `ease` shapes the leg from here to the next key."""

    at: Fraction
    value: float
    ease: Ease


@dataclass(frozen=True, slots=True)
class Track:
    """The keys of one axis, in order of time. Outside its legs the axis holds its first or last value."""

    axis: str
    keys: tuple[Key, ...]


@dataclass(frozen=True, slots=True)
class Cue:
    """A stretch of the move that is shot as one take: frames [`start`, `end`]."""

    name: str
    start: Fraction
    end: Fraction


@dataclass(frozen=True, slots=True)
class Marker:
    """A named instant of the music or the action."""

    name: str
    at: Fraction


@dataclass(frozen=True, slots=True)
class Pass:
    """One way in which the same move is shot: as it is (`speed` 1), or slower or faster by an exact factor."""

    name: str
    speed: Fraction = Fraction(1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """Everything that the operator wrote about the motion."""

    tracks: tuple[Track, ...]
    cues: tuple[Cue, ...] = ()
    markers: tuple[Marker, ...] = ()
    passes: tuple[Pass, ...] = ()
