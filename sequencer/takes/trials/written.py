"""Steps written as a project: a cue for each, on the one track of their axis, and a rig that can hardly do more.

All other axes stand where they are. It opens no file.
"""

from collections.abc import Mapping
from dataclasses import replace

from sequencer.rig.axis import Axis, Rig
from sequencer.score.laws.spline import Spline
from sequencer.score.move import Cue, Ease, Key, Move, Track
from sequencer.takes.trials.step import Leg, Step, instant
from sequencer.timebase.rate import Rate

_GAP_S = 1.0
_HEADROOM = 1.02  # over what the steps ask for: the guard is there for what nobody asked for
_STANDS = Ease("linear")


def starts_s(steps: tuple[Step, ...]) -> dict[str, float]:
    """Return where each step begins on the timeline, by its name. Unit: seconds."""
    found, at_s = {}, _GAP_S
    for step in steps:
        found[step.name] = float(instant(at_s))
        at_s += step.lasts_s + _GAP_S
    return found


def move(axis: str, steps: tuple[Step, ...], stands: Mapping[str, float], rate: Rate) -> Move:
    """Return the move that has a cue for each step; every other axis keeps its place in `stands`."""
    starts = starts_s(steps)
    keys: list[Key] = []
    cues = []
    for step in steps:
        start = instant(starts[step.name])
        cues.append(Cue(step.name, rate.frames(start), rate.frames(start + instant(step.lasts_s))))
        for leg in step.legs:
            keys.append(Key(rate.frames(start + instant(leg.at_s)), leg.start, _drawn(leg)))
            keys.append(Key(rate.frames(start + instant(leg.ends_s)), leg.end, _STANDS))
    nowhen = rate.frames(instant(0.0))
    others = (Track(name, (Key(nowhen, place, _STANDS),)) for name, place in stands.items() if name != axis)
    return Move(tracks=(Track(axis, tuple(keys)), *others), cues=tuple(cues))


def _drawn(leg: Leg) -> Ease:
    """Return the leg as the law that keeps its pieces as they are."""
    way = leg.end - leg.start
    nodes = []
    for at_s, position, speed, acceleration in leg.states:
        u = at_s / leg.lasts_s
        off = position - leg.start - u * way
        nodes.append((u, off, speed * leg.lasts_s - way, acceleration * leg.lasts_s**2))
    nodes[-1] = (1.0, 0.0, -way, 0.0)
    return Ease("spline", Spline(tuple(nodes)))


def limited(rig: Rig, axis: str, steps: tuple[Step, ...]) -> Rig:
    """Return the rig whose `axis` can do what the steps ask for and hardly more, and is led by nothing.

    Axes that stand are not to take up their play before a step: they would move.
    """

    def one(there: Axis) -> Axis:
        if there.name != axis:
            return replace(there, backlash=0.0)
        return replace(
            there,
            speed=_HEADROOM * max(step.speed for step in steps),
            acceleration=_HEADROOM * max(step.acceleration for step in steps),
            jerk=_HEADROOM * max(step.jerk for step in steps),
            latency_s=0.0,
        )

    return replace(rig, axes=tuple(one(there) for there in rig.axes))
