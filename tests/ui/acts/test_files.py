"""Opening, saving and giving up: nothing is lost unasked, and each thing that is no project is named in plain words."""

import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from PyQt6.QtCore import QMimeData, QPointF, Qt, QUrl
from PyQt6.QtGui import QDragEnterEvent, QDropEvent
from PyQt6.QtWidgets import QApplication, QWidget
from pytestqt.qtbot import QtBot

from sequencer.project.begin import empty
from sequencer.project.recovery import fingerprint, recover
from sequencer.project.store import load, save
from sequencer.score.edits.offset import offset
from sequencer.shell.kinds import laws
from tests.ui.acts.conftest import Office
from ui.acts.asking import Ask
from ui.acts.drops import Drops
from ui.acts.files import Files
from ui.acts.recent import recent
from ui.desk import Desk

LANTERNS = Path("projects/harbour-lanterns")
Answer = Callable[[str], None]


def test_save_writes_the_folder_and_forgets_the_journal(office: Office) -> None:
    office.edit()
    office.files.keeper.flush()
    assert list(office.root.rglob("journal"))
    office.files.save()
    office.said("Saved")
    assert not office.desk.dirty
    assert load(office.folder, laws()) == office.desk.project
    office.files.keeper.flush()
    assert not list(office.root.rglob("journal"))
    office.edit()
    assert office.desk.dirty
    office.desk.undo()
    assert not office.desk.dirty


def test_saving_that_fails_says_so_to_whoever_waited_for_it(office: Office, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device", "project.json")

    monkeypatch.setattr("ui.acts.disk.write", full)
    told: list[str] = []
    office.edit()
    office.files.save(lambda: told.append("saved"), lambda: told.append("not saved"))
    office.said("the disk is full")
    assert told == ["not saved"]
    assert office.desk.dirty


def test_opening_asks_about_unsaved_edits_and_stays_when_told(office: Office, other: Path) -> None:
    office.edit()
    first = office.desk.project
    office.files.open(other)
    assert office.ask().harmless.label == "Stay here"
    assert office.desk.project is first
    office.files.open(other / "project.json")
    office.answer("Throw")
    office.qtbot.waitUntil(lambda: office.desk.folder == other)
    assert office.desk.project == load(other, laws())
    assert load(office.folder, laws()) != first
    assert office.opened[-1] == other
    assert recent(office.root)[:2] == (other.resolve(), office.folder.resolve())
    office.files.keeper.flush()
    assert recover(office.folder, laws(), office.root) is None


def test_edits_thrown_away_for_a_project_that_does_not_open_are_still_there(office: Office, tmp_path: Path) -> None:
    office.edit()
    first = office.desk.project
    office.files.open(tmp_path / "nowhere")
    office.answer("Throw")
    office.said("was not opened")
    assert office.desk.project is first
    assert office.desk.dirty


def test_saving_first_and_then_going_on(office: Office, other: Path) -> None:
    office.edit()
    mine = office.desk.project
    office.files.open(other)
    office.answer("Save")
    office.qtbot.waitUntil(lambda: office.desk.folder == other)
    assert load(office.folder, laws()) == mine


def test_save_as_takes_the_playback_along_and_asks_before_it_replaces(
    office: Office, other: Path, tmp_path: Path
) -> None:
    office.edit()
    office.files.save_as()
    assert office.picks[-1].what == "folder"
    office.picks[-1].then(other)
    ask = office.ask()
    assert "already" in ask.words
    assert load(other, laws()).name == "Paper boats"
    office.files.save_in(tmp_path / "copy")
    office.said("Saved")
    assert office.desk.folder == tmp_path / "copy"
    assert load(tmp_path / "copy", laws()) == office.desk.project
    assert (tmp_path / "copy" / "playback.wav").read_bytes() == (LANTERNS / "playback.wav").read_bytes()
    assert load(office.folder, laws()) == load(LANTERNS, laws())


def test_another_programs_change_is_told_and_can_be_read_or_overwritten(office: Office) -> None:
    theirs = replace(office.desk.project, move=offset(office.desk.project.move, {"pan": {2}}, value=1.0))
    save(office.folder, theirs, laws())
    ask = office.ask()
    assert "1 key of pan" in ask.words
    mine = office.desk.project
    assert office.desk.dirty  # what the files hold is not what is here
    ask.choices[0].do()
    assert office.desk.project == theirs
    assert not office.desk.dirty
    office.desk.undo()
    assert office.desk.project == mine
    save(office.folder, replace(theirs, name="Another"), laws())
    ask = office.ask()
    assert "the name" in ask.words
    assert ask.harmless.label == "Keep mine"
    ask.harmless.do()
    assert office.desk.project == mine
    office.files.save()
    office.rest()
    assert load(office.folder, laws()) == mine
    assert not office.asks


def test_a_change_that_does_not_load_leaves_the_desk_alone(office: Office) -> None:
    mine = office.desk.project
    (office.folder / "project.json").write_text('{"format": "twintake/project", ')
    office.said("do not load")
    assert "line 1" in office.notes[-1].words
    assert ".." not in office.notes[-1].words
    assert office.desk.project is mine


def test_a_folder_that_vanished_is_told_and_the_edits_can_be_saved_elsewhere(office: Office, tmp_path: Path) -> None:
    office.edit()
    mine = office.desk.project
    shutil.rmtree(office.folder)
    office.answer("elsewhere")
    office.picks[-1].then(tmp_path / "rescued")
    office.said("Saved")
    assert load(tmp_path / "rescued", laws()) == mine


def test_after_a_crash_the_edits_are_offered_and_undo_gives_what_was_saved(office: Office, qtbot: QtBot) -> None:
    office.edit()
    mine, saved = office.desk.project, load(office.folder, laws())
    office.files.keeper.end()  # as if it ended without being told
    again = Office(office.folder, office.root, qtbot)
    assert again.desk.project == saved
    ask = again.ask()
    assert "ended without saving" in ask.words
    ask.choices[0].do()
    assert again.desk.project == mine
    again.desk.undo()
    assert again.desk.project == saved
    again.files.end()
    assert recover(office.folder, laws(), office.root) is None


@pytest.mark.parametrize(("answer", "offered_again"), [("Not now", True), ("Set them aside", False)])
def test_a_recovery_that_is_not_wanted_now_is_not_lost(
    answer: str, offered_again: bool, office: Office, qtbot: QtBot
) -> None:
    office.edit()
    office.files.keeper.end()
    again = Office(office.folder, office.root, qtbot)
    again.answer(answer)
    again.files.end()
    third = Office(office.folder, office.root, qtbot)
    third.rest()
    assert bool(third.asks) == offered_again
    assert list(office.root.rglob("journal"))
    for ask in third.asks:
        ask.harmless.do()
    third.files.end()


def test_a_start_without_a_project_leaves_no_journal_and_recovers_one_that_was_never_saved(
    tmp_path: Path, qtbot: QtBot
) -> None:
    root = tmp_path / "state"
    desk = Desk(empty(), laws())
    files = Files(desk, root)
    files.begin(None)
    files.keeper.flush()
    assert not list(root.rglob("journal"))
    desk.edit("name", replace(desk.project, name="Never saved"))
    files.keeper.end()
    files.watch.watch(None, None)
    again = Desk(empty(), laws())
    files, asks, shown = Files(again, root), list[Ask](), list[Path | None]()
    files.asked.connect(asks.append)
    files.opened.connect(shown.append)
    files.begin(None)
    qtbot.waitUntil(lambda: bool(asks))
    asks[0].choices[0].do()
    assert again.project.name == "Never saved"
    assert again.dirty
    assert shown == [None]
    files.end()


def test_a_rig_without_an_axis_that_tracks_use_opens_without_them_and_is_saved_elsewhere(
    office: Office, other: Path, tmp_path: Path
) -> None:
    before = cripple(other)
    office.files.open(other)
    ask = office.ask()
    assert "tilt (" in ask.words
    assert "zoom (" in ask.words
    assert ask.harmless.label == "Leave it"
    ask.choices[1].do()
    office.qtbot.waitUntil(lambda: office.desk.folder == other)
    assert "tilt" not in [track.axis for track in office.desk.project.move.tracks]
    office.files.save()
    office.picks[-1].then(tmp_path / "without")
    office.said("Saved")
    assert fingerprint(other) == before
    assert load(tmp_path / "without", laws()) == office.desk.project


def cripple(folder: Path) -> tuple[str, str] | None:
    """Take two axes out of the rig file."""
    rig = json.loads((folder / "rig.json").read_text())
    rig["axes"] = [axis for axis in rig["axes"] if axis["name"] not in ("tilt", "zoom")]
    (folder / "rig.json").write_text(json.dumps(rig))
    return fingerprint(folder)


def test_edits_of_a_project_that_was_opened_without_some_tracks_are_recovered(
    office: Office, other: Path, qtbot: QtBot
) -> None:
    cripple(other)
    office.files.open(other)
    office.answer("without")
    office.qtbot.waitUntil(lambda: office.desk.folder == other)
    office.desk.edit("name", replace(office.desk.project, name="Fewer boats"))
    mine = office.desk.project
    office.files.keeper.end()
    again = Office(office.folder, office.root, qtbot)
    again.files.open(other)
    again.answer("without")
    again.answer("Recover")
    assert again.desk.project == mine
    again.files.end()


def test_axes_that_are_missing_can_be_added_with_guesses_and_saved(office: Office, other: Path) -> None:
    whole = load(other, laws())
    cripple(other)
    office.files.open(other)
    office.answer("Add tilt and zoom")
    office.qtbot.waitUntil(lambda: office.desk.folder == other)
    assert office.desk.dirty
    assert office.desk.project.move == whole.move
    office.said("are guesses")
    office.files.save()
    office.said("Saved")
    assert load(other, laws()) == office.desk.project
    assert {"tilt", "zoom"} <= set(office.desk.project.rig.names)


def test_a_newer_file_says_what_to_do(office: Office, other: Path) -> None:
    tree = json.loads((other / "project.json").read_text()) | {"version": 2}
    (other / "project.json").write_text(json.dumps(tree))
    office.files.open(other)
    office.said("update the program")


def test_a_drop_on_the_window_opens_a_project_and_explains_a_picture(office: Office, other: Path) -> None:
    window = QWidget()
    office.qtbot.addWidget(window)
    Drops(window, office.files)
    for path in (other.parent / "sea.png", other):
        data = QMimeData()
        data.setUrls([QUrl.fromLocalFile(str(path))])
        buttons, keys = Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier
        enter = QDragEnterEvent(window.rect().center(), Qt.DropAction.CopyAction, data, buttons, keys)
        QApplication.sendEvent(window, enter)
        assert enter.isAccepted()
        QApplication.sendEvent(window, QDropEvent(QPointF(5, 5), Qt.DropAction.CopyAction, data, buttons, keys))
    assert "a picture" in office.notes[-1].words
    office.qtbot.waitUntil(lambda: office.desk.folder == other)


def test_audio_that_is_dropped_becomes_the_playback(office: Office, tmp_path: Path) -> None:
    song = tmp_path / "song.wav"
    shutil.copyfile(LANTERNS / "playback.wav", song)
    office.desk.edit("no playback", replace(office.desk.project, playback=None))
    office.files.drop([song])
    office.answer("10:00:00:00")
    office.qtbot.waitUntil(lambda: office.desk.project.playback is not None)
    assert office.desk.project.playback is not None
    assert office.desk.project.playback.file == "song.wav"
    assert office.desk.project.playback.at == Fraction(0)
    assert (office.folder / "song.wav").read_bytes() == song.read_bytes()
    office.desk.undo()
    assert office.desk.project.playback is None


@pytest.mark.parametrize("name", ["song.flac", "song.wav", "song.mp3"])
def test_audio_that_cannot_be_decoded_is_said(name: str, office: Office, tmp_path: Path) -> None:
    broken = tmp_path / name
    broken.write_bytes(b"this is no sound" * 100)
    before = office.desk.project
    office.files.drop([broken])
    office.said("no audio file that can be read")
    assert office.notes[-1].words == f"{name}: is no audio file that can be read; export it as WAV or FLAC."
    assert office.desk.project is before


def test_audio_of_the_same_name_and_other_content_gets_a_number(office: Office, tmp_path: Path) -> None:
    song = tmp_path / "playback.wav"
    song.write_bytes((LANTERNS / "playback.wav").read_bytes() + b"\0\0")
    office.files.drop([song])
    office.answer("Use it")
    office.qtbot.waitUntil((office.folder / "playback-2.wav").exists)
    office.rest()
    assert (office.folder / "playback.wav").read_bytes() == (LANTERNS / "playback.wav").read_bytes()


def test_leaving_asks_and_throws_away_only_when_told(office: Office) -> None:
    left: list[bool] = []

    def close() -> None:
        left.append(office.files.may_leave(leave=close))

    close()
    office.edit()
    close()
    office.ask().harmless.do()
    close()
    assert left == [True, False, False]
    office.answer("Throw")
    assert left == [True, False, False, True]
    office.files.end()
    assert recover(office.folder, laws(), office.root) is None


def test_a_second_editor_on_one_project_says_so(office: Office, qtbot: QtBot) -> None:
    second = Office(office.folder, office.root, qtbot)
    second.said("open in another editor")
    assert not any("another editor" in note.words for note in office.notes)
    second.files.end()


def test_an_armed_desk_opens_nothing(office: Office, other: Path) -> None:
    office.desk.lock("the rig is armed")
    office.files.open(other)
    assert office.notes[-1].words == "the rig is armed"
    assert office.desk.folder == office.folder


def test_nothing_is_opened_that_was_still_being_read_when_the_rig_was_armed(office: Office, other: Path) -> None:
    first = office.desk.project
    office.files.open(other)
    office.desk.lock("the rig is armed")
    office.said("the rig is armed")
    office.rest()
    assert (office.desk.project, office.desk.folder) == (first, office.folder)


def test_the_project_that_is_on_the_desk_is_shown_with_its_edits(office: Office) -> None:
    office.edit()
    first = office.desk.project
    office.opened.clear()
    office.files.new()
    office.files.open(office.folder / "rig.json")
    office.rest()
    assert office.opened == [office.folder]
    assert office.desk.project is first
    assert not office.asks
