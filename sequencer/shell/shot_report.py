"""What a shoot report is made of, gathered from a project's folder and its take files, one take at a time."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from sequencer.errors import ProjectError, SequencerError, TakeError
from sequencer.export.shoot import Group, Listed, Shoot, Use, chosen, measured
from sequencer.motion.check import check
from sequencer.motion.peaks import Peak
from sequencer.project import library
from sequencer.project.document import Project
from sequencer.project.passed import in_pass
from sequencer.project.store import load
from sequencer.project.takefile import read
from sequencer.rig.axis import Rig
from sequencer.score.easing import Laws
from sequencer.shell.kinds import laws
from sequencer.shell.made import made
from sequencer.takes.compare import Comparison, compare

MOST_COMPARED = 8  # takes of one cue and pass: every pair of them is compared


def gather(
    folder: Path,
    named: Sequence[str] = (),
    cue: str | None = None,
    run: str | None = None,
    tolerance_px: float | None = None,
    tell: Callable[[int, int], None] = lambda _done, _all: None,
    edited: Project | None = None,
) -> Shoot:
    """Return what is to be reported of the takes in a project's folder: of all, of those named, of a cue or a pass.

    `tell` is told how many takes are done, of how many; `edited` is the project where its files are not up to date.
    Error: ProjectError, TakeError for what is not there.
    """
    project = load(folder, laws()) if edited is None else edited
    takes = [one for one in _filed(folder / library.FOLDER, named) if cue in (None, one.cue) and run in (None, one.run)]
    _refuse_unknown(project, takes, cue, run)
    listed = []
    for number, one in enumerate(takes):
        tell(number, len(takes))
        listed.append(_listed(one, project.rig))
    pairs = list(dict.fromkeys((one.cue, one.run) for one in listed if one.measured is not None))
    groups = [_group(project, [one for one in listed if (one.cue, one.run) == pair], tolerance_px) for pair in pairs]
    timebase = project.timebase
    drop = ", drop-frame" if timebase.counting.drop else ""
    return Shoot(
        project=project.name,
        rig=project.rig.name,
        made=made(),
        timebase=f"{timebase.rate} frames a second{drop}, from {timebase.start}",
        outputs=_outputs(project),
        sync=_sync(project),
        takes=tuple(listed),
        groups=tuple(groups),
    )


def _filed(folder: Path, named: Sequence[str]) -> list[library.Filed]:
    """Return the takes that are meant, the oldest first. Error: TakeError."""
    here = library.library(folder, removed=False)
    if not named:
        return list(library.ordered(here.takes, "oldest"))
    found = []
    for name in named:
        path = Path(name)
        elsewhere = path.suffix == library.SUFFIX and path.is_file() and path.resolve().parent != folder.resolve()
        there = library.library(path.parent.resolve(), removed=False) if elsewhere else here
        found.append(library.chosen(there.takes, name))
    return list(library.ordered(dict.fromkeys(found), "oldest"))


def _refuse_unknown(project: Project, takes: Sequence[library.Filed], cue: str | None, run: str | None) -> None:
    """Error: ProjectError for a cue or a pass of which there is neither a take nor a word in the project."""
    if takes:
        return
    try:
        if cue is not None:
            project.cue(cue)
        if run is not None:
            project.run(run)
    except ValueError as fault:
        raise ProjectError("", str(fault)) from fault


def _listed(one: library.Filed, rig: Rig) -> Listed:
    found = Listed(
        name=one.name,
        path=one.path,
        cue=one.cue,
        run=one.run,
        started=one.started,
        standing=one.standing,
        fault=one.fault or "; ".join(one.stops),
        circled=one.circled,
        note=one.note,
        size=one.bytes,
    )
    if not one.usable:
        return found
    try:
        take = read(one.path)
    except TakeError as fault:
        return replace(found, standing="cannot be used", fault=str(fault))
    if not take.complete:
        found = replace(found, standing="broken off", fault=take.fault)
    return replace(found, measured=measured(take, one.rig or rig))


def _group(project: Project, takes: Sequence[Listed], tolerance_px: float | None) -> Group:
    cue, run = takes[0].cue, takes[0].run
    best = chosen(takes, MOST_COMPARED)
    comparison, compared = _compared(takes, best, tolerance_px)
    return Group(
        cue=cue,
        run=run,
        takes=tuple(takes),
        planned=planned(project, cue, run, laws()),
        comparison=comparison,
        compared=compared,
    )


def _compared(
    takes: Sequence[Listed], best: Sequence[Listed], tolerance_px: float | None
) -> tuple[Comparison | None, str]:
    names = ", ".join(f"{place} {one.name}" for place, one in enumerate(best, 1))
    if len(best) < 2:
        there = f"is {best[0].name} alone" if best else "is none"
        return None, f"Nothing is compared: that takes two whole takes, and there {there}."
    whole = sum(one.whole for one in takes)
    left = f" Of {whole} whole takes, the circled ones and then the latest are compared." if whole > len(best) else ""
    broken = len(takes) - whole
    left += f" {broken} not whole {'is' if broken == 1 else 'are'} left out." if broken else ""
    try:
        comparison = compare([read(one.path) for one in best], tolerance_px)
    except SequencerError as fault:
        return None, f"Nothing is compared: {fault}"
    return comparison, f"Compared, and numbered so in the plots: {names}.{left}"


def planned(project: Project, cue: str, run: str, table: Laws) -> tuple[Use, ...] | None:
    """Return what the project's move asks of each axis within a cue, in a pass; None where it has these no more."""
    try:
        passed, own = in_pass(project, run, table)
        span = passed.cue(cue)
        done = check(passed.rig, passed.move, passed.timebase.rate, table, own.speed)
    except (ProjectError, ValueError):
        return None
    start_s, end_s = (float(passed.timebase.rate.seconds(at)) for at in (span.start, span.end))
    legs = [leg for leg in done.legs() if leg.from_s < end_s and leg.to_s > start_s]
    found = []
    for axis in passed.rig.axes:
        own_legs: list[Peak] = [leg.peak for leg in legs if leg.axis == axis.name]
        most = [
            max((getattr(peak, of).value for peak in own_legs), default=0.0) for of in ("speed", "acceleration", "jerk")
        ]
        limits = (axis.speed, axis.acceleration, axis.jerk)
        found.append(Use(axis=axis.name, peaks=(most[0], most[1], most[2]), limits=limits))
    return tuple(found)


def _outputs(project: Project) -> str:
    outlets = project.rig.outlets
    if not outlets:
        return "none in rig.json: whichever the operator named"
    return "; ".join(f"{', '.join(one.axes) or 'all axes'} by {one.address.partition(':')[0]}" for one in outlets)


def _sync(project: Project) -> str:
    offsets = [f"{one.source}: {one.frames} frames, {one.delay_ms:g} ms late" for one in project.sync]
    heard = f"playback of {project.playback.file}" if project.playback else "no playback file"
    return f"{heard}; offsets: {'; '.join(offsets) or 'none'}"
