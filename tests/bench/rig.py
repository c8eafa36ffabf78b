"""How near to the truth the trials of a rig come: ten random rigs, each tried by the real engine in simulated time.

The trials know what the rig file says and what the rig answers; what the motors truly are is hidden in the simulated
rig. Only time, the wire and the motors are not real.
"""

from dataclasses import dataclass

import numpy as np

from sequencer.rig.axis import Axis, AxisKind, Rig, Simulated, Unit
from sequencer.rig.measured import Figure, Measured
from sequencer.takes.trials.found import measured
from sequencer.takes.trials.steps import Most
from tests.bench.table import Table
from tests.takes.trials.simulated import Bench, course_of

RIGS = 10
WITHIN = 0.05
# a part of a metre, of a turn, of a lens's range: (kind, unit, travel, fastest, hardest)
MACHINES: tuple[tuple[AxisKind, Unit, tuple[float, float], float, float], ...] = (
    ("pan", "deg", (-170.0, 170.0), 90.0, 200.0),
    ("tilt", "deg", (-45.0, 60.0), 60.0, 150.0),
    ("slide", "mm", (0.0, 1200.0), 400.0, 800.0),
    ("lift", "mm", (0.0, 600.0), 150.0, 300.0),
    ("focus", "part", (0.0, 1.0), 1.2, 8.0),
)


@dataclass(frozen=True, slots=True)
class Random:
    """A rig as its file has it, and as it truly is."""

    file: Rig
    truth: Rig
    most: Most


def random_rig(seed: int) -> Random:
    """Return a rig whose true limits lie between 40 and 95 percent of what may be tried."""
    chance = np.random.default_rng([seed, 6])
    kind, unit, (low, high), speed, acceleration = MACHINES[seed % len(MACHINES)]
    travel = high - low
    backlash = float(chance.uniform(5e-5, 3e-4)) * travel
    resolution = backlash * float(chance.uniform(0.05, 0.25))
    simulated = Simulated(
        lag_s=float(chance.uniform(0.005, 0.04)),
        transport_s=float(chance.uniform(0.004, 0.03)),
        noise=resolution * float(chance.uniform(0.2, 1.0)),
        speed=speed * float(chance.uniform(0.4, 0.95)),
        acceleration=acceleration * float(chance.uniform(0.4, 0.95)),
        backlash=backlash,
    )

    def rig(simulated: Simulated) -> Rig:
        axis = Axis(
            name=kind,
            kind=kind,
            unit=unit,
            travel=(low, high),
            speed=speed,
            acceleration=acceleration,
            jerk=acceleration * 5,
            resolution=resolution,
            home=low + travel * float(chance.uniform(0.2, 0.8)),
            simulated=simulated,
        )
        return Rig(name="random", axes=(axis,))

    truth = rig(simulated)
    axis = truth.axes[0]
    file = Rig(name="random", axes=(_unknown(axis),))
    return Random(file, truth, Most(speed=speed, acceleration=acceleration))


def _unknown(axis: Axis) -> Axis:
    """Return the axis as somebody describes it who has measured nothing."""
    fields = {name: getattr(axis, name) for name in ("name", "kind", "unit", "travel", "speed", "acceleration", "jerk")}
    return Axis(**fields, home=axis.home)


def found(seed: int) -> tuple[Random, Measured, str]:
    """Try one random rig; return it, what was measured, and what went wrong."""
    rig = random_rig(seed)
    course = course_of(Bench(truth=rig.truth, seed=seed), rig.file, rig.file.names[0], rig.most)
    return rig, measured(course, "2026-11-30"), course.trouble


def errors(rig: Random, got: Measured) -> dict[str, float]:
    """Return by what part each figure is off; infinite for one that is missing, or known only from below."""
    true = rig.truth.axes[0].simulated
    truths = {
        "speed": true.speed,
        "acceleration": true.acceleration,
        "latency_s": true.transport_s,
        "backlash": true.backlash,
    }
    return {name: _off(got.figures.get(name), truth) for name, truth in truths.items()}


def _off(figure: Figure | None, truth: float | None) -> float:
    if figure is None or figure.at_least or not truth:
        return float("inf")
    return figure.value / truth - 1


def tables() -> list[Table]:
    """Return one row for each rig: how far each figure is from the truth."""
    rows = []
    for seed in range(RIGS):
        rig, got, trouble = found(seed)
        off = errors(rig, got)
        worst = max(abs(one) for one in off.values())
        verdict = trouble or ("yes" if worst <= WITHIN else "no")
        rows.append((rig.truth.axes[0].name, *(f"{one:+.2%}" for one in off.values()), verdict))
    return [
        Table(
            f"Trials of {RIGS} random rigs: how far from the truth",
            ("axis", "top speed", "acceleration", "latency", "backlash", f"all within {WITHIN:.0%}"),
            rows,
            "True limits at 40 to 95 percent of the most that may be tried, transport 4 to 30 ms, play of 5 to 30 "
            "hundred-thousandths of the travel, encoder steps of a twentieth to a quarter of the play, noise of a "
            "fifth to a whole step; the rig file knows none of it. The truth of the latency is the transport: with "
            "speeds sent along, nothing of the servo's lag is left.",
        )
    ]
