"""What `twintake check` advises about panning: where the picture may strobe, as a table, in words, and as JSON.

Each piece of `advice`: `what` ("strobe", or "whip" where it is so fast that it looks like one blur), `axis` that shifts
the picture most, `from`, `to` and the worst `at` in timecode; `speed` of that axis there and the `gentle_speed` that
would not strobe, in its unit a second; `crossing_s`, in which a thing crosses the picture's width there, and
`least_crossing_s`, in which it should; `words`.
"""

from dataclasses import dataclass, replace
from typing import Any

from rich import box
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from sequencer.cli.check_table import moment
from sequencer.motion.check import Check
from sequencer.motion.peaks import number, unit_of
from sequencer.motion.strobe import SHUTTER_DEG, Strobe, least_crossing_s, strobes
from sequencer.project.document import Project
from sequencer.rig.axis import Rig
from sequencer.score.interval import solve
from sequencer.score.move import Pass

_MOST_ROWS = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class _Taken:
    """How frames are taken: how many in a second of the run, None for as many as are shown, and with which shutter."""

    speed: float
    camera_hz: float | None
    shutter_deg: float
    how: str


def advice(project: Project, own: Pass, done: Check) -> tuple[Strobe, ...]:
    """Return where the move may strobe as it was checked for this pass; a timelapse's frames lie far apart."""
    taken = _taken(project, own)
    if taken is None:
        return ()
    rate, shutter = project.timebase.rate, taken.shutter_deg
    return strobes(project.rig, done.trajectory, rate, taken.speed, taken.camera_hz, shutter)


def _taken(project: Project, own: Pass) -> _Taken | None:
    """Return how the frames are taken; None where a timelapse says too little (`twintake timelapse` says what)."""
    camera, rate = project.rig.camera, project.timebase.rate
    if project.timelapse is None:
        said = None if camera is None else camera.shutter_deg
        usual = " (taken as usual; camera.shutter_deg of rig.json says another)" if said is None else ""
        shutter = SHUTTER_DEG if said is None else said
        camera_hz = None if own.rate is None else float(own.rate)
        return _Taken(
            speed=float(own.speed), camera_hz=camera_hz, shutter_deg=shutter, how=f"{shutter:g}° of shutter{usual}"
        )
    lapse = project.timelapse
    moving = lapse.manner == "continuous"
    try:
        plan, cue = solve(replace(lapse.known, rate=rate, moving=moving)), project.cue(lapse.cue or None)
    except ValueError:
        return None
    # evenly over the cue; by time, over the event
    span_s = rate.seconds(cue.end - cue.start) if lapse.poses_by == "frame" else plan.event_s
    shutter = float(plan.angle_deg) if moving else 0.0
    how = f"{shutter:.3g}° of shutter, as the timelapse has it," if moving else "each taken at rest, in a timelapse,"
    return _Taken(speed=1.0, camera_hz=float(plan.frames / span_s), shutter_deg=shutter, how=how)


def shown(project: Project, own: Pass, found: tuple[Strobe, ...]) -> list[Table | Padding]:
    """Return what is to be shown: the fastest stretches, in order of time, and what they mean."""
    if not found:
        return []
    fastest = sorted(sorted(found, key=lambda one: one.crossing_s)[:_MOST_ROWS], key=lambda one: one.from_s)
    table = Table(title="may strobe", title_justify="left", box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0))
    table.pad_edge = table.show_edge = False
    for name in ("from", "fastest at"):
        table.add_column(name, no_wrap=True)
    for name in ("asked", "would not", "crosses in"):
        table.add_column(name, justify="right", overflow="fold")
    for one in fastest:
        crossing = "a whip pan" if one.whip else f"{one.crossing_s:.1f} s"
        asked, gentle = (number(each, 3) for each in (one.speed, one.gentle_speed))
        unit = _unit(project.rig, one.axis)
        ends = moment(one.from_s, project.timebase), moment(one.at_s, project.timebase)
        table.add_row(*ends, Text(f"{one.axis} {asked} {unit}".rstrip()), f"{gentle} {unit}".rstrip(), crossing)
    more = f" {len(found) - _MOST_ROWS} more with --json." if len(found) > _MOST_ROWS else ""
    return [table, Padding(Text(meaning(project, own) + more), (0, 0, 0, 2))]


def meaning(project: Project, own: Pass) -> str:
    """Say the rule, what strobing is, and what helps against it."""
    taken, rate = _taken(project, own), project.timebase.rate
    if taken is None:
        return ""
    least = f"{least_crossing_s(rate, taken.shutter_deg):.1f} s"
    return (
        f"Advice only, the rig can do it. At {float(rate.fraction):.5g} frames a second and {taken.how} a still thing "
        f"should take {least} to cross the picture (trade rule of seven seconds at 24 and 180°, from memory). Faster, "
        "its edges jump from frame to frame: that is judder, and a wider shutter covers it with blur, a slower move "
        "takes it away. Who follows a moving subject may pan faster."
    )


def facts(project: Project, own: Pass, found: tuple[Strobe, ...]) -> list[dict[str, Any]]:
    """Return the advice as JSON."""
    taken, timebase = _taken(project, own), project.timebase
    if taken is None:
        return []
    least_s = least_crossing_s(timebase.rate, taken.shutter_deg)
    return [
        {
            "what": "whip" if one.whip else "strobe",
            "axis": one.axis,
            "from": moment(one.from_s, timebase),
            "to": moment(one.to_s, timebase),
            "at": moment(one.at_s, timebase),
            "speed": one.speed,
            "gentle_speed": one.gentle_speed,
            "crossing_s": one.crossing_s,
            "least_crossing_s": least_s,
            "words": words(project.rig, one, least_s),
        }
        for one in found
    ]


def words(rig: Rig, one: Strobe, least_s: float) -> str:
    """Say one piece of advice."""
    unit = _unit(rig, one.axis)
    asked, gentle = (f"{number(each, 3)} {unit}".rstrip() for each in (one.speed, one.gentle_speed))
    if one.whip:
        return (
            f"{one.axis} at {asked} shifts the picture by its width in less than half a second: it looks like one blur"
        )
    crossing = f"{one.crossing_s:.1f} s, not {least_s:.1f} s"
    return f"{one.axis} at {asked} shifts the picture by its width in {crossing}: it may strobe; {gentle} would not"


def _unit(rig: Rig, axis: str) -> str:
    return unit_of(rig.axes[rig.index(axis)].unit, "speed")
