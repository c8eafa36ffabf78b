"""What comes from files of others: a cut with markers and shots, or a camera, read and put before the project.

It refuses to know Qt, and to change the document. Whoever calls it is a thread beside the window.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

from sequencer.export.contract import ImportKind
from sequencer.export.cuts import cut_frames
from sequencer.export.found import FoundCamera, FoundCut
from sequencer.export.placed import Asked as AskedOfCut
from sequencer.export.placed import differs
from sequencer.project.document import Project
from sequencer.project.previz import Asked, TakenIn, shots, slower, taken_in
from sequencer.project.store import dump
from sequencer.score.easing import Laws
from sequencer.shell.cut_in import CutIn, Taken, cut_in
from sequencer.shell.import_file import bytes_of, kind_of
from sequencer.shell.kinds import imports
from sequencer.timebase.rate import Rate


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Brought:
    """A file that was read at a rate, None for its own: a cut, or cameras, each with the shots that it has.

    `shots` has the first and last frame of each, in the order of `cameras`.
    """

    file: Path
    kind: ImportKind
    rate: Rate | None = None
    cut: FoundCut | None = None
    cameras: tuple[FoundCamera, ...] = ()
    shots: tuple[tuple[tuple[float, float], ...], ...] = ()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Camera:
    """What became of a camera, and how many times as long it must last for the motors to do it, None where none helps.

    `asked` and `before` are what it was made for.
    """

    done: TakenIn
    slower: Fraction | None
    asked: Asked
    before: Project
    remarks: tuple[str, ...] = field(default=())


def suffixes() -> tuple[str, ...]:
    """Return the suffixes of all files that something can be taken from."""
    return tuple(dict.fromkeys(suffix for kind in imports().values() for suffix in kind.suffixes))


def brought(file: Path, rate: Rate | None) -> Brought:
    """Read a file from elsewhere. Error: ImportFault."""
    kind = kind_of(file, None)
    data = bytes_of(file, kind)
    if kind.cut is not None:
        return Brought(file=file, kind=kind, rate=rate, cut=kind.cut(data, file.name, rate))
    cameras = () if kind.camera is None else kind.camera(data, file.name, rate)
    found = [tuple(shots(one.frames, cut_frames(one))) for one in cameras]
    return Brought(file=file, kind=kind, rate=rate, cameras=cameras, shots=tuple(found))


def other_counting(of: Brought, project: Project) -> bool:
    """Tell whether a cut counts at another rate, or its labels otherwise, than the project."""
    return of.cut is not None and differs(of.cut, project.timebase)


def placed(of: Brought, folder: Path | None, project: Project, asked: AskedOfCut, taken: Taken) -> CutIn:
    """Return the project with what is wanted of a cut. Error: ImportFault, ProjectError."""
    assert of.cut is not None
    done = cut_in(folder, project, of.file, of.cut, asked, taken)
    dump(done.new)
    return done


def fitted(of: Brought, number: int, project: Project, laws: Laws, asked: Asked) -> Camera:
    """Return the project in which the rig does what a camera did. Error: ProjectError."""
    camera = of.cameras[number]
    cuts = cuts_of(of.shots[number])
    done = taken_in(project, laws, camera, asked, cuts)
    dump(done.project)
    longer = None if done.ok else slower(project, laws, camera, asked, done, cuts)
    return Camera(done=done, slower=longer, asked=asked, before=project, remarks=(*camera.remarks, *done.remarks))


def cuts_of(found: Sequence[tuple[float, float]]) -> tuple[float, ...]:
    """Return the frames with which shots after the first begin."""
    return tuple(first for first, _ in found[1:])
