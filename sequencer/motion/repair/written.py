"""A solved curve, written back into a track as drawn legs between its keys. It refuses to move a key by itself."""

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from sequencer.score.laws.spline import Spline
from sequencer.score.move import Ease, Track
from sequencer.timebase.rate import Rate

Floats = NDArray[np.float64]

_BILLION = 10**9


def drawn(track: Track, first: int, last: int, keys_s: Floats, nodes_s: Floats, state: Floats) -> Track:
    """Return `track` with its legs from key `first` to key `last` as the quintic pieces between node states.

    Shape: `keys_s` (last - first + 1,), the instants of those keys, each of which is a node; `nodes_s` (N,), `state`
    (N, 3) position, speed and acceleration. The position at a key is the key's own, unwound like the nodes: what is
    written is the distance from the straight line between the two keys.
    Unit: seconds; the axis's own, that a second, a second squared.
    """
    place = np.minimum(np.searchsorted(nodes_s, keys_s), len(nodes_s) - 1)
    if not np.array_equal(nodes_s[place], keys_s):
        raise ValueError("every key must be a node")
    keys = list(track.keys)
    for number, (begin, end) in enumerate(pairwise(place.tolist())):
        t_s, own = nodes_s[begin : end + 1], state[begin : end + 1]
        lasts_s = t_s[-1] - t_s[0]
        u = (t_s - t_s[0]) / lasts_s
        way = own[-1, 0] - own[0, 0]
        off = own[:, 0] - own[0, 0] - u * way
        off[0] = off[-1] = 0.0
        u[0], u[-1] = 0.0, 1.0
        rows = np.stack((u, off, own[:, 1] * lasts_s - way, own[:, 2] * lasts_s**2), axis=1)
        ease = Ease("spline", Spline(tuple(tuple(row) for row in rows.tolist())))
        keys[first + number] = replace(keys[first + number], ease=ease)
    return replace(track, keys=tuple(keys))


def frame_at(t_s: float, rate: Rate) -> Fraction:
    """Return the instant in frames, as fine as a project file keeps it: a billionth of a frame."""
    return Fraction(round(Fraction(t_s) * rate.fraction * _BILLION), _BILLION)
