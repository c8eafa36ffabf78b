"""From an aim to keys: pan and tilt, and focus where it counts millimetres, as smooth runs that keep a point in view.

The path of slide, lift and roll is taken from the move as it is; what pan and tilt then are is captured as a
performance is (`live.capture`), with keys before and after where an axis comes from rest, and set into its track. It
refuses to give back what it has not measured: the move is compiled again, and the aim worked out forward from its
poses.
"""

from dataclasses import dataclass, field, replace
from fractions import Fraction
from math import ceil, isfinite

import numpy as np
from numpy.typing import NDArray

from sequencer.live.aim_words import beyond, missed, near
from sequencer.live.capture import Captured, capture
from sequencer.live.focused import Focused, focused
from sequencer.live.performed import Path
from sequencer.live.set_in import set_in
from sequencer.motion.aim import Aimed, Missed, aimed, head, off_deg
from sequencer.motion.arc import apart_deg, between
from sequencer.motion.compile import compile_move
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.pose import stood
from sequencer.score.easing import Drawn, Laws, NoCurve, curve_of
from sequencer.score.move import Ease, Move, Track
from sequencer.score.points import Point
from sequencer.timebase.rate import Rate

Floats = NDArray[np.float64]

_PACE_S = 0.004  # between samples that keys are fitted to, and less where a fast axis needs it
_LEAST_S = 0.001
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
        raise ValueError(f"an aim is kept to within some angle above zero, not {within_deg:g}")
    axes = rig.axes[own.pan], rig.axes[own.tilt]
    t_s = _instants(rate, aim, _pace_s(axes, within_deg))
    positions = compile_move(rig, move, rate, laws).sample(t_s)
    points, turned_deg = _points(rig, rate, laws, aim, t_s, positions)
    found = aimed(rig, t_s, positions, points, over_the_top=over_the_top, within_deg=within_deg)
    if isinstance(found, Missed):
        raise ValueError(missed(found, _names(aim), rate))
    if found.beyond:
        raise ValueError(beyond(rig, found, _names(aim), rate))
    paths = [
        (axis.name, Path(t_s, values), float(within_deg * _SHARES))
        for axis, values in zip(axes, (found.pan, found.tilt), strict=True)
    ]
    focus = focused(rig, positions, found.distance_m)
    if isinstance(focus, Focused):
        paths.append((focus.axis, Path(t_s, focus.position), focus.within))
    new, captured, replaced = move, [], []
    for path in paths:
        try:
            new, one, count = _kept(rig, new, rate, laws, aim, path)
        except ValueError as fault:
            reasons = [near(each, axes[0], rate) for each in found.near if not each.over]
            raise ValueError("; ".join((str(fault), *reasons))) from fault
        captured.append(one)
        replaced.append(count)
    furthest_deg, furthest_at = _measured(rig, new, rate, laws, aim)
    return Written(
        move=new,
        aimed=found,
        captured=tuple(captured),
        replaced=tuple(replaced),
        furthest_deg=furthest_deg,
        furthest_at=furthest_at,
        distance_m=(float(found.distance_m.min()), float(found.distance_m.max())),
        turned_deg=turned_deg,
        unfocused=focus if isinstance(focus, str) else "",
    )


def _kept(
    rig: Rig, move: Move, rate: Rate, laws: Laws, aim: Aim, path: tuple[str, Path, float]
) -> tuple[Move, Captured, int]:
    """Return the move in which one axis goes along a path, how well, and how many of its keys went for it.

    The track as it was says nothing of how this run is to begin and end, and may be far from it.
    """
    name, way, within = path
    number = next((place for place, track in enumerate(move.tracks) if track.axis == name), len(move.tracks))
    alone, one = capture(rig, Move(tracks=()), rate, laws, name, way, (aim.start, aim.end), within)
    old = move.tracks[number] if number < len(move.tracks) else Track(name, ())
    axis = rig.axes[rig.index(name)]
    track, count = set_in(old, alone.tracks[0].keys, axis, rate, laws, number)
    return replace(move, tracks=(*move.tracks[:number], track, *move.tracks[number + 1 :])), one, count


def _pace_s(axes: tuple[Axis, ...], within_deg: float) -> float:
    """Return how far samples are apart, so that no axis can leave the line between two by much of the tolerance."""
    fastest = max(axis.acceleration for axis in axes)
    return max(_LEAST_S, min(_PACE_S, float(np.sqrt(8 * _BENT * within_deg / fastest))))


def _instants(rate: Rate, aim: Aim, pace_s: float) -> Floats:
    begin_s, end_s = (float(rate.seconds(at)) for at in (aim.start, aim.end))
    return np.linspace(begin_s, end_s, max(5, ceil((end_s - begin_s) / pace_s) + 1))


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
        raise ValueError("turning from one point to another takes more than no time")
    weight = curve.sample(np.clip((t_s - leaves_s) / (arrives_s - leaves_s), 0.0, 1.0))
    other = np.array(aim.then.at_m, dtype=np.float64)
    on_way = (weight > 0) & (weight < 1)
    points = np.where((weight >= 1)[:, None], other, one)
    if on_way.any():
        points[on_way] = between(pivot[on_way], one[on_way], other, weight[on_way])
    return points, float(apart_deg(pivot, one, other)[on_way].max(initial=0.0))


def _measured(rig: Rig, move: Move, rate: Rate, laws: Laws, aim: Aim) -> tuple[float, Fraction]:
    """Return the most by which the compiled move is off the point, and the frame."""
    t_s = _instants(rate, aim, _LOOKED_S)
    positions = compile_move(rig, move, rate, laws).sample(t_s)
    off = off_deg(rig, positions, _points(rig, rate, laws, aim, t_s, positions)[0])
    worst = int(off.argmax())
    return float(off[worst]), rate.frames(Fraction(float(t_s[worst])))


def _names(aim: Aim) -> str:
    return aim.at.name if aim.then is None else f"{aim.at.name} or {aim.then.name}"
