"""Triggers and passes call cues and markers by name: they follow a new one. No trigger is left that calls nothing."""

from dataclasses import replace

from sequencer.errors import ProjectError
from sequencer.project.document import Project
from sequencer.score.passes import cue_renamed
from sequencer.sync.orders import GoToMark, Mapped, TakeCue


def with_called_cue(project: Project, before: str, name: str) -> Project:
    """Return the project whose triggers call the cue `before` by its new name, and whose passes belong to it."""
    passes = cue_renamed(project.move.passes, before, name)
    if passes != project.move.passes:
        project = replace(project, move=replace(project.move, passes=passes))
    return _recalled(project, TakeCue(before), TakeCue(name))


def with_called_marker(project: Project, before: str, name: str) -> Project:
    """Return the project whose triggers call the marker `before` by its new name."""
    return _recalled(project, GoToMark(before), GoToMark(name))


def _recalled(project: Project, before: TakeCue | GoToMark, now: TakeCue | GoToMark) -> Project:
    mapped = project.triggers.mapped
    if before == now or all(one.order != before for one in mapped):
        return project
    mapped = tuple(replace(one, order=now) if one.order == before else one for one in mapped)
    return replace(project, triggers=replace(project.triggers, mapped=mapped))


def refuse_uncalled(project: Project) -> None:
    """Error: ProjectError for the first trigger whose cue or marker is not there, or is not the only one."""
    cues = [cue.name for cue in project.move.cues]
    markers = [marker.name for marker in project.move.markers]
    for number, one in enumerate(project.triggers.mapped):
        match one.order:
            case TakeCue(name=name):
                _refuse(f"triggers.midi[{number}].name", one, "cue", name, cues.count(name))
            case GoToMark(name=name):
                _refuse(f"triggers.midi[{number}].name", one, "marker", name, markers.count(name))


def _refuse(path: str, mapped: Mapped, kind: str, name: str, count: int) -> None:
    trigger = f"the trigger {mapped.message} {mapped.number}"
    if count == 0:
        what = f"{trigger} needs the {kind} {name}, which would be gone"
        raise ProjectError(path, what, "change or remove that trigger first")
    if count > 1:
        what = f"{trigger} could not tell which {kind} {name} is meant"
        raise ProjectError(path, what, f"give this {kind} another name")
