"""The frames of a cue, and where an axis stood at each of them. Nothing is guessed: a frame without answers is NaN."""

import math
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicHermiteSpline

from sequencer.takes.take import Take

Floats = NDArray[np.float64]
Frames = NDArray[np.int64]

GAP_S = 0.05  # between two answers, above which the frames between them are not answered
_ONE_INSTANT_S = 1e-4  # no rig answers ten thousand times a second
_SLACK = Fraction(1, 10**6)  # of a frame: the cue's ends are kept as floats


def cue_frames(take: Take) -> tuple[Frames, Floats]:
    """Return every whole frame in the take's cue, both ends included.

    Shape: (F,), (F,). Unit: frames from the project's start; seconds from there, the float nearest to each instant.
    """
    rate = take.timebase.rate
    first, last = (rate.frames(Fraction(end_s)) for end_s in take.cue_s)
    frames = np.arange(math.ceil(first - _SLACK), math.floor(last + _SLACK) + 1, dtype=np.int64)
    return frames, np.asarray(frames * rate.den / rate.num, dtype=np.float64)


def positions_at(stamps_s: Floats, positions: Floats, at_s: Floats) -> Floats:
    """Return where each axis stood at `at_s`, by a cubic between the two answers around it.

    The cubic's slopes are those of the parabola through three neighbouring answers, so that a move sampled each 20 ms
    is met to its third derivative. Angles are continuous and are not wrapped. NaN where the answers around an instant
    lie more than GAP_S apart, outside all answers, and where `at_s` is NaN. Answers may come in any order; of several
    with one stamp, to a tenth of a millisecond, the last counts.
    Shape: (M,), (M, A), (F,) to (F, A). Unit: seconds; each axis's own.
    Source: cubic Hermite interpolation with three-point differences, any textbook of numerical analysis.
    """
    columns = [_one_axis(stamps_s, column, at_s) for column in positions.T]
    return np.stack(columns, axis=1) if columns else np.empty((len(at_s), 0))


def _one_axis(stamps_s: Floats, values: Floats, at_s: Floats) -> Floats:
    named = np.isfinite(values)
    # read backward, the first of equal stamps is the last that came
    times, latest = np.unique(stamps_s[named][::-1], return_index=True)
    # two answers of one instant differ by their noise, and by a nanosecond where a stamp was rounded on its way: a
    # slope between them would be endless
    apart = np.diff(times, append=np.inf) > _ONE_INSTANT_S
    times, latest = times[apart], latest[apart]
    if len(times) < 2:
        return np.full(len(at_s), np.nan)
    known = values[named][::-1][latest]
    spline = CubicHermiteSpline(times, known, np.gradient(known, times), extrapolate=False)
    right = np.minimum(np.searchsorted(times, at_s), len(times) - 1)
    left = np.where(times[right] == at_s, right, np.maximum(right - 1, 0))
    return np.where(times[right] - times[left] <= GAP_S, spline(at_s), np.nan)
