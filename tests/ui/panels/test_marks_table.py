"""Markers, cues and passes edited in their tables, by keyboard and by number."""

from dataclasses import replace
from fractions import Fraction

import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QApplication, QLineEdit
from pytestqt.qtbot import QtBot

from sequencer.score.move import Scaled
from ui.desk import Desk
from ui.panels.marks_table import MarksPanel, MarksTable


@pytest.fixture
def panel(desk: Desk, qtbot: QtBot) -> MarksPanel:
    widget = MarksPanel(desk)
    qtbot.addWidget(widget)
    widget.resize(520, 360)
    widget.show()
    qtbot.waitExposed(widget)
    widget.activateWindow()
    return widget


def type_into(qtbot: QtBot, table: MarksTable, row: int, column: int, text: str) -> None:
    table.view.setFocus()
    table.view.setCurrentIndex(table.model.index(row, column))
    qtbot.keyClick(table.view, Qt.Key.Key_F2)
    end_editor(qtbot, table, text)


def end_editor(qtbot: QtBot, table: MarksTable, text: str) -> None:
    editor = next(each for each in table.view.findChildren(QLineEdit) if each.isVisible())
    editor.selectAll()
    qtbot.keyClicks(editor, text)
    qtbot.keyClick(editor, Qt.Key.Key_Return)
    QApplication.processEvents()  # the table takes it when the key press is over


def click(qtbot: QtBot, table: MarksTable, name: str) -> None:
    qtbot.mouseClick(table.buttons[name], Qt.MouseButton.LeftButton)


def test_a_marker_is_added_at_the_playhead_named_moved_and_deleted(desk: Desk, panel: MarksPanel, qtbot: QtBot) -> None:
    first, table = desk.project, panel.markers
    desk.place(Fraction(260))
    click(qtbot, table, "add")
    end_editor(qtbot, table, "boats")
    assert [(one.name, one.at) for one in desk.project.move.markers][2] == ("boats", Fraction(260))
    type_into(qtbot, table, 2, 1, "+10")
    assert desk.project.move.markers[2].at == 270
    desk.place(Fraction(0))
    click(qtbot, table, "go")
    assert desk.playhead == 270
    click(qtbot, table, "delete")
    assert desk.project.move.markers == first.move.markers
    assert len(desk.history.past) == 4
    for _ in range(4):
        desk.undo()
    assert desk.project == first


def test_a_cue_gets_another_name_and_other_ends_and_chooses_its_keys(
    desk: Desk, panel: MarksPanel, qtbot: QtBot
) -> None:
    panel.setCurrentWidget(panel.cues)
    table = panel.cues
    type_into(qtbot, table, 0, 0, "turn")
    type_into(qtbot, table, 0, 1, "10:00:07:00")
    type_into(qtbot, table, 0, 2, "+1 s")
    cue = desk.project.move.cues[0]
    assert (cue.name, cue.start, cue.end) == ("turn", Fraction(175), Fraction(410))
    click(qtbot, table, "choose")
    assert desk.selection
    assert all(cue.start <= key.at <= cue.end for _, _, key in desk.chosen_keys())


def test_a_pass_gets_its_speed_as_a_part_and_the_motion_is_judged_at_it(
    desk: Desk, panel: MarksPanel, qtbot: QtBot
) -> None:
    panel.setCurrentWidget(panel.passes)
    table = panel.passes
    type_into(qtbot, table, 1, 1, "50 %")
    assert desk.project.move.passes[1].speed == Fraction(1, 2)
    assert table.model.index(1, 1).data() == "50 %"
    type_into(qtbot, table, 1, 1, "1/3")
    assert table.model.index(1, 1).data() == "1/3"
    click(qtbot, table, "judge")
    assert desk.run_name == "clean plate"


@pytest.mark.parametrize(
    ("column", "text", "makes", "shown"),
    [
        (2, "48", {"rate": Fraction(48), "speed": Fraction(48, 25)}, "48"),
        (2, "24000/1001 fps", {"rate": Fraction(24000, 1001), "speed": Fraction(960, 1001)}, "24000/1001"),
        (3, "last light", {"of": "last light"}, "last light"),
        (4, "yes", {"reversed": True}, "yes"),
        (5, "slide 6.5 cm, tilt -2", {"offset": (("slide", 65.0), ("tilt", -2.0))}, "slide 65, tilt -2"),
        (6, "1/4", {"scale": Scaled(Fraction(1, 4))}, "1/4"),
        (
            6,
            "1/4 with time about slide 300",
            # Froude: a quarter of the size is shot at twice the rate
            {"scale": Scaled(Fraction(1, 4), (("slide", 300.0),), True), "rate": Fraction(50), "speed": Fraction(2)},
            "1/4 with time about slide 300",
        ),
        (7, "clean plate", {"note": "clean plate"}, "clean plate"),
    ],
)
def test_each_thing_that_a_pass_says_is_typed_shown_and_taken_back(
    desk: Desk, panel: MarksPanel, column: int, text: str, makes: dict[str, object], shown: str
) -> None:
    table, first = panel.passes, desk.project.move.passes[0]
    index = table.model.index(0, column)
    assert table.model.setData(index, text)
    assert desk.project.move.passes[0] == replace(first, **makes)  # type: ignore[arg-type]  # fields of many types
    assert index.data() == shown
    if column not in (7,):
        assert table.model.setData(index, "")
        (emptied,) = {one for one in desk.project.move.passes if one.name == first.name}
        assert not emptied.varies


@pytest.mark.parametrize(
    ("leaf", "column", "text", "says"),
    [
        ("markers", 1, "noon", "is not a number"),
        ("markers", 0, "", "printable"),
        ("cues", 0, "last light", "two of the name"),
        ("cues", 2, "10:00:01:00", "before it begins"),
        ("passes", 1, "0", "above zero"),
        ("passes", 1, "2 s", "no unit"),
        ("passes", 2, "fast", "is not a number"),
        ("passes", 3, "no such cue", "lantern turn"),
        ("passes", 4, "perhaps", "write yes, or nothing"),
        ("passes", 5, "crane 3", "none of the axes pan, tilt, roll, slide, focus"),
        ("passes", 5, "slide", "an axis and a number"),
        ("passes", 5, "slide 3 deg", "counted in mm"),
        ("passes", 6, "0", "above zero"),
        ("passes", 6, "1/4 about pan 3", "none of the axes slide"),
    ],
)
def test_what_is_refused_is_said_and_changes_nothing(
    desk: Desk, panel: MarksPanel, leaf: str, column: int, text: str, says: str
) -> None:
    table: MarksTable = getattr(panel, leaf)
    panel.setCurrentWidget(table)
    first = desk.project
    assert not table.model.setData(table.model.index(0, column), text)
    assert desk.project is first
    assert table.said.isVisible()
    assert says in table.said.text()


def test_a_cell_that_is_left_alone_is_no_step(desk: Desk, panel: MarksPanel) -> None:
    for table in (panel.markers, panel.cues, panel.passes):
        for column in range(table.model.columnCount()):
            index = table.model.index(0, column)
            table.model.setData(index, index.data(Qt.ItemDataRole.EditRole))
    assert not desk.history.past


def test_a_button_without_a_row_says_so(desk: Desk, panel: MarksPanel, qtbot: QtBot) -> None:
    panel.setCurrentWidget(panel.passes)
    for _ in range(3):
        click(qtbot, panel.passes, "delete")
    assert desk.project.move.passes == ()
    click(qtbot, panel.passes, "delete")
    assert "no row is chosen" in panel.passes.said.text()


def test_a_locked_desk_refuses_and_says_why(desk: Desk, panel: MarksPanel, qtbot: QtBot) -> None:
    first = desk.project
    desk.lock("the rig is armed; disarm it to edit")
    click(qtbot, panel.markers, "add")
    assert desk.project is first
    assert "disarm" in panel.markers.said.text()


def test_every_table_and_button_has_a_name_of_its_own(panel: MarksPanel) -> None:
    names = [table.view.accessibleName() for table in (panel.markers, panel.cues, panel.passes)]
    names += [b.accessibleName() for t in (panel.markers, panel.cues, panel.passes) for b in t.buttons.values()]
    assert len(set(names)) == len(names)
    assert all(names)


def test_delete_takes_the_row_out(desk: Desk, panel: MarksPanel, qtbot: QtBot) -> None:
    table = panel.markers
    table.view.setFocus()
    table.view.setCurrentIndex(table.model.index(1, 0))
    qtbot.keyClick(table.view, Qt.Key.Key_Delete)
    assert [one.name for one in desk.project.move.markers][:2] == ["verse", "second lamp"]
