"""A project that its rig cannot carry whole: which tracks have no axis, the project without them, or with axes guessed.

It refuses to leave out anything else, and writes nothing.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from msgspec import structs

from sequencer.project import files, rig_file
from sequencer.project.begin import guess
from sequencer.project.build import build
from sequencer.project.document import Project
from sequencer.project.store import documents
from sequencer.rig.axis import KINDS
from sequencer.score.easing import Laws


@dataclass(frozen=True, slots=True)
class Partly:
    """The project without the tracks of the axes `left_out`, which its rig does not have; or with these added to it."""

    project: Project
    left_out: tuple[str, ...]


def load_partly(folder: Path, laws: Laws) -> Partly:
    """Return the project in `folder` without the tracks that have no axis. Error: ProjectError for any other fault."""
    document, machine = documents(folder)
    there = {axis.name for axis in machine.axes}
    kept = [track for track in document.tracks if track.axis in there]
    left_out = dict.fromkeys(track.axis for track in document.tracks if track.axis not in there)
    return Partly(build(structs.replace(document, tracks=kept), machine, laws), tuple(left_out))


def load_guessed(folder: Path, laws: Laws) -> Partly:
    """Return the whole project, its rig with the axes that its tracks need: their limits are guesses.

    They hold all keys and marks. `left_out` are the axes that were added. Error: ProjectError for any other fault.
    """
    document, machine = documents(folder)
    there = {axis.name for axis in machine.axes}
    missing = dict.fromkeys(track.axis for track in document.tracks if track.axis not in there)
    axes = list(machine.axes)
    for name in missing:
        values = [key.value for track in document.tracks if track.axis == name for key in track.keys]
        values += [mark.position[name] for mark in document.marks if name in mark.position]
        axes.append(_guessed(name, values))
    return Partly(build(document, structs.replace(machine, axes=axes), laws), tuple(missing))


def _guessed(name: str, values: list[float]) -> rig_file.AxisFile:
    kind = next((kind for kind in KINDS if name.lower().startswith(kind)), KINDS[0])
    axis = guess(kind)
    low, high = axis.travel or (0.0, 0.0)
    return rig_file.AxisFile(
        name=name,
        kind=kind,
        unit=axis.unit,
        travel=(min(low, *values), max(high, *values)) if values else (low, high),
        speed=axis.speed,
        acceleration=axis.acceleration,
        jerk=axis.jerk,
        home=axis.home,
    )


def without_axis(folder: Path) -> tuple[tuple[str, int], ...]:
    """Return each axis that a track names and the rig does not have, with its number of keys. Error: ProjectError."""
    document, machine = documents(folder)
    there = {axis.name for axis in machine.axes}
    return tuple(_counted(track for track in document.tracks if track.axis not in there).items())


def _counted(tracks: Iterable[files.TrackFile]) -> dict[str, int]:
    found: dict[str, int] = {}
    for track in tracks:
        found[track.axis] = found.get(track.axis, 0) + len(track.keys)
    return found
