"""The schemas in docs/schema are those of the types, and they judge files as the program does."""

import json
from dataclasses import fields
from pathlib import Path
from typing import Any

import jsonschema
import msgspec
import pytest

from sequencer.project import rig_file
from sequencer.project.axis_file import FigureFile, MeasuredFile, SimulatedFile
from sequencer.project.schema import schemas, written
from sequencer.rig.axis import Axis, Camera, Simulated
from sequencer.rig.measured import Figure, Measured

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("name", sorted(written()))
def test_the_schema_in_the_documents_is_current(name: str) -> None:
    there = (ROOT / "docs" / "schema" / name).read_text(encoding="utf-8")
    assert there == written()[name], "run: python -m sequencer.project.schema docs/schema"


def test_no_schema_is_left_over() -> None:
    assert {path.name for path in (ROOT / "docs" / "schema").iterdir()} == set(written())


def validator(name: str) -> jsonschema.Draft202012Validator:
    schema = schemas()[name]
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


@pytest.mark.parametrize(
    "path", sorted((ROOT / "projects").glob("*/*.json")), ids=lambda path: "/".join(path.parts[-2:])
)
def test_the_demo_projects_fit_the_schema(path: Path) -> None:
    validator(path.name).validate(json.loads(path.read_text(encoding="utf-8")))


@pytest.mark.parametrize(
    ("way", "value"),
    [
        (("format",), "twintake/rig"),
        (("version",), 2),
        (("timebase", "rate"), "23.976"),
        (("tracks", 0, "keys", 0, "at"), "10:00"),
        (("tracks", 0, "keys", 0, "value"), "5"),
        (("tracks", 0, "keys", 0, "ease"), {"points": [0, 0, 1, 1]}),
        (("tracks", 0, "keys", 0, "colour"), "red"),
        (("passes", 0, "speed"), 0.5),
        (("aspect",), "16:9"),
        (("stage",), {"people": [{"name": "Lead", "x_m": 0, "y_m": 4}]}),
        (("stage",), {"boxes": [{"name": "Crate", "centre_m": [0, 0], "size_m": [1, 1, 1]}]}),
    ],
)
def test_the_schema_refuses_what_the_program_refuses(way: tuple[str | int, ...], value: object) -> None:
    tree = json.loads((ROOT / "projects" / "harbour-lanterns" / "project.json").read_text(encoding="utf-8"))
    place: Any = tree
    for step in way[:-1]:
        place = place[step]
    place[way[-1]] = value
    with pytest.raises(jsonschema.ValidationError):
        validator("project.json").validate(tree)


@pytest.mark.parametrize(
    ("piece", "mirrored"),
    [
        (rig_file.AxisFile, Axis),
        (SimulatedFile, Simulated),
        (rig_file.CameraFile, Camera),
        (MeasuredFile, Measured),
        (FigureFile, Figure),
    ],
)
def test_a_field_of_the_rig_is_a_field_of_its_file(piece: type[Any], mirrored: type[Any]) -> None:
    """A field added to the rig's types without its place in the file would be lost by a save."""
    assert [one.encode_name for one in msgspec.structs.fields(piece)] == [one.name for one in fields(mirrored)]
    required = [one.name for one in msgspec.structs.fields(piece) if one.required]
    given: dict[str, Any] = {"name": "a", "kind": "pan", "unit": "deg", "travel": None}
    given |= {"sensor_mm": (1.0, 1.0), "pixels": (1, 1), "on": "2026-11-30"}
    values = {name: given.get(name, 1.0) for name in required}
    from_file, direct = piece(**values), mirrored(**values)
    for one in fields(mirrored):
        if one.name not in (*required, "simulated"):
            written, there = getattr(from_file, one.name), getattr(direct, one.name)
            # what a file does not say is nothing, or no
            assert written == there or (written is msgspec.UNSET and not there)
