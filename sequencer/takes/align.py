"""When the master's timeline stood at each frame of a cue, found afterwards from all that was heard of the master.

Playback's own estimate is not used where there is timecode: two takes would agree in it whatever the follower did, and
its errors would be hidden. The master's messages are fitted by one straight line through the whole take, since a
crystal's seconds are straight over minutes. Only where a line is plainly wrong (the master's speed wandered by more
than the transport can explain) is a curve fitted that bends with it. A delay of the transport that is the same in all
takes shifts all of them alike and cancels when they are compared.
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from sequencer.takes.take import Take

Floats = NDArray[np.float64]

_JUMP_S = 0.1  # the master was set to another place, as against jitter
_OPEN_RUNS = 8  # that a message may continue
_FEWEST = 16  # messages; with fewer the playback clock is the better witness
_BEYOND_S = 0.5  # how far outside the messages, or from the nearest one of a curve, an instant is still given
_WINDOW_S = 1.0  # over which jitter is averaged when looking for a line that bends
_WANDER_S = 0.00025  # of those averages; above it the line is wrong. MIDI at 25 fps beats by 0.2 ms with no wander
_KNOT_S = 0.25
_REACH_S = 0.5  # of the local fit, to either side


class Basis(StrEnum):
    """What the instants were found from."""

    LINE = "one straight line through the timecode"
    CURVE = "a curve through the timecode, since the master's speed wandered"
    PLAYBACK = "the playback clock, since the take holds no timecode of its cue"


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Alignment:
    """When a take's master stood at F frames, and how well that is known.

    Shape: `at_s`, `clock_error_s` (F,), NaN where the frame's instant is not known; `heard_s`, `residual_s` (Q,).
    Unit: `at_s` seconds after `origin_ns` of the take's monotonic clock. `clock_error_s` is by how much playback's
    clock was ahead of the master at the frame; `heard_s` the timeline positions of the messages used and
    `residual_s` how late (positive) each came. `spread_s` is the robust standard deviation of the latter.
    `rate` is the master's seconds in one second of this machine.
    """

    basis: Basis
    origin_ns: int
    at_s: Floats
    clock_error_s: Floats
    heard_s: Floats
    residual_s: Floats
    spread_s: float
    rate: float


def align(take: Take, frame_s: Floats) -> Alignment:
    """Find when the take's master stood at `frame_s`. Shape: (F,), rising. Unit: seconds from the project's start."""
    stamps = np.concatenate((take.sighted_ns[:1], take.due_ns[:1]))
    origin_ns = int(stamps[0]) if len(stamps) else 0
    at, position = _one_run(_since(take.sighted_ns, origin_ns), take.sighted_s, frame_s)
    due, played = _one_run(_since(take.due_ns, origin_ns), take.timeline_s, frame_s)
    basis, found, residual, rate = Basis.PLAYBACK, _lookup(played, due, frame_s), np.empty(0), 1.0
    heard = np.empty(0)
    if len(at) >= _FEWEST and position[-1] > position[0]:
        slope, offset = _line(position, at)
        late = at - (slope * position + offset)
        basis, heard, rate = Basis.LINE, position, 1 / slope
        near = (frame_s >= position[0] - _BEYOND_S) & (frame_s <= position[-1] + _BEYOND_S)
        found = np.where(near, slope * frame_s + offset, np.nan)
        residual = late
        if _wander_s(position, late) > _WANDER_S:
            basis = Basis.CURVE
            found, residual = _curve(position, late, slope * frame_s + offset, frame_s)
    return Alignment(
        basis=basis,
        origin_ns=origin_ns,
        at_s=found,
        clock_error_s=_lookup(due, played, found) - frame_s,
        heard_s=heard,
        residual_s=residual,
        spread_s=_spread(residual),
        rate=rate,
    )


def _since(stamps: NDArray[np.int64], origin_ns: int) -> Floats:
    return np.asarray((stamps - origin_ns) / 1e9, dtype=np.float64)


def _one_run(at: Floats, position: Floats, frame_s: Floats) -> tuple[Floats, Floats]:
    """Return the sightings of the run of the master that covers most of the frames, the later one of equals.

    A master that was parked, rewound and started again leaves several runs in one recording, and a garbled address a
    stray one; a dropout that the master ran on through leaves one run.
    """
    order = np.argsort(at, kind="stable")
    at, position = at[order], position[order]
    if not len(at) or not len(frame_s):
        return at[:0], position[:0]
    # of a master that stands still only the last message tells when it began to run
    moving = np.append(np.diff(position) != 0, True)
    at, position = at[moving], position[moving]
    ahead = position - at
    breaks = np.flatnonzero((np.abs(np.diff(ahead)) > _JUMP_S) | (np.diff(position) < 0)) + 1
    runs: list[list[NDArray[np.intp]]] = []
    for piece in np.split(np.arange(len(at)), breaks):
        for run in reversed(runs[-_OPEN_RUNS:]):
            last = run[-1][-1]
            if abs(ahead[piece[0]] - ahead[last]) <= _JUMP_S and position[piece[0]] >= position[last]:
                run.append(piece)
                break
        else:
            runs.append([piece])
    whole = [np.concatenate(run) for run in runs]
    low, high = frame_s[0] - _BEYOND_S, frame_s[-1] + _BEYOND_S
    inside = [int(np.count_nonzero((position[run] >= low) & (position[run] <= high))) for run in whole]
    best = max(range(len(whole)), key=lambda number: (inside[number], number))
    return at[whole[best]], position[whole[best]]


def _lookup(x: Floats, y: Floats, wanted: Floats) -> Floats:
    """Interpolate y at `wanted` in a straight line; NaN outside. x must not fall."""
    if len(x) < 2:
        return np.full(len(wanted), np.nan)
    rising, first = np.unique(x, return_index=True)
    return np.interp(wanted, rising, y[first], left=np.nan, right=np.nan)


def _spread(residual: Floats) -> float:
    """Return the standard deviation that the middle half of `residual` has. Source: the scaled median deviation."""
    return float(1.4826 * np.median(np.abs(residual - np.median(residual)))) if len(residual) else float("nan")


def _line(x: Floats, y: Floats) -> tuple[float, float]:
    """Return slope and offset of the straight line through the points that pays little heed to strays.

    Source: Huber's M-estimator, k = 1.345, by iteratively reweighted least squares (Huber, Robust Statistics).
    """
    weight = np.ones(len(x))
    slope = offset = 0.0
    for _ in range(30):
        total = weight.sum()
        middle_x, middle_y = (weight @ x) / total, (weight @ y) / total
        slope = float((weight * (x - middle_x)) @ (y - middle_y) / ((weight * (x - middle_x)) @ (x - middle_x)))
        offset = float(middle_y - slope * middle_x)
        new = _heed(y - (slope * x + offset))
        if np.abs(new - weight).max() < 1e-9:
            break
        weight = new
    return slope, offset


def _heed(residual: Floats) -> Floats:
    """Return Huber's weights for `residual`; 1 for all where there is no spread to speak of."""
    reach = 1.345 * max(_spread(residual), 1e-9)
    return np.asarray(reach / np.maximum(np.abs(residual), reach), dtype=np.float64)


def _wander_s(position: Floats, late: Floats) -> float:
    """Return how far, RMS, the median lateness of each second strays, beyond what jitter explains."""
    seconds = np.floor((position - position[0]) / _WINDOW_S)
    windows = [window for window in np.split(late, np.flatnonzero(np.diff(seconds)) + 1) if len(window) >= _FEWEST // 2]
    if len(windows) < 3:
        return 0.0
    medians = np.array([np.median(window) for window in windows])
    jitter_s = np.median([_spread(window) for window in windows])
    # the median of n messages has pi/2 times the variance of their mean
    by_chance = np.pi / 2 * jitter_s**2 * np.mean([1 / len(window) for window in windows])
    return float(np.sqrt(max(np.mean(medians**2) - by_chance, 0.0)))


def _curve(position: Floats, late: Floats, line_at: Floats, frame_s: Floats) -> tuple[Floats, Floats]:
    """Bend the straight line to the messages; return the instants of the frames and what is left of the lateness.

    At knots a quarter of a second apart a parabola is fitted to the messages within half a second (tricube weights and
    Huber's), and a monotone cubic joins the knots. Frames further than that from any message get NaN.
    Source: local regression (Cleveland 1979); Fritsch and Carlson 1980 for the cubic.
    """
    knots = np.arange(position[0], position[-1] + _KNOT_S, _KNOT_S)
    left, right = np.searchsorted(position, knots - _REACH_S), np.searchsorted(position, knots + _REACH_S, "right")
    known = np.flatnonzero(right - left >= _FEWEST // 2)
    if len(known) < 2:
        return np.full(len(frame_s), np.nan), late
    bends = [_parabola(position[left[k] : right[k]] - knots[k], late[left[k] : right[k]]) for k in known]
    bend = PchipInterpolator(knots[known], bends, extrapolate=False)
    after = np.searchsorted(position, frame_s)
    nearest = np.minimum(
        np.abs(frame_s - position[np.maximum(after - 1, 0)]),
        np.abs(frame_s - position[np.minimum(after, len(position) - 1)]),
    )
    return np.where(nearest <= _BEYOND_S, line_at + bend(frame_s), np.nan), late - np.nan_to_num(bend(position))


def _parabola(x: Floats, y: Floats) -> float:
    """Return the value at 0 of the parabola through the points."""
    near = np.clip(1 - np.abs(x / _REACH_S) ** 3, 1e-6, None) ** 3
    powers = np.vander(x, 3)
    weight = near
    found = np.zeros(3)
    for _ in range(4):
        root = np.sqrt(weight)
        found = np.linalg.lstsq(powers * root[:, None], y * root, rcond=None)[0]
        weight = near * _heed(y - powers @ found)
    return float(found[2])
