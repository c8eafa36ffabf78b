"""The window as a whole: it opens a project, can be worked without a mouse, and says what everything is."""

import re
import shutil
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtGui import QAction
from PyQt6.QtWidgets import QAbstractButton, QAbstractScrollArea, QFrame, QLineEdit, QTabBar, QWidget
from pytestqt.qtbot import QtBot

from sequencer.shell.messages import Said
from tests.ui.conftest import LANTERNS
from ui.app import compose
from ui.panels.later import Later
from ui.theme import SUN
from ui.window import SMALLEST_PX, Window

UI = Path("ui")


@pytest.fixture
def window(qtbot: QtBot, tmp_path: Path) -> Iterator[Window]:
    """The whole window, with the harbour project opened from its folder."""
    made = compose(LANTERNS, root=tmp_path)
    qtbot.addWidget(made)
    made.resize(1280, 720)
    made.show()
    qtbot.waitUntil(lambda: made.desk.folder is not None, timeout=10_000)
    yield made
    made.link.end()
    made.files.end()


def test_a_project_takes_the_place_of_the_first_page(window: Window) -> None:
    assert window.pages.currentWidget() is window.body
    assert window.desk.project.name == "Harbour lanterns"
    assert "Harbour lanterns" in window.windowTitle()
    assert not window.isWindowModified()
    assert window.focusWidget() is window.timeline


def test_what_runs_the_rig_is_there_before_anybody_asks_for_it(window: Window, qtbot: QtBot) -> None:
    qtbot.waitUntil(lambda: window.run.there is not None and window.drive.there is not None, timeout=5_000)
    assert window.desk.face == "prepare"
    window.link.said.emit(Said(0, "told", "the rig answers"))
    assert "the rig answers" in window.run.page.log.toPlainText()


def test_the_first_page_comes_where_nothing_opens(qtbot: QtBot, tmp_path: Path) -> None:
    made = compose(tmp_path / "nowhere", root=tmp_path)
    qtbot.addWidget(made)
    made.show()
    assert made.pages.currentWidget() is made.opening
    assert not [one for one in made.findChildren(QAction) if one.objectName() == "undo" and one.isEnabled()]
    qtbot.waitUntil(lambda: made.pages.currentWidget() is made.first_run, timeout=10_000)
    assert "nowhere was not opened" in made.next_line.note.text()
    made.link.end()
    made.files.end()


def test_the_first_page_waits_behind_the_question_what_to_open(qtbot: QtBot, tmp_path: Path) -> None:
    folder = tmp_path / "lanterns"
    shutil.copytree(LANTERNS, folder)
    rig = folder / "rig.json"
    rig.write_text(rig.read_text(encoding="utf-8").replace('"name": "focus"', '"name": "distance"'), encoding="utf-8")
    made = compose(folder, root=tmp_path)
    qtbot.addWidget(made)
    made.show()
    qtbot.waitUntil(lambda: bool(made.questions.asks), timeout=10_000)
    qtbot.waitUntil(lambda: made.pages.currentWidget() is made.first_run, timeout=1_000)
    made.link.end()
    made.files.end()


def test_whatever_takes_the_keyboard_has_a_name_for_those_who_cannot_see_it(window: Window) -> None:
    assert all(each.page is not None for each in window.findChildren(Later))
    nameless = [
        f"{type(one).__name__} {one.property('text')}"
        for one in window.findChildren(QWidget)
        if one.focusPolicy() != Qt.FocusPolicy.NoFocus and not name_of(one) and not inside_another(one)
    ]
    assert Counter(nameless) == Counter()


def name_of(widget: QWidget) -> str:
    """What a screen reader says: of a button, Qt gives its text where nothing else is set."""
    return widget.accessibleName() or (widget.text() if isinstance(widget, QAbstractButton) else "")


def inside_another(widget: QWidget) -> bool:
    """Whether Qt itself made the widget as a part of one that has a name: a list's header, a spin box's line."""
    parent = widget.parentWidget()
    popped_up = isinstance(widget.window(), QFrame)  # the list that a box of choices opens
    made_by_qt = widget.objectName().startswith("qt_") or isinstance(widget, QTabBar) or popped_up
    part = isinstance(parent, QAbstractScrollArea) and parent.accessibleName() != ""
    return (
        made_by_qt or part or (isinstance(widget, QLineEdit) and parent is not None and parent.accessibleName() != "")
    )


def test_no_two_items_have_the_same_keys(window: Window) -> None:
    keys = [action.shortcut().toString() for action in window.findChildren(QAction) if not action.shortcut().isEmpty()]
    assert [one for one, times in Counter(keys).items() if times > 1] == []
    assert all("+" in one or re.fullmatch(r"F\d+|Esc|Del|Ins", one) for one in keys), "a bare letter does nothing"


def test_the_tab_key_comes_to_all_parts_and_back(window: Window) -> None:
    seen: list[QWidget] = []
    at: QWidget = window.timeline
    for _ in range(2000):
        seen.append(at)
        following = at.nextInFocusChain()
        assert following is not None
        at = following
        if at is window.timeline:
            break
    assert at is window.timeline
    for part in (window.bar.onto, window.drawer, window.lens):
        assert any(one is part or part.isAncestorOf(one) for one in seen)


def test_an_edit_of_the_menu_is_undone_from_the_menu(window: Window, qtbot: QtBot) -> None:
    first = window.desk.project
    window.desk.select({"tilt": {1}})
    items = {action.objectName(): action for action in window.findChildren(QAction)}
    items["mirror"].trigger()
    assert window.desk.project != first
    assert window.isWindowModified()
    items["undo"].trigger()
    assert window.desk.project == first
    assert not window.isWindowModified()


def test_the_menu_turns_to_what_hands_over_also_from_the_face_for_running(window: Window, qtbot: QtBot) -> None:
    window.desk.turn_to("run")
    items = {action.objectName(): action for action in window.findChildren(QAction)}
    items["import"].trigger()
    assert window.desk.face == "prepare"
    assert window.drawer.currentWidget() is window.hand_over
    page = window.hand_over.page
    assert page.pages.currentWidget() is page.taken_in
    page.taken_in.ask_file()
    assert window.pages.currentWidget() is window.picker
    window.picker.page.take(LANTERNS / "rig.json")
    assert window.pages.currentWidget() is window.body
    qtbot.waitUntil(lambda: not page.taken_in.busy)
    assert "its name does not say what it is" in page.taken_in.refused.text()
    items["hand-over"].trigger()
    assert page.pages.currentWidget() is page.export
    qtbot.waitUntil(lambda: not page.export.busy)
    assert page.export.ready is not None


def test_the_strip_and_stop_stay_where_they_are_in_both_faces(window: Window) -> None:
    control = window.strip.stop
    before = control.mapTo(window, control.rect().topLeft())
    window.desk.turn_to("run")
    assert control.mapTo(window, control.rect().topLeft()) == before
    assert control.isVisible()
    for page in (window.first_run, window.picker, window.body):
        window.pages.setCurrentWidget(page)
        assert control.isVisible()
        assert control.mapTo(window, control.rect().topLeft()) == before


def test_rows_of_the_rig_stand_beside_their_lanes(window: Window, qtbot: QtBot) -> None:
    qtbot.wait(20)
    lane = window.timeline.layout_now().lanes[0]
    row = window.column.rows[0]
    top = row.mapTo(window, row.rect().topLeft()).y()
    assert top == pytest.approx(
        window.timeline.mapTo(window, window.timeline.rect().topLeft()).y() + lane.top_px, abs=1
    )


def test_the_theme_is_another_for_the_sun(window: Window) -> None:
    items = {action.objectName(): action for action in window.findChildren(QAction)}
    items["sun"].trigger()
    assert window.desk.theme is SUN
    assert SUN.panel in window.styleSheet()


def test_nothing_in_the_editor_opens_a_box_that_must_be_answered_first() -> None:
    forbidden = re.compile(r"QMessageBox|QInputDialog|QErrorMessage|QProgressDialog|(?<!app)\.exec\(\)|getOpenFileName")
    assert [str(path) for path in UI.rglob("*.py") if forbidden.search(path.read_text(encoding="utf-8"))] == []


def test_a_window_that_is_made_smaller_keeps_the_words_of_what_runs_the_rig(window: Window, qtbot: QtBot) -> None:
    window.desk.turn_to("run")
    window.resize(1600, 940)
    window.resize(*SMALLEST_PX)
    # narrower ones cut the names of axes
    qtbot.waitUntil(lambda: min(window.body.sizes()) >= 220 and window.body.sizes()[1] < 600, timeout=5_000)
    middle = window.body.sizes()[1]
    assert middle >= window.run_page.minimumWidth()
    window.body.setSizes([300, middle, 240])
    window.body.splitterMoved.emit(300, 1)
    window.resize(1280, 720)
    qtbot.wait(50)  # what the operator shared is not shared anew
    assert window.body.sizes()[0] != 270
