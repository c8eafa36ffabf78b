"""Where in the project a camera from elsewhere goes: its timecode, its cue, and what stands in its way there."""

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from sequencer.errors import ProjectError
from sequencer.live.filmed import Placing, Way
from sequencer.project.document import Project
from sequencer.rig.axis import Axis
from sequencer.score.move import Cue

_FAR_S = 3600  # after the project's start: a file whose timecode is later was made for another one
_SLACK = 1 / 10  # of the tolerance: keys stay inside the travel, and what numbers of a file leave beyond it is met
_LITTLE_MM = 1.0
_EVEN = 0.8  # of what is left over: so much of it is the same all along
_ROUND = 360.0


@dataclass(frozen=True, slots=True)
class Named:
    """The cue that is asked for, None for none, and what a new one is called."""

    cue: str | None
    camera: str


def placed_at(
    project: Project, at: Fraction | None, cue: str | None, start: Fraction | None
) -> tuple[Fraction, list[str]]:
    """Return the frame of the first sample, and what is to be said of it: as asked, at the cue, by the file's timecode.

    Unit: `start` seconds since 00:00:00:00, None where the file says none.
    """
    if at is not None:
        return at, []
    own = next((one for one in project.move.cues if one.name == cue), None)
    if own is not None:
        return own.start, []
    if start is None:
        return Fraction(0), ["it says no timecode, so it begins where the project does; --at says another place"]
    timebase = project.timebase
    there = timebase.wrap(timebase.rate.frames(start))
    if 0 <= timebase.rate.seconds(there) <= _FAR_S:
        return there, []
    label = timebase.label(there)
    return Fraction(0), [f"its timecode {label} is far from the project's, so it begins where the project does"]


def named_cue(project: Project, named: Named, span: tuple[Fraction, Fraction]) -> tuple[Cue, bool]:
    """Return the cue into which the span goes, and whether it is new. Error: ProjectError where it does not fit."""
    cues, label = project.move.cues, project.timebase.label
    own = next((one for one in cues if one.name == named.cue), None)
    if own is not None:
        if own.start <= span[0] and span[1] <= own.end:
            return own, False
        what = f"the camera lasts from {label(span[0])} to {label(span[1])}"
        mend = f"the cue {own.name} is from {label(own.start)} to {label(own.end)}: take less of it (--from, --to)"
        raise ProjectError("--cue", what, f"{mend}, or name a cue that is not there, to make one", file="command line")
    if named.cue is None:
        around = [one for one in cues if one.start <= span[0] and span[1] <= one.end]
        if around:
            return min(around, key=lambda one: one.end - one.start), False
    if named.cue is not None and not (named.cue.strip() and named.cue.isprintable()):
        raise ProjectError(
            "--cue", f"{named.cue!r} is no name", "write one or more printable characters", "command line"
        )
    there, wanted = {one.name for one in cues}, named.cue or _printable(named.camera)
    name, number = wanted, 1
    while name in there:
        number += 1
        name = f"{wanted} {number}"
    return Cue(name, *span), True


def _printable(name: str) -> str:
    # a camera in a tree of things is called by its whole path there
    plain = "".join(one for one in name.rpartition("/")[2] if one.isprintable()).strip()
    return plain or "camera"


def refuse_keys(project: Project, names: tuple[str, ...], span: tuple[Fraction, Fraction], may: bool) -> None:
    """Error: ProjectError where there are keys of these axes in the span, and they may not go."""
    counts = {
        track.axis: sum(span[0] <= key.at <= span[1] for key in track.keys)
        for track in project.move.tracks
        if track.axis in names
    }
    counts = {name: count for name, count in counts.items() if count}
    if may or not counts:
        return
    label = project.timebase.label
    words = ", ".join(f"{name} has {count}" for name, count in counts.items())
    what = f"there are keys already from {label(span[0])} to {label(span[1])}: {words}"
    mend = "add --replace to put the camera in their place, or choose another with --at"
    raise ProjectError("--replace", what, mend, file="command line")


def apart_all_along(one: Way, placing: Placing) -> list[str]:
    """Say where most of what the rig cannot reach is the same distance all along: its world begins elsewhere."""
    most_mm = float(np.linalg.norm(one.off_m, axis=1).max()) * 1000
    even_mm = float(np.linalg.norm(one.off_m.mean(axis=0))) * 1000
    if placing.place == "start" or most_mm < _LITTLE_MM or even_mm < _EVEN * most_mm:
        return []
    return [
        f"it is {even_mm:.4g} mm beside what the rig can reach all along; --place start begins where the rig stands"
    ]


def refuse_beyond(project: Project, one: Way, within: Mapping[str, float], placing: Placing) -> None:
    """Error: ProjectError where an axis would leave its travel by what counts, with what could bring it inside."""
    faults = []
    for name, room in within.items():
        axis = project.rig.axes[project.rig.index(name)]
        if axis.travel is None:
            continue
        values = one.positions[:, project.rig.index(name)]
        beyond = np.maximum(axis.travel[0] - values, values - axis.travel[1])
        worst = int(beyond.argmax())
        if beyond[worst] <= room * _SLACK:
            continue
        at = project.timebase.label_at(float(one.at_s[worst]))
        unit = "" if axis.unit == "part" else f" {axis.unit}"
        asks = f"{name} would go from {values.min():.5g} to {values.max():.5g}{unit}"
        faults.append(
            f"{asks}, and its travel is [{axis.travel[0]:g}, {axis.travel[1]:g}]; furthest out at {at}"
            f"{_inside(project, axis, float(values.min()), float(values.max()), placing)}"
        )
    if faults:
        mend = "or leave an axis out with --axis, or take less of the camera with --from and --to"
        raise ProjectError("", "; ".join(faults), mend, file="command line")


def _inside(project: Project, axis: Axis, least: float, most: float, placing: Placing) -> str:
    """Say what would bring the whole way of an axis into its travel."""
    assert axis.travel is not None
    low, high = axis.travel
    fits = most - least <= high - low
    if axis.kind == "pan":
        if not fits:
            return f": it turns by {most - least:.4g}, which no --turn brings inside"
        # seen from above the set turns to the left as pan does
        move = max(low - least, 0.0) - max(most - high, 0.0)
        turn = placing.turn_deg + move * project.rig.geometry.sign(axis.name, axis.kind)
        return f": --turn {round((turn + _ROUND / 2) % _ROUND - _ROUND / 2, 3):g} would bring it just inside"
    if axis.kind in ("slide", "lift"):
        if not fits:
            scale = placing.scale * (high - low) / (most - least)
            return f": it is too long for it; --scale {scale:.3g} at the most"
        if placing.place == "world":
            return ": it is short enough; --place start begins where the rig stands"
        further = f"{max(low - least, most - high):.5g} {axis.unit} further {'up' if least < low else 'down'}"
        return f": let {axis.name} stand {further} there, by a key or its home"
    return ""
