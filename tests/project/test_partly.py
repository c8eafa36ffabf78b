"""A rig file without an axis that tracks use: what is missing, the project without it, and with axes guessed."""

import json
import shutil
from pathlib import Path

import pytest

from sequencer.errors import ProjectError
from sequencer.project.begin import is_guessed
from sequencer.project.partly import load_guessed, load_partly, without_axis
from sequencer.project.store import load, save
from sequencer.shell.kinds import laws

BOATS = Path("projects/paper-boats")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A project whose rig file has lost tilt and zoom."""
    folder = Path(shutil.copytree(BOATS, tmp_path / "boats"))
    rig = json.loads((folder / "rig.json").read_text())
    rig["axes"] = [axis for axis in rig["axes"] if axis["name"] not in ("tilt", "zoom")]
    (folder / "rig.json").write_text(json.dumps(rig))
    return folder


def test_what_is_missing_is_counted(folder: Path) -> None:
    whole = load(BOATS, laws())
    keys = {track.axis: len(track.keys) for track in whole.move.tracks}
    assert dict(without_axis(folder)) == {"tilt": keys["tilt"], "zoom": keys["zoom"]}
    assert without_axis(BOATS) == ()


def test_the_other_tracks_are_as_they_were(folder: Path) -> None:
    with pytest.raises(ProjectError, match="no axis 'tilt'"):
        load(folder, laws())
    found, whole = load_partly(folder, laws()), load(BOATS, laws())
    assert found.left_out == ("tilt", "zoom")
    kept = tuple(track for track in whole.move.tracks if track.axis not in found.left_out)
    assert found.project.move.tracks == kept
    assert found.project.timebase == whole.timebase


def test_guessed_axes_hold_every_key_and_can_be_saved(folder: Path, tmp_path: Path) -> None:
    found, whole = load_guessed(folder, laws()), load(BOATS, laws())
    assert found.project.move == whole.move
    added = [axis for axis in found.project.rig.axes if axis.name in found.left_out]
    assert [axis.kind for axis in added] == ["tilt", "zoom"]
    assert all(is_guessed(axis) for axis in added)
    save(tmp_path / "whole", found.project, laws())
    assert load(tmp_path / "whole", laws()) == found.project


def test_an_axis_with_a_name_of_its_own_holds_keys_beyond_the_guess(folder: Path) -> None:
    document = json.loads((folder / "project.json").read_text())
    for track in document["tracks"]:
        if track["axis"] == "tilt":
            track["axis"] = "crane"
            track["keys"][0]["value"] = -700.0
    (folder / "project.json").write_text(json.dumps(document))
    crane = next(axis for axis in load_guessed(folder, laws()).project.rig.axes if axis.name == "crane")
    assert crane.travel is not None
    assert crane.travel[0] == -700.0


def test_any_other_fault_is_told_as_ever(folder: Path) -> None:
    (folder / "project.json").write_text("{")
    for ask in (load_partly, load_guessed):
        with pytest.raises(ProjectError, match=r"project\.json"):
            ask(folder, laws())
