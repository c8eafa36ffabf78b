"""From a take to keys in the project: which of it was performed, on which axes, and how near the keys are to be.

It refuses a take of another timebase, axes that hands did not have, and pixels for an axis that moves no picture.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil, floor

import numpy as np

from sequencer.errors import ProjectError, TakeError
from sequencer.live.capture import Captured, capture
from sequencer.live.performed import Clocked, Gap, Stretch, chosen, path, punched, stretches
from sequencer.playback.state import Phase
from sequencer.project.document import Project
from sequencer.rig.axis import Axis, Rig
from sequencer.score.easing import Laws
from sequencer.takes.pixels import moves_picture, worth
from sequencer.takes.take import Take

_PLAYING = frozenset({Phase.RUNNING.value, Phase.FREEWHEELING.value})


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """The project with what was captured, axis by axis, and the gaps that the take's clock had."""

    project: Project
    captured: tuple[Captured, ...]
    gaps: tuple[Gap, ...]


def performance(
    project: Project,
    laws: Laws,
    take: Take,
    within: Mapping[str, float],
    *,
    start: Fraction | None = None,
    end: Fraction | None = None,
    coasts: bool = False,
) -> Kept:
    """Return the project in which axes do what was performed in the take, each to within a tolerance of its own.

    What was performed is what came between punch in and punch out, while the clock ran without a gap; of several such
    stretches the longest, or the one in which `start` and `end` are. Without these it is taken from its first whole
    frame to its last one. `coasts`: also where timecode was missing and the clock was carried on.
    Unit: `within` in each axis's own, by its name; `start` and `end` frames from the project's start.
    Error: TakeError, ProjectError.
    """
    for name in within:
        _refuse(project, take, name)
    rate = project.timebase.rate
    clock, among, gaps = parts(take, coasts)
    wanted_s = tuple(None if at is None else float(rate.seconds(at)) for at in (start, end))
    one = chosen(clock, among, gaps, rate, (wanted_s[0], wanted_s[1]))
    move, found = project.move, []
    for name, tolerance in within.items():
        axis = project.rig.axes[project.rig.index(name)]
        own = path(clock, one, take.asked[:, take.axes.index(name)], axis.latency_s)
        first, last = (rate.frames(Fraction(float(at_s))) for at_s in own.at_s[[0, -1]])
        span = Fraction(ceil(first)) if start is None else start, Fraction(floor(last)) if end is None else end
        try:
            move, what = capture(project.rig, move, rate, laws, name, own, span, tolerance)
        except ValueError as fault:
            raise TakeError(str(fault)) from fault
        found.append(what)
    return Kept(project=replace(project, move=move), captured=tuple(found), gaps=gaps)


def parts(take: Take, coasts: bool = False) -> tuple[Clocked, tuple[Stretch, ...], tuple[Gap, ...]]:
    """Return how the clock ran in a take, the stretches in which hands had the axes, and the clock's gaps."""
    clock = clocked(take)
    among, gaps = stretches(clock, coasts)
    marks = tuple((one.at_ns, one.text) for one in take.happenings if one.code == "punch" and one.text in ("in", "out"))
    return clock, punched(clock, marks, among), gaps


def clocked(take: Take) -> Clocked:
    """Return how the clock ran in a take, as instants of the move: those of a slower pass are further apart."""
    start_s, speed = take.cue_s[0], float(take.speed)
    phases = np.array(take.phases, np.str_)
    return Clocked(
        due_ns=take.due_ns,
        timeline_s=start_s + (take.timeline_s - start_s) * speed,
        followed=np.isin(phases, sorted(_PLAYING)),
        coasting=phases == Phase.FREEWHEELING.value,
        pace=speed,
    )


def tolerance_of(rig: Rig, axis: Axis, moved_px: float) -> float:
    """Return how far an axis may be off for the picture to move by so many pixels. Unit: the axis's own.

    Error: ProjectError for an axis that does not shift the picture, and a rig whose camera is not described.
    """
    if not moves_picture(axis.kind, axis.unit):
        what = f"{axis.name} ({axis.kind} in {axis.unit}) does not shift the picture, so pixels say nothing of it"
        raise ProjectError("--pixels", what, "give --tolerance, in the axis's own unit", file="command line")
    if rig.camera is None:
        what = "the rig's camera is not described, so nothing is known of pixels"
        raise ProjectError("camera", what, "describe it, or give --tolerance in the axis's own unit", file="rig.json")
    try:
        return worth(moved_px, axis.kind, axis.unit, rig.camera)
    except ValueError as fault:
        raise ProjectError("--pixels", str(fault), file="command line") from fault


def _refuse(project: Project, take: Take, name: str) -> None:
    if name not in project.rig.names:
        mend = f"its axes are {', '.join(project.rig.names)}"
        raise ProjectError("--axis", f"the rig has no axis {name!r}", mend, file="command line")
    if take.timebase != project.timebase:
        here, there = project.timebase, take.timebase
        what = f"it counts {there.rate} frames a second from {there.start}, the project {here.rate} from {here.start}"
        raise TakeError(f"{take.name}: {what}; capture into the project that it was recorded with")
    one = next((one for one in project.move.passes if one.name == take.run), None)
    if one is not None and (one.reversed or one.offset or one.scale):
        what = f"it was performed in the pass {one.name}, which shoots other positions than those that are written"
        raise TakeError(f"{take.name}: {what}; perform it in a pass of the move as it is")
    if name not in take.axes:
        raise TakeError(f"{take.name}: it has no axis {name!r}; it has {', '.join(take.axes)}")
    if take.by_hand and name not in take.by_hand:
        raise TakeError(f"{take.name}: {name} was not performed by hand; name {', '.join(take.by_hand)}")
    axis, number = project.rig.axes[project.rig.index(name)], take.axes.index(name)
    if (axis.kind, axis.unit) != (take.kinds[number], take.units[number]):
        what = f"{name} was {take.kinds[number]} in {take.units[number]}, and is {axis.kind} in {axis.unit} in the rig"
        raise TakeError(f"{take.name}: {what}; record it again")
