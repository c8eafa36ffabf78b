"""Marks in project.json: what is saved is what is loaded, faults are told with their place, and none is lost."""

import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.errors import ProjectError
from sequencer.project import amend
from sequencer.project.begin import guess
from sequencer.project.differ import differences
from sequencer.project.journal import Reading, framed, step, unframed
from sequencer.project.partly import load_guessed, load_partly
from sequencer.project.schema import schemas
from sequencer.project.store import dump, load, save
from sequencer.score.easing import Laws
from sequencer.score.edits.marks import deleted
from sequencer.score.marks import AtSpeed, Fastest, Lasting, Mark, Pace, faults
from sequencer.shell.kinds import laws as real_laws
from tests.project.conftest import Tree

HARBOUR = Path("projects/harbour-lanterns")
Folder = Callable[[], Path]

names = st.text(st.characters(exclude_categories=["C", "Z"]), min_size=1, max_size=12)
# as a file can hold them: at most nine digits, and ten below the bar
exact = st.builds(Fraction, st.integers(1, 10**9 - 1), st.integers(1, 10**9 - 1))
legs: st.SearchStrategy[Pace] = st.one_of(
    st.just(Fastest()), exact.map(Lasting), exact.map(lambda one: AtSpeed(min(one, 1 / one)))
)
positions = st.dictionaries(
    st.sampled_from(["pan", "slide", "gone", "höhe"]),
    st.floats(-1e7, 1e7, exclude_min=True, exclude_max=True),
    min_size=1,
).map(lambda named: tuple(named.items()))
many = st.lists(st.builds(Mark, names, positions, legs), unique_by=lambda mark: mark.name, max_size=20).map(tuple)


@given(many)
def test_what_is_saved_is_what_is_loaded(tmp_path_factory: pytest.TempPathFactory, marks: tuple[Mark, ...]) -> None:
    folder = tmp_path_factory.mktemp("move")
    project = replace(load(HARBOUR, real_laws()), marks=marks)
    save(folder, project, real_laws())
    assert load(folder, real_laws()) == project
    jsonschema.Draft202012Validator(schemas()["project.json"]).validate(
        json.loads((folder / "project.json").read_text(encoding="utf-8"))
    )


def test_a_mark_is_written_on_a_line_that_a_colleague_can_read(folder: Folder, laws: Laws) -> None:
    marks = (
        Mark("doorway", (("pan", -20.0), ("slide", 400.0)), Lasting(Fraction(5, 2))),
        Mark("window", (("pan", 5.5),), AtSpeed(Fraction(1, 2))),
        Mark("lamp", (("pan", 1.0),)),
        Mark("all axes", tuple((f"axis{number}", number + 0.125) for number in range(8))),
    )
    text = dump(replace(load(folder(), laws), marks=marks))["project.json"]
    assert '    {"name": "doorway", "position": {"pan": -20.0, "slide": 400.0}, "leg": {"lasts_s": "2.5"}},\n' in text
    assert '    {"name": "window", "position": {"pan": 5.5}, "leg": {"speed": "1/2"}},\n' in text
    assert '    {"name": "lamp", "position": {"pan": 1.0}},\n' in text
    assert [line for line in text.splitlines() if '"all axes"' in line and '"axis7": 7.125}' in line]
    assert "marks" not in dump(load(folder(), laws))["project.json"]


GOOD: Tree = {"name": "doorway", "position": {"pan": -20.0}}


@pytest.mark.parametrize(
    ("marks", "words"),
    [
        ([GOOD, GOOD], "marks[1].name: 'doorway' is also the name of marks[0]; rename one of them"),
        ([GOOD | {"name": " "}], "marks[0].name: ' ' is no name"),
        ([GOOD | {"name": 5}], "marks[0].name: must be text, not a whole number"),
        ([{"name": "doorway"}], "marks[0]: position is missing"),
        ([GOOD | {"position": {}}], "marks[0].position: a mark says where one axis stands, or more"),
        ([GOOD | {"position": {"pan": "5"}}], "marks[0].position[...]: must be a number, not text"),
        ([GOOD | {"position": {"pan": None}}], "marks[0].position[...]: must be a number, not null"),
        ([GOOD | {"leg": {}}], "marks[0].leg: it says neither how long the leg lasts nor how fast it is, or both"),
        ([GOOD | {"leg": {"lasts_s": "2", "speed": "1/2"}}], "marks[0].leg: it says neither"),
        ([GOOD | {"leg": {"lasts_s": "0"}}], "marks[0].leg.lasts_s: '0' is not a number above zero"),
        ([GOOD | {"leg": {"lasts_s": "soon"}}], "marks[0].leg.lasts_s: 'soon' is not a number above zero"),
        ([GOOD | {"leg": {"lasts_s": 2}}], "marks[0].leg.lasts_s: must be text, not a whole number"),
        ([GOOD | {"leg": {"speed": "-1"}}], "marks[0].leg.speed: '-1' is not a number above zero"),
        ([GOOD | {"leg": {"speed": "3/2"}}], "marks[0].leg.speed: speed is 3/2; it is a part of each axis's limit"),
        ([GOOD | {"leg": {"pace": "1"}}], "marks[0].leg: there is no field 'pace' here"),
        ([GOOD | {"colour": "red"}], "marks[0]: there is no field 'colour' here"),
        ({}, "marks: must be a list, not an object"),
    ],
)
def test_a_fault_in_a_mark_is_told_with_its_place(
    marks: object, words: str, folder: Folder, laws: Laws, project: Tree
) -> None:
    project["marks"] = marks
    with pytest.raises(ProjectError) as told:
        load(folder(), laws)
    assert str(told.value).startswith(f"project.json: {words}")


@pytest.mark.parametrize("number", ["NaN", "Infinity", "1e999"])
def test_what_is_no_number_is_refused(number: str, folder: Folder, laws: Laws, project: Tree) -> None:
    project["marks"] = [GOOD]
    place = folder()
    text = (place / "project.json").read_text()
    (place / "project.json").write_text(text.replace('"position": {"pan": -20.0}', f'"position": {{"pan": {number}}}'))
    with pytest.raises(ProjectError, match=r"marks\[0\]\.position\.pan: .* is not a finite number"):
        load(place, laws)


@pytest.mark.parametrize(
    "mark",
    [
        {"name": "doorway"},
        GOOD | {"position": {}},
        GOOD | {"position": {"pan": "5"}},
        GOOD | {"leg": {}},
        GOOD | {"leg": {"lasts_s": "2", "speed": "1/2"}},
        GOOD | {"leg": {"speed": 0.5}},
        GOOD | {"colour": "red"},
    ],
)
def test_the_schema_refuses_it_too(mark: Tree, project: Tree) -> None:
    schema = jsonschema.Draft202012Validator(schemas()["project.json"])
    schema.validate(project | {"marks": [GOOD]})
    with pytest.raises(jsonschema.ValidationError):
        schema.validate(project | {"marks": [mark]})


def test_marks_of_an_axis_that_is_gone_and_outside_the_limits_are_kept(
    folder: Folder, laws: Laws, project: Tree
) -> None:
    project["marks"] = [
        {"name": "high", "position": {"pan": 5.0, "lift": 3.5}},
        {"name": "far", "position": {"slide": 1300.0}},
        GOOD,
    ]
    place = folder()
    read = load(place, laws)
    assert list(faults(read.marks, read.rig)) == ["high", "far"]
    save(place, replace(read, name="Another"), laws)
    assert json.loads((place / "project.json").read_text())["marks"] == project["marks"]
    assert load(place, laws).marks == read.marks


LANTERNS = load(HARBOUR, real_laws())


def test_an_edit_of_the_rig_loses_no_mark() -> None:
    pan = LANTERNS.rig.axes[0]
    renamed = amend.with_axis(LANTERNS, 0, replace(pan, name="turn"))
    assert [mark.axes[0] for mark in renamed.marks] == ["turn"] * 3
    assert amend.with_axis(renamed, 0, pan) == LANTERNS
    gone = amend.without_axis(LANTERNS, 0, with_track=True)
    assert gone.marks == LANTERNS.marks
    assert set(faults(gone.marks, gone.rig)) == {mark.name for mark in gone.marks}
    # of an axis that was gone, a mark may have a position under the new name already
    both = replace(gone, marks=(Mark("both", (("pan", 1.0), ("tilt", 2.0))),))
    assert amend.with_axis(both, 0, replace(gone.rig.axes[0], name="pan")).marks == both.marks
    assert amend.with_new_axis(gone, guess("lift")).marks == LANTERNS.marks


def test_a_change_of_time_leaves_marks_as_they_are() -> None:
    assert amend.started(LANTERNS, "09:00:00:00", "distance").marks == LANTERNS.marks
    assert amend.started(LANTERNS, "09:59:50:00").marks == LANTERNS.marks


def test_a_change_of_marks_is_a_difference_and_a_step_of_the_journal() -> None:
    changed = replace(LANTERNS, marks=deleted(LANTERNS.marks, ["quay wide"]))
    assert differences(LANTERNS, changed) == ("the marks",)
    record = step(LANTERNS, changed, 0.0)
    assert record is not None
    reading = Reading(real_laws(), LANTERNS)
    assert all(reading.feed(one) for one in unframed(framed(record)))
    assert reading.newest() == changed


def test_a_rig_that_lost_an_axis_keeps_marks_and_a_guess_holds_them(tmp_path: Path) -> None:
    folder = Path(shutil.copytree(HARBOUR, tmp_path / "harbour"))
    changed = replace(LANTERNS, marks=(*LANTERNS.marks, Mark("up", (("tilt", 1234.5),))))
    save(folder, changed, real_laws())
    rig: Any = json.loads((folder / "rig.json").read_text())
    rig["axes"] = [axis for axis in rig["axes"] if axis["name"] != "tilt"]
    (folder / "rig.json").write_text(json.dumps(rig))
    assert load_partly(folder, real_laws()).project.marks == changed.marks
    guessed = load_guessed(folder, real_laws()).project
    assert guessed.marks == changed.marks
    assert faults(guessed.marks, guessed.rig) == {}


def test_the_demo_has_marks_that_its_rig_can_go_to() -> None:
    assert [mark.name for mark in LANTERNS.marks] == ["lamp close", "quay wide", "net shed"]
    assert {type(mark.leg) for mark in LANTERNS.marks} == {Fastest, Lasting, AtSpeed}
    assert faults(LANTERNS.marks, LANTERNS.rig) == {}
