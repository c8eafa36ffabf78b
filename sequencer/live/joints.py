"""How a captured stretch joins the track that it comes into: which old keys its smooth run takes in, on either side.

Where the axis rests at the end of the stretch, the run ends there. Where it moves, the run goes on to the next old key
and to the end of the smooth run that this one may belong to; where there is no key on that side, a new one is put there
with time enough to come to rest. It refuses to move an old key.
"""

from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil

import numpy as np
from numpy.typing import NDArray

from sequencer.live.performed import Path
from sequencer.motion.legs import leg_of
from sequencer.motion.trajectory import Trajectory
from sequencer.rig.axis import Axis
from sequencer.score.easing import Laws, NoCurve, UnitCurve, curve_of
from sequencer.score.move import Ease, Key
from sequencer.timebase.rate import Rate

Floats = NDArray[np.float64]

# the seconds at either end of a stretch from which its speed there is read
_FELT_S = 0.05
# how gently an axis is brought to speed where nothing says how: in parts of its acceleration and jerk
_GENTLE = 0.5
_STEP_S = 0.01
_EVEN = 1e-9


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Side:
    """What the run takes in beside the stretch, in order of time.

    `early`: whether it is the side before. `known`: the instants of keys, and the values there. `old`: the curve as it
    was, near which the run is to stay. `joined`: whether the old curve meets the stretch, so that keys may be put
    between it and the last old one. `new`: whether the one key is no old one.
    """

    early: bool
    known: tuple[tuple[Fraction, float], ...]
    old: Path
    joined: bool = False
    new: bool = False


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Old:
    """The track as it was: its keys, the value of each with all its turns, and the curve that it compiles to.

    Shape: `values` (K,). The curve is of the one axis; None where there was no track.
    """

    axis: Axis
    rate: Rate
    keys: tuple[Key, ...] = ()
    values: Floats
    curve: Trajectory | None = None

    def at(self, t_s: Floats, order: int = 0) -> Floats:
        """Return where the axis was to be, or a derivative. Shape: (T,), result (T,)."""
        assert self.curve is not None
        return self.curve.sample(t_s, order)[:, 0]


def speed(path: Path, at_s: float) -> float:
    """Return how fast the axis goes at an end of the path."""
    near = np.abs(path.at_s - at_s) <= _FELT_S
    if near.sum() < 3:
        return 0.0
    # the slope of the parabola through what is near, at the end itself
    return float(np.polyfit(path.at_s[near] - at_s, path.position[near], 2)[1])


def rests(axis: Axis, velocity: float, room: float) -> bool:
    """Whether an axis may as well stand at an end: stopping there takes it away by little of the room."""
    # with its jerk alone it stops in twice the root of speed by jerk, at half the speed in the mean
    pace = abs(velocity)
    return pace**2 / axis.acceleration <= room / 4 and pace * (pace / axis.jerk) ** 0.5 <= room / 2


def before(old: Old, start: Fraction, path: Path, room: float) -> Side:
    """Return what the run takes in before a stretch that begins in motion."""
    number = sum(key.at < start for key in old.keys)
    if not number:
        return _new(old.axis, old.rate, start, path, -1)
    first = number - 1
    while first > 0 and _passes(old.keys[first]) and _through(old, first - 1):
        first -= 1
    known = tuple((key.at, value) for key, value in zip(old.keys, old.values.tolist(), strict=True))[first:number]
    return _taken_in(old, known, start, path, room)


def after(old: Old, end: Fraction, path: Path, room: float) -> Side:
    """Return what the run takes in after a stretch that ends in motion."""
    number = sum(key.at <= end for key in old.keys)
    if number == len(old.keys):
        return _new(old.axis, old.rate, end, path, 1)
    last = number
    while last + 1 < len(old.keys) and _passes(old.keys[last]) and _through(old, last):
        last += 1
    known = tuple((key.at, value) for key, value in zip(old.keys, old.values.tolist(), strict=True))[number : last + 1]
    return _taken_in(old, known, end, path, room)


def unjoined(side: Side) -> Side:
    """Return the side without the old curve: the run then goes between the stretch and the old keys as it likes."""
    return replace(side, old=Path(np.empty(0), np.empty(0)), joined=False)


def settled(key: Key, following: Key, axis: Axis, rate: Rate, laws: Laws) -> Key:
    """Return a key whose leg to the next one begins and ends at rest: with its own law where that does so."""
    way, lasts_s = following.value - key.value, float(rate.seconds(following.at - key.at))
    curve = curve_of(key.ease, laws, leg_of(axis, way, lasts_s))
    if isinstance(curve, UnitCurve):
        fits = way == 0 or float(np.abs(curve.sample(np.array([0.0, 1.0]), 1)).max()) <= _EVEN
    else:
        fits = curve is NoCurve.RUN or (curve is NoCurve.STILL and way == 0)
    return key if fits else replace(key, ease=Ease("poly345"))


def _passes(key: Key) -> bool:
    return key.passing in ("pass", "free")


def _through(old: Old, leg: int) -> bool:
    """Whether the leg from a key to the next one is a part of a smooth run."""
    return old.keys[leg].ease.law == "through" and old.values[leg + 1] != old.values[leg]


def _taken_in(old: Old, known: tuple[tuple[Fraction, float], ...], joint: Fraction, path: Path, room: float) -> Side:
    """Return old keys with the old curve about them, up to the joint with the stretch where the two meet."""
    early = known[0][0] < joint
    joint_s, begin_s, end_s = (float(old.rate.seconds(at)) for at in (joint, known[0][0], known[-1][0]))
    # what comes just beside the joint counts: there may be another leg behind it
    there_s = np.array([np.nextafter(joint_s, -np.inf if early else np.inf)])
    apart = abs(float(old.at(there_s)[0]) - float(np.interp(joint_s, path.at_s, path.position)))
    slips = float(old.at(there_s, 1)[0]) - speed(path, joint_s)
    inside_s = np.arange(min(begin_s, joint_s), max(end_s, joint_s), _STEP_S)[1:]
    side = Side(early=early, known=known, old=Path(inside_s, old.at(inside_s)), joined=True)
    return side if apart <= room and rests(old.axis, slips, room) else unjoined(side)


def _new(axis: Axis, rate: Rate, at: Fraction, path: Path, way: int) -> Side:
    """Return a key beyond the stretch, from or to which the axis comes with an even change of its speed."""
    at_s = float(rate.seconds(at))
    velocity = speed(path, at_s)
    lasts_s = max(2 * abs(velocity) / (_GENTLE * axis.acceleration), (6 * abs(velocity) / (_GENTLE * axis.jerk)) ** 0.5)
    frames = max(1, ceil(rate.frames(Fraction(lasts_s))))
    value = float(np.interp(at_s, path.at_s, path.position)) + way * velocity * float(rate.seconds(frames)) / 2
    if axis.travel is not None:
        value = min(max(value, axis.travel[0]), axis.travel[1])
    return Side(early=way < 0, known=((at + way * frames, value),), old=Path(np.empty(0), np.empty(0)), new=True)
