"""What an axis reached when it was asked for a speed or an acceleration; its noise, its encoder's steps, its play.

All of it is straight from the answers by least squares: no model of the motor is needed.
Source: textbook (least squares on a line and on a parabola, and the standard error of their coefficients).
"""

import math
from dataclasses import dataclass

import numpy as np

from sequencer.takes.trials.seen import Floats, Seen
from sequencer.takes.trials.step import Leg

_FROM, _TO = 0.2, 0.8  # parts of the speed between which a ramp is straight, rounding and lag left out
_FEWEST = 5  # answers that a figure needs
_DISTINCT = 12  # different readings that show an encoder's step
_MOST_OFF = 0.25  # of a step: what is on no grid is off by up to a half
_ON_THE_GRID = 0.002  # beside what single precision leaves
_ONE_PLACE = 9  # decimals: legs that add up to one and the same place


@dataclass(frozen=True, slots=True)
class Reached:
    """One figure of one leg, with its standard error."""

    value: float
    error: float


def slope(at_s: Floats, position: Floats, degree: int) -> Reached | None:
    """Return the leading derivative of the parabola (2) or line (1) through the positions; None where they are few."""
    if len(at_s) < max(_FEWEST, degree + 2) or at_s[-1] <= at_s[0]:
        return None
    middle, half = (at_s[0] + at_s[-1]) / 2, (at_s[-1] - at_s[0]) / 2
    columns = np.vander((at_s - middle) / half, degree + 1)
    found = np.linalg.lstsq(columns, position, rcond=None)[0]
    left = position - columns @ found
    variance = float(left @ left) / (len(at_s) - degree - 1)
    scale = math.factorial(degree) / half**degree
    error = math.sqrt(variance * np.linalg.inv(columns.T @ columns)[0, 0])
    return Reached(float(found[0]) * scale, float(error * scale))


def speed(seen: Seen, leg: Leg, delay_s: float, lag_s: float, play: float) -> Reached | None:
    """Return the speed in the even part of a leg, once its play is taken up: until then what is measured stands."""
    taken_up_s = max(play / leg.speed - leg.ramp_s / 2, 0.0)
    settled_s = leg.at_s + leg.ramp_s + taken_up_s + delay_s + 3 * lag_s
    found = slope(*seen.between(settled_s, leg.ends_s - leg.stop_s + delay_s - lag_s), 1)
    return None if found is None else Reached(found.value * leg.way, found.error)


def top_speed(seen: Seen, leg: Leg) -> float:
    """Return about the highest speed in a leg, for telling what held it back."""
    at_s, position = seen.between(leg.at_s, leg.ends_s + leg.rests_s)
    rates = _rates(at_s, position, leg)
    return float(np.max(rates[1] * leg.way)) if len(rates[1]) else 0.0


def acceleration(seen: Seen, leg: Leg) -> Reached | None:
    """Return the acceleration with which a leg got under way, where its speed went up evenly."""
    at_s, position = seen.between(leg.at_s, leg.ends_s + leg.rests_s)
    middle_s, rate = _rates(at_s, position, leg)
    rate = rate * leg.way
    if not len(rate):
        return None
    most = min(float(np.max(rate)), leg.speed)
    after = int(np.argmax(rate >= _TO * most))
    before = np.flatnonzero(rate[: after + 1] <= _FROM * most)
    if not after or not len(before):
        return None
    there = (at_s >= middle_s[before[-1]]) & (at_s <= middle_s[after])
    found = slope(at_s[there], position[there], 2)
    return None if found is None else Reached(found.value * leg.way, found.error)


def _rates(at_s: Floats, position: Floats, leg: Leg) -> tuple[Floats, Floats]:
    """Return the speed about each answer, from a line through those near it. Shape: (K,) each."""
    if len(at_s) < _FEWEST:
        return np.empty(0), np.empty(0)
    apart_s = float(np.median(np.diff(at_s)))
    wide = min(max(_FEWEST, 2 * round(leg.ramp_s / 12 / max(apart_s, 1e-6)) + 1), len(at_s) - 1 + len(at_s) % 2)
    times = np.lib.stride_tricks.sliding_window_view(at_s, wide)
    places = np.lib.stride_tricks.sliding_window_view(position, wide)
    middle = times.mean(axis=1, keepdims=True)
    apart = times - middle
    rate = (apart * places).sum(axis=1) / (apart**2).sum(axis=1)
    return middle[:, 0], rate


def resolution(actual: Floats) -> float:
    """Return the step of the encoder, 0 where the readings do not stand on a grid."""
    values = np.unique(actual)
    # what single precision on the way makes of one and the same reading
    rounding = 4 * float(np.finfo(np.float32).eps) * max(1e-3, float(np.max(np.abs(values), initial=0.0)))
    apart = np.diff(values)
    apart = apart[apart > rounding]
    if len(apart) < _DISTINCT:
        return 0.0
    step = float(np.min(apart))
    # near ones first: an error in the step must not miscount those far apart
    for most in (2, 8, 32, math.inf):
        near = apart[apart < (most + 0.5) * step]
        counts = np.rint(near / step)
        step = float((near * counts).sum() / (counts**2).sum())
    off = apart / step - np.rint(apart / step)
    return step if float(np.max(np.abs(off))) < min(_ON_THE_GRID + rounding / step, _MOST_OFF) else 0.0


def noise(seen: Seen, from_s: float, to_s: float) -> float:
    """Return the standard deviation of the answers while the axis stands."""
    _, position = seen.between(from_s, to_s)
    return float(np.std(position, ddof=1)) if len(position) > 1 else 0.0


def play(seen: Seen, legs: tuple[Leg, ...], settles_s: float) -> tuple[float, ...]:
    """Return the play at each place that was come to from below and from above, from where the axis stood then."""
    stood: dict[tuple[float, float], float] = {}
    for leg in legs:
        _, position = seen.between(leg.ends_s + settles_s, leg.ends_s + leg.rests_s)
        if len(position):
            stood[round(leg.end, _ONE_PLACE), leg.way] = float(np.mean(position))
    places = sorted({place for place, _ in stood})
    return tuple(
        # behind whichever way it came
        stood[place, -1.0] - stood[place, 1.0]
        for place in places
        if (place, 1.0) in stood and (place, -1.0) in stood
    )
