"""Whether the motors can do a move, leg by leg, before they are asked to: what is asked, where, and how much is left.

It refuses to mend anything. A law's jolt where two legs meet is charged to the leg that begins there, or to the one
that ends there when the axis then rests.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.asked import asked
from sequencer.motion.compile import Pieces, compile_pieces, joined
from sequencer.motion.extremes import Extremes
from sequencer.motion.legs import Legs, legs
from sequencer.motion.peaks import TOLERANCE, Asked, Peak, against, combined_peaks, peak_of, worst
from sequencer.motion.trajectory import Trajectory
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.limits import Combined
from sequencer.score.easing import Laws
from sequencer.score.move import Move
from sequencer.timebase.rate import Rate

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class LegCheck:
    """What one leg asks, from key `key` of its axis's track to the next one.

    An axis whose track has one key only stands there: its leg goes from that key to that key.
    """

    axis: str
    key: int
    from_s: float
    to_s: float
    peak: Peak
    worst: Asked


@dataclass(frozen=True, slots=True, eq=False)
class Check:
    """What a move asks of its rig. Instants are those of the move as it is written, whatever the pass's speed.

    Shape: columns over all L legs of `whole`, the rests at both ends of each axis among them: `found`, in which a jump
    makes the derivatives above it infinite; `excess` (L,), how much more than its limits allow a leg asks, as a part
    of the limit that it breaks most or is nearest to. `rows` are the legs from a key to a key.
    `combined`: what each combined limit of the rig is asked for, None for one that never comes to hold.
    """

    rig: Rig
    speed: Fraction
    trajectory: Trajectory
    whole: Legs
    found: Extremes
    excess: Floats
    rows: Ints
    combined: tuple[Peak | None, ...]

    @property
    def ok(self) -> bool:
        """Whether every limit is kept."""
        return not self._most > TOLERANCE

    @property
    def reserve(self) -> float:
        """The part of the limits that is left where least is; below zero it is what is too much. No unit."""
        return -self._most

    @property
    def speed_factor(self) -> float:
        """At which multiple of its speed the move would just fit: infinite where nothing moves, 0 where none mends it.

        No speed mends a jump, or a travel that is broken.
        """
        each = zip(
            _limits(self.rig), np.maximum.reduceat(self.found.peak, self.whole.first[:-1], axis=1).T, strict=True
        )
        parts = [peak / limits for limits, peak in each]
        for limit, peak in self._together():
            of = {one.of: one.excess + 1 for one in against(peak, limit)}
            parts.append(np.array([of.get(name, 0.0) for name in ("speed", "acceleration", "jerk")]))
        slower = float((np.stack(parts) ** [1, 1 / 2, 1 / 3]).max())
        travelled = (one.over for limits, peak in self._whole() for one in against(peak, limits) if one.of == "travel")
        return 0.0 if any(travelled) else np.inf if slower == 0 else 1 / slower

    def legs(self) -> Iterator[LegCheck]:
        """Yield what each leg asks, axis after axis."""
        return map(self._leg, self.rows.tolist())

    def over(self) -> list[LegCheck]:
        """Return the legs that ask too much, the worst first."""
        broken = self.rows[self.excess[self.rows] > TOLERANCE]
        return [self._leg(row) for row in broken[np.argsort(-self.excess[broken], kind="stable")].tolist()]

    def combined_over(self) -> list[tuple[Combined, Asked]]:
        """Return the combined limits that are broken, and by what most."""
        each = [(limit, worst(against(peak, limit))) for limit, peak in self._together()]
        return [(limit, one) for limit, one in each if one.over]

    def axes(self) -> tuple[Peak, ...]:
        """Return what each axis is asked for in the whole move."""
        result = []
        for number, name in enumerate(self.rig.names):
            span = slice(self.whole.first[number], self.whole.first[number + 1])
            most = self.found.peak[:, span].argmax(axis=1) + span.start
            order = np.arange(3)
            low, high = self.found.low[span].argmin() + span.start, self.found.high[span].argmax() + span.start
            peak = peak_of(name, (self.found.peak[order, most], self.found.peak_at[order, most]), self.found, low)
            result.append(replace(peak, high=peak_of(name, _NOTHING, self.found, high).high))
        return tuple(result)

    @property
    def _most(self) -> float:
        together = [worst(against(peak, limit)).excess for limit, peak in self._together()]
        return float(max(self.excess.max(), *together, -1.0))

    def _together(self) -> list[tuple[Combined, Peak]]:
        pairs = zip(self.rig.combined, self.combined, strict=True)
        return [(limit, peak) for limit, peak in pairs if peak is not None]

    def _whole(self) -> list[tuple[Axis | Combined, Peak]]:
        return [*zip(self.rig.axes, self.axes(), strict=True), *self._together()]

    def _leg(self, row: int) -> LegCheck:
        number = int(np.searchsorted(self.whole.first, row, "right")) - 1
        axis = self.rig.axes[number]
        peak = peak_of(axis.name, (self.found.peak[:, row], self.found.peak_at[:, row]), self.found, row)
        last = int(self.whole.first[number + 1]) - 1
        return LegCheck(
            axis=axis.name,
            key=row - int(self.whole.first[number]) - 1,
            from_s=float(self.whole.at_s[row]),
            to_s=float(self.whole.at_s[min(row + 1, last)]),
            peak=peak,
            worst=worst(against(peak, axis)),
        )


# the ends of the travel of an axis that has none: nothing goes beyond them
_ENDLESS = -float(np.finfo(np.float64).max) / 4, float(np.finfo(np.float64).max) / 4
_NOTHING = np.zeros(3), np.zeros(3)


def check(rig: Rig, move: Move, rate: Rate, laws: Laws, speed: Fraction = Fraction(1)) -> Check:
    """Compile a move and return what each of its legs asks, exactly, when it is run at `speed`.

    Error: ProjectError for the first fault of the move (`score.faults`), or for a smooth run that cannot be solved.
    """
    whole = legs(rig, move, rate, laws)
    pieces = compile_pieces(rig, whole)
    trajectory = joined(rig, whole, pieces)
    found, excess = judged(rig, whole, pieces, speed)
    counts = np.diff(whole.first)
    # the first and the last leg of an axis are its rests; where a track has one key, that is all there is of it
    between = np.ones(len(excess), np.bool_)
    between[whole.first[:-1]] = between[whole.first[1:] - 1] = False
    single = (counts == 2) & (np.array(whole.track) >= 0)
    between[whole.first[1:][single] - 1] = True
    combined: tuple[Peak | None, ...] = ()
    if rig.combined:
        run = trajectory.stretched(speed, 0.0)
        combined = tuple(peak and _as_written(peak, float(speed)) for peak in combined_peaks(run, rig))
    return Check(rig, speed, trajectory, whole, found, excess, np.flatnonzero(between), combined)


def judged(rig: Rig, whole: Legs, pieces: Pieces, speed: Fraction) -> tuple[Extremes, Floats]:
    """Return what each leg asks, and its excess, as in `Check`; `pieces` are what these legs compile to."""
    found = _at_speed(asked(whole, pieces), float(speed))
    counts = whole.first[1:] - whole.first[:-1]
    bounds = [(axis.speed, axis.acceleration, axis.jerk, *(axis.travel or _ENDLESS)) for axis in rig.axes]
    rows = np.array(bounds, np.float64).T.repeat(counts, axis=1)
    limits, low, high = rows[:3], rows[3], rows[4]
    _charge_jumps(found, whole, limits)
    excess = (found.peak / limits).max(axis=0) - 1
    beyond = np.maximum(low - found.low, found.high - high) / (high - low)
    return found, np.where(beyond > TOLERANCE, np.maximum(beyond, excess), excess)


def _limits(rig: Rig) -> Floats:
    """Return the speed, acceleration and jerk of each axis. Shape: (A, 3)."""
    return np.array([(axis.speed, axis.acceleration, axis.jerk) for axis in rig.axes])


def _at_speed(found: Extremes, speed: float) -> Extremes:
    if speed == 1:
        return found
    powers = speed ** np.arange(4.0)[:, None]
    changed = {name: getattr(found, name) * powers[:3] for name in ("begin", "end", "step")}
    return replace(found, peak=found.peak * powers[1:], **changed)


def _as_written(peak: Peak, speed: float) -> Peak:
    """Return the peak with its instants in the move as it is written."""
    extremes = {name: getattr(peak, name) for name in ("speed", "acceleration", "jerk", "low", "high")}
    return replace(peak, **{name: replace(one, at_s=one.at_s * speed) for name, one in extremes.items()})


def _charge_jumps(found: Extremes, whole: Legs, limits: Floats) -> None:
    """Make infinite, in place, what is so where position, speed or acceleration jumps inside a leg or at its ends."""
    rough = np.empty_like(limits)
    rough[:2], rough[2] = TOLERANCE * limits[0], TOLERANCE * limits[1]
    begins = np.zeros(found.step.shape, np.bool_)
    begins[:, 1:] = np.abs(found.begin[:, 1:] - found.end[:, :-1]) > rough[:, 1:]
    begins[:, whole.first[:-1]] = False  # the leg before it is of another axis
    inside = found.step > rough
    if not (begins.any() or inside.any()):
        return
    rests = whole.law == 0
    ends = np.zeros_like(begins)
    ends[:, :-1] = (begins & rests)[:, 1:]
    begins &= ~rests
    after_s = np.append(whole.at_s[1:], 0.0)
    for order in (2, 1, 0):
        for jumps, at_s in ((ends, after_s), (inside, found.step_at[order]), (begins, whole.at_s)):
            legs = jumps[order].nonzero()[0]
            found.peak[order:, legs] = np.inf
            found.peak_at[order:, legs] = at_s[legs]
