"""The set in forms: each field and button gives the document that it says, and undo gives the first one."""

from dataclasses import replace
from fractions import Fraction

import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QApplication, QWidget
from pytestqt.qtbot import QtBot

from sequencer.project.stage import Box, Ground, Person, Stage
from sequencer.rig.geometry import Geometry
from ui.desk import Desk
from ui.panels.stage import StagePanel


@pytest.fixture
def panel(desk: Desk, qtbot: QtBot) -> StagePanel:
    made = StagePanel(desk)
    qtbot.addWidget(made)
    made.resize(400, 640)
    made.show()
    return made


def write(qtbot: QtBot, panel: StagePanel, name: str, text: str) -> None:
    """Type into the field of the chosen thing, and end it with return."""
    line = panel.entries[name].line
    line.setFocus()
    line.selectAll()
    qtbot.keyClicks(line, text)
    qtbot.keyClick(line, Qt.Key.Key_Return)


@pytest.mark.parametrize(
    ("name", "text", "field", "value"),
    [
        ("name", "Lead", "name", "Lead"),
        ("x", "-0,4", "x_m", -0.4),
        ("y", "380 cm", "y_m", 3.8),
        ("tall", "5 ft 8 in", "height_m", 1.7272),
        ("turn", "-90 deg", "heading_deg", -90),
    ],
)
def test_a_persons_numbers_are_typed(
    panel: StagePanel, desk: Desk, qtbot: QtBot, name: str, text: str, field: str, value: object
) -> None:
    first = desk.project
    panel.list.setCurrentRow(0)
    write(qtbot, panel, name, text)
    assert desk.project.stage.people[0] == replace(first.stage.people[0], **{field: value})  # type: ignore[arg-type]  # each case its own
    assert desk.project.stage.people[1:] == first.stage.people[1:]
    assert len(desk.history.past) == 1
    desk.undo()
    assert desk.project == first
    assert panel.entries["tall"].text == "1.72 m"


@pytest.mark.parametrize(
    ("name", "text", "field", "value"),
    [
        ("x", "1", "centre_m", (1.0, 3.5, 1.4)),
        ("z", "50 cm", "centre_m", (0.0, 3.5, 0.5)),
        ("across", "0,5", "size_m", (0.5, 0.25, 0.4)),
        ("deep", "1 ft", "size_m", (0.25, 0.3048, 0.4)),
        ("tall", "2", "size_m", (0.25, 0.25, 2.0)),
        ("turn", "15", "heading_deg", 15.0),
    ],
)
def test_a_boxs_numbers_are_typed(
    panel: StagePanel, desk: Desk, qtbot: QtBot, name: str, text: str, field: str, value: object
) -> None:
    box = desk.project.stage.boxes[0]
    panel.list.setCurrentRow(3)
    write(qtbot, panel, name, text)
    assert desk.project.stage.boxes[0] == replace(box, **{field: value})  # type: ignore[arg-type]  # each case its own


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("tall", "12 kg", "“kg” is no length"),
        ("tall", "-2", "it must be from 0.001 to 100"),
        ("tall", "", "nothing is written here"),
        ("x", "5000", "it must be from -1000 to 1000"),
        ("turn", "400", "it must be from -360 to 360"),
        ("turn", "2 m", "not in m"),
        ("name", "  ", "write a name"),
    ],
)
def test_what_cannot_be_is_said_at_the_field(
    panel: StagePanel, desk: Desk, qtbot: QtBot, name: str, text: str, words: str
) -> None:
    first = desk.history
    panel.list.setCurrentRow(0)
    line = panel.entries[name].line
    line.setFocus()
    line.selectAll()
    qtbot.keyClick(line, Qt.Key.Key_Delete)
    qtbot.keyClicks(line, text)
    qtbot.keyClick(line, Qt.Key.Key_Return)
    assert desk.history is first
    assert words in panel.entries[name].said.text()
    # what was refused was meant for this one, and is not shown at another
    panel.list.setCurrentRow(1)
    assert panel.entries[name].said.text() == ""
    assert panel.entries["name"].text == "Accordion"
    assert panel.entries["tall"].text == "1.8 m"


def test_people_and_boxes_are_added_copied_and_removed(panel: StagePanel, desk: Desk, qtbot: QtBot) -> None:
    first = desk.project
    left = Qt.MouseButton.LeftButton
    qtbot.mouseClick(panel.new_person, left)
    assert desk.project.stage.people[-1] == Person(name="Person 4", x_m=0, y_m=3.5, height_m=1.7)
    assert panel.chosen is not None
    assert panel.chosen.thing == desk.project.stage.people[-1]
    assert QApplication.focusWidget() is panel.entries["name"].line
    qtbot.mouseClick(panel.new_box, left)
    side = 0.88
    assert desk.project.stage.boxes[-1] == Box(name="Box 7", centre_m=(0, 3.5, side / 2), size_m=(side, side, side))
    qtbot.mouseClick(panel.copy, left)
    assert desk.project.stage.boxes[-1].centre_m[0] == pytest.approx(1.2 * side)
    assert len(desk.project.stage.boxes) == 8
    panel.list.setCurrentRow(0)
    qtbot.mouseClick(panel.remove, left)
    assert [one.name for one in desk.project.stage.people] == ["Accordion", "Fiddle", "Person 4"]
    assert [step.words for step in desk.history.past] == ["add Person 4", "add Box 7", "add Box 7", "remove Singer"]
    for _ in range(4):
        desk.undo()
    assert desk.project == first


def test_the_last_thing_can_be_removed(panel: StagePanel, desk: Desk, qtbot: QtBot) -> None:
    desk.edit("one only", replace(desk.project, stage=Stage().with_new(desk.project.stage.boxes[0])))
    qtbot.mouseClick(panel.remove, Qt.MouseButton.LeftButton)
    assert desk.project.stage == Stage()
    assert panel.chosen is None
    assert not panel.remove.isEnabled()
    assert not panel.copy.isEnabled()
    assert all(entry.isHidden() for entry in panel.entries.values())


def test_the_pictures_shape_is_chosen_or_typed(panel: StagePanel, desk: Desk, qtbot: QtBot) -> None:
    assert panel.shape.currentText() == "2.39"
    panel.shape.setFocus()
    qtbot.keyClick(panel.shape, Qt.Key.Key_Home)
    panel.shape.activated.emit(panel.shape.currentIndex())
    assert desk.project.aspect is None
    line = panel.aspect.line
    for text, aspect in (("2,2:1", Fraction(11, 5)), ("16/9", Fraction(16, 9))):
        line.setFocus()
        line.selectAll()
        qtbot.keyClicks(line, text)
        qtbot.keyClick(line, Qt.Key.Key_Return)
        assert desk.project.aspect == aspect
    assert panel.shape.currentText() == "16:9"
    line.selectAll()
    qtbot.keyClicks(line, "99")
    qtbot.keyClick(line, Qt.Key.Key_Return)
    assert desk.project.aspect == Fraction(16, 9)
    assert "99 is not" in panel.aspect.said.text()


def test_the_ground_is_typed(panel: StagePanel, desk: Desk, qtbot: QtBot) -> None:
    for entry, text in ((panel.ground, "8 m"), (panel.cell, "50 cm")):
        entry.line.setFocus()
        entry.line.selectAll()
        qtbot.keyClicks(entry.line, text)
        qtbot.keyClick(entry.line, Qt.Key.Key_Return)
    assert desk.project.stage.ground == Ground(size_m=8, cell_m=0.5)
    panel.cell.line.selectAll()
    qtbot.keyClicks(panel.cell.line, "1 mm")
    qtbot.keyClick(panel.cell.line, Qt.Key.Key_Return)
    assert desk.project.stage.ground == Ground(size_m=8, cell_m=0.5)
    assert "make the cells larger" in panel.cell.said.text()


def test_a_locked_desk_leaves_nothing_to_change(panel: StagePanel, desk: Desk) -> None:
    desk.lock("a run goes on")
    fields: list[QWidget] = [panel.shape, panel.aspect, panel.ground, panel.cell, panel.new_person, panel.remove]
    assert not any(field.isEnabled() for field in [*fields, *panel.entries.values()])
    desk.lock("")
    assert all(field.isEnabled() for field in fields)


def test_how_tall_a_person_stands_is_said(panel: StagePanel, desk: Desk) -> None:
    """Source: similar triangles; a picture of 2.39 to 1 on a sensor of 4096 pixels is 1713.8 of them tall."""
    rig = replace(desk.project.rig, axes=tuple(replace(axis, home=0.0) for axis in desk.project.rig.axes))
    rig = replace(rig, geometry=Geometry(height_m=1.0))
    move = replace(desk.project.move, tracks=())
    lead = Person(name="Lead", x_m=0.5, y_m=6, height_m=1.72)
    desk.edit("plain", replace(desk.project, rig=rig, move=move, stage=Stage(people=(lead,))))
    tall_px = 35 * 1720 / 6000 / 24.9 * 4096
    part = 100 * tall_px / (4096 / 2.39)
    assert panel.seen.text() == f"At the playhead: 6.00 m ahead, {part:.0f} % of the picture's height, {tall_px:.0f} px"
    desk.edit("behind", replace(desk.project, stage=Stage(people=(replace(lead, y_m=-1.0),))))
    assert panel.seen.text() == "At the playhead: behind the camera"


def test_every_field_has_a_name(panel: StagePanel) -> None:
    focusable = [
        one
        for one in panel.findChildren(QWidget)
        if one.focusPolicy() != Qt.FocusPolicy.NoFocus and one.isVisibleTo(panel) and one.focusProxy() is None
    ]
    assert len(focusable) > 10
    assert not [one for one in focusable if not (one.accessibleName() or getattr(one, "text", str)())]
