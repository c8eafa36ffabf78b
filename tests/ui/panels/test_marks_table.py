"""Markers, cues and passes edited in their tables, by keyboard and by number."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QApplication, QLineEdit
from pytestqt.qtbot import QtBot

from sequencer.motion.standing import standing_at
from sequencer.rig.lens import from_camera
from sequencer.rig.pose import pose
from sequencer.score.camera import CameraCue
from sequencer.score.move import Scaled
from ui.acts.camera import WITHIN_DEG, add_order
from ui.desk import Desk
from ui.panels.entry import refusal
from ui.panels.marks_table import MarksPanel, MarksTable
from ui.panels.pass_cells import CELLS


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
        ("passes", 5, "crane 3", "is no axis; there are pan, tilt, roll, slide, focus"),
        ("passes", 5, "slide", "an axis and a number"),
        ("passes", 5, "slide 3 deg", "counted in mm"),
        ("passes", 6, "0", "above zero"),
        ("passes", 6, "1/4 about pan 3", "is no axis; there are slide"),
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


def test_an_order_to_the_camera_is_added_typed_tried_and_deleted(desk: Desk, qtbot: QtBot) -> None:
    fired: list[str] = []
    answers = [False, True]

    def fire(name: str) -> bool:
        fired.append(name)
        return answers.pop(0)

    panel = MarksPanel(desk, fire)
    qtbot.addWidget(panel)
    table, first = panel.orders, desk.project.camera
    panel.setCurrentWidget(table)
    panel.show()
    desk.place(Fraction(130))
    row = len(first)
    assert refusal(desk, lambda: add_order(desk)) == ""
    assert desk.project.camera[row] == CameraCue(do="shutter", at=Fraction(130))
    for column, text in enumerate(("record", "cue start", "-2", "300 ms")):
        taken = table.model.setData(table.model.index(row, column), text)
        assert taken is (text != "300 ms"), "a lead is typed in seconds"
    assert table.model.setData(table.model.index(row, 3), "0.3 s")
    assert desk.project.camera[row] == CameraCue(do="record", at="cue start", after_s=-2.0, lead_s=0.3)
    assert [table.model.index(row, column).data() for column in range(4)] == ["record", "cue start", "-2 s", "0.3 s"]
    table.view.setCurrentIndex(table.model.index(row, 0))
    click(qtbot, table, "go")
    assert "whichever cue" in table.said.text()
    click(qtbot, table, "try")
    assert "connect one" in table.said.text()
    click(qtbot, table, "try")
    assert "look at the camera" in table.said.text()
    assert fired == ["record", "record"]
    assert table.model.setData(table.model.index(row, 1), "10:00:06:00")
    click(qtbot, table, "go")
    assert desk.playhead == 150
    click(qtbot, table, "delete")
    assert desk.project.camera == first


@pytest.mark.parametrize(
    ("column", "text", "says"),
    [
        (0, "zoom", "one of shutter, record, cut"),
        (1, "some day", "is not a number"),
        (2, "2 hours", "no unit"),
        (2, "5000", "from -3600 to 3600"),
        (3, "-1", "from 0 to 60"),
    ],
)
def test_an_order_that_no_camera_takes_is_refused(
    desk: Desk, panel: MarksPanel, column: int, text: str, says: str
) -> None:
    add_order(desk)
    table = panel.orders
    first = desk.project
    assert not table.model.setData(table.model.index(len(first.camera) - 1, column), text)
    assert desk.project is first
    assert says in table.said.text()


def test_a_point_is_added_in_the_middle_of_the_picture_moved_and_aimed_at(
    desk: Desk, panel: MarksPanel, qtbot: QtBot
) -> None:
    panel.setCurrentWidget(panel.points)
    table = panel.points
    desk.place(Fraction(200))
    click(qtbot, table, "add")
    end_editor(qtbot, table, "bollard")
    point = desk.project.points[-1]
    rig = desk.project.rig
    seen = from_camera(pose(rig, standing_at(rig, desk.shapes, desk.playhead_s)), np.array(point.at_m))
    assert seen[[0, 2]] == pytest.approx(0.0, abs=2e-3), "to the millimetre that its place is rounded to"
    assert seen[1] > 0.5
    row = len(desk.project.points) - 1
    assert table.model.setData(table.model.index(row, 1), "120 cm")
    assert table.model.setData(table.model.index(row, 2), "4")
    assert desk.project.points[-1].at_m[:2] == (1.2, 4.0)
    assert not table.model.setData(table.model.index(row, 4), "sure")
    assert "not typed" in table.said.text()
    table.view.setCurrentIndex(table.model.index(row, 0))
    click(qtbot, table, "aim")
    assert desk.proposal is not None, table.said.text()
    assert "bollard" in desk.proposal.words
    before = desk.project.move
    desk.take_proposal()
    cue = desk.project.move.cues[0]
    for at in np.linspace(float(cue.start) / 25, float(cue.end) / 25, 17):
        where = pose(rig, standing_at(rig, desk.shapes, float(at)))
        right, ahead, up = from_camera(where, np.array(desk.project.points[-1].at_m))
        assert np.degrees(np.hypot(right, up) / ahead) < WITHIN_DEG
    assert desk.project.move != before


def test_what_cannot_be_aimed_at_is_said_and_proposes_nothing(desk: Desk, panel: MarksPanel, qtbot: QtBot) -> None:
    panel.setCurrentWidget(panel.points)
    table = panel.points
    click(qtbot, table, "add")
    end_editor(qtbot, table, "mast")
    row = len(desk.project.points) - 1
    table.view.setCurrentIndex(table.model.index(row, 0))
    desk.place(desk.project.move.cues[-1].end + 500)
    click(qtbot, table, "aim")
    assert "in no cue" in table.said.text()
    desk.place(desk.project.move.cues[0].start)
    # further up than tilt can turn
    assert table.model.setData(table.model.index(row, 3), "400")
    click(qtbot, table, "aim")
    assert "tilt" in table.said.text()
    assert desk.proposal is None


@pytest.mark.parametrize(
    ("column", "text"),
    [
        ("speed", "0.0000000001"),
        ("camera fps", "0.0000000001"),
        ("scale", "1/10000000000"),
    ],
)
def test_a_pass_that_no_file_could_hold_is_refused(desk: Desk, panel: MarksPanel, column: str, text: str) -> None:
    before, table = desk.project, panel.passes
    place = [cell.column for cell in CELLS].index(column)
    assert not table.model.setData(table.model.index(0, place), text)
    assert desk.project == before
    assert "with up to nine digits" in table.said.text()


def test_an_order_half_a_day_away_is_refused(desk: Desk, panel: MarksPanel) -> None:
    add_order(desk)
    before, table = desk.project, panel.orders
    assert not table.model.setData(table.model.index(0, 1), "1000000 s")
    assert desk.project == before
    assert "half a day or more" in table.said.text()


def test_what_has_no_room_in_a_cell_is_in_its_tip(desk: Desk, panel: MarksPanel) -> None:
    model = panel.passes.model
    model.setData(model.index(0, 7), "all players, quay lights on")
    assert model.index(0, 7).data(Qt.ItemDataRole.ToolTipRole) == "all players, quay lights on"


def test_each_pass_is_checked_against_the_motors_while_somebody_looks(
    desk: Desk, panel: MarksPanel, qtbot: QtBot
) -> None:
    table = panel.passes
    panel.setCurrentWidget(table)
    last = len(CELLS)
    qtbot.waitUntil(lambda: table.model.columnCount() == last + 1, timeout=10_000)
    assert [table.model.index(row, last).data() for row in range(table.model.rowCount())] == ["fits"] * 3
    assert not table.model.flags(table.model.index(0, last)) & Qt.ItemFlag.ItemIsEditable
    assert table.model.setData(table.model.index(0, 1), "800 %")
    qtbot.waitUntil(lambda: "it fits at speed" in table.model.index(0, last).data(), timeout=10_000)
    # it says of each cue what it says of it
    assert "lantern turn: " in table.model.index(0, last).data()
    assert table.model.index(1, last).data() == "fits"
