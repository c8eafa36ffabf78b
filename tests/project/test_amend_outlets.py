"""Edits of a rig's outputs: added, changed, removed, put in order, and written into rig.json."""

from pathlib import Path

import pytest

from sequencer.project.amend_outlets import outlet_at, with_outlet
from sequencer.project.document import Project
from sequencer.project.store import load, save
from sequencer.rig.outlet import Outlet
from sequencer.shell.kinds import laws

LANTERNS = load(Path("projects/harbour-lanterns"), laws())
HEAD = Outlet(address="osc://192.0.2.20:9000", axes=("pan", "tilt", "roll"), at_end="drop power")
TRACK = Outlet(address="gcode:/dev/ttyUSB0?slide=X", axes=("slide",), rate_hz=50.0, latency_s=0.04)
LENS = Outlet(address="midi:lens?focus=cc16", axes=("focus",), on_loss="go on")


def reached() -> Project:
    project = LANTERNS
    for outlet in (HEAD, TRACK, LENS):
        project = with_outlet(project, None, outlet)
    return project


def test_outputs_are_added_changed_and_removed() -> None:
    project = reached()
    assert project.rig.outlets == (HEAD, TRACK, LENS)
    assert with_outlet(project, 1, LENS).rig.outlets == (HEAD, LENS, LENS)
    assert with_outlet(project, 0, None).rig.outlets == (TRACK, LENS)
    assert with_outlet(project, None, None) == project
    assert project.rig.axes == LANTERNS.rig.axes


@pytest.mark.parametrize(
    ("number", "place", "order"),
    [
        (0, 2, (TRACK, LENS, HEAD)),
        (2, 0, (LENS, HEAD, TRACK)),
        (1, 9, (HEAD, LENS, TRACK)),
        (1, -1, (TRACK, HEAD, LENS)),
    ],
)
def test_outputs_are_put_in_order(number: int, place: int, order: tuple[Outlet, ...]) -> None:
    assert outlet_at(reached(), number, place).rig.outlets == order


def test_an_axis_that_the_rig_has_not_is_refused() -> None:
    with pytest.raises(ValueError, match="crane"):
        with_outlet(LANTERNS, None, Outlet(address="osc://192.0.2.20:9000", axes=("crane",)))


def test_what_was_edited_is_in_the_folder(tmp_path: Path) -> None:
    save(tmp_path / "one", reached(), laws())
    assert load(tmp_path / "one", laws()) == reached()
