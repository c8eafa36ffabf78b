"""When a rig's setpoints left the move and when it stood, from what came at the rig. It opens and waits for nothing.

A setpoint is of the move where its place and its speed are those of the compiled move at the instant for which it is
due; the first one after the cause that is not, on any axis, is the first of the stop. So the engine's own word for what
it does is not needed: the take has it beside (`phases`), and `agrees` compares.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from sequencer.motion.compile import compile_move
from sequencer.motion.trajectory import Trajectory
from sequencer.playback.state import MOVING, Phase
from sequencer.project.document import Project
from sequencer.rig.axis import Axis, AxisKind, Rig
from sequencer.score.move import Cue, Ease, Key, Move, Track
from sequencer.shell.kinds import laws
from sequencer.takes.take import Take
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, Timecode
from tests.bench.stop_rig import Arrival, Record

TICK_HZ = 250
LASTS_S = 5
KINDS: tuple[AxisKind, ...] = ("pan", "tilt")
BEFORE_NS = 40_000_000  # setpoints that came so long before the cause must be of the move
SPEED, ACCELERATION, JERK = 120.0, 600.0, 12000.0
STOPPING_S = SPEED / ACCELERATION + 2 * ACCELERATION / JERK  # from full speed, while it still speeds up as it may
# of a degree, and that a second: a stop is that far off within two ticks, and a clock's reading of 1 us is not
_OFF, _OFF_PER_S = 1e-3, 5e-3
_JOINED_NS = 500_000


class NotCounted(Exception):
    """What came says nothing of a stop: it was not on the move before the cause, or never left it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stopped:
    """One stop, each from its cause. Unit: milliseconds.

    `last_ms`: the last setpoint of the move, 0 where none came after the cause; `first_ms`: the first of the stop, or
    the order to stop where no setpoint brakes. `set_ms`: the setpoints stand; `rest_ms`: the rig itself does.
    `due_ns` is when the last setpoint of the move was due.
    """

    last_ms: float
    first_ms: float
    set_ms: float
    rest_ms: float
    due_ns: int


def project() -> Project:
    """Return a project of two axes that are never at rest both at once."""
    axes = tuple(
        Axis(name=kind, kind=kind, unit="deg", travel=(-90, 90), speed=SPEED, acceleration=ACCELERATION, jerk=JERK)
        for kind in KINDS
    )
    tracks = tuple(
        Track(name, tuple(Key(Fraction(25 * s + late), 50.0 * (s % 2), Ease("poly345")) for s in range(LASTS_S + 1)))
        for name, late in (("pan", 0), ("tilt", 12))
    )
    return Project(
        name="Stops",
        timebase=Timebase(Counting(Rate(25)), Timecode(10, 0, 0, 0)),
        rig=Rig(name="Two axes", axes=axes),
        move=Move(tracks=tracks, cues=(Cue("to and fro", Fraction(0), Fraction(25 * LASTS_S)),)),
    )


def compiled(of: Project) -> Trajectory:
    return compile_move(of.rig, of.move, of.timebase.rate, laws())


def reckon(record: Record, cause_ns: int, plan: Trajectory, clock: tuple[int, float]) -> Stopped:
    """Return what a stop with braking setpoints took; `clock`: an instant, and where the timeline was then.

    Error: NotCounted.
    """
    seen = [one for one in record.arrivals if one.at_ns > cause_ns - BEFORE_NS]
    count = next((place for place, one in enumerate(seen) if not on_plan(one, plan, clock)), None)
    if count is None:
        raise NotCounted("no setpoint left the move")
    if count == 0 or seen[0].at_ns > cause_ns:
        raise NotCounted("the rig was not on the move before the cause")
    last, first = seen[count - 1], seen[count]
    stands_ns = next((one.at_ns for one in seen[count:] if not any(one.speed)), None)
    if stands_ns is None:
        raise NotCounted("the setpoints did not come to rest")
    return Stopped(
        last_ms=max(0.0, (last.at_ns - cause_ns) * 1e-6),
        first_ms=(first.at_ns - cause_ns) * 1e-6,
        set_ms=(stands_ns - cause_ns) * 1e-6,
        rest_ms=_rest_ms(record, cause_ns),
        due_ns=last.due_ns,
    )


def reckon_silent(record: Record, cause_ns: int) -> Stopped:
    """Return what a stop took after which no setpoint comes at all, but an order to stop. Error: NotCounted."""
    if not record.arrivals or record.arrivals[0].at_ns > cause_ns:
        raise NotCounted("the rig was not on the move before the cause")
    last = record.arrivals[-1]
    ordered_ns = next((at_ns for at_ns in record.stops_ns if at_ns > cause_ns), None)
    if ordered_ns is None:
        raise NotCounted("nobody told the rig to stop")
    last_ms = max(0.0, (last.at_ns - cause_ns) * 1e-6)
    rest_ms = _rest_ms(record, cause_ns)
    return Stopped(
        last_ms=last_ms, first_ms=(ordered_ns - cause_ns) * 1e-6, set_ms=last_ms, rest_ms=rest_ms, due_ns=last.due_ns
    )


def _rest_ms(record: Record, cause_ns: int) -> float:
    if record.rests_ns is None or record.rests_ns < cause_ns:
        raise NotCounted("the rig did not come to rest after the cause")
    return (record.rests_ns - cause_ns) * 1e-6


def on_plan(one: Arrival, plan: Trajectory, clock: tuple[int, float]) -> bool:
    """Return whether a setpoint is of the move."""
    at_ns, timeline_s = clock
    position, speed = plan.at(timeline_s + (one.due_ns - at_ns) * 1e-9)
    near = np.abs(np.array(one.position) - position) < _OFF
    return bool(np.all(near & (np.abs(np.array(one.speed) - speed) < _OFF_PER_S)))


def agrees(stopped: Stopped, take: Take) -> bool:
    """Return whether the take's last setpoint in a phase that moves is the same one."""
    moving = [due_ns for due_ns, phase in zip(take.due_ns.tolist(), take.phases, strict=True) if Phase(phase) in MOVING]
    return bool(moving) and abs(moving[-1] - stopped.due_ns) < _JOINED_NS


def spread(values: Sequence[float]) -> str:
    """Return the median, the 99 % and the greatest of values, as a table has them."""
    p50, p99 = np.percentile(values, (50, 99))
    return f"{p50:.1f} / {p99:.1f} / {max(values):.1f}"
