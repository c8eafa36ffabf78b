"""The lens's tables in rig.json: read, written as they were, and refused with their place."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from sequencer.errors import ProjectError
from sequencer.project.store import dump, load
from sequencer.score.easing import Laws
from tests.project.conftest import Tree

Folder = Callable[[], Path]
TABLES: dict[str, Any] = {
    "f_number": 2.8,
    "circle_of_confusion_mm": 0.02,
    "shutter_deg": 172.8,
    "focus_table": [
        {"at": 0.0, "distance": "2' 6\""},
        {"at": 0.5, "distance": "2,4 m"},
        {"at": 1.0, "distance": "inf"},
    ],
    "zoom_table": [{"at": 0.0, "focal_mm": 24.0}, {"at": 1.0, "focal_mm": 70.0}],
    "breathing": [{"factor": 1.0, "distance": "inf"}, {"factor": 1.06, "distance": "0.8 m"}],
    "pupil": [{"ahead_mm": 95.5, "focal_mm": 24.0}, {"ahead_mm": 130.0, "focal_mm": 70.0}],
}


def test_a_lens_is_read_and_written_as_it_was_typed(folder: Folder, laws: Laws, rig: Tree) -> None:
    rig["camera"] |= TABLES
    read = load(folder(), laws)
    camera = read.rig.camera
    assert camera is not None
    assert camera.focus_table is not None
    assert float(camera.focus_table.distance_m(0.5)) == pytest.approx(2.4)
    assert camera.zoom_table is not None
    assert camera.breathing is not None
    assert camera.pupil is not None
    assert float(camera.pupil.at(47.0, 3.0)) == pytest.approx(112.75)
    text = dump(read)["rig.json"]
    assert {name: json.loads(text)["camera"][name] for name in TABLES} == TABLES
    # a row a line, so that a difference reads well
    assert '      {"at": 0.5, "distance": "2,4 m"},\n' in text


def test_a_camera_without_tables_is_written_without_them(folder: Folder, laws: Laws, rig: Tree) -> None:
    read = load(folder(), laws)
    assert json.loads(dump(read)["rig.json"])["camera"].keys() == {"sensor_mm", "pixels", "focal_mm", "subject_m"}


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        (
            "focus_table",
            [{"at": 0, "distance": "1 m"}, {"at": 1, "distance": "1 m"}],
            r"camera\.focus_table: row 2: dist",
        ),
        (
            "focus_table",
            [{"at": 1, "distance": "1 m"}, {"at": 0, "distance": "2 m"}],
            r"camera\.focus_table: row 2: at is",
        ),
        (
            "focus_table",
            [{"at": 0, "distance": "3"}, {"at": 1, "distance": "4 m"}],
            r"camera\.focus_table: row 1: '3' is",
        ),
        (
            "focus_table",
            [{"at": 0, "distance": 3}, {"at": 1, "distance": "4 m"}],
            r"camera\.focus_table\[0\]\.distance",
        ),
        ("focus_table", [], r"camera\.focus_table: one row is too few"),
        ("zoom_table", [{"at": 0, "focal_mm": 24}], r"camera\.zoom_table: one row is too few"),
        ("breathing", [{"factor": 1}, {"factor": 2}], r"camera\.breathing: row 2: says again"),
        ("breathing", [{"factor": 9}], "camera: breathing row 1: factor is 9"),
        ("pupil", [], r"camera\.pupil: it has no rows"),
        ("shutter_deg", 400, "camera: shutter_deg is 400"),
        ("f_number", 0, "camera: f_number is 0; it must be above zero"),
    ],
)
def test_a_lens_that_cannot_be_is_refused_with_its_place(
    name: str, value: object, words: str, folder: Folder, laws: Laws, rig: Tree
) -> None:
    rig["camera"][name] = value
    with pytest.raises(ProjectError, match=rf"^rig\.json: {words}"):
        load(folder(), laws)
