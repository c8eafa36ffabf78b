"""One track, compiled and judged, as columns: for drawing it, and for judging it again while a few keys change.

It refuses to fail: a track that cannot be compiled says why, and has straight lines between its keys.
"""

from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from sequencer.errors import ProjectError
from sequencer.motion.check import Check, check
from sequencer.rig.axis import Axis, Rig
from sequencer.score.easing import Laws
from sequencer.score.move import Ease, Move, Track
from sequencer.timebase.rate import Rate

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Shape:
    """What the motor of one axis is asked to do by its track, when it is run at `speed`.

    Shape: `at_s`, `value` (N,), the keys; values of an axis that goes round count its turns. `from_s` (P,), where a
    piece begins, and `coeffs` (K, P) in PPoly's layout; leg k, from key k to the next, has the pieces `place[k]` up
    to `place[k + 1]`, `place` (N,). Each leg's `low` and `high` (N-1,) position, and `peak` speed, acceleration and
    jerk, each reached at `peak_at` (3, N-1), infinite from a jump on. `excess` (N-1,) is how much more it asks than
    its axis can do, as a part of the limit that it breaks most, or what is left where that is below zero.
    Unit: seconds from the project's start as the move is written, whatever the speed; the axis's own unit.
    `fault` says why the track cannot be compiled, else it is empty.
    """

    axis: Axis
    track: Track
    speed: Fraction
    at_s: Floats
    value: Floats
    place: Ints
    from_s: Floats
    coeffs: Floats
    low: Floats
    high: Floats
    peak: Floats
    peak_at: Floats
    excess: Floats
    fault: str = ""


def shape(axis: Axis, track: Track, rate: Rate, laws: Laws, speed: Fraction = Fraction(1)) -> Shape:
    """Compile and judge the track of `axis`."""
    rig = Rig(name="", axes=(axis,))
    try:
        return _of(check(rig, Move(tracks=(track,)), rate, laws, speed), axis, track)
    except ProjectError as fault:
        straight = replace(track, keys=tuple(replace(key, ease=Ease("linear"), turn=None) for key in track.keys))
        found = check(rig, Move(tracks=(straight,)), rate, laws, speed)
        return replace(_of(found, axis, track), fault=fault.what)


def reshaped(before: Shape, track: Track, rate: Rate, laws: Laws) -> Shape:
    """Return the shape of `track`, of which `before` was an earlier value: only what changed is worked out anew."""
    return before if track is before.track else shape(before.axis, track, rate, laws, before.speed)


def _of(done: Check, axis: Axis, track: Track) -> Shape:
    whole, found = done.whole, done.found
    rows = slice(1, len(track.keys))  # the first leg is the rest before the track
    place = np.searchsorted(done.trajectory.from_s[1:-1], whole.at_s[whole.keys(0)], "left")
    from_s, coeffs = done.trajectory.of(0)
    return Shape(
        axis=axis,
        track=track,
        speed=done.speed,
        at_s=whole.at_s[whole.keys(0)],
        value=whole.value[whole.keys(0)],
        place=place,
        from_s=from_s[:-1],
        coeffs=coeffs,
        low=found.low[rows],
        high=found.high[rows],
        peak=found.peak[:, rows],
        peak_at=found.peak_at[:, rows],
        excess=done.excess[rows],
    )
