"""Tracks that are just too hard: limits a little below what any curve through the keys needs."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import make_interp_spline

from sequencer.motion.repair.least_values import least_values
from sequencer.motion.repair.proof import Wanted
from sequencer.rig.axis import Axis, Rig
from sequencer.score.move import Move
from tests.motion.machines import seeded_keys, track

Floats = NDArray[np.float64]

REST = ((1, 0.0), (2, 0.0))


def quintic(keys_s: Floats, values: Floats, end: Sequence[tuple[int, float]] = REST) -> Callable[..., Floats]:
    """Return scipy's quintic spline: of an instant, and the order of the derivative."""
    conditions: Any = (list(end), list(end))  # its types want numbers or words here
    curve: Callable[..., Floats] = make_interp_spline(keys_s, values, k=5, bc_type=conditions)
    return curve


@lru_cache
def tight(seed: int, part: float = 0.9, count: int = 10) -> Wanted:
    """Return a track of the study's kind "beats", with limits `part` of the least that a curve was found for.

    All limits are that part of the peaks of the least-jerk curve without limits (scipy's quintic spline).
    """
    keys_s, values = seeded_keys("beats", seed, count)
    free = quintic(keys_s, values)
    t_s = np.linspace(keys_s[0], keys_s[-1], 20001)
    speed, acceleration, jerk = (float(np.abs(free(t_s, order)).max()) for order in (1, 2, 3))
    whole = Wanted(
        at=tuple(Fraction(at).limit_denominator(1000) for at in keys_s.tolist()),
        values=tuple(values.tolist()),
        rest=(True, True),
        fixed=(False,) * count,
        speed=speed,
        acceleration=acceleration,
        jerk=jerk,
        travel=None,
    )
    low, high = 0.4, 1.0
    for _ in range(9):
        middle = (low + high) / 2
        possible = not np.any(least_values(scaled(whole, middle), (), "total") != values)
        low, high = (low, middle) if possible else (middle, high)
    return scaled(whole, high * part)


def scaled(wanted: Wanted, factor: float) -> Wanted:
    """Return the same keys with all limits `factor` times as large."""
    return replace(
        wanted,
        speed=wanted.speed * factor,
        acceleration=wanted.acceleration * factor,
        jerk=wanted.jerk * factor,
    )


def machine(wanted: Wanted, axes: int = 1) -> Rig:
    """Return a rig whose axes pan0, pan1 have these limits."""
    return Rig(
        name="tight",
        axes=tuple(
            Axis(
                name=f"pan{number}",
                kind="pan",
                unit="deg",
                travel=wanted.travel,
                speed=wanted.speed,
                acceleration=wanted.acceleration,
                jerk=wanted.jerk,
            )
            for number in range(axes)
        ),
    )


def written(wanted: Wanted, pinned: tuple[int, ...] = ()) -> Move:
    """Return the move of these keys on pan0, at one frame a second."""
    plain = track(wanted.at, wanted.values, "through")
    keys = tuple(replace(key, pin=number in pinned) for number, key in enumerate(plain.keys))
    return Move(tracks=(replace(plain, keys=keys),))
