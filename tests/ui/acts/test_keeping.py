"""Edits are on the disk before the editor can die, and what others do to the files is seen."""

import os
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot

from sequencer.project.recovery import Journal, Recovered, fingerprint, recover
from sequencer.project.store import load, save
from sequencer.score.edits.offset import offset
from sequencer.shell.kinds import laws
from ui.acts.keeping import DiskWatch, Keeper
from ui.desk import Desk

LANTERNS = Path("projects/harbour-lanterns")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(LANTERNS, tmp_path / "lanterns"))


def test_edits_are_kept_and_forgotten_when_they_are_saved(desk: Desk, folder: Path, tmp_path: Path) -> None:
    root = tmp_path / "state"
    keeper = Keeper(desk, root)
    keeper.begin(folder, desk.project, fingerprint(folder))
    desk.edit("raise", offset(desk.project.move, {"tilt": {1}}, value=1.0))
    assert keeper.flush()
    assert list(root.rglob("journal"))
    save(folder, desk.project, laws())
    keeper.saved(desk.project, fingerprint(folder))
    assert keeper.flush()
    assert not list(root.rglob("journal"))
    desk.edit("raise", offset(desk.project.move, {"tilt": {1}}, value=1.0))
    keeper.end()
    recovered = recover(folder, laws(), root)
    assert isinstance(recovered, Recovered)
    assert recovered.project == desk.project
    recovered.done()
    assert not [path for path in root.rglob("*") if path.is_file()]


def test_a_gesture_that_goes_on_is_no_edit(desk: Desk, folder: Path, tmp_path: Path) -> None:
    keeper = Keeper(desk, tmp_path / "state")
    keeper.begin(folder, desk.project, fingerprint(folder))
    desk.draft(offset(desk.project.move, {"tilt": {1}}, value=1.0))
    keeper.flush()
    assert not list((tmp_path / "state").rglob("journal"))
    desk.settle("drag")
    keeper.flush()
    assert list((tmp_path / "state").rglob("journal"))
    keeper.end()


def test_what_is_recovered_is_let_go_when_it_is_on_the_disk_again(desk: Desk, folder: Path, tmp_path: Path) -> None:
    root = tmp_path / "state"
    first = desk.project
    keeper = Keeper(desk, root)
    keeper.begin(folder, first, fingerprint(folder))
    desk.edit("raise", offset(first.move, {"tilt": {1}}, value=1.0))
    keeper.end()
    other = Desk(first, laws(), folder)
    keeper = Keeper(other, root)
    recovered = recover(folder, laws(), root)
    assert isinstance(recovered, Recovered)
    keeper.begin(folder, first, fingerprint(folder))
    other.edit("recover", recovered.project)
    keeper.adopt(recovered)
    assert keeper.flush()
    assert len(list(root.rglob("journal"))) == 1
    other.undo()
    assert other.project == first
    keeper.end()
    assert recover(folder, laws(), root) is None


def test_a_journal_that_cannot_be_written_is_said_once_and_stops_nobody(
    desk: Desk, folder: Path, tmp_path: Path, qtbot: QtBot
) -> None:
    root = tmp_path / "state"
    root.write_text("in the way")
    keeper = Keeper(desk, root)
    told: list[str] = []
    keeper.troubled.connect(told.append)
    with qtbot.waitSignal(keeper.troubled):
        keeper.begin(folder, desk.project, fingerprint(folder))
    desk.edit("raise", offset(desk.project.move, {"tilt": {1}}, value=1.0))
    assert not keeper.flush()
    assert desk.dirty
    assert len(told) == 1
    assert "not kept" in told[0]
    keeper.end()


def test_that_edits_are_kept_again_is_said_too(
    desk: Desk, folder: Path, tmp_path: Path, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    record = Journal.record

    def full(*_: object) -> None:
        raise OSError("no space left")

    keeper = Keeper(desk, tmp_path / "state")
    keeper.begin(folder, desk.project, fingerprint(folder))
    monkeypatch.setattr(Journal, "record", full)
    with qtbot.waitSignal(keeper.troubled) as told:
        desk.edit("raise", offset(desk.project.move, {"tilt": {1}}, value=1.0))
    assert "no space left" in told.args[0]
    monkeypatch.setattr(Journal, "record", record)
    with qtbot.waitSignal(keeper.kept_again):
        assert keeper.flush()
    keeper.end()


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_bug_in_the_keeper_does_not_end_it_unheard(
    desk: Desk, folder: Path, tmp_path: Path, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> bool:
        raise RuntimeError("a bug")

    monkeypatch.setattr(Journal, "record", broken)
    keeper = Keeper(desk, tmp_path / "state")
    with qtbot.waitSignal(keeper.troubled) as told:
        keeper.begin(folder, desk.project, fingerprint(folder))
        desk.edit("raise", offset(desk.project.move, {"tilt": {1}}, value=1.0))
    assert "not kept against a crash now (a bug)" in told.args[0]
    keeper._thread.join()
    assert not keeper.flush()
    keeper.end()


def test_a_second_editor_is_told(desk: Desk, folder: Path, tmp_path: Path, qtbot: QtBot) -> None:
    first, second = Keeper(desk, tmp_path / "state"), Keeper(desk, tmp_path / "state")
    first.begin(folder, desk.project, fingerprint(folder))
    first.flush()
    with qtbot.waitSignal(second.shared) as told:
        second.begin(folder, desk.project, fingerprint(folder))
    assert told.args == [(os.getpid(),)]
    first.end()
    second.end()


def test_another_program_is_seen_and_ones_own_saving_is_not(folder: Path, qtbot: QtBot) -> None:
    project = load(folder, laws())
    watch = DiskWatch()
    watch.watch(folder, fingerprint(folder))
    with qtbot.assertNotEmitted(watch.moved, wait=50):
        watch.pause()
        save(folder, replace(project, name="mine"), laws())
        watch.watch(folder, fingerprint(folder))
    with qtbot.waitSignal(watch.moved) as told:
        save(folder, replace(project, name="theirs"), laws())
    assert told.args == [fingerprint(folder)]
    # a second time: the file that is watched is another one by now
    with qtbot.waitSignal(watch.moved) as told:
        save(folder, replace(project, name="theirs again"), laws())
    assert told.args == [fingerprint(folder)]
    with qtbot.waitSignal(watch.moved) as told:
        shutil.rmtree(folder)
    assert told.args == [None]
    watch.watch(None, None)


def test_a_change_before_the_watch_began_is_seen(folder: Path, qtbot: QtBot) -> None:
    before = fingerprint(folder)
    save(folder, replace(load(folder, laws()), name="theirs"), laws())
    watch = DiskWatch()
    with qtbot.waitSignal(watch.moved):
        watch.watch(folder, before)
    watch.watch(None, None)
