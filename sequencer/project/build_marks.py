"""The marks of a project file, to exact time and back. It refuses what is no mark, and no mark for where it is.

Whether the rig can go there is for `score.marks`: a mark of an axis that is gone is kept.
"""

from msgspec import UNSET, UnsetType

from sequencer.errors import ProjectError
from sequencer.project import files
from sequencer.project.values import exact, exact_text, placed
from sequencer.score.marks import AtSpeed, Fastest, Lasting, Mark, Marks, Pace


def build_marks(written: list[files.MarkFile]) -> Marks:
    """Return the marks. Error: ProjectError with the place of the first fault."""
    return tuple(_mark(one, f"marks[{number}]") for number, one in enumerate(written))


def _mark(written: files.MarkFile, path: str) -> Mark:
    leg = Fastest() if written.leg is UNSET else _leg(written.leg, f"{path}.leg")
    position = tuple(written.position.items())
    return placed(f"{path}.position", Mark, name=written.name, position=position, leg=leg)


def _leg(written: files.LegFile, path: str) -> Pace:
    match written.lasts_s, written.speed:
        case str(lasts_s), UnsetType():
            return Lasting(exact(lasts_s, f"{path}.lasts_s"))
        case UnsetType(), str(speed):
            return placed(f"{path}.speed", AtSpeed, part=exact(speed, f"{path}.speed"))
    what = "it says neither how long the leg lasts nor how fast it is, or both"
    raise ProjectError(path, what, 'write {"lasts_s": "2.5"} or {"speed": "1/2"}, or leave it out')


def plain_marks(marks: Marks) -> list[files.MarkFile]:
    """Return the marks as they are written."""
    return [
        files.MarkFile(
            name=mark.name,
            position={axis: float(value) for axis, value in mark.position},
            leg=_plain_leg(mark.leg),
        )
        for mark in marks
    ]


def _plain_leg(leg: Pace) -> files.LegFile | UnsetType:
    match leg:
        case Lasting(lasts_s=lasts_s):
            return files.LegFile(lasts_s=exact_text(lasts_s))
        case AtSpeed(part=part):
            return files.LegFile(speed=exact_text(part))
        case Fastest():
            return UNSET
