"""Limits that tie axes together, in rig.json: read, written back, and every fault with its place and mend."""

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from sequencer.errors import ProjectError
from sequencer.project.schema import schemas
from sequencer.project.store import dump, load, load_rig, save
from sequencer.rig.limits import SumLimit, WhileLimit
from sequencer.score.easing import Laws
from tests.project.conftest import Tree

Folder = Callable[[], Path]
SUM = {"name": "head and slide", "sum": {"pan": 1, "slide": 0.05}, "speed": 70}
WHILE = {"name": "far out", "axis": "pan", "while": "slide", "between": [900, 1200], "travel": [-60, 60], "jerk": 300}


def test_both_kinds_are_read_and_written_back(folder: Folder, laws: Laws, rig: Tree) -> None:
    rig["combined"] = [SUM, WHILE]
    read = load(folder(), laws)
    assert read.rig.combined == (
        SumLimit(name="head and slide", sum=(("pan", 1.0), ("slide", 0.05)), speed=70.0),
        WhileLimit(
            name="far out", axis="pan", other="slide", between=(900.0, 1200.0), travel=(-60.0, 60.0), jerk=300.0
        ),
    )
    written = json.loads(dump(read)["rig.json"])
    assert written["combined"] == [SUM, WHILE]
    place = folder()
    save(place, read, laws)
    assert load_rig(place) == read.rig
    jsonschema.Draft202012Validator(schemas()["rig.json"]).validate(written)


def test_a_rig_without_them_is_written_as_before(folder: Folder, laws: Laws) -> None:
    read = load(folder(), laws)
    assert read.rig.combined == ()
    assert "combined" not in json.loads(dump(read)["rig.json"])


@pytest.mark.parametrize(
    ("limit", "changed", "message"),
    [
        (SUM, {"sum": {"pan": 1, "lift": 1}}, ": the rig has no axis 'lift'; its axes are pan, slide"),
        (WHILE, {"while": "tilt"}, ": the rig has no axis 'tilt'; its axes are pan, slide"),
        (WHILE, {"axis": "tilt"}, ": the rig has no axis 'tilt'; its axes are pan, slide"),
        (SUM, {"sum": {"pan": 1}}, ": sum needs two axes or more; one axis alone has its own limits"),
        (SUM, {"sum": {"pan": 1, "slide": 0}}, ": the weight of slide is 0.0; give it a number other than zero"),
        (SUM, {"sum": {"pan": 1, "slide": "x"}}, ".sum[...]: must be a number, not text"),
        (SUM, {"speed": ...}, ": nothing is limited; give it travel, speed, acceleration or jerk"),
        (SUM, {"speed": 0}, ": speed is 0.0; it must be above zero"),
        (SUM, {"acceleration": -5}, ": acceleration is -5.0; it must be above zero"),
        (SUM, {"speed": None}, ".speed: must be a number, not null"),
        (SUM, {"travel": [5, -5]}, ": travel is [5.0, -5.0]; the low end must be below the high end"),
        (WHILE, {"between": [90, 45]}, ": between is [90.0, 45.0], an empty range; the low end must be below"),
        (WHILE, {"between": [45, 45]}, ": between is [45.0, 45.0], an empty range; the low end must be below"),
        (WHILE, {"between": [1300, 1400]}, ": between is [1300.0, 1400.0]; slide never gets there, its travel is"),
        (WHILE, {"between": [45]}, ".between: needs 2 values, has 1"),
        (WHILE, {"between": ...}, ": it is neither the limit of a sum nor that of an axis while another is in a range"),
        (SUM, {"axis": "pan"}, ": it is neither the limit of a sum nor that of an axis while another is in a range"),
        (SUM, {"sum": ...}, '; write "sum" alone, or "axis", "while" and "between"'),
        (SUM, {"name": ...}, ": name is missing; add it"),
        (SUM, {"name": " "}, ".name: ' ' is no name; write one or more printable characters"),
        (SUM, {"name": "far out"}, ": two combined limits are called 'far out'"),
        (SUM, {"sped": 70}, ": there is no field 'sped' here; correct its name or remove it"),
    ],
)
def test_a_fault_has_its_place_and_mend(
    limit: dict[str, Any], changed: dict[str, Any], message: str, folder: Folder, laws: Laws, rig: Tree
) -> None:
    spoilt = {name: value for name, value in (limit | changed).items() if value is not ...}
    rig["combined"] = [WHILE | {"name": "far out" if limit is SUM else "first"}, spoilt]
    with pytest.raises(ProjectError) as caught:
        load(folder(), laws)
    assert str(caught.value).startswith("rig.json: combined[1]")
    assert message in str(caught.value)


@pytest.mark.parametrize(
    "changed",
    [{"speed": ...}, {"sum": ...}, {"axis": "pan"} | WHILE, {"sum": {"pan": 1}}, {"colour": "red"}, {"speed": "70"}],
    ids=str,
)
def test_the_schema_refuses_what_the_program_refuses(changed: dict[str, Any], rig: Tree) -> None:
    judge = jsonschema.Draft202012Validator(schemas()["rig.json"])
    rig["combined"] = [SUM]
    judge.validate(rig)
    rig["combined"] = [{name: value for name, value in (SUM | changed).items() if value is not ...}]
    with pytest.raises(jsonschema.ValidationError):
        judge.validate(rig)


def test_a_rig_from_code_is_judged_too(folder: Folder, laws: Laws) -> None:
    there = load(folder(), laws).rig
    limit = SumLimit(name="both", sum=(("pan", 1.0), ("lift", 1.0)), speed=1.0)
    with pytest.raises(ValueError, match="the rig has no axis 'lift'"):
        replace(there, combined=(limit,))
    with pytest.raises(ValueError, match="sum has the axis 'pan' twice; add its weights"):
        replace(limit, sum=(("pan", 1.0), ("pan", 2.0)))
