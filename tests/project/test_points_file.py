"""Points and the pupil in the project's files: what is saved is loaded, and faults are told with their place."""

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.errors import ProjectError
from sequencer.project.differ import differences
from sequencer.project.schema import schemas
from sequencer.project.store import dump, load, save
from sequencer.score.easing import Laws
from sequencer.score.points import Point
from sequencer.shell.kinds import laws as real_laws
from tests.project.conftest import Tree

HARBOUR = Path("projects/harbour-lanterns")
Folder = Callable[[], Path]

names = st.text(st.characters(exclude_categories=["C", "Z"]), min_size=1, max_size=12)
places = st.tuples(*[st.floats(-1e4, 1e4)] * 3)
sure = st.none() | st.floats(1e-9, 100)
many = st.lists(st.builds(Point, names, places, sure), unique_by=lambda one: one.name, max_size=12).map(tuple)
pupils = st.tuples(*[st.floats(-2000, 2000)] * 3)


@given(many, pupils)
def test_what_is_saved_is_what_is_loaded(
    tmp_path_factory: pytest.TempPathFactory, points: tuple[Point, ...], pupil: tuple[float, float, float]
) -> None:
    folder = tmp_path_factory.mktemp("move")
    project = load(HARBOUR, real_laws())
    rig = replace(project.rig, geometry=replace(project.rig.geometry, pupil_mm=pupil))
    project = replace(project, points=points, rig=rig)
    save(folder, project, real_laws())
    assert load(folder, real_laws()) == project
    for name in ("project.json", "rig.json"):
        jsonschema.Draft202012Validator(schemas()[name]).validate(json.loads((folder / name).read_text("utf-8")))


def test_a_point_is_written_on_a_line_that_a_colleague_can_read() -> None:
    project = replace(load(HARBOUR, real_laws()), points=(Point("mast", (1, 8, 6.5), 0.02), Point("quay", (0, 2, 0))))
    text = dump(project)["project.json"]
    assert '    {"name": "mast", "at_m": [1.0, 8.0, 6.5], "sigma_m": 0.02},\n' in text
    assert '    {"name": "quay", "at_m": [0.0, 2.0, 0.0]}\n' in text


def test_a_project_without_points_is_written_without_a_word_of_them(folder: Folder, laws: Laws) -> None:
    opened = load(folder(), laws)
    assert opened.points == ()
    assert opened.rig.geometry.mounted_mm == (0.0, 0.0, 0.0)
    written = dump(opened)
    assert '\n  "points"' not in written["project.json"]
    assert "pupil_mm" not in written["rig.json"]


@pytest.mark.parametrize(
    ("points", "place", "what"),
    [
        ([{"name": " ", "at_m": [0, 0, 0]}], "points[0].name", "is no name"),
        ([{"name": "a", "at_m": [0, 0, 0]}, {"name": "a", "at_m": [1, 0, 0]}], "points[1].name", "also the name of"),
        ([{"name": "a", "at_m": [0, 1e6, 0]}], "points[0]", "metres"),
        ([{"name": "a", "at_m": [0, 0, 0], "sigma_m": -1}], "points[0]", "above zero"),
        ([{"name": "a", "at_m": [0, 0]}], "points[0].at_m", ""),
        ([{"name": "a", "at_m": [0, 0, 0], "colour": "red"}], "points[0]", "colour"),
    ],
)
def test_faults_are_told_with_their_place(
    folder: Folder, project: Tree, laws: Laws, points: list[Tree], place: str, what: str
) -> None:
    project["points"] = points
    with pytest.raises(ProjectError) as caught:
        load(folder(), laws)
    assert caught.value.path.startswith(place)
    assert what in str(caught.value)


def test_a_pupil_that_is_none_is_told_with_its_place(folder: Folder, rig: Tree, laws: Laws) -> None:
    rig["geometry"] = {"pupil_mm": [0, 5000, 0]}
    with pytest.raises(ProjectError, match="pupil_mm has 5000") as caught:
        load(folder(), laws)
    assert (caught.value.file, caught.value.path) == ("rig.json", "geometry")


def test_other_points_are_told_as_a_difference() -> None:
    project = load(HARBOUR, real_laws())
    assert differences(project, replace(project, points=(Point("quay", (0, 2, 0)),))) == ("the points",)
