"""Edits of the outputs by which a rig's axes are reached. Each gives another valid project.

It refuses what rig.json could not hold. Whether an output can be opened and can carry its axes is not asked here: what
is missing yet is written step by step, and said beside it.
"""

from dataclasses import replace

from sequencer.project.document import Project
from sequencer.rig.outlet import Outlet


def with_outlet(project: Project, number: int | None, outlet: Outlet | None) -> Project:
    """Return the project with another output in a place; None adds one, or removes it.

    Error: ValueError for an axis that the rig has not.
    """
    outlets = list(project.rig.outlets)
    if outlet is None:
        if number is not None:
            del outlets[number]
    elif number is None:
        outlets.append(outlet)
    else:
        outlets[number] = outlet
    return _reached(project, tuple(outlets))


def outlet_at(project: Project, number: int, place: int) -> Project:
    """Return the project with an output at another place: in this order they are opened and told of."""
    outlets = list(project.rig.outlets)
    outlets.insert(max(0, min(place, len(outlets) - 1)), outlets.pop(number))
    return _reached(project, tuple(outlets))


def _reached(project: Project, outlets: tuple[Outlet, ...]) -> Project:
    return replace(project, rig=replace(project.rig, outlets=outlets))
