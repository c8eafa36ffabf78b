"""project.json and rig.json belong together: whatever ends a save, both are the old ones or both the new ones."""

import os
from dataclasses import replace
from pathlib import Path

import pytest

from sequencer.project import paired
from sequencer.project.amend import renamed, with_axis
from sequencer.project.document import Project
from sequencer.project.recovery import fingerprint
from sequencer.project.store import documents, load, load_rig, save
from sequencer.score.edits.offset import offset
from sequencer.shell.kinds import laws
from tests.shell.small import small_project

FILES = ("project.json", "rig.json")


def other(project: Project, name: str) -> Project:
    """Return it with another name for its axis: neither file fits the other's old one."""
    return with_axis(renamed(project, name), 0, replace(project.rig.axes[0], name=name))


def content(folder: Path) -> dict[str, bytes]:
    return {name: (folder / name).read_bytes() for name in FILES}


@pytest.fixture
def saved(tmp_path: Path) -> tuple[Path, Project]:
    folder = small_project(tmp_path / "small")
    project = load(folder, laws())
    save(folder, project, laws())
    return folder, project


def broken_off(folder: Path, wanted: Project) -> dict[str, bytes]:
    """Save, and have the process end after project.json has its name and before rig.json has."""
    before = content(folder)
    save(folder, wanted, laws())
    after = content(folder)
    os.replace(folder / "rig.json", paired._waiting(folder, after["project.json"], before["rig.json"]))
    (folder / "rig.json").write_bytes(before["rig.json"])
    return after


def test_a_save_that_a_crash_broke_off_between_the_files_is_completed(saved: tuple[Path, Project]) -> None:
    folder, project = saved
    wanted = other(project, "yaw")
    after = broken_off(folder, wanted)
    assert content(folder) != after
    assert load(folder, laws()) == wanted
    assert content(folder) == after
    assert not list(folder.glob(".*"))


@pytest.mark.parametrize("look", [fingerprint, documents, load_rig])
def test_whoever_looks_first_completes_it(saved: tuple[Path, Project], look: object) -> None:
    folder, project = saved
    after = broken_off(folder, other(project, "yaw"))
    assert callable(look)
    look(folder)
    assert content(folder) == after


def test_a_save_on_top_of_one_that_was_broken_off(saved: tuple[Path, Project]) -> None:
    folder, project = saved
    broken_off(folder, other(project, "yaw"))
    save(folder, other(project, "swivel"), laws())
    assert load(folder, laws()) == other(project, "swivel")
    assert not list(folder.glob(".*"))


@pytest.mark.parametrize("name", FILES)
def test_files_that_somebody_changed_since_are_left_alone(saved: tuple[Path, Project], name: str) -> None:
    folder, project = saved
    broken_off(folder, other(project, "yaw"))
    (folder / name).write_bytes((folder / name).read_bytes() + b"\n")
    before = content(folder)
    fingerprint(folder)
    assert content(folder) == before


def test_what_never_came_to_its_project_is_not_taken_for_a_later_one(saved: tuple[Path, Project]) -> None:
    """The same project.json is wanted later, with the rig that is there: then the one that waits is nobody's."""
    folder, project = saved
    later = replace(project, move=offset(project.move, {"pan": {1}}, value=1.0))
    save(folder, later, laws())
    wanted = (folder / "project.json").read_bytes()
    save(folder, project, laws())
    waiting = paired._waiting(folder, wanted, (folder / "rig.json").read_bytes())
    waiting.write_bytes(b"{}")
    save(folder, later, laws())
    assert load(folder, laws()) == later
    assert not waiting.exists()


def test_a_save_that_is_interrupted_between_the_files_takes_all_back(saved: tuple[Path, Project]) -> None:
    folder, _ = saved
    before = content(folder)
    after = {name: data + b"\n" for name, data in before.items()}

    def rename(new: Path, path: Path) -> None:
        if path.name == "rig.json":
            raise KeyboardInterrupt
        os.replace(new, path)

    with pytest.raises(KeyboardInterrupt):
        paired.put(folder, after, before, ".bak", rename)
    assert content(folder) == before
    assert not list(folder.glob(".*"))


def test_a_reader_may_complete_it_while_it_is_saved(saved: tuple[Path, Project]) -> None:
    folder, _ = saved
    before = content(folder)
    after = {name: data + b"\n" for name, data in before.items()}

    def rename(new: Path, path: Path) -> None:
        if path.name == "rig.json":
            paired.complete(folder)
        os.replace(new, path)

    paired.put(folder, after, before, ".bak", rename)
    assert content(folder) == after


def test_what_was_left_long_ago_goes_with_the_next_save(saved: tuple[Path, Project]) -> None:
    folder, project = saved
    names = (".project.json.bak.0123abcd.new", ".rig.json.0123abcd.new", ".rig.json.of mine.new")
    old, young, others = (folder / name for name in names)
    for path in (old, young, others):
        path.write_bytes(b"half")
    for path in (old, others):
        os.utime(path, (1e9, 1e9))
    save(folder, other(project, "yaw"), laws())
    assert [path.exists() for path in (old, young, others)] == [False, True, True]
