"""The table of keys: the same document and the same choice as the timeline, cells edited by keyboard."""

from dataclasses import replace
from fractions import Fraction

import pytest
from PyQt6.QtCore import QModelIndex, Qt
from PyQt6.QtWidgets import QAbstractItemView, QApplication, QComboBox, QLineEdit
from pytestqt.qtbot import QtBot

from sequencer.score.edits.keys import pinned
from ui.acts.choose import choose_all
from ui.acts.keys import delete_keys
from ui.desk import Desk
from ui.panels.keys_model import AXIS, LAW, PASSING, PIN, TIME, TURN, VALUE
from ui.panels.keys_table import KeysTable


@pytest.fixture
def table(desk: Desk, qtbot: QtBot) -> KeysTable:
    widget = KeysTable(desk)
    qtbot.addWidget(widget)
    widget.resize(800, 500)
    widget.show()
    qtbot.waitExposed(widget)
    widget.activateWindow()
    widget.view.setFocus()
    return widget


def type_into(qtbot: QtBot, table: KeysTable, row: int, column: int, text: str) -> None:
    """Go to a cell, open it with F2, type, and end with enter."""
    index = table.model.index(row, column)
    table.view.setCurrentIndex(index)
    qtbot.keyClick(table.view, Qt.Key.Key_F2)
    editor = next(each for each in table.view.findChildren(QLineEdit) if each.isVisible())
    editor.selectAll()
    qtbot.keyClicks(editor, text)
    qtbot.keyClick(editor, Qt.Key.Key_Return)
    QApplication.processEvents()


def cell(table: KeysTable, row: int, column: int) -> str:
    return str(table.model.index(row, column).data())


def test_every_key_is_a_row_in_the_order_of_the_tracks(desk: Desk, table: KeysTable) -> None:
    assert table.model.rowCount() == sum(len(track.keys) for track in desk.project.move.tracks)
    assert [cell(table, 0, column) for column in range(7)] == [
        "pan", "10:00:07:12.5", "-48 °", "through", "pass", "", "",
    ]  # fmt: skip
    first_tilt = len(desk.project.move.tracks[0].keys)
    assert cell(table, first_tilt, AXIS) == "tilt"
    assert table.model.index(0, PIN).data(Qt.ItemDataRole.CheckStateRole) == Qt.CheckState.Unchecked


def test_times_follow_the_way_they_are_counted(desk: Desk, table: KeysTable) -> None:
    desk.count("bars")
    assert cell(table, 0, TIME) == "bar 4 beat 1"
    desk.count("seconds")
    assert cell(table, 0, TIME) == "7.5 s"


def test_a_value_typed_with_a_comma_and_a_unit_is_one_step(desk: Desk, table: KeysTable, qtbot: QtBot) -> None:
    first = desk.project
    type_into(qtbot, table, 1, VALUE, "12,5 deg")
    assert desk.project.move.tracks[0].keys[1].value == 12.5
    assert len(desk.history.past) == 1
    desk.undo()
    assert desk.project == first


def test_a_time_is_typed_as_it_stands_or_from_where_it_stands(desk: Desk, table: KeysTable, qtbot: QtBot) -> None:
    at = desk.project.move.tracks[0].keys[1].at
    type_into(qtbot, table, 1, TIME, "+10")
    assert desk.project.move.tracks[0].keys[1].at == at + 10
    type_into(qtbot, table, 1, TIME, "bar 5 beat 1")
    assert desk.project.move.tracks[0].keys[1].at == Fraction(250)


@pytest.mark.parametrize(
    ("column", "text", "says"),
    [
        (VALUE, "12,5,1", "one decimal mark"),
        (VALUE, "12 mm", "counted in deg"),
        (VALUE, "1000", "outside pan's travel"),
        (TIME, "10:00:30:00", "would come"),
        (TIME, "10", "could be frames or seconds"),
        (TIME, "", "nothing is written"),
    ],
)
def test_what_is_refused_is_said_below_and_changes_nothing(
    desk: Desk, table: KeysTable, qtbot: QtBot, column: int, text: str, says: str
) -> None:
    first = desk.project
    if text:
        type_into(qtbot, table, 1, column, text)
    else:
        table.model.setData(table.model.index(1, column), "")
    assert desk.project is first
    assert table.said.isVisible()
    assert says in table.said.text()
    assert "project.json" not in table.said.text()
    type_into(qtbot, table, 1, VALUE, "3")
    assert not table.said.isVisible()


def test_a_cell_that_is_left_as_it_was_is_no_step(desk: Desk, table: KeysTable, qtbot: QtBot) -> None:
    table.view.setCurrentIndex(table.model.index(0, TIME))
    qtbot.keyClick(table.view, Qt.Key.Key_F2)
    editor = table.view.findChild(QLineEdit)
    assert editor is not None
    qtbot.keyClick(editor, Qt.Key.Key_Return)
    assert not desk.history.past


def test_a_law_is_chosen_from_its_list_by_keyboard(desk: Desk, table: KeysTable, qtbot: QtBot) -> None:
    row = table.model.rows({"tilt": {0}})[0][0]
    table.view.setCurrentIndex(table.model.index(row, LAW))
    qtbot.keyClick(table.view, Qt.Key.Key_F2)
    combo = table.view.findChild(QComboBox)
    assert combo is not None
    assert combo.currentText() == "poly345"
    assert "spline" not in table.model.choices(LAW)
    combo.setCurrentText("linear")
    combo.activated.emit(combo.currentIndex())
    assert desk.project.move.tracks[1].keys[0].ease.law == "linear"
    table.model.setData(table.model.index(row, PASSING), "stop")
    assert desk.project.move.tracks[1].keys[0].passing == "stop"
    assert len(desk.history.past) == 2


def test_a_law_that_would_jump_is_refused(desk: Desk, table: KeysTable) -> None:
    first = desk.project
    assert not table.model.setData(table.model.index(1, LAW), "hold")
    assert desk.project is first
    assert "same value" in table.said.text()


def test_a_pin_is_a_check_mark_and_guards_the_key(desk: Desk, table: KeysTable) -> None:
    assert table.model.setData(table.model.index(1, PIN), Qt.CheckState.Checked, Qt.ItemDataRole.CheckStateRole)
    assert desk.project.move.tracks[0].keys[1].pin
    assert not table.model.setData(table.model.index(1, VALUE), "3")
    assert "pinned" in table.said.text()


def test_only_an_axis_that_goes_round_has_a_way_round(desk: Desk, table: KeysTable) -> None:
    assert not table.model.index(0, TURN).flags() & Qt.ItemFlag.ItemIsEditable
    rig = desk.project.rig
    endless = replace(rig, axes=(replace(rig.axes[0], travel=None), *rig.axes[1:]))
    desk.edit("no ends", replace(desk.project, rig=endless))
    assert cell(table, 0, TURN) == "as written"
    assert table.model.setData(table.model.index(0, TURN), "up")
    assert desk.project.move.tracks[0].keys[0].turn == "up"
    assert table.model.setData(table.model.index(0, TURN), "as written")
    assert desk.project.move.tracks[0].keys[0].turn is None


def test_what_is_chosen_is_chosen_in_both(desk: Desk, table: KeysTable, qtbot: QtBot) -> None:
    desk.select({"pan": {1, 2}, "tilt": {0}})
    rows = sorted({index.row() for index in table.view.selectedIndexes()})
    assert rows == [1, 2, len(desk.project.move.tracks[0].keys)]
    table.view.setCurrentIndex(table.model.index(3, VALUE))
    assert desk.selection == {"pan": {3}}
    qtbot.keyClick(table.view, Qt.Key.Key_Down, Qt.KeyboardModifier.ShiftModifier)
    assert desk.selection == {"pan": {3, 4}}
    rect = table.view.visualRect(table.model.index(0, VALUE))
    viewport = table.view.viewport()
    qtbot.mouseClick(viewport, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.ControlModifier, rect.center())
    assert desk.selection == {"pan": {0, 3, 4}}


def test_the_keys_of_one_axis_leave_those_of_others_chosen(desk: Desk, table: KeysTable, qtbot: QtBot) -> None:
    desk.select({"pan": {1}, "tilt": {0}})
    table.show_axis("tilt")
    assert table.axes.currentText() == "tilt"
    assert table.model.rowCount() == len(desk.project.move.tracks[1].keys)
    assert {index.row() for index in table.view.selectedIndexes()} == {0}
    assert desk.selection == {"pan": {1}, "tilt": {0}}
    place = table.view.visualRect(table.model.index(2, TIME)).center()
    qtbot.mouseClick(table.view.viewport(), Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier, place)
    assert desk.selection == {"pan": {1}, "tilt": {2}}


def test_rows_follow_keys_that_go_and_come_back(desk: Desk, table: KeysTable) -> None:
    count = table.model.rowCount()
    desk.select({"pan": {2}})
    delete_keys(desk)
    assert table.model.rowCount() == count - 1
    desk.undo()
    assert table.model.rowCount() == count


def test_a_drag_on_the_timeline_changes_cells_and_no_row(desk: Desk, table: KeysTable, qtbot: QtBot) -> None:
    resets: list[None] = []
    table.model.modelReset.connect(lambda: resets.append(None))
    move = desk.project.move
    pan = move.tracks[0]
    moved = replace(pan, keys=(replace(pan.keys[0], value=-30.0), *pan.keys[1:]))
    with qtbot.waitSignal(table.model.dataChanged):
        desk.draft(replace(move, tracks=(moved, *move.tracks[1:])))
    assert cell(table, 0, VALUE) == "-30 °"
    assert not resets


def test_a_locked_desk_refuses_cells_and_says_why(desk: Desk, table: KeysTable) -> None:
    first = desk.project
    desk.lock("the rig is armed; disarm it to edit")
    assert not table.model.setData(table.model.index(1, VALUE), "3")
    assert desk.project is first
    assert "disarm" in table.said.text()


def test_all_keys_of_all_axes_can_be_chosen_and_each_widget_has_a_name(desk: Desk, table: KeysTable) -> None:
    choose_all(desk)
    assert len({index.row() for index in table.view.selectedIndexes()}) == table.model.rowCount()
    for widget in (table, table.view, table.axes):
        assert widget.accessibleName()
    assert table.view.editTriggers() & QAbstractItemView.EditTrigger.EditKeyPressed
    assert table.model.rowCount(table.model.index(0, 0)) == 0
    assert table.model.setData(QModelIndex(), "3") is False


def test_pins_are_shown(desk: Desk, table: KeysTable) -> None:
    assert cell(table, 0, PIN) == ""
    desk.edit("pin", pinned(desk.project.move, {"pan": {0}}, True))
    assert cell(table, 0, PIN) == "pinned"
    assert table.model.index(0, PIN).data(Qt.ItemDataRole.CheckStateRole) == Qt.CheckState.Checked


def test_delete_takes_the_chosen_rows_out_but_not_while_a_cell_is_written_in(
    desk: Desk, table: KeysTable, qtbot: QtBot
) -> None:
    first = desk.project
    table.view.selectRow(1)
    qtbot.keyClick(table.view, Qt.Key.Key_Delete)
    track = desk.track("pan")
    assert track is not None
    assert track.keys == (first.move.tracks[0].keys[0], *first.move.tracks[0].keys[2:])
    qtbot.keyClick(table.view, Qt.Key.Key_Delete)
    assert "no key is chosen" in table.said.text()
    table.view.setCurrentIndex(table.model.index(2, VALUE))
    qtbot.keyClick(table.view, Qt.Key.Key_F2)
    editor = next(each for each in table.view.findChildren(QLineEdit) if each.isVisible())
    qtbot.keyClick(editor, Qt.Key.Key_Delete)
    assert len(desk.history.past) == 1
    desk.undo()
    assert desk.project == first
