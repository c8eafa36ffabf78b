"""Marks in their table: typed into, stored, ordered by buttons, keys and dragging; and made into keys."""

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

import pytest
from PyQt6.QtCore import QModelIndex, Qt
from PyQt6.QtWidgets import QApplication, QComboBox, QLineEdit, QVBoxLayout, QWidget
from pytestqt.qtbot import QtBot

from sequencer.score.marks import AtSpeed, Fastest, Lasting, Mark, Pace
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, Timecode
from tests.ui.link.fakes import Bench
from ui.acts.poses import Poses
from ui.desk import Desk
from ui.panels.poses import PosesPanel
from ui.panels.poses_model import LEG, NAME, TAKES, WHERE, leg_text, typed_leg
from ui.panels.typed import Times
from ui.theme import style

LEFT = Qt.MouseButton.LeftButton
DOORWAY = Mark("doorway", (("pan", -20.0), ("slide", 300.0)))
WINDOW = Mark("window", (("pan", 35.0),), Lasting(Fraction(5, 2)))
HARBOUR = Mark("harbour", (("pan", 50.0), ("tilt", 4.0)))
GONE = Mark("gone", (("pan", 900.0), ("crane", 1.0)))
TIMES = Times(timebase=Timebase(Counting(Rate(25)), Timecode(10, 0, 0, 0)))


class Table:
    """The panel over a fake engine."""

    def __init__(self, desk: Desk, qtbot: QtBot) -> None:
        desk.open(replace(desk.project, marks=(DOORWAY, WINDOW, HARBOUR)), desk.folder)
        self.desk, self.qtbot, self.bench = desk, qtbot, Bench(desk)
        self.poses = Poses(desk, self.bench.link)
        self.panel = PosesPanel(self.poses)
        self.view, self.model = self.panel.view, self.panel.model
        self.window = QWidget()
        self.window.setStyleSheet(style(desk.theme))
        QVBoxLayout(self.window).addWidget(self.panel)
        qtbot.addWidget(self.window)
        self.window.resize(660, 360)
        self.window.show()
        qtbot.waitExposed(self.window)
        self.window.activateWindow()

    def names(self) -> list[str]:
        return [mark.name for mark in self.desk.project.marks]

    def click(self, name: str) -> None:
        self.qtbot.mouseClick(self.panel.buttons[name], LEFT)

    def choose(self, row: int, column: int = NAME) -> None:
        self.view.setFocus()
        self.view.setCurrentIndex(self.model.index(row, column))

    def type_into(self, row: int, column: int, text: str) -> None:
        self.choose(row, column)
        self.qtbot.keyClick(self.view, Qt.Key.Key_F2)
        self.end(text)

    def end(self, text: str) -> None:
        """Type into the cell that is open, and end it."""
        editor = next(each for each in self.view.findChildren(QLineEdit) if each.isVisible())
        editor.selectAll()
        self.qtbot.keyClick(editor, Qt.Key.Key_Delete)
        self.qtbot.keyClicks(editor, text)
        self.qtbot.keyClick(editor, Qt.Key.Key_Return)
        QApplication.processEvents()  # the table takes it when the key press is over

    def text(self, row: int, column: int) -> object:
        return self.model.index(row, column).data()

    def drag(self, row: int, to: int) -> None:
        dragged = self.model.mimeData([self.model.index(row, NAME)])
        assert not self.model.dropMimeData(dragged, Qt.DropAction.MoveAction, to, 0, QModelIndex())


@pytest.fixture
def table(desk: Desk, qtbot: QtBot) -> Iterator[Table]:
    one = Table(desk, qtbot)
    yield one
    one.bench.link.end()


def test_a_mark_is_stored_and_named_in_place(table: Table) -> None:
    assert "at the playhead" in table.panel.buttons["store"].accessibleName()
    table.click("store")
    table.end("kerb")
    assert table.names() == ["doorway", "window", "harbour", "kerb"]
    assert table.poses.current == "kerb"
    table.bench.connect()
    table.bench.phase("idle", asked=(9.0, 0.0, 0.0, 0.0, 0.0))
    assert table.panel.buttons["store"].accessibleName() == "Store: where the rig is now"
    table.click("overwrite")
    assert table.desk.project.marks[3].position[0] == ("pan", 9.0)
    assert table.text(3, WHERE) == "◆ here"
    table.choose(1)
    table.qtbot.keyClick(table.view, Qt.Key.Key_Insert)
    assert table.names()[-1] == "mark 1"


def test_cells_are_typed_into(table: Table) -> None:
    first = table.desk.project
    pan, tilt = 4 + table.model.axes.index("pan"), 4 + table.model.axes.index("tilt")
    table.type_into(0, NAME, "porch")
    table.type_into(0, pan, "-12,5 deg")
    table.type_into(0, tilt, "3")
    table.type_into(2, tilt, "")
    table.type_into(2, LEG, "40 %")
    marks = table.desk.project.marks
    assert marks[0].name == "porch"
    assert marks[0].position == (("pan", -12.5), ("tilt", 3.0), ("slide", 300.0))
    assert marks[2].position == (("pan", 50.0),)
    assert marks[2].leg == AtSpeed(Fraction(2, 5))
    assert table.text(2, tilt) == "stays"
    assert table.text(2, LEG) == "40 % of speed"
    assert len(table.desk.history.past) == 5
    for _ in range(5):
        table.desk.undo()
    assert table.desk.project == first


def test_a_leg_is_chosen_from_the_list_that_is_offered(table: Table) -> None:
    table.choose(0, LEG)
    table.qtbot.keyClick(table.view, Qt.Key.Key_F2)
    box = next(each for each in table.view.findChildren(QComboBox) if each.isVisible())
    assert box.currentText() == "fastest"
    place = box.findText("50 % of speed")
    box.setCurrentIndex(place)
    box.activated.emit(place)
    assert table.desk.project.marks[0].leg == AtSpeed(Fraction(1, 2))
    assert table.text(1, TAKES) == "2.50 s"
    offered = [box.itemText(each) for each in range(box.count())]
    assert [leg_text(typed_leg(words, TIMES)) for words in offered] == offered


def test_a_leg_that_is_typed_counts_for_all_chosen_marks(table: Table) -> None:
    table.poses.choose(("doorway", "harbour"), "harbour")
    assert table.model.setData(table.model.index(2, LEG), "3 s")
    assert [mark.leg for mark in table.desk.project.marks] == [Lasting(Fraction(3)), WINDOW.leg, Lasting(Fraction(3))]
    assert table.model.setData(table.model.index(1, LEG), "fastest")
    assert table.desk.project.marks[1].leg == Fastest()


@pytest.mark.parametrize(
    ("text", "leg"),
    [
        ("Fastest", Fastest()),
        ("50 %", AtSpeed(Fraction(1, 2))),
        ("1/3", AtSpeed(Fraction(1, 3))),
        ("1/3 of speed", AtSpeed(Fraction(1, 3))),
        ("0,25 of speed", AtSpeed(Fraction(1, 4))),
        ("2,5 s", Lasting(Fraction(5, 2))),
        ("1/2 s", Lasting(Fraction(1, 2))),
        ("1 min", Lasting(Fraction(60))),
        ("50 frames", Lasting(Fraction(2))),
    ],
)
def test_legs_are_read_and_written_alike(text: str, leg: Pace) -> None:
    assert typed_leg(text, TIMES) == leg
    assert typed_leg(leg_text(leg), TIMES) == leg


@pytest.mark.parametrize(
    ("column", "text", "says"),
    [
        (NAME, "harbour", "there is a mark 'harbour' already"),
        (NAME, "", "printable"),
        (LEG, "2", "write 2 s, or 50 %"),
        (LEG, "150 %", "at most 1"),
        (LEG, "0 s", "more than no time"),
        (LEG, "slowly", "is not a number"),
        (4, "3 mm", "counted in deg"),
        (4, "", "this one names none"),
    ],
)
def test_what_is_refused_is_said_and_changes_nothing(table: Table, column: int, text: str, says: str) -> None:
    first = table.desk.project
    assert not table.model.setData(table.model.index(1, column), text)
    assert table.desk.project is first
    assert table.panel.said.isVisible()
    assert says in table.panel.said.text()
    table.choose(0)
    assert table.panel.said.isHidden()


def test_marks_are_ordered_by_buttons_keys_and_dragging(table: Table) -> None:
    table.choose(2)
    table.click("earlier")
    assert table.names() == ["doorway", "harbour", "window"]
    assert table.view.currentIndex().row() == 1
    table.view.setFocus()
    table.qtbot.keyClick(table.view, Qt.Key.Key_Up, Qt.KeyboardModifier.AltModifier)
    assert table.names() == ["harbour", "doorway", "window"]
    table.qtbot.keyClick(table.view, Qt.Key.Key_Down, Qt.KeyboardModifier.AltModifier)
    table.click("later")
    assert table.names() == ["doorway", "window", "harbour"]
    table.drag(2, 0)
    assert table.names() == ["harbour", "doorway", "window"]
    table.drag(0, 3)
    assert table.names() == ["doorway", "window", "harbour"]
    assert len(table.desk.history.past) == 6
    table.drag(1, 1)
    assert len(table.desk.history.past) == 6
    for _ in range(6):
        table.desk.undo()
    assert table.desk.project.marks == (DOORWAY, WINDOW, HARBOUR)


def test_chosen_marks_are_deleted_and_come_back(table: Table) -> None:
    table.poses.choose(("doorway", "window"), "window")
    table.view.setFocus()
    table.qtbot.keyClick(table.view, Qt.Key.Key_Delete)
    assert table.names() == ["harbour"]
    table.click("delete")
    assert table.names() == []
    table.click("delete")
    assert "no mark is chosen" in table.panel.said.text()
    table.desk.undo()
    table.desk.undo()
    assert table.names() == ["doorway", "window", "harbour"]


def test_a_mark_that_cannot_be_gone_to_says_why_by_shape_word_and_mend(table: Table) -> None:
    table.desk.edit_marks("as from another rig", (*table.desk.project.marks, GONE))
    assert table.text(3, WHERE) == "✕ cannot go"
    assert table.text(3, TAKES) == "no way"
    assert table.model.axes[-1] == "crane"
    table.choose(3)
    assert "store the mark anew" in table.view.accessibleDescription()
    assert "no axis 'crane'" in table.view.accessibleDescription()
    crane = 4 + len(table.model.axes) - 1
    table.type_into(3, crane, "")
    table.type_into(3, 4, "90")
    assert table.view.accessibleDescription() == ""
    assert table.text(3, WHERE) == ""


def test_a_leg_that_lasts_too_short_says_the_least_time(table: Table) -> None:
    assert table.model.setData(table.model.index(1, LEG), "0.01 s")
    table.choose(1)
    assert "cannot last 0.01 s" in table.view.accessibleDescription()
    assert table.text(1, TAKES) == "no way"


def test_the_choice_is_one_whatever_shows_it(table: Table, qtbot: QtBot) -> None:
    other = PosesPanel(table.poses)
    qtbot.addWidget(other)
    table.choose(2)
    assert other.view.currentIndex().row() == 2
    selection = other.view.selectionModel()
    assert selection is not None
    assert [index.row() for index in selection.selectedRows()] == [2]


def test_marks_are_changed_while_the_rig_is_armed(table: Table) -> None:
    table.bench.ready()
    table.bench.phase("ready", asked=(1.0, 0.0, 0.0, 0.0, 0.0))
    assert table.desk.locked
    table.click("store")
    # a space in a name that is being typed would stop the rig
    assert not table.view.findChildren(QLineEdit)
    table.type_into(3, NAME, "kerb")
    table.choose(0)
    table.click("later")
    assert table.names() == ["window", "doorway", "harbour", "kerb"]


def test_keys_are_made_of_the_chosen_marks_and_seen_first(table: Table) -> None:
    first = table.desk.project
    table.desk.place(Fraction(1010))
    table.poses.choose(("doorway", "harbour"), "harbour")
    table.click("keys")
    keys = table.panel.keys
    assert keys.which.text() == "Keys of doorway, harbour, in this order."
    keys.when.setCurrentIndex(keys.when.findData("evenly"))
    keys.when.activated.emit(2)
    assert keys.start.line.text() == "10:00:40:10"
    keys.end.line.setText("+8 s")
    keys.law.setCurrentText("cycloidal")
    table.qtbot.mouseClick(keys.show_it, LEFT)
    assert table.desk.project is first
    assert table.desk.proposal is not None
    pan = next(track for track in table.desk.proposal.move.tracks if track.axis == "pan")
    found = [(key.at, key.value, key.ease.law) for key in pan.keys[-2:]]
    assert found == [(Fraction(1010), -20.0, "cycloidal"), (Fraction(1210), 50.0, "cycloidal")]
    table.desk.take_proposal()
    table.desk.undo()
    assert table.desk.project == first
    table.qtbot.mouseClick(keys.leave, LEFT)
    assert table.view.isVisible()


@pytest.mark.parametrize(
    ("way", "field", "text", "says"),
    [
        ("evenly", "start", "noon", "is not a number"),
        ("evenly", "end", "10:00:01:00", "choose a later end"),
        ("beats", "every", "1/2", "counted whole"),
        ("instant", "start", "10:00:40:10", "cannot all be at one instant"),
    ],
)
def test_keys_that_cannot_be_made_are_refused_in_words(
    table: Table, way: str, field: str, text: str, says: str
) -> None:
    table.desk.place(Fraction(1010))
    table.click("keys")
    keys = table.panel.keys
    keys.when.setCurrentIndex(keys.when.findData(way))
    getattr(keys, field).line.setText(text)
    table.qtbot.mouseClick(keys.show_it, LEFT)
    assert says in keys.said.text()
    assert table.desk.proposal is None


def test_the_face_for_running_has_larger_targets_and_makes_no_keys(table: Table) -> None:
    table.click("keys")
    table.desk.turn_to("run")
    assert table.view.isVisible()
    assert table.panel.buttons["keys"].isHidden()
    QApplication.processEvents()
    shown = [button for button in table.panel.buttons.values() if button.isVisible()]
    assert min(button.height() for button in shown) >= 44
    rows = table.view.verticalHeader()
    assert rows is not None
    assert rows.defaultSectionSize() == 44
    names = [button.accessibleName() for button in table.panel.buttons.values()]
    assert len(set(names)) == len(names)
