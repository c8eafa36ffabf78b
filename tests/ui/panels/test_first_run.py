"""The first page: from nothing to a valid project with a first move, by mouse and keys."""

import errno
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from PyQt6.QtCore import QPoint, Qt
from PyQt6.QtWidgets import QLabel, QPushButton, QWidget
from pytestqt.qtbot import QtBot

from sequencer.motion.check import check
from sequencer.project.begin import empty
from sequencer.project.store import load
from sequencer.shell.kinds import laws
from ui.acts.asking import Pick
from ui.acts.recent import opened
from ui.desk import Desk, Note
from ui.panels.first_run import FirstRun
from ui.panels.picker import Picker

LEFT = Qt.MouseButton.LeftButton


@pytest.fixture
def page(qtbot: QtBot, tmp_path: Path) -> FirstRun:
    desk = Desk(empty(), laws())
    page = FirstRun(desk, tmp_path / "state", home=tmp_path)
    qtbot.addWidget(page)
    page.resize(1280, 640)
    page.show()
    return page


def typed(widget: QWidget, text: str) -> None:
    QtBot.keyClick(widget, Qt.Key.Key_A, Qt.KeyboardModifier.ControlModifier)
    QtBot.keyClicks(widget, text)


def press(button: QPushButton) -> None:
    QtBot.mouseClick(button, LEFT)


def test_a_project_is_made_and_can_be_shot(page: FirstRun, qtbot: QtBot, tmp_path: Path) -> None:
    typed(page.name.line, "Quay at dusk")
    page.rate.box.setCurrentText("30000/1001")
    page.rate.box.activated.emit(page.rate.box.currentIndex())
    QtBot.mouseClick(page.drop.box, LEFT, pos=QPoint(8, page.drop.box.height() // 2))
    typed(page.start.line, "01:00:00;00")
    QtBot.keyClick(page.axes["slide"], Qt.Key.Key_Space)
    with qtbot.waitSignal(page.opened) as told:
        press(page.make_button)
    folder = told.args[0]
    assert folder == tmp_path / "quay-at-dusk"
    project = load(folder, laws())
    assert project.name == "Quay at dusk"
    assert project.rig.names == ("pan", "tilt", "slide")
    assert project.timebase.counting.drop
    assert str(project.timebase.start) == "01:00:00;00"
    assert check(project.rig, project.move, project.timebase.rate, laws()).ok
    assert project.cue(None).name == "first move"


def test_the_next_steps_are_told_when_it_is_on_the_desk(page: FirstRun, qtbot: QtBot) -> None:
    notes: list[Note] = []
    page._desk.noted.connect(notes.append)
    with qtbot.waitSignal(page.opened) as told:
        press(page.make_button)
    page._desk.open(empty(), None)  # the new one was not opened at once, but another
    assert not notes
    page._desk.open(load(told.args[0], laws()), told.args[0])
    assert "hold ARM, then hold START" in notes[-1].words
    page._desk.open(empty(), None)
    assert len(notes) == 1


@pytest.mark.parametrize(
    ("spoil", "where", "words"),
    [
        (lambda page: typed(page.name.line, "   "), "name", "no name"),
        (lambda page: typed(page.start.line, "10.00"), "start", "write a label like"),
        (lambda page: typed(page.start.line, "10:00:00:25"), "start", "frames run from 0 to 24"),
        (lambda page: [tick.setChecked(False) for tick in page.axes.values()], "", "tick one"),
    ],
)
def test_an_answer_that_cannot_be_is_said_at_its_field(
    spoil: Callable[[FirstRun], None], where: str, words: str, page: FirstRun, tmp_path: Path
) -> None:
    spoil(page)
    press(page.make_button)
    fault = getattr(page, where).fault if where else page.fault
    assert words in fault.text()
    assert fault.isVisible()
    assert not list(tmp_path.rglob("project.json"))


def test_a_name_that_is_taken_is_said(page: FirstRun, tmp_path: Path) -> None:
    shutil.copytree("projects/low-tide", tmp_path / "my-first-move")
    press(page.make_button)
    assert "already" in page.name.fault.text()
    assert load(tmp_path / "my-first-move", laws()).name == "Low tide"


def test_audio_is_copied_in_and_nonsense_is_refused(page: FirstRun, qtbot: QtBot, tmp_path: Path) -> None:
    picks: list[Pick] = []
    page.picking.connect(picks.append)
    (tmp_path / "noise.wav").write_bytes(b"no sound")
    press(page.audio_button)
    picks[-1].then(tmp_path / "noise.wav")
    press(page.make_button)
    qtbot.waitUntil(lambda: "no audio file" in page.fault.text())
    press(page.audio_button)
    picks[-1].then(Path("projects/harbour-lanterns/playback.wav"))
    with qtbot.waitSignal(page.opened) as told:
        press(page.make_button)
    playback = load(told.args[0], laws()).playback
    assert playback is not None
    assert (told.args[0] / playback.file).is_file()


def test_a_demo_is_copied_and_the_one_in_the_program_stays(page: FirstRun, qtbot: QtBot, tmp_path: Path) -> None:
    picks: list[Pick] = []
    page.picking.connect(picks.append)
    press(page.demo_buttons[0])
    with qtbot.waitSignal(page.opened) as told:
        picks[-1].then(tmp_path)
    assert told.args[0] == tmp_path / "harbour-lanterns"
    assert load(told.args[0], laws()) == load(Path("projects/harbour-lanterns"), laws())
    press(page.demo_buttons[0])
    picks[-1].then(tmp_path)
    qtbot.waitUntil(lambda: "already" in page.fault_there.text())


def test_a_demo_goes_into_a_folder_that_is_yet_to_be_made(page: FirstRun, qtbot: QtBot, tmp_path: Path) -> None:
    picks: list[Pick] = []
    page.picking.connect(picks.append)
    press(page.demo_buttons[1])
    with qtbot.waitSignal(page.opened) as told:
        picks[-1].then(tmp_path / "demos")
    assert told.args[0] == tmp_path / "demos" / "low-tide"
    assert load(told.args[0], laws()) == load(Path("projects/low-tide"), laws())


def test_a_copy_of_a_demo_that_breaks_off_leaves_nothing_and_the_next_one_is_whole(
    page: FirstRun, qtbot: QtBot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    picks: list[Pick] = []
    page.picking.connect(picks.append)

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    press(page.demo_buttons[0])
    with monkeypatch.context() as patched:
        patched.setattr("os.fsync", full)
        picks[-1].then(tmp_path)
        qtbot.waitUntil(lambda: "Nothing is there" in page.fault_there.text())
    assert not list(tmp_path.rglob("*harbour*"))
    press(page.demo_buttons[0])
    with qtbot.waitSignal(page.opened) as told:
        picks[-1].then(tmp_path)
    assert load(told.args[0], laws()) == load(Path("projects/harbour-lanterns"), laws())


def test_recent_projects_open_with_one_press(page: FirstRun, qtbot: QtBot, tmp_path: Path) -> None:
    folder = Path(shutil.copytree("projects/low-tide", tmp_path / "tide"))
    opened(folder, tmp_path / "state")
    page.hide()
    page.show()
    with qtbot.waitSignal(page.opened) as told:
        press(page.recent_buttons[0])
    assert told.args[0] == folder.resolve()


def test_the_cautions_stand_on_it_and_each_field_has_a_name(page: FirstRun) -> None:
    words = " ".join(label.text() for label in page.findChildren(QLabel))
    assert "not a safety device" in words
    assert "hard-wired emergency stop" in words
    reached = [one for one in page.findChildren(QWidget) if one.focusPolicy() & Qt.FocusPolicy.TabFocus]
    assert len(reached) > 12
    assert [one for one in reached if not one.accessibleName()] == []


def test_the_picker_takes_what_fits_and_says_why_not(qtbot: QtBot, tmp_path: Path) -> None:
    picker = Picker(Desk(empty(), laws()))
    qtbot.addWidget(picker)
    picker.resize(1000, 500)
    picker.show()
    tide = Path(shutil.copytree("projects/low-tide", tmp_path / "tide"))
    got: list[Path] = []
    shown: list[bool] = []
    picker.active.connect(shown.append)
    picker.pick(Pick("Open", "project", got.append, tmp_path))
    assert picker.dialog is not None
    assert not picker.dialog.isWindow()  # a part of the window, below the strip
    picker.take(tmp_path / "nowhere")
    assert "There is no" in picker.fault.text()
    picker.take(tmp_path)
    assert "projects in it: tide" in picker.fault.text()
    picker.take(tide)
    assert got == [tide]
    picker.pick(Pick("Save", "folder", got.append, tmp_path))
    picker.take(tmp_path)
    assert "other files" in picker.fault.text()
    picker.take(tide / "project.json")
    assert "is a file" in picker.fault.text()
    picker.take(tmp_path / "a" / "b")
    assert "no folder" in picker.fault.text()
    picker.take(tmp_path / "new")
    assert got[-1] == tmp_path / "new"
    picker.pick(Pick("Audio", "audio", got.append, tmp_path))
    assert picker.dialog is not None
    QtBot.keyClick(picker.dialog, Qt.Key.Key_Escape)
    assert picker.dialog is None
    assert shown == [True, False] * 3


def test_a_folder_that_is_typed_is_taken_with_return(qtbot: QtBot, tmp_path: Path) -> None:
    picker = Picker(Desk(empty(), laws()))
    qtbot.addWidget(picker)
    picker.show()
    got: list[Path] = []
    picker.pick(Pick("Save", "folder", got.append, tmp_path))
    assert picker.dialog is not None
    line = picker.line
    QtBot.keyClicks(line, "fresh")
    QtBot.keyClick(line, Qt.Key.Key_Return)
    assert got == [tmp_path / "fresh"]
