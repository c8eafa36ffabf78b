"""Where the rig is to stand at a mark that is stored: by numbers, where the move has it, or where a take had it."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from sequencer.cli.options import instant
from sequencer.errors import ProjectError, TakeError
from sequencer.motion.compile import compile_move
from sequencer.project.document import Project
from sequencer.project.takefile import read
from sequencer.score.marks import fault
from sequencer.shell.kinds import laws

_DECIMALS = 6  # finer than any axis of a camera rig stands, in its unit
_NEAR_S = 0.1  # of the asked instant: a take has hundreds of setpoints a second

Position = tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True)
class Sources:
    """What `twintake marks store` is told: values as typed, and an instant of the move or of a take."""

    values: tuple[str, ...]
    at: str | None
    take: Path | None


def position(project: Project, told: Sources) -> tuple[Position, str]:
    """Return where the axes are to stand, in the rig's order, and in words where that is from. Error: ProjectError."""
    there, words = _from_elsewhere(project, told)
    there |= _typed(told.values)
    if not there:
        what = "nothing says where the rig is to stand"
        raise ProjectError("", what, "give AXIS=VALUE, --at or --from-take", file="command line")
    if refused := fault(there, project.rig):
        raise ProjectError("", refused, file="command line")
    return tuple((axis, there[axis]) for axis in project.rig.names if axis in there), words


def _from_elsewhere(project: Project, told: Sources) -> tuple[dict[str, float], str]:
    if told.take is not None:
        return _from_take(project, told.take, told.at)
    if told.at is None:
        return {}, "by numbers"
    at = instant("--at", told.at, project.timebase)
    at_s = np.array([float(project.timebase.rate.seconds(at))])
    where = compile_move(project.rig, project.move, project.timebase.rate, laws()).sample(at_s)[0]
    words = f"where the move has the rig at {project.timebase.label(at)}"
    return {axis: round(value, _DECIMALS) for axis, value in zip(project.rig.names, where.tolist(), strict=True)}, words


def _from_take(project: Project, path: Path, at: str | None) -> tuple[dict[str, float], str]:
    """Return where the take sent the axes that the rig has. Error: ProjectError, TakeError."""
    take = read(path)
    if not len(take.asked):
        raise TakeError(f"{path.name}: the rig was sent nowhere in it; name another take")
    row, words = len(take.asked) - 1, f"where {path.name} ended"
    if at is not None:
        wanted = instant("--at", at, take.timebase)
        away_s = np.abs(take.timeline_s - float(take.timebase.rate.seconds(wanted)))
        row = int(np.argmin(np.where(np.isnan(away_s), np.inf, away_s)))
        if not away_s[row] <= _NEAR_S:
            first, last = (take.timebase.label_at(float(end(take.timeline_s))) for end in (np.nanmin, np.nanmax))
            what = f"{path.name} goes from {first} to {last}"
            raise ProjectError("--at", what, "choose an instant inside", file="command line")
        words = f"where {path.name} had the rig at {take.timebase.label(wanted)}"
    left = [axis for axis in take.axes if axis not in project.rig.names]
    words += f", without {', '.join(left)}, which the rig does not have" if left else ""
    pairs = zip(take.axes, take.asked[row].tolist(), strict=True)
    return {axis: round(value, _DECIMALS) for axis, value in pairs if axis not in left}, words


def _typed(values: tuple[str, ...]) -> dict[str, float]:
    found: dict[str, float] = {}
    for one in values:
        axis, between, number = one.partition("=")
        try:
            value = float(number)
        except ValueError:
            between = ""
        if not between or not np.isfinite(value):
            what = f"{one!r} does not say where an axis stands"
            raise ProjectError("AXIS=VALUE", what, "write pan=-20", file="command line")
        if axis in found:
            raise ProjectError("AXIS=VALUE", f"{axis} is given twice", "keep one of them", file="command line")
        found[axis] = value
    return found
