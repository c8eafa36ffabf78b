"""What the operator wrote, as data: tracks of keys, cues, markers and passes. No decision is made here.

Instants are frames after the project's start, exact, with parts of a frame (see timebase.timecode).
"""

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal, get_args

Passing = Literal["pass", "stop", "hold", "free"]
Turn = Literal["short", "up", "down"]
PASSINGS: tuple[Passing, ...] = get_args(Passing)
TURNS: tuple[Turn, ...] = get_args(Turn)


@dataclass(frozen=True, slots=True)
class Ease:
    """The motion law that shapes the leg from a key to the next one. `how` is the law's settings value."""

    law: str
    how: object = None


@dataclass(frozen=True, slots=True)
class Key:
    """The axis stands at `value` at frame `at`; `ease` shapes the leg from here to the next key.

    `passing` says what a smooth run does at the key: pass on without a stop; stop for an instant; hold, that is come
    to rest, without speed and acceleration; or pass free, so that the legs on both sides may overshoot.
    `turn` says which way round an axis without end goes to the next key: the short way, up or down. Without it the
    values count as they are written. A `pin` keeps the key where and when it is, whatever repair is chosen.
    """

    at: Fraction
    value: float
    ease: Ease
    passing: Passing = "pass"
    turn: Turn | None = None
    pin: bool = False


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
class Scaled:
    """Slide and lift `factor` times as far from where `about` says they are nearest, zero for an axis not named there.

    Angles and lens motors stay. `time`: the pass is meant to run by the square root of the factor (`score.pace`).
    """

    factor: Fraction
    about: tuple[tuple[str, float], ...] = ()
    time: bool = False


@dataclass(frozen=True, slots=True)
class Pass:
    """One way in which the same move is shot: as it is (`speed` 1), or slower or faster by an exact factor.

    `of` is the cue that the pass belongs to, None for all. `reversed`: each cue runs backward within its own span.
    `offset` is added to the positions of axes, after `scale`. `rate` is what the camera runs at in this pass, None for
    the project's rate; it moves nothing. `note` is free words: "clean plate", "other light".
    """

    name: str
    speed: Fraction = Fraction(1)
    of: str | None = None
    reversed: bool = False
    offset: tuple[tuple[str, float], ...] = ()
    scale: Scaled | None = None
    rate: Fraction | None = None
    note: str = ""

    @property
    def varies(self) -> bool:
        """Whether the pass shoots other positions than the ones that are written, or some of them only."""
        return self.of is not None or self.reversed or bool(self.offset) or self.scale is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """Everything that the operator wrote about the motion."""

    tracks: tuple[Track, ...]
    cues: tuple[Cue, ...] = ()
    markers: tuple[Marker, ...] = ()
    passes: tuple[Pass, ...] = ()
