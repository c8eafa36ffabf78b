"""How a levelled head follows what moves across the sky, as keys of pan and tilt; and where it cannot, in words."""

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.sky import Where
from sequencer.rig.axis import Axis, Rig
from sequencer.score.move import Ease, Key, Track
from sequencer.timebase.rate import Rate

Floats = NDArray[np.float64]
NEAR_DEG = 0.01  # how far between two keys the head may be beside what it follows
_STEP_S = 1.0  # in which the sky moves by 0.004 degrees
_LONGEST_S, _SHORTEST_S, _FIRST_S = 512.0, 16.0, 4.0  # between two keys, and between the first two
_GROWS = 1.2  # each leg from the ends inwards: what a run that begins at rest swings fades from leg to leg


@dataclass(frozen=True, slots=True)
class Cannot:
    """A stretch in which the head cannot follow, and why, in words. Unit: seconds after the start."""

    from_s: float
    until_s: float
    why: str


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """Where pan and tilt stand to follow, second by second, and where they cannot.

    Shape: `at_s`, `pan`, `tilt`, `altitude_deg` (T,). Unit: seconds after the start; each axis's own.
    """

    axes: tuple[str, str]
    at_s: Floats
    pan: Floats
    tilt: Floats
    altitude_deg: Floats
    cannot: tuple[Cannot, ...]


def following(where: Where, rig: Rig, facing_deg: float, lasts_s: float) -> Course:
    """Return how a levelled head follows what is at the azimuths and altitudes that `where` gives for so long.

    `facing_deg` is the azimuth to which the camera looks when pan stands at zero. Where pan could stand in more than
    one turn, it takes the one nearest to the middle of its travel at the start, and goes on from there without a flip.
    Error: ValueError for a rig without one pan and one tilt, and for no time.
    """
    pan, tilt = _head(rig)
    if not 0 < lasts_s <= 7 * 86_400:
        raise ValueError(
            f"the sky cannot be followed for {lasts_s:g} s; give the cue more than 0 s, and a week at the most"
        )
    at_s = np.linspace(0.0, lasts_s, max(2, round(lasts_s / _STEP_S) + 1))
    azimuth, altitude = where(at_s)
    # pan to the left is positive (docs/conventions.md), and azimuth grows to the right
    pans = -rig.geometry.sign(pan.name, pan.kind) * (np.degrees(np.unwrap(np.radians(azimuth))) - facing_deg)
    middle = 0.0 if pan.travel is None else sum(pan.travel) / 2
    pans -= 360 * np.round((pans[0] - middle) / 360)
    tilts = rig.geometry.sign(tilt.name, tilt.kind) * altitude
    cannot = [*_beyond(pan, pans, at_s), *_beyond(tilt, tilts, at_s), *_too_fast(pan, pans, altitude, at_s)]
    cannot += [Cannot(*span, "it is below the horizon") for span in _stretches(altitude < 0, at_s)]
    cannot.sort(key=lambda one: one.from_s)
    return Course((pan.name, tilt.name), at_s, pans, tilts, altitude, tuple(cannot))


def tracks(course: Course, from_frame: Fraction, rate: Rate) -> tuple[Track, Track]:
    """Return the tracks of pan and tilt that follow, the first key at `from_frame`, in parts of a frame.

    One smooth run, which begins and ends at rest: its first and last legs are short, so that it is beside the sky by
    less than NEAR_DEG there too. Error: ValueError where the head cannot follow, in words.
    """
    if course.cannot:
        raise ValueError(words(course))
    at_s = _instants(course)
    ats = [from_frame + rate.frames(Fraction(float(one)).limit_denominator(1000)) for one in at_s]
    made = []
    for axis, values in zip(course.axes, (course.pan, course.tilt), strict=True):
        there = np.interp(at_s, course.at_s, values)
        keys = (Key(at, round(value, 6), Ease("through")) for at, value in zip(ats, there.tolist(), strict=True))
        made.append(Track(axis, tuple(keys)))
    return made[0], made[1]


def words(course: Course) -> str:
    """Say where the head cannot follow, and for how long it can from the start."""
    said = "; ".join(f"from {_clock(one.from_s)} to {_clock(one.until_s)} {one.why}" for one in course.cannot)
    first = course.cannot[0].from_s
    works = f"for the first {_clock(first)} it can" if first > 0 else "begin later, or turn the base"
    return f"the head cannot follow: {said} (h:min:s after the start); {works}"


def _clock(at_s: float) -> str:
    minutes, seconds = divmod(int(at_s), 60)
    return f"{minutes // 60}:{minutes % 60:02}:{seconds:02}"


def _instants(course: Course) -> Floats:
    """Return instants so near to each other that straight lines between them would do, and nearer at both ends."""
    lasts_s = float(course.at_s[-1])
    step_s = _LONGEST_S
    while step_s > _SHORTEST_S and _astray(course, np.linspace(0, lasts_s, max(2, round(lasts_s / step_s) + 1))):
        step_s /= 2
    ramp, leg = [0.0], _FIRST_S
    while leg < step_s and ramp[-1] + leg < lasts_s / 4:
        ramp.append(ramp[-1] + leg)
        leg *= _GROWS
    inner_s = lasts_s - 2 * ramp[-1]
    inner = np.linspace(ramp[-1], lasts_s - ramp[-1], max(2, round(inner_s / step_s) + 1))
    before = np.array(ramp[:-1])
    return np.concatenate((before, inner, lasts_s - before[::-1]))


def _astray(course: Course, at_s: Floats) -> bool:
    near = np.cos(np.radians(course.altitude_deg))
    for values, part in ((course.pan, near), (course.tilt, np.ones_like(near))):
        straight = np.interp(course.at_s, at_s, np.interp(at_s, course.at_s, values))
        if (np.abs(straight - values) * part).max() > NEAR_DEG / 2:
            return True
    return False


def _head(rig: Rig) -> tuple[Axis, Axis]:
    pans, tilts = ([axis for axis in rig.axes if axis.kind == kind] for kind in ("pan", "tilt"))
    if len(pans) != 1 or len(tilts) != 1:
        raise ValueError("the rig has not one pan and one tilt; to follow the sky it needs both, on a levelled base")
    return pans[0], tilts[0]


def _beyond(axis: Axis, values: Floats, at_s: Floats) -> list[Cannot]:
    if axis.travel is None:
        return []
    low, high = axis.travel
    why = f"{axis.name} would have to go beyond its travel [{low:g}, {high:g}] {axis.unit}"
    return [Cannot(*span, why) for span in _stretches((values < low) | (values > high), at_s)]


def _too_fast(pan: Axis, pans: Floats, altitude: Floats, at_s: Floats) -> list[Cannot]:
    """Near the zenith a pan must turn ever faster, and through it at once by half a turn."""
    fast = np.abs(np.diff(pans)) / np.diff(at_s) > pan.speed
    found = []
    for begin_s, end_s in _stretches(np.append(fast, False) | np.append(False, fast), at_s):
        high = altitude[(at_s >= begin_s) & (at_s <= end_s)].max()
        why = (
            f"it passes near the zenith, at an altitude of {high:.3f}, where {pan.name} would have to turn faster than"
        )
        found.append(Cannot(begin_s, end_s, f"{why} {pan.speed:g} {pan.unit}/s"))
    return found


def _stretches(wrong: NDArray[np.bool_], at_s: Floats) -> list[tuple[float, float]]:
    edges = np.flatnonzero(np.diff(wrong, prepend=False, append=False))
    pairs = zip(edges[::2], edges[1::2], strict=True)
    return [(float(at_s[begin]), float(at_s[end - 1])) for begin, end in pairs]
