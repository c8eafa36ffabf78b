"""The set, the picture's shape and the rig's geometry: read, written and refused with their place; edits of the set."""

from collections.abc import Callable
from copy import deepcopy
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.errors import ProjectError
from sequencer.project.build_stage import build_geometry, build_stage, plain_geometry, plain_stage
from sequencer.project.stage import MOST, Box, Ground, Person, Stage
from sequencer.project.store import load, save
from sequencer.rig.geometry import Geometry
from sequencer.score.easing import Laws
from tests.project.conftest import Tree
from tests.project.test_build import put

Folder = Callable[[], Path]
STAGE: Tree = {
    "ground": {"size_m": 12.0, "cell_m": 0.5},
    "people": [{"name": "Lead", "x_m": 0.2, "y_m": 4, "height_m": 1.72, "heading_deg": 180}],
    "boxes": [{"name": "Crate", "centre_m": [1, 5, 0.4], "size_m": [1.2, 0.8, 0.8]}],
}
place_m, size_m, turn_deg = st.floats(-1000, 1000), st.floats(0.001, 100), st.floats(-360, 360)
name = st.text(st.characters(exclude_categories=["C", "Z"]), min_size=1, max_size=12)
people = st.builds(Person, name=name, x_m=place_m, y_m=place_m, height_m=size_m, heading_deg=turn_deg)
boxes = st.builds(
    Box,
    name=name,
    centre_m=st.tuples(place_m, place_m, place_m),
    size_m=st.tuples(size_m, size_m, size_m),
    heading_deg=turn_deg,
)
stages = st.builds(
    Stage,
    ground=st.floats(0.1, 50).map(lambda cell_m: Ground(size_m=20 * cell_m, cell_m=cell_m)),
    people=st.lists(people, max_size=3).map(tuple),
    boxes=st.lists(boxes, max_size=3).map(tuple),
)


def test_a_set_is_read_and_written_as_it_was(folder: Folder, laws: Laws, project: Tree) -> None:
    project["stage"], project["aspect"] = STAGE, "2.39"
    place = folder()
    read = load(place, laws)
    assert read.aspect == Fraction(239, 100)
    assert read.stage.ground == Ground(size_m=12, cell_m=0.5)
    assert read.stage.people == (Person(name="Lead", x_m=0.2, y_m=4, height_m=1.72, heading_deg=180),)
    assert read.stage.boxes == (Box(name="Crate", centre_m=(1, 5, 0.4), size_m=(1.2, 0.8, 0.8)),)
    save(place, read, laws)
    assert load(place, laws) == read
    # each on a line of its own, so that a diff reads well
    assert '\n      {"name": "Lead", ' in (place / "project.json").read_text(encoding="utf-8")


def test_a_project_of_old_has_an_empty_set_and_is_written_without_one(folder: Folder, laws: Laws) -> None:
    place = folder()
    read = load(place, laws)
    assert (read.aspect, read.stage, read.rig.geometry) == (None, Stage(), Geometry())
    save(place, read, laws)
    for file, words in (("project.json", ("stage", "aspect")), ("rig.json", ("geometry",))):
        assert not [word for word in words if f'"{word}"' in (place / file).read_text(encoding="utf-8")]


@pytest.mark.parametrize(
    ("path", "value", "message"),
    [
        ("aspect", "wide", "aspect: 'wide' is not a number above zero; write"),
        ("aspect", "16:9", "aspect: '16:9' is not a number above zero; write"),
        ("aspect", 2.39, "aspect: must be text, not a number"),
        (
            "aspect",
            "99",
            'aspect: 99 is no picture\'s width for its height; write a number from 1/5 to 5, as in "16/9"',
        ),
        ("aspect", "1/6", "aspect: 1/6 is no picture's width"),
        ("stage", [], "stage: must be an object {…}, not a list"),
        ("stage.light", 1, "stage: there is no field 'light' here"),
        (
            "stage.ground.cell_m",
            0.01,
            "stage.ground: a ground of 12 m has more than 200 cells of 0.01 m along a side; ",
        ),
        ("stage.ground.cell_m", 0, "stage.ground: cell_m is 0; it must be from 0.001 to 2000"),
        ("stage.ground.size_m", "12", "stage.ground.size_m: must be a number, not text"),
        ("stage.people.0.name", "", "stage.people[0].name: '' is no name"),
        ("stage.people.0.height_m", -1.7, "stage.people[0]: height_m is -1.7; it must be from 0.001 to 100"),
        ("stage.people.0.height_m", ..., "stage.people[0]: height_m is missing; add it"),
        ("stage.people.0.x_m", 4000, "stage.people[0]: x_m is 4000; it must be from -1000 to 1000"),
        ("stage.people.0.y_m", "4,5", "stage.people[0].y_m: must be a number, not text"),
        ("stage.people.0.heading_deg", 1000, "stage.people[0]: heading_deg is 1000; it must be from -360 to 360"),
        ("stage.people.0.hat", "red", "stage.people[0]: there is no field 'hat' here"),
        ("stage.boxes.0.size_m", [1, 0, 1], "stage.boxes[0]: size_m[1] is 0; it must be from 0.001 to 1000"),
        ("stage.boxes.0.size_m", [1, 1], "stage.boxes[0].size_m: needs 3 values, has 2"),
        ("stage.boxes.0.centre_m", [1, 5, 2e9], "stage.boxes[0]: centre_m[2] is 2e+09; it must be from -1000 to 1000"),
        ("stage.boxes.0.name", "\x07", r"stage.boxes[0].name: '\\x07' is no name"),
    ],
)
def test_a_fault_in_the_set_has_its_place(
    path: str, value: object, message: str, folder: Folder, laws: Laws, project: Tree
) -> None:
    project["stage"], project["aspect"] = deepcopy(STAGE), "16/9"
    put(project, path, value)
    with pytest.raises(ProjectError) as caught:
        load(folder(), laws)
    assert str(caught.value).startswith(f"project.json: {message}")


def test_a_crowd_that_cannot_be_drawn_is_refused(folder: Folder, laws: Laws, project: Tree) -> None:
    project["stage"] = {"people": STAGE["people"] * (MOST + 1)}
    with pytest.raises(ProjectError, match=r"stage: there are 201 people; 200 is the most that is drawn"):
        load(folder(), laws)


@given(stages)
def test_every_set_is_read_as_it_is_written(stage: Stage) -> None:
    written: Any = plain_stage(stage)
    assert (build_stage(written) if stage != Stage() else Stage()) == stage


def test_a_rigs_geometry_is_read_and_written(folder: Folder, laws: Laws, rig: Tree) -> None:
    rig["geometry"] = {"height_m": 0.9, "positive": {"pan": "right"}, "heading_deg": {"slide": 30}}
    place = folder()
    read = load(place, laws)
    assert read.rig.geometry == Geometry(height_m=0.9, positive=(("pan", "right"),), heading_deg=(("slide", 30.0),))
    save(place, read, laws)
    assert load(place, laws) == read
    written: Any = plain_geometry(Geometry(positive=(("pan", "right"),)))
    assert build_geometry(written) == Geometry(positive=(("pan", "right"),))


@pytest.mark.parametrize(
    ("path", "value", "message"),
    [
        ("geometry.height_m", 1e6, "geometry: height_m is 1e+06; it must be from -100 to 100"),
        ("geometry.height_m", "1.5", "geometry.height_m: must be a number, not text"),
        ("geometry.positive", {"pan": "up"}, "geometry: positive of pan is 'up'; it must be left or right"),
        ("geometry.positive", {"boom": "up"}, "geometry: the rig has no axis 'boom'; its axes are pan, slide"),
        ("geometry.heading_deg", {"pan": 0}, "geometry: heading_deg of pan is given; only a slide has one"),
        ("geometry.heading_deg", {"slide": 1e9}, "geometry: heading_deg of slide is 1e+09; it must be from -360"),
        ("geometry.arm_m", 2, "geometry: there is no field 'arm_m' here"),
    ],
)
def test_a_fault_in_the_geometry_has_its_place(
    path: str, value: object, message: str, folder: Folder, laws: Laws, rig: Tree
) -> None:
    rig["geometry"] = {}
    put(rig, path, value)
    with pytest.raises(ProjectError) as caught:
        load(folder(), laws)
    assert str(caught.value).startswith(f"rig.json: {message}")


def test_edits_of_the_set_leave_the_one_before_as_it_was() -> None:
    lead = Person(name="Lead", x_m=0, y_m=4, height_m=1.7)
    crate = Box(name="Crate", centre_m=(0, 0, 0.5), size_m=(1, 1, 1))
    stage = Stage().with_new(lead).with_new(crate).with_new(replace(lead, name="Drums"))
    assert [one.name for one in stage.people] == ["Lead", "Drums"]
    assert stage.boxes == (crate,)
    taller = stage.with_person(1, replace(stage.people[1], height_m=1.9))
    assert [one.height_m for one in taller.people] == [1.7, 1.9]
    assert [one.height_m for one in stage.people] == [1.7, 1.7]
    assert [one.name for one in stage.with_person(0, None).people] == ["Drums"]
    assert stage.with_box(0, None).boxes == ()
    assert stage.with_box(0, replace(crate, heading_deg=20)).boxes[0].heading_deg == 20
