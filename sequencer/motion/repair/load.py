"""How heavily each leg of a move loads its axis, in parts of the limits. It refuses to say what to do about it."""

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.asked import asked
from sequencer.motion.compile import Pieces, places
from sequencer.motion.legs import Legs
from sequencer.motion.peaks import TOLERANCE, Quantity, against, combined_peaks
from sequencer.motion.repair.outcome import Reason
from sequencer.motion.trajectory import Trajectory
from sequencer.rig.axis import Rig
from sequencer.score.move import Move
from sequencer.timebase.instants import instant

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# a limit is kept where it is broken by less than this part of it: what rounding does
KEPT = 1e-10
_ORDERS: tuple[Quantity, ...] = ("speed", "acceleration", "jerk")


@dataclass(frozen=True, slots=True, eq=False)
class Load:
    """The legs of a move, in the order of `Legs`, as the motors meet them, combined limits among theirs.

    Shape: `ratio` (3, L), the largest speed, acceleration and jerk over the axis's limits; `jolting` (L,), the leg
    brings a jump of position, speed or acceleration, inside or at an end where it does not come to rest; `outside`
    (L,), it leaves the travel; `moving` (L,), speed or acceleration is not zero where it begins.
    """

    ratio: Floats
    jolting: Bools
    outside: Bools
    moving: Bools

    @property
    def factor(self) -> Floats:
        """By what the time of each leg must be multiplied, so that its smooth parts keep the limits. Shape: (L,)."""
        return time_factor(self.ratio)

    @property
    def over(self) -> Bools:
        """Which legs ask for more than their axis can do. Shape: (L,)."""
        found: Bools = self.jolting | self.outside | (self.ratio > 1 + KEPT).any(axis=0)
        return found


def load(rig: Rig, whole: Legs, trajectory: Trajectory) -> Load:
    """Return the load of each leg; `trajectory` is what the legs compile to.

    A jump counts where it is more than TOLERANCE of the limit of what jumps, and travel is left by more than that part
    of it, as in `peaks`.
    """
    found = asked(whole, Pieces(places(whole), trajectory.from_s, trajectory.coeffs))
    limit = np.repeat([(axis.speed, axis.acceleration, axis.jerk) for axis in rig.axes], np.diff(whole.first), axis=0).T
    # the position may jump by what the speed limit goes in a microsecond, as in `peaks`
    least = TOLERANCE * limit[[0, 0, 1]]
    knock = np.zeros_like(whole.way, np.bool_)
    knock[1:] = np.any(np.abs(found.begin[:, 1:] - found.end[:, :-1]) > least[:, 1:], axis=0)
    knock[whole.first[:-1]] = False
    begins, ends = (np.any(np.abs(state[1:]) > least[1:], axis=0) for state in (found.begin, found.end))
    after = np.append(knock[1:], False)
    jolting = np.any(found.step > least, axis=0) | (knock & begins) | (after & ends)
    low, high = np.repeat([axis.travel or (-np.inf, np.inf) for axis in rig.axes], np.diff(whole.first), axis=0).T
    slack = TOLERANCE * np.where(np.isfinite(high - low), high - low, 0.0)
    outside = (found.low < low - slack) | (found.high > high + slack)
    result = Load(found.peak / limit, jolting, outside, begins)
    _charge(result, rig, whole, trajectory)
    return result


def _charge(found: Load, rig: Rig, whole: Legs, trajectory: Trajectory) -> None:
    """Charge what breaks a combined limit to the legs of its axes that move at the worst instant, in place."""
    for limit, peak in zip(rig.combined, combined_peaks(trajectory, rig), strict=True):
        for one in against(peak, limit) if peak is not None else ():
            at = [
                int(whole.first[axis]) + int(np.searchsorted(whole.at_s[whole.keys(axis)], one.at_s, "right"))
                for axis in map(rig.index, limit.axes)
            ]
            moving = np.array([leg for leg in at if whole.law[leg] != 0], np.int64)
            if one.of == "travel":
                found.outside[at] |= one.over
            elif np.isinf(one.value):
                found.jolting[moving] = True
            else:
                order = _ORDERS.index(one.of)
                found.ratio[order, moving] = np.maximum(found.ratio[order, moving], one.value / one.limit)


def time_factor(ratio: Floats) -> Floats:
    """Return by what time must be multiplied to bring peaks over limits (3, ...) to 1."""
    speed, acceleration, jerk = ratio
    factor: Floats = np.maximum(np.maximum(speed, np.sqrt(acceleration)), np.cbrt(jerk))
    return factor


def place_of(whole: Legs, leg: int) -> tuple[int, int, int]:
    """Return the axis, the track in the move, and the key that begins the leg.

    The rest before all keys counts as the first key's.
    """
    axis = int(np.searchsorted(whole.first, leg, "right")) - 1
    return axis, whole.track[axis], max(leg - int(whole.first[axis]) - 1, 0)


def reason(move: Move, track: int, keys: tuple[int, ...], words: str) -> Reason:
    """Return why these keys cannot be kept, for the laws that the move names; the words begin with their place."""
    own = move.tracks[track]
    at = tuple(own.keys[key].at for key in keys)
    span = instant(at[0]) if len(at) == 1 else f"{instant(at[0])} to {instant(at[-1])}"
    return Reason(axis=own.axis, keys=keys, at=at, proven=False, words=f"{own.axis} at {span}: {words}")


def said(frames: Fraction | float) -> str:
    """Return frames as an operator reads them, to a thousandth."""
    return f"{float(frames):.3f}".rstrip("0").rstrip(".")
