"""The check panel: what is over, worst first; a click goes there; combined limits are judged a moment later."""

from dataclasses import replace
from fractions import Fraction

import pytest
from PyQt6.QtCore import Qt
from pytestqt.qtbot import QtBot

from sequencer.motion.check import check
from sequencer.rig.limits import SumLimit
from sequencer.score.edits.offset import offset
from sequencer.score.move import Ease
from ui.desk import Desk
from ui.panels.check import CheckPanel
from ui.panels.faults import Leg, Together


@pytest.fixture
def panel(desk: Desk, qtbot: QtBot) -> CheckPanel:
    panel = CheckPanel(desk)
    qtbot.addWidget(panel)
    panel.resize(760, 260)
    panel.show()
    return panel


def too_fast(desk: Desk) -> None:
    move = desk.project.move
    desk.edit("faster", replace(move, passes=tuple(replace(one, speed=Fraction(2)) for one in move.passes)))


def click(panel: CheckPanel, row: int, qtbot: QtBot) -> None:
    place = panel.table.visualRect(panel.table.model().index(row, 0)).center()  # type: ignore[union-attr]  # there is one
    qtbot.mouseClick(panel.table.viewport(), Qt.MouseButton.LeftButton, pos=place)


def test_a_move_that_fits_says_what_is_left(panel: CheckPanel, desk: Desk) -> None:
    assert not panel.rows
    assert panel.table.isHidden()
    assert panel.sentence.text().startswith("It can be done.")
    done = check(desk.project.rig, desk.project.move, desk.project.timebase.rate, desk.laws)
    assert f"{int(done.reserve * 100)} %" in panel.sentence.text()


def test_the_legs_that_are_over_are_those_of_the_check_in_its_order(panel: CheckPanel, desk: Desk) -> None:
    too_fast(desk)
    project = desk.project
    legs = check(project.rig, project.move, project.timebase.rate, desk.laws, Fraction(2)).over()
    shown = [row for row in panel.rows if isinstance(row, Leg)]
    assert len(shown) == len(legs) > 2
    assert [row.asked.excess for row in shown] == pytest.approx([leg.worst.excess for leg in legs])
    assert {(row.axis, row.key) for row in shown} == {(leg.axis, leg.key) for leg in legs}
    assert [row.asked.of for row in shown] == [leg.worst.of for leg in legs]
    assert (
        panel.sentence.text()
        == f"It cannot be done as it is: {len(legs)} legs are over. Worst: pan, 147 % over its jerk."
    )


def test_a_click_chooses_the_keys_of_the_leg_and_brings_it_in_sight(
    panel: CheckPanel, desk: Desk, qtbot: QtBot
) -> None:
    too_fast(desk)
    desk.look(0.0, 1.0)
    before = desk.project
    row = panel.rows[1]
    assert isinstance(row, Leg)
    click(panel, 1, qtbot)
    assert desk.selection == {row.axis: frozenset({row.key, row.key + 1})}
    assert desk.span_s[0] <= row.from_s
    assert row.to_s <= desk.span_s[1]
    assert desk.playhead_s == pytest.approx(row.asked.at_s, abs=0.001)
    assert desk.project is before


def test_the_keyboard_goes_there_too(panel: CheckPanel, desk: Desk, qtbot: QtBot) -> None:
    too_fast(desk)
    qtbot.keyClick(panel.table, Qt.Key.Key_Down)
    qtbot.keyClick(panel.table, Qt.Key.Key_Return)
    assert len(desk.selection) == 1


def test_it_is_judged_while_the_hand_still_drags(panel: CheckPanel, desk: Desk) -> None:
    desk.draft(offset(desk.project.move, {"pan": {1}}, value=100.0))
    assert any(isinstance(row, Leg) and row.axis == "pan" for row in panel.rows)
    desk.abandon()
    assert not panel.rows


def test_a_hidden_panel_catches_up_when_it_is_shown(panel: CheckPanel, desk: Desk) -> None:
    panel.hide()
    too_fast(desk)
    assert not panel.rows
    panel.show()
    assert panel.rows
    assert panel.sentence.text().startswith("It cannot be done")


def test_travel_and_jumps_are_named(panel: CheckPanel, desk: Desk) -> None:
    move = desk.project.move
    desk.edit("tilt too far", offset(move, {"tilt": set(range(len(move.tracks[1].keys)))}, value=70.0))
    assert "over its travel" in panel.sentence.text()
    desk.undo()
    keys = tuple(replace(key, ease=Ease("linear")) for key in move.tracks[0].keys)
    desk.edit("linear", replace(move, tracks=(replace(move.tracks[0], keys=keys), *move.tracks[1:])))
    assert "pan, speed jumps" in panel.sentence.text()
    model = panel.table.model()
    assert model is not None
    assert model.index(0, 2).data() == "∞"


def test_a_move_that_cannot_be_compiled_says_why(panel: CheckPanel, desk: Desk) -> None:
    move = desk.project.move
    keys = list(move.tracks[0].keys)
    keys[1] = replace(keys[1], ease=Ease("no such law"))
    desk.edit("spoil", replace(move, tracks=(replace(move.tracks[0], keys=tuple(keys)), *move.tracks[1:])))
    assert panel.sentence.text().startswith("pan cannot be worked out")


def test_combined_limits_are_judged_when_the_hand_rests(panel: CheckPanel, desk: Desk, qtbot: QtBot) -> None:
    rig = desk.project.rig
    tied = SumLimit(name="cable", sum=(("pan", 1.0), ("tilt", 1.0)), speed=5.0)
    with qtbot.waitSignal(panel.judged, check_params_cb=lambda: "combined limit" in panel.sentence.text()):
        desk.edit("tie", replace(desk.project, rig=replace(rig, combined=(tied,))))
        assert panel.sentence.text().endswith("Combined limits…")
    assert "one combined limit is broken" in panel.sentence.text()
    row = panel.rows[-1]
    assert isinstance(row, Together)
    assert row.name == "cable"
    done = check(desk.project.rig, desk.project.move, desk.project.timebase.rate, desk.laws)
    assert row.asked == done.combined_over()[0][1]
    click(panel, len(panel.rows) - 1, qtbot)
    assert desk.playhead_s == pytest.approx(row.asked.at_s, abs=0.001)


def test_an_answer_for_an_older_move_is_dropped(panel: CheckPanel, desk: Desk, qtbot: QtBot) -> None:
    rig = desk.project.rig
    tied = SumLimit(name="cable", sum=(("pan", 1.0), ("tilt", 1.0)), speed=5.0)
    desk.edit("tie", replace(desk.project, rig=replace(rig, combined=(tied,))))
    panel._judge()
    job = panel._job
    assert job is not None
    desk.undo()
    assert job.join(30)
    qtbot.wait(1)
    assert panel.sentence.text().startswith("It can be done.")


def test_mixed_look_modes_are_told_beside_the_sentence(panel: CheckPanel, desk: Desk) -> None:
    assert panel.warning.isHidden()
    assert panel.warning.text() == ""
    rig = desk.project.rig
    axes = (replace(rig.axes[0], reference="world"), replace(rig.axes[1], reference="base"), *rig.axes[2:])
    desk.edit("look modes", replace(desk.project, rig=replace(rig, axes=axes)))
    assert panel.warning.isVisible()
    assert panel.warning.text().startswith("The move mixes look modes: pan is set against the world")
    assert panel.sentence.text().startswith("It can be done.")
