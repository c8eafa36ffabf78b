"""From an aim to keys: pan and tilt, and focus where it counts millimetres, as smooth runs that keep a point in view.

The path of slide, lift and roll is taken from the move as it is; what pan and tilt then are is captured as a
performance is (`live.capture`), with keys before and after where an axis comes from rest, and set into its track. It
refuses to give back what it has not measured: the move is compiled again, and the aim worked out forward from its
poses.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import partial
from math import ceil, isfinite

import numpy as np
from numpy.typing import NDArray

from sequencer.live.aim_words import beyond, missed, near
from sequencer.live.capture import Captured
from sequencer.live.focused import Focused, focused
from sequencer.live.performed import Path
from sequencer.live.set_in import set_in
from sequencer.live.slow import SHORT_S, times
from sequencer.live.slow import captured as along
from sequencer.motion.aim import Aimed, Missed, aimed, head, off_deg
from sequencer.motion.arc import apart_deg, between
from sequencer.motion.compile import compile_move
from sequencer.motion.trajectory import Trajectory
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.pose import pupil_m, stood
from sequencer.score.easing import Drawn, Laws, NoCurve, curve_of
from sequencer.score.move import Ease, Move, Track
from sequencer.score.points import Point
from sequencer.timebase.rate import Rate

Floats = NDArray[np.float64]

_PACE_S = 0.004  # between samples that keys are fitted to, and less where a fast axis needs it
_LEAST_S = 0.001
_ROUGHLY = 20_001  # instants that tell how slow a long aim is
_LOOKED_S = 0.001  # between instants at which the result is measured
_BENT = 1 / 20  # of the tolerance: what an axis may bend away between two samples
_SHARES = np.sqrt(0.5)  # of the tolerance, for each of pan and tilt: both together are then within it


@dataclass(frozen=True, slots=True, kw_only=True)
class Aim:
    """At which point the camera looks from frame `start` to frame `end`, and whether it turns to another one there.

    `then` is reached from frame `leaves` to frame `arrives`, along a great circle, at the pace of the law `ease`.
    """

    at: Point
    start: Fraction
    end: Fraction
    then: Point | None = None
    leaves: Fraction = Fraction(0)
    arrives: Fraction = Fraction(0)
    ease: Ease = field(default_factory=lambda: Ease("poly345"))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Written:
    """What became of an aim.

    `captured` is each axis that has new keys, and `replaced` how many of its keys went for them; `furthest_deg`, at
    frame `furthest_at`, is the most by which the optical axis is off the point in the compiled move; `distance_m` the
    nearest and the farthest; `turned_deg` how far apart the two points are, at most, as the camera sees them.
    `unfocused` says why focus was left as it was.
    """

    move: Move
    aimed: Aimed
    captured: tuple[Captured, ...]
    replaced: tuple[int, ...]
    furthest_deg: float
    furthest_at: Fraction
    distance_m: tuple[float, float]
    turned_deg: float
    unfocused: str


def written(
    rig: Rig, move: Move, rate: Rate, laws: Laws, aim: Aim, within_deg: float, *, over_the_top: bool = False
) -> Written:
    """Return the move in which pan and tilt keep the point in view, and how well they do.

    Unit: `within_deg` degrees between the optical axis and the point.
    Error: ValueError in plain words with the nearest thing that works: a rig that cannot be aimed, a point that cannot
    be looked at or that pan and tilt cannot turn to; else as in `capture`.
    """
    own = head(rig)
    if not (isfinite(within_deg) and within_deg > 0):
        raise ValueError(f"an aim cannot be kept to within {within_deg:g} degrees; give an angle above zero")
    axes = rig.axes[own.pan], rig.axes[own.tilt]
    curve = compile_move(rig, move, rate, laws)
    looked = partial(_looked, rig, curve, rate, laws, aim, within_deg, over_the_top)
    fast = 1
    if float(rate.seconds(aim.end - aim.start)) > SHORT_S:
        rough_s = _instants(rate, aim, _PACE_S, _ROUGHLY)
        _, rough, _ = looked(rough_s)
        fast = times(zip(axes, (rough.pan, rough.tilt), strict=True), rough_s)
    t_s = _instants(rate, aim, _pace_s(axes, within_deg) * fast)
    positions, found, turned_deg = looked(t_s)
    paths = [
        (axis.name, Path(t_s, values), float(within_deg * _SHARES))
        for axis, values in zip(axes, (found.pan, found.tilt), strict=True)
    ]
    focus = focused(rig, positions, found.sensor_m)
    if isinstance(focus, Focused):
        paths.append((focus.axis, Path(t_s, focus.position), focus.within))
        positions[:, rig.index(focus.axis)] = focus.position
    new, captured, replaced = move, [], []
    for path in paths:
        try:
            new, one, count = _kept(rig, new, rate, laws, aim, path, fast)
        except ValueError as fault:
            reasons = [near(each, axes[0], rate) for each in found.near if not each.over]
            what = f"{_names(aim)} cannot be kept to within {within_deg:g} deg: {fault}"
            raise ValueError("; ".join((what, *reasons, *_turning(aim, rate, found)))) from fault
        captured.append(one)
        replaced.append(count)
    furthest_deg, furthest_at = _measured(rig, new, rate, laws, aim, fast)
    # focused anew, the lens may have its pupil elsewhere
    ahead_m = found.sensor_m + rig.geometry.mounted_mm[1] / 1000 - pupil_m(rig, positions)[..., 1]
    return Written(
        move=new,
        aimed=found,
        captured=tuple(captured),
        replaced=tuple(replaced),
        furthest_deg=furthest_deg,
        furthest_at=furthest_at,
        distance_m=(float(ahead_m.min()), float(ahead_m.max())),
        turned_deg=turned_deg,
        unfocused=focus if isinstance(focus, str) else "",
    )


def _looked(
    rig: Rig, curve: Trajectory, rate: Rate, laws: Laws, aim: Aim, within_deg: float, over_the_top: bool, t_s: Floats
) -> tuple[Floats, Aimed, float]:
    """Return where the axes stand at the instants, pan and tilt there, and how far apart the two points are."""
    positions = curve.sample(t_s)
    points, turned_deg = _points(rig, rate, laws, aim, t_s, positions)
    found = aimed(rig, t_s, positions, points, over_the_top=over_the_top, within_deg=within_deg)
    if isinstance(found, Missed):
        raise ValueError(missed(found, _names(aim), rate))
    if found.beyond:
        raise ValueError(beyond(rig, found, _names(aim), rate))
    return positions, found, turned_deg


def _kept(
    rig: Rig, move: Move, rate: Rate, laws: Laws, aim: Aim, path: tuple[str, Path, float], fast: int
) -> tuple[Move, Captured, int]:
    """Return the move in which one axis goes along a path, how well, and how many of its keys went for it.

    The track as it was says nothing of how this run is to begin and end, and may be far from it.
    """
    name, way, within = path
    number = next((place for place, track in enumerate(move.tracks) if track.axis == name), len(move.tracks))
    axis = rig.axes[rig.index(name)]
    keys, one = along(axis, rate, laws, way, (aim.start, aim.end), within, fast)
    old = move.tracks[number] if number < len(move.tracks) else Track(name, ())
    track, count = set_in(old, keys, axis, rate, laws, number)
    return replace(move, tracks=(*move.tracks[:number], track, *move.tracks[number + 1 :])), one, count


def _pace_s(axes: tuple[Axis, ...], within_deg: float) -> float:
    """Return how far samples are apart, so that no axis can leave the line between two by much of the tolerance."""
    fastest = max(axis.acceleration for axis in axes)
    return max(_LEAST_S, min(_PACE_S, float(np.sqrt(8 * _BENT * within_deg / fastest))))


def _instants(rate: Rate, aim: Aim, pace_s: float, most: int | None = None) -> Floats:
    begin_s, end_s = (float(rate.seconds(at)) for at in (aim.start, aim.end))
    count = max(5, ceil((end_s - begin_s) / pace_s) + 1)
    return np.linspace(begin_s, end_s, count if most is None else min(count, most))


def _points(rig: Rig, rate: Rate, laws: Laws, aim: Aim, t_s: Floats, positions: Floats) -> tuple[Floats, float]:
    """Return what is looked at at each instant, and how far the camera turns between the two points."""
    pivot, _ = stood(rig, positions)
    one = np.broadcast_to(np.array(aim.at.at_m, dtype=np.float64), pivot.shape)
    if aim.then is None:
        return one, 0.0
    curve = curve_of(aim.ease, laws)
    if isinstance(curve, Drawn | NoCurve):
        raise ValueError(f"the law {aim.ease.law} leads from no point to another; name one like poly345")
    leaves_s, arrives_s = (float(rate.seconds(at)) for at in (aim.leaves, aim.arrives))
    if not arrives_s > leaves_s:
        raise ValueError("turning from one point to another takes more than no time; give it some")
    weight = curve.sample(np.clip((t_s - leaves_s) / (arrives_s - leaves_s), 0.0, 1.0))
    other = np.array(aim.then.at_m, dtype=np.float64)
    on_way = (weight > 0) & (weight < 1)
    points = np.where((weight >= 1)[:, None], other, one)
    if on_way.any():
        points[on_way] = between(pivot[on_way], one[on_way], other, weight[on_way])
    return points, float(apart_deg(pivot, one, other)[on_way].max(initial=0.0))


def _measured(rig: Rig, move: Move, rate: Rate, laws: Laws, aim: Aim, fast: int) -> tuple[float, Fraction]:
    """Return the most by which the compiled move is off the point, and the frame."""
    t_s = _instants(rate, aim, _LOOKED_S * fast)
    positions = compile_move(rig, move, rate, laws).sample(t_s)
    off = off_deg(rig, positions, _points(rig, rate, laws, aim, t_s, positions)[0])
    worst = int(off.argmax())
    return float(off[worst]), rate.frames(Fraction(float(t_s[worst])))


def _turning(aim: Aim, rate: Rate, found: Aimed) -> Iterator[str]:
    """Yield how fast turning from one point to the other is, which is mostly what cannot be kept then."""
    if aim.then is None:
        return
    leaves_s, arrives_s = (float(rate.seconds(at)) for at in (aim.leaves, aim.arrives))
    inside = (found.t_s >= leaves_s) & (found.t_s <= arrives_s)
    around = slice(max(int(inside.argmax()) - 1, 0), int(inside.argmax()) + int(inside.sum()) + 1)
    steps = (np.diff(values[around]) / np.diff(found.t_s[around]) for values in (found.pan, found.tilt))
    pan, tilt = (float(np.abs(step).max(initial=0.0)) for step in steps)
    which = f"pan would turn at up to {pan:.3g} deg/s and tilt at up to {tilt:.3g}"
    yield f"turning to {aim.then.name} takes {arrives_s - leaves_s:.3g} s, in which {which}: give it more time"


def _names(aim: Aim) -> str:
    return aim.at.name if aim.then is None else f"{aim.at.name} or {aim.then.name}"
