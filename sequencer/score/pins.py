"""Which keys no repair may move: what the operator pinned, and what stands on something that is heard or seen.

It moves nothing itself.
"""

from collections.abc import Callable, Iterable
from dataclasses import replace
from fractions import Fraction

from sequencer.score.move import Move
from sequencer.timebase.rate import Rate
from sequencer.timebase.tempo import TempoMap

# frames: instants in a project file are written to a billionth
_NEAR = Fraction(1, 10**9)

On = Callable[[Fraction], bool]


def pinned(move: Move, on: On = lambda at: True) -> Move:
    """Return the move with a pin on every key that stands at an instant that is `on`, beside those that have one."""
    tracks = tuple(
        replace(track, keys=tuple(replace(key, pin=True) if not key.pin and on(key.at) else key for key in track.keys))
        for track in move.tracks
    )
    return replace(move, tracks=tracks)


def unpinned(move: Move) -> Move:
    """Return the move without a pin."""
    tracks = tuple(
        replace(track, keys=tuple(replace(key, pin=False) if key.pin else key for key in track.keys))
        for track in move.tracks
    )
    return replace(move, tracks=tracks)


def at_instants(instants: Iterable[Fraction]) -> On:
    """Return what tells whether a frame is one of these, to a billionth of a frame."""
    # by the nearest billionths, so that thousands of keys need no search
    there = {round(each / _NEAR) + step for each in instants for step in (-1, 0, 1)}
    return lambda at: round(at / _NEAR) in there


def on_beats(tempo: TempoMap, rate: Rate) -> On:
    """Return what tells whether a frame is on a beat, to a billionth of a frame."""

    def on(at: Fraction) -> bool:
        return abs(rate.frames(tempo.nearest(rate.seconds(at))) - at) <= _NEAR

    return on
