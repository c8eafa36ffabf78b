"""The one door to a pass of a project: its move as the pass runs it. Who runs or judges a pass comes through here."""

from dataclasses import replace

from sequencer.errors import ProjectError
from sequencer.project.document import Project
from sequencer.score.easing import Laws
from sequencer.score.move import Pass
from sequencer.score.passes import varied
from sequencer.timebase.instants import labelled


def in_pass(project: Project, name: str | None, laws: Laws) -> tuple[Project, Pass]:
    """Return the project with the move as the pass `name`, or the first one, runs it, and the pass.

    The move is the one at the speed as written; the pass says at which speed it runs.
    Error: ProjectError that lists the passes there are, or says with its place why this one cannot be made.
    """
    try:
        own = project.run(name)
    except ValueError as fault:
        raise ProjectError("", str(fault)) from fault
    if not own.varies:
        return project, own
    label = project.timebase.label
    try:
        return replace(project, move=varied(project.move, project.rig, own, laws)), own
    except ProjectError as fault:
        what, mend = labelled(fault.what, label), labelled(fault.mend, label)
        raise ProjectError(fault.path, what, mend) from fault
