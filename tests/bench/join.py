"""Joining a moving reference and stopping: how surely, how exactly, how soon and how fast, beside proofs and ruckig."""

import time
from collections.abc import Iterator
from fractions import Fraction
from typing import Any, NamedTuple

import numpy as np
import ruckig
from scipy.optimize import linprog
from scipy.sparse import coo_array

from sequencer.motion import join, profile
from sequencer.motion.compile import compile_move
from sequencer.motion.peaks import peaks
from sequencer.motion.trajectory import Trajectory
from sequencer.score.move import Move
from tests.bench.table import Table
from tests.motion.machines import LAWS, SECONDS, rig, seeded_keys, track

PARTS = (0.6, 0.8, 0.9, 1.0)
KINDS = ("beats", "uneven", "one way", "holds")
LIMITS = (60.0, 120.0, 600.0)
PROBES = (0.5, 0.8, 0.9, 0.97)
_NODES = 64  # of the relaxation
_DIRECTIONS = 55


class Case(NamedTuple):
    """A random state of one axis, a reference, the instant at which it is left for it, and when they were joined."""

    reference: Trajectory
    at_s: float
    state: tuple[float, float, float]
    joined: Trajectory
    in_s: float


def reference(seed: int, part: float) -> Trajectory:
    """Return a smooth run through twenty keys, stretched so that its peaks are at `part` of the limits."""
    at_s, values = seeded_keys(KINDS[seed % len(KINDS)], seed)
    keys = track([Fraction(str(at)) for at in at_s], [float(value) for value in values], "through")
    smooth = compile_move(rig(), Move(tracks=(keys,)), SECONDS, LAWS)
    (peak,) = peaks(smooth, rig())
    asked = (peak.speed.value, peak.acceleration.value, peak.jerk.value)
    # jerk grows with the cube of speed: the slowest of the three says how fast it may be
    most = max((value / limit) ** (1 / order) for value, limit, order in zip(asked, LIMITS, (1, 2, 3), strict=True))
    return smooth.stretched(part / most, 0.0)


def cases(count: int) -> Iterator[Case]:
    """Yield joins of random states, `count` for each part of the limits; an axis is planned to its end."""
    machine = rig()
    for part in PARTS:
        for seed in range(count):
            chance = np.random.default_rng(round(1000 * part) * 1000 + seed)
            aim = reference(seed, part)
            at_s = float(chance.uniform(0, aim.end_s * 0.7))
            place, speed = aim.at(at_s)[0] + chance.normal(0, 20, 1), chance.uniform(-30, 30, 1)
            acceleration = chance.uniform(-60, 60, 1)
            way = profile.later(profile.stop(machine, place, speed, acceleration), np.array([at_s]))
            planner = join.begin(machine, way, aim, np.array([at_s]))
            while not planner.done:
                planner = join.advance(planner)
            state = float(place[0]), float(speed[0]), float(acceleration[0])
            yield Case(aim, at_s, state, planner.trajectory(), planner.in_s)


def merge_error(case: Case) -> tuple[float, float, float]:
    """Return how far position, speed and acceleration are from the reference's just before they become it."""
    before_s, in_s = np.array([np.nextafter(case.in_s, -np.inf)]), np.array([case.in_s])
    ways = (abs(case.joined.sample(before_s, order) - case.reference.sample(in_s, order)) for order in (0, 1, 2))
    position, speed, acceleration = (float(way[0, 0]) for way in ways)
    return position, speed, acceleration


def over(case: Case) -> tuple[float, float, float]:
    """Return the part by which speed, acceleration and jerk exceed their limits at 10 kHz until the merge."""
    t_s = np.append(np.arange(case.at_s, case.in_s, 1e-4), np.nextafter(case.in_s, -np.inf))
    asked = (float(abs(case.joined.sample(t_s, order)).max()) for order in (1, 2, 3))
    speed, acceleration, jerk = (value / limit - 1 for value, limit in zip(asked, LIMITS, strict=True))
    return speed, acceleration, jerk


def is_impossible(state: tuple[float, float, float], target: tuple[float, float, float], lasts_s: float) -> bool:
    """Tell whether it is proven that no way within the limits leads from `state` to `target` in just `lasts_s`.

    The proof is a linear program that asks less than the motors do: states at nodes within the limits, linked by what
    any jerk within the limit can make of one in the next, seen from some directions. Where even that has no solution,
    there is no way. Source: study of joining, section 7; support function of the reachable set, textbook.
    """
    step_s = lasts_s / _NODES
    # in units of what the jerk limit makes in a step, from where the axis begins
    units = LIMITS[2] * step_s ** np.array([3.0, 2.0, 1.0])
    begin, end = (np.array(one) - [state[0], 0, 0] for one in (state, target))
    free = np.array([[1, 1, 0.5], [0, 1, 1], [0, 0, 1]])
    ways, most = _directions()
    linked = np.concatenate((-ways @ free, ways), axis=1)
    row = np.arange(len(ways) * _NODES).reshape(-1, _NODES, 1)
    column = np.broadcast_to(3 * np.arange(_NODES)[:, None] + np.arange(6), (len(ways), _NODES, 6))
    value = np.broadcast_to(linked[:, None, :], column.shape)
    place = np.broadcast_to(row, column.shape).ravel(), column.ravel()
    matrix: Any = coo_array((value.ravel(), place), shape=(row.size, 3 * (_NODES + 1))).tocsr()  # dense by its stubs
    high = np.tile(np.array([np.inf, *LIMITS[:2]]) / units, _NODES + 1)
    low = -high
    low[:3] = high[:3] = begin / units
    low[-3:] = high[-3:] = end / units
    bounds = list(zip(low.tolist(), high.tolist(), strict=True))
    outcome = linprog(np.zeros(len(high)), A_ub=matrix, b_ub=np.repeat(most, _NODES), bounds=bounds, method="highs")
    if outcome.status not in (0, 2):
        raise ArithmeticError(f"the proof was not decided: {outcome.message}")
    return bool(outcome.status == 2)


def _directions() -> tuple[np.ndarray, np.ndarray]:
    """Return directions of state, and the most that jerk within its limit gains along each in one step of length 1.

    The most is the integral of |w0 s^2/2 + w1 s + w2|, bounded from above between its samples. Shape: (D, 3), (D,).
    Source: Fibonacci's spiral on a sphere; textbook.
    """
    number = np.arange(_DIRECTIONS) + 0.5
    height, turn = 1 - 2 * number / _DIRECTIONS, np.pi * (1 + 5**0.5) * number
    around = np.sqrt(1 - height**2)
    ways = np.stack((around * np.cos(turn), around * np.sin(turn), height), axis=1) * [6, 2, 1]
    s = np.linspace(0, 1, 4001)
    weight = np.abs(ways @ np.stack((s**2 / 2, s, np.ones_like(s))))
    steepest = np.abs(ways[:, 0]) + np.abs(ways[:, 1])
    return ways, np.trapezoid(weight, s, axis=1) + steepest * s[1] / 2


def ruckigs_stop_s(velocity: float, acceleration: float) -> float:
    """Return how long ruckig's velocity interface takes to stop one axis: another algorithm for the same optimum."""
    asked = ruckig.InputParameter(1)
    asked.control_interface = ruckig.ControlInterface.Velocity
    asked.current_velocity, asked.current_acceleration = [velocity], [acceleration]
    asked.max_acceleration, asked.max_jerk = [LIMITS[1]], [LIMITS[2]]
    answer = ruckig.Trajectory(1)
    ruckig.Ruckig(1).calculate(asked, answer)
    return float(answer.duration)


def states(count: int) -> np.ndarray:
    """Return random speeds and accelerations within the limits. Shape: (count, 2)."""
    return np.random.default_rng(5).uniform(-1, 1, (count, 2)) * LIMITS[:2]


def stop_error_s(count: int) -> float:
    """Return by how much the closed form's stop and ruckig's differ at most, over random states."""
    (axis,) = rig().axes
    errors = []
    for velocity, acceleration in states(count).tolist():
        ours = sum(lasts_s for _, lasts_s in profile.braking(axis, velocity, acceleration))
        errors.append(abs(ours - ruckigs_stop_s(velocity, acceleration)))
    return max(errors)


def joining() -> Table:
    """Join a thousand random states, and try to prove that some could have joined earlier."""
    rows = []
    found = list(cases(250))
    for number, part in enumerate(PARTS):
        own = found[250 * number : 250 * (number + 1)]
        waits = [case.in_s - case.at_s for case in own]
        proven = sum(
            is_impossible(case.state, _target(case, early), early * (case.in_s - case.at_s))
            for case in own[:10]
            for early in PROBES
        )
        rows.append(
            (
                f"{part:.0%}",
                f"{len(own)} of 250",
                f"{np.median(waits):.2f} / {np.percentile(waits, 95):.2f}",
                " / ".join(f"{error:.0e}" for error in np.max([merge_error(case) for case in own], axis=0)),
                f"{np.max([over(case) for case in own]):.0e}",
                f"{proven} of {10 * len(PROBES)}",
            )
        )
    columns = ("reference", "joined", "median / 95 %, s", "error p / v / a", "over a limit", "earlier: impossible")
    note = (
        "Limits 60, 120, 600; speed up to 30, acceleration up to 60, 20 off (one standard deviation). Earlier: at 0.5, "
        "0.8, 0.9 and 0.97 of the time found, proven impossible by a linear program that asks less than the motors do."
    )
    return Table("Joining a moving reference from 1,000 random states", columns, rows, note)


def _target(case: Case, part: float) -> tuple[float, float, float]:
    at_s = np.array([case.at_s + part * (case.in_s - case.at_s)])
    position, speed, acceleration = (float(case.reference.sample(at_s, order)[0, 0]) for order in (0, 1, 2))
    return position, speed, acceleration


def timing() -> Table:
    """Time the planning of sixteen axes, its longest step, and one stop."""
    machine = rig(16)
    aims = [reference(seed, 0.9) for seed in range(16)]
    aim = Trajectory.joined(machine.names, [(*one.of(0), float(one.coeffs[-1, -1])) for one in aims], np.zeros(16))
    chance = np.random.default_rng(3)
    state = aim.at(5.0)[0] + chance.normal(0, 20, 16), chance.uniform(-30, 30, 16), chance.uniform(-60, 60, 16)
    way = profile.later(profile.stop(machine, *state), np.full(16, 5.0))
    wholes, steps, puts = [], [], []
    for _ in range(20):
        planner = join.begin(machine, way, aim, np.full(16, 5.0))
        lasted = []
        while not planner.done:
            begin_ns = time.perf_counter_ns()
            planner = join.advance(planner)
            lasted.append((time.perf_counter_ns() - begin_ns) / 1e6)
        begin_ns = time.perf_counter_ns()
        planner.trajectory()
        puts.append((time.perf_counter_ns() - begin_ns) / 1e6)
        wholes.append(sum(lasted) + puts[-1])
        steps.append(lasted)
    (axis,) = rig().axes
    some = states(5000).tolist()
    begin_ns = time.perf_counter_ns()
    for velocity, acceleration in some:
        profile.braking(axis, velocity, acceleration)
    stop_us = (time.perf_counter_ns() - begin_ns) / 1e3 / len(some)
    rows = [
        ("sixteen axes planned, best and median of 20, ms", f"{min(wholes):.1f} / {np.median(wholes):.1f}", "20"),
        ("the longest step of it, best of 20, ms", f"{max(np.min(steps, axis=0)):.2f}", "1"),
        ("putting it together, best of 20, ms", f"{min(puts):.2f}", "1"),
        ("a stop of one axis, microseconds", f"{stop_us:.1f}", "a few"),
        ("stop against ruckig's, 5,000 states, s", f"{stop_error_s(5000):.0e}", "1e-09"),
    ]
    return Table("Planning and stopping", ("what", "measured", "limit"), rows)


def tables() -> list[Table]:
    return [joining(), timing()]
