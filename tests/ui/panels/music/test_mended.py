"""What was found is mended by hand and put on the grid as one step."""

from fractions import Fraction

from PyQt6.QtCore import QEvent, Qt
from PyQt6.QtGui import QKeyEvent
from PyQt6.QtWidgets import QApplication, QWidget
from pytestqt.qtbot import QtBot

from sequencer.timebase.tempo import TempoMap
from tests.ui.panels.music.conftest import LEFT, Clock, find, grid_of, tempo_of
from ui.desk import Desk, Note
from ui.panels.music import MusicPanel


def test_double_halve_and_a_typed_tempo(panel: MusicPanel, bare: Desk, qtbot: QtBot) -> None:
    find(panel, qtbot)
    for button, bpm in ((panel.double, 192), (panel.halve, 96), (panel.halve, 48)):
        qtbot.mouseClick(button, LEFT)
        assert panel.grid is not None
        assert panel.grid.bpm == bpm
    panel.tempo.line.setFocus()
    panel.tempo.line.selectAll()
    qtbot.keyClicks(panel.tempo.line, "93,7")
    qtbot.keyClick(panel.tempo.line, Qt.Key.Key_Return)
    assert grid_of(panel).bpm == Fraction("93.7")
    bare.place(Fraction(40))
    qtbot.mouseClick(panel.one, LEFT)
    qtbot.mouseClick(panel.put, LEFT)
    assert tempo_of(bare).bpm == Fraction("93.7")
    rate = bare.project.timebase.rate
    assert tempo_of(bare).at_s < 0
    assert (rate.frames(tempo_of(bare).at_s) * 10**9).denominator == 1  # as a project file holds it
    for text, words in (("fast", "is not a number"), ("-3", "no tempo"), ("1e9", "more than one number")):
        panel.tempo.line.selectAll()
        qtbot.keyClicks(panel.tempo.line, text)
        qtbot.keyClick(panel.tempo.line, Qt.Key.Key_Return)
        assert words in panel.tempo.said.text()
        assert panel.grid is None
    assert tempo_of(bare).bpm == Fraction("93.7")


def test_beat_one_comes_to_the_playhead(panel: MusicPanel, bare: Desk, qtbot: QtBot) -> None:
    find(panel, qtbot)
    rate = bare.project.timebase.rate
    bare.place(Fraction(63))  # half a frame after the fifth beat, which is at frame 62.5
    bare.place(Fraction(32))  # and this is nearest to the third, at 31.25
    qtbot.mouseClick(panel.one, LEFT)
    assert panel.grid is not None
    beat = panel.grid.beat(rate.seconds(Fraction("31.25")))
    assert panel.grid.in_bar(beat).beat == 0
    qtbot.mouseClick(panel.onto_beat, LEFT)
    assert not panel.onto_beat.isChecked()
    qtbot.mouseClick(panel.one, LEFT)
    assert panel.grid.in_bar(panel.grid.beat(rate.seconds(Fraction(32)))).beat == 0
    before = panel.grid.at_s
    qtbot.mouseClick(panel.later, LEFT)
    assert panel.grid.at_s - before == rate.seconds(Fraction(1, 20))
    qtbot.mouseClick(panel.put, LEFT)
    assert tempo_of(bare).at_s == before + rate.seconds(Fraction(1, 20))
    qtbot.mouseClick(panel.half, LEFT)
    assert grid_of(panel).at_s == tempo_of(bare).at_s + Fraction(5, 16)


def test_bars_get_another_number_of_beats(panel: MusicPanel, bare: Desk, qtbot: QtBot) -> None:
    find(panel, qtbot)
    panel.metre.setFocus()
    qtbot.keyClick(panel.metre, Qt.Key.Key_Down)
    qtbot.mouseClick(panel.put, LEFT)
    assert tempo_of(bare).beats_per_bar == 3
    qtbot.keyClick(panel.metre, Qt.Key.Key_Up)  # and of the grid that the project has now
    qtbot.mouseClick(panel.put, LEFT)
    assert tempo_of(bare).beats_per_bar == 4


def test_taps_tell_the_tempo_by_enter_or_mouse(panel: MusicPanel, bare: Desk, clock: Clock, qtbot: QtBot) -> None:
    find(panel, qtbot)
    assert panel.grid is not None
    first = panel.grid.at_s
    panel.tap.setFocus()
    for number in range(3):
        clock.now_s = 100.2 + number * 0.5
        qtbot.keyClick(panel.tap, Qt.Key.Key_Return)
    assert "takes 4 taps at least; there are 3" in panel.said.text()
    for number in range(3, 8):
        clock.now_s = 100.2 + number * 0.5
        qtbot.mouseClick(panel.tap, LEFT)
    assert grid_of(panel) == TempoMap(Fraction(120), 4, first)
    assert "where the beats fall stays" in panel.said.text()
    held = QKeyEvent(QEvent.Type.KeyPress, Qt.Key.Key_Return, Qt.KeyboardModifier.NoModifier, "", True)
    QApplication.sendEvent(panel.tap, held)
    assert panel.tap.count == 8
    clock.now_s += 10
    qtbot.keyClick(panel.tap, Qt.Key.Key_Return)
    assert "there are 1" in panel.said.text()


def test_taps_while_the_playhead_runs_tell_where_beats_fall(
    panel: MusicPanel, bare: Desk, clock: Clock, qtbot: QtBot
) -> None:
    rate = bare.project.timebase.rate
    for number in range(8):
        clock.now_s = 50 + number * 0.625
        bare.place(rate.frames(Fraction(3) + number * Fraction(5, 8)))
        qtbot.keyClick(panel.tap, Qt.Key.Key_Enter)
    assert panel.grid is not None
    assert panel.grid.bpm == 96
    assert abs(panel.grid.nearest(Fraction(3)) - 3) < Fraction(1, 1000)


def test_while_editing_is_locked_nothing_is_put_on_the_grid(panel: MusicPanel, bare: Desk, qtbot: QtBot) -> None:
    notes: list[Note] = []
    bare.noted.connect(notes.append)
    find(panel, qtbot)
    bare.lock("the rig is armed")
    assert not panel.put.isEnabled()
    assert not panel.snap.show_it.isEnabled()
    panel.put_on_grid()
    assert bare.project.tempo is None
    bare.lock("")
    qtbot.mouseClick(panel.put, LEFT)
    assert tempo_of(bare).bpm == 96


def test_every_control_has_a_name_and_the_keyboard_reaches_it(panel: MusicPanel, qtbot: QtBot) -> None:
    find(panel, qtbot)
    inside = panel.widget()
    assert inside is not None
    controls = [
        one for one in inside.findChildren(QWidget) if one.focusPolicy() & Qt.FocusPolicy.TabFocus and one.isVisible()
    ]
    assert len(controls) >= 14
    # the text inside a box of numbers has the box's name
    assert not [one for one in controls if not one.accessibleName() and one.parent() is not panel.metre]
    order: list[QWidget] = []
    at: QWidget | None = panel.listen
    while at is not None and at not in order:
        order.append(at)
        at = at.nextInFocusChain()
    assert set(controls) <= set(order)


def test_it_fits_a_narrow_column(panel: MusicPanel, qtbot: QtBot) -> None:
    find(panel, qtbot)
    inside = panel.widget()
    assert inside is not None
    assert inside.minimumSizeHint().width() <= 340
