"""Each thing that can be dropped on the window is told from the others, and named in plain words."""

import shutil
from pathlib import Path

import pytest

from ui.acts.drops import dropped


@pytest.fixture
def other(tmp_path: Path) -> Path:
    return Path(shutil.copytree("projects/paper-boats", tmp_path / "boats"))


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("quay.PNG", "a picture"),
        ("boats.mov", "a film"),
        ("take-003.mcap", "a recorded take"),
        ("notes.pdf", "a document"),
        ("project.zip", "Unpack it"),
        ("tempo.mid", "a MIDI file"),
        ("other.json", "neither project.json nor rig.json"),
        ("thing", "not a project folder"),
    ],
)
def test_what_is_dropped_and_is_no_project_is_named(name: str, words: str, tmp_path: Path) -> None:
    (tmp_path / name).write_bytes(b"x")
    found = dropped([tmp_path / name])
    assert found.what == "other"
    assert words in found.words


def test_folders_that_are_dropped(tmp_path: Path, other: Path) -> None:
    assert dropped([other]).what == "project"
    assert dropped([other / "rig.json"]).path == other
    half = tmp_path / ".boats.1a2b.copying"
    half.mkdir()
    (half / "project.json").write_bytes(b"{}")
    assert "projects in it: boats. Drop" in dropped([tmp_path]).words
    (tmp_path / "empty").mkdir()
    assert "no project.json" in dropped([tmp_path / "empty"]).words
    assert "2 things" in dropped([other, other]).words
    assert dropped([]).what == "other"
