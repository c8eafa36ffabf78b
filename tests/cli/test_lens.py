"""`twintake lens` and lens values typed in metres, feet and millimetres: what an operator sees, and how it ends."""

import json
import shutil
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from sequencer.cli.app import app
from sequencer.rig.optics import depth_of_field, fields_deg
from tests.cli import harbour as harbours
from tests.cli.harbour import HARBOUR, Tree, change, opened

pytestmark = pytest.mark.usefixtures("terminal")
FOOT_M = 0.3048  # exactly


@pytest.fixture
def paper(tmp_path: Path) -> Path:
    return Path(shutil.copytree(HARBOUR.parent / "paper-boats", tmp_path / "paper"))


def run(folder: Path, *options: str) -> Result:
    return CliRunner().invoke(app, ["lens", str(folder), *options])


def document(folder: Path, *options: str) -> dict[str, Any]:
    done = run(folder, *options, "--json")
    assert done.exit_code == 0, done.output
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def put(folder: Path, axis: str, value: str, *options: str) -> Result:
    at = "10:00:12:00" if "harbour" in folder.name else "01:00:12:00"
    return harbours.run("put", folder, "--axis", axis, "--at", at, "--value", value, *options)


def test_the_lens_at_the_first_key(paper: Path) -> None:
    found = document(paper)
    depth = depth_of_field(28, 8, 0.015, 0.45)
    across, up, diagonal = fields_deg((24, 13.5), 28)
    assert found["at"] == "01:00:08:00"
    assert found["fields_deg"] == {
        "across": pytest.approx(across),
        "up": pytest.approx(up),
        "diagonal": pytest.approx(diagonal),
    }
    assert [found[name] for name in ("near_m", "far_m", "hyperfocal_m")] == pytest.approx(
        [depth.near_m, depth.far_m, depth.hyperfocal_m]
    )
    assert found["focus"] == {"axis": "focus", "position": 0.71}
    assert found["zoom"] == {"axis": "zoom", "position": 0.2}
    assert (found["pupil_mm"], found["notes"]) == (None, [])


def test_focused_elsewhere_it_says_where_the_motor_would_stand(paper: Path) -> None:
    found = document(paper, "--focus", "0.8m", "--f-number", "2.8")
    assert (found["distance_m"], found["focus"]["position"], found["f_number"]) == (0.8, 0.4, 2.8)
    far = document(paper, "--focus", "inf")
    assert (far["distance_m"], far["far_m"], far["total_m"], far["focus"]["position"]) == ("inf", "inf", "inf", 0.0)
    shown = run(paper, "--focus", "1'6\"").stdout
    assert "focused at      1' 6\" from the sensor plane" in shown
    assert "sharp           from 1' 5\" to" in shown


def test_another_instant_has_another_lens(paper: Path) -> None:
    first, later = (document(paper, "--at", at) for at in ("01:00:08:00", "01:00:30:00"))
    assert first["focal_mm"] != later["focal_mm"]
    assert first["distance_m"] != later["distance_m"]


def test_what_is_not_known_is_said(harbour: Path) -> None:
    found = document(harbour)
    assert (found["near_m"], found["focus"]["position"]) == (None, 0.3)
    assert [note.split(":")[0] for note in found["notes"]] == [
        "focus has no focus_table",
        "depth of field needs an f-number",
        "circle of confusion",
    ]
    assert document(harbour, "--focus", "2m")["focus"] == {"axis": "focus", "position": None}
    shown = run(harbour, "--focus", "2m", "--f-number", "4").stdout
    assert "focus motor     not known" in shown


def test_breathing_and_the_pupil_are_shown(paper: Path) -> None:
    def measure(rig: Tree) -> None:
        rig["camera"]["breathing"] = [{"factor": 1.0, "distance": "inf"}, {"factor": 1.1, "distance": "0.45 m"}]
        rig["camera"]["pupil"] = [{"ahead_mm": 60.0}]

    change(paper, "rig.json", measure)
    found = document(paper)
    assert (found["marked_focal_mm"], found["focal_mm"], found["pupil_mm"]) == pytest.approx((28, 30.8, 60))
    shown = run(paper).stdout
    assert "30.8 mm (28 mm, breathing)" in shown
    assert "60.0 mm ahead of the sensor plane" in shown
    assert "the sensor plane is taken to be where pan, tilt and roll meet" in shown

    def place(rig: Tree) -> None:
        rig["geometry"]["sensor_plane_mm"] = [0, -20, 0]

    change(paper, "rig.json", place)
    assert document(paper)["notes"] == []


def test_two_places_of_the_pupil_in_the_rig_file_are_refused_with_their_mend(paper: Path) -> None:
    def both(rig: Tree) -> None:
        rig["camera"]["pupil"] = [{"ahead_mm": 60.0}]
        rig["geometry"]["pupil_mm"] = [0, 40, 5]

    change(paper, "rig.json", both)
    done = run(paper)
    assert done.exit_code == 2
    assert "rig.json: geometry: pupil_mm is given" in " ".join(done.output.split())
    assert "with sensor_plane_mm [0, -20.00, 5] the pupil is" in " ".join(done.output.split())


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--focus", "2"), "command line: --focus: '2' is no distance; write"),
        (("--focus", "20 cm"), "command line: --focus: 0.2 m is not on the lens's scale; it goes from 0.3 m to inf"),
        (("--at", "8 o'clock"), "command line: --at:"),
        (("--f-number", "0"), "command line: --f-number: is 0; it must be above zero"),
    ],
)
def test_what_cannot_be_is_refused(options: tuple[str, ...], words: str, paper: Path) -> None:
    done = run(paper, *options)
    assert done.exit_code == 2
    assert words in done.stderr


def test_a_rig_without_a_camera_has_no_lens(paper: Path) -> None:
    change(paper, "rig.json", lambda rig: rig.pop("camera"))
    done = run(paper)
    assert done.exit_code == 2
    assert "rig.json: camera: is missing" in done.stderr


@pytest.mark.parametrize(("typed", "distance_m"), [("0.5m", 0.5), ("2ft", 2 * FOOT_M), ("1'6\"", 1.5 * FOOT_M)])
def test_a_focus_key_is_typed_as_a_distance_and_comes_back_as_it(typed: str, distance_m: float, paper: Path) -> None:
    done = put(paper, "focus", typed, "--write")
    assert done.exit_code == 0, done.output
    assert f"for {typed} at 01:00:12:00: 1 key of focus new" in done.output
    project = opened(paper)
    assert project.rig.camera is not None
    assert project.rig.camera.focus_table is not None
    at = project.timebase.frames("01:00:12:00")
    (value,) = [
        key.value for track in project.move.tracks if track.axis == "focus" for key in track.keys if key.at == at
    ]
    assert float(project.rig.camera.focus_table.distance_m(value)) == pytest.approx(distance_m, rel=1e-12)
    assert document(paper, "--at", "01:00:12:00")["distance_m"] == pytest.approx(distance_m, rel=1e-12)


def test_a_zoom_key_is_typed_as_a_focal_length_and_any_key_as_a_number(paper: Path) -> None:
    assert "zoom to 0.45 for 35mm at" in put(paper, "zoom", "35mm").output
    assert "focus to 0.5 at" in put(paper, "focus", "0.5").output
    assert "pan to -3 at" in put(paper, "pan", "-3").output


@pytest.mark.parametrize(
    ("axis", "value", "words"),
    [
        ("focus", "10cm", "command line: --value: 0.1 m is not on the lens's scale"),
        ("zoom", "200mm", "command line: --value: 200 mm is not on the zoom's scale; it goes from 24 to 65 mm"),
        ("pan", "2m", "command line: --value: '2m' is no value of pan; write a number in deg"),
        (
            "focus",
            "near",
            "command line: --value: 'near' is no value of focus; write a number from 0 to 1, or a distance",
        ),
        ("dolly", "1", "command line: --axis: the rig has no axis 'dolly'"),
        ("pan", "nan", "command line: --value: 'nan' is no value of pan"),
    ],
)
def test_a_value_that_is_none_is_refused(axis: str, value: str, words: str, paper: Path) -> None:
    done = put(paper, axis, value)
    assert done.exit_code == 2
    assert words in done.stderr


def test_a_focal_length_for_a_zoom_without_a_table_says_what_is_missing(paper: Path) -> None:
    change(paper, "rig.json", lambda rig: rig["camera"].pop("zoom_table"))
    done = put(paper, "zoom", "35mm")
    assert done.exit_code == 2
    words = "rig.json: camera.zoom_table: there is no table of focal lengths for zoom; write the lens's scale there"
    assert f"{words}, or a value in zoom's own unit\n" in done.stderr
    assert put(paper, "zoom", "0.45").exit_code == 0, "its own unit needs no table"


def test_a_distance_for_a_lens_without_a_table_says_what_is_missing(harbour: Path) -> None:
    done = put(harbour, "focus", "2m")
    assert done.exit_code == 2
    assert "rig.json: camera.focus_table: there is no table of distances for focus" in done.stderr
