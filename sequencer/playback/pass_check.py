"""Whether the motors can do each pass of a cue, asked as arming asks it, and in which order passes are best shot.

It refuses to offer what cannot be armed: with each pass that does not fit comes the nearest that does, where one is.
"""

import math
from collections.abc import Callable, Hashable, Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from sequencer.errors import ProjectError
from sequencer.motion.compile import compile_move
from sequencer.motion.peaks import Asked, Violation, against, combined_peaks, over, peaks, worst
from sequencer.motion.trajectory import Trajectory
from sequencer.playback.cued import cue_up
from sequencer.rig.axis import Rig
from sequencer.score.easing import Laws
from sequencer.score.move import Cue, Move, Pass
from sequencer.score.passes import varied
from sequencer.timebase.rate import Rate

_RESTS = 1e-6  # of an axis's speed, as in `cued`


@dataclass(frozen=True, slots=True, kw_only=True)
class PassCheck:
    """What one pass of a cue asks of the motors.

    `fault` says why the pass cannot be made at all; `moving` names axes that are under way where the cue begins, and
    `rests` the nearest frames at which every axis rests. `over` are the limits that are broken; `worst` the one that is
    broken most, or of which least is left. `fits` is the fastest speed of the pass that keeps every limit, rounded down
    to three figures; None where no speed does, or where it fits already.
    """

    cue: Cue
    run: Pass
    fault: ProjectError | None = None
    moving: tuple[str, ...] = ()
    rests: tuple[Fraction, ...] = ()
    over: tuple[Violation, ...] = ()
    worst: Asked | None = None
    fits: Fraction | None = None

    @property
    def ok(self) -> bool:
        """Whether it can be armed, with no limit broken."""
        return self.fault is None and not (self.moving or self.over)

    @property
    def reserve(self) -> float | None:
        """The part of the limits that is left where least is; below zero it is what is too much."""
        return None if self.worst is None else -self.worst.excess


def check_pass(rig: Rig, move: Move, rate: Rate, laws: Laws, cue: Cue, one: Pass) -> PassCheck:
    """Return what the cue in this pass asks of the motors; only the part of the move that is played counts."""
    try:
        timeline = compile_move(rig, varied(move, rig, one, laws), rate, laws)
    except ProjectError as fault:
        return PassCheck(cue=cue, run=one, fault=fault)
    start_s = float(rate.seconds(cue.start))

    def played(speed: Fraction) -> tuple[Trajectory, tuple[str, ...]]:
        end_s = start_s + float(rate.seconds(cue.end - cue.start) / speed)
        cued = cue_up(rig, timeline.stretched(speed, start_s), start_s, end_s, float(speed))
        return cued.timeline, cued.moving

    run, moving = played(one.speed)
    if moving:
        return PassCheck(cue=cue, run=one, moving=moving, rests=_rests(rig, timeline, rate, start_s))
    asked = _asked(rig, run)
    broken = over(run, rig)
    fits = _fitting(asked, one.speed, lambda speed: not over(played(speed)[0], rig)) if broken else None
    return PassCheck(cue=cue, run=one, over=broken, worst=worst(asked), fits=fits)


def checked(rig: Rig, move: Move, rate: Rate, laws: Laws, cues: Iterable[Cue]) -> tuple[PassCheck, ...]:
    """Return all passes of these cues, checked, in the order in which they are best shot."""
    passes = move.passes or (Pass("as written"),)
    each = [(cue, one) for cue in cues for one in passes if one.of in (None, cue.name)]
    return tuple(check_pass(rig, move, rate, laws, cue, one) for cue, one in planned(each))


def planned(each: Sequence[tuple[Cue, Pass]]) -> list[tuple[Cue, Pass]]:
    """Return cues and passes in the order that spares work: what takes longest to change is changed least often.

    What is alike stays together, in the order in which it first comes: passes of one scale (the rig goes to another
    set), among these of one note (light, people and props change), of one camera rate (a camera is set), then of one
    cue, one offset, one speed and one direction, all of which the program changes by itself. Passes that are alike in
    all that keep their order.
    """
    ways: tuple[Callable[[Cue, Pass], Hashable], ...] = (
        lambda cue, one: one.scale and (one.scale.factor, one.scale.about),
        lambda cue, one: one.note,
        lambda cue, one: one.rate,
        lambda cue, one: cue,
        lambda cue, one: one.offset,
        lambda cue, one: one.speed,
        lambda cue, one: one.reversed,
    )

    def grouped(some: list[tuple[Cue, Pass]], depth: int) -> list[tuple[Cue, Pass]]:
        if depth == len(ways):
            return some
        groups: dict[Hashable, list[tuple[Cue, Pass]]] = {}
        for cue, one in some:
            groups.setdefault(ways[depth](cue, one), []).append((cue, one))
        return [one for group in groups.values() for one in grouped(group, depth + 1)]

    return grouped(list(each), 0)


def _asked(rig: Rig, run: Trajectory) -> tuple[Asked, ...]:
    pairs = zip((*rig.axes, *rig.combined), (*peaks(run, rig), *combined_peaks(run, rig)), strict=True)
    return tuple(one for limits, peak in pairs if peak is not None for one in against(peak, limits))


def _fitting(asked: Sequence[Asked], speed: Fraction, fits: Callable[[Fraction], bool]) -> Fraction | None:
    """Return the fastest speed that fits, in three figures, and checked to do so; None where none does.

    A speed is asked for as it is, an acceleration by its square and a jerk by its cube.
    """
    if any(one.over and math.isinf(one.value) for one in asked):
        return None
    orders = {"speed": 1, "acceleration": 2, "jerk": 3}
    fastest = float(speed) / max((1 + one.excess) ** (1 / orders[one.of]) for one in asked if one.of != "travel")
    step = Fraction(10) ** (math.floor(math.log10(fastest)) - 2)
    near = math.floor(Fraction(fastest) / step) * step
    return next((one for one in (near, near - step) if one > 0 and fits(one)), None)


def _rests(rig: Rig, timeline: Trajectory, rate: Rate, at_s: float) -> tuple[Fraction, ...]:
    """Return the last instant before and the first one after `at_s` at which every axis rests, in frames."""
    slow = _RESTS * np.array([axis.speed for axis in rig.axes])
    ends_s = np.unique(timeline.from_s)
    still = ends_s[(np.abs(timeline.sample(ends_s, 1)) <= slow).all(axis=1)]
    before, after = still[still < at_s][-1:], still[still > at_s][:1]
    return tuple(Fraction(round(rate.frames(Fraction(one)) * 100), 100) for one in (*before.tolist(), *after.tolist()))
