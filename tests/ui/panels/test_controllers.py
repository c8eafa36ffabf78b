"""Controllers in the setup: what is shown of pads, what is typed and chosen, and what is refused at its place."""

from dataclasses import replace
from pathlib import Path

import pytest
from PyQt6.QtCore import QPoint, Qt
from pytestqt.qtbot import QtBot

from sequencer.live.handling import SPARE, Deed, Drives, Handling, Held, default_handlings
from sequencer.project.store import load, save
from sequencer.shell.kinds import laws
from tests.ui.panels.controllers_setting import Setting, press, pull, setting, write
from ui.panels.controllers import Feel, feels
from ui.theme import SUN

__all__ = ["setting"]  # a fixture


def test_the_defaults_are_shown_and_no_step_is_made_of_it(setting: Setting) -> None:
    assert setting.row(Drives("pan")) == ("move pan", "left x", "")
    assert setting.row(Drives("roll"))[1:] == ("left x", "with the modifier")
    assert setting.row(Held.ENABLING)[1] == "left trigger"
    assert setting.row(Deed.STOP)[1] == "start"
    assert not setting.desk.dirty
    assert not setting.form.defaults.isEnabled()
    assert "No controller is here" in setting.form.here.none.text()


def test_pads_are_shown_as_they_speak_and_as_they_go(setting: Setting) -> None:
    table, here = setting.table, setting.form.here
    table.say("lower", left_x=0.4, left_trigger=1.0)
    card = here.cards[0]
    assert card.title.text() == "Pad 1, Pad: first operator"
    assert card.pushed.text() == "left x +40%, left trigger +100%, lower"
    assert card.meters.accessibleDescription() == card.pushed.text()
    assert not card.lacks.isVisible()
    table.say()
    assert card.pushed.text() == "all let go"
    table.say_odd(0.0, -0.5, pad=1)
    assert "only numbers" in here.cards[1].lacks.text()
    assert "no left trigger" in here.cards[1].lacks.text()
    table.say(here=False)
    assert [one.title.text() for one in here.cards] == ["Pad 2, Odd pad: first operator"]
    table.tell("the game controller Stuck cannot be opened (busy); plug it in again")
    assert "cannot be opened" in here.trouble.text()
    table.break_down("game controllers need the SDL2 library")
    assert "SDL2" in here.trouble.text()
    assert here.cards == []


def test_pads_are_watched_only_while_they_are_in_sight(setting: Setting) -> None:
    assert (setting.table.begun, setting.table.ended) == (1, 0)
    setting.form.hide()
    assert (setting.table.begun, setting.table.ended) == (1, 1)


def test_a_control_is_chosen_by_name_with_the_keyboard(setting: Setting) -> None:
    setting.choose(Drives("slide"))
    setting.form.roles.control.box.setFocus()
    box = setting.form.roles.control.box
    box.setCurrentText("right trigger")
    box.activated.emit(box.currentIndex())
    assert setting.row(Drives("slide"))[1] == "right trigger"
    box.setCurrentIndex(0)
    box.activated.emit(0)
    assert setting.row(Drives("slide"))[1] == "none"


def test_why_a_name_was_refused_stays_while_pads_go_on(setting: Setting) -> None:
    setting.table.say()
    setting.choose(Drives("slide"))
    control = setting.form.roles.control
    control.box.setCurrentText("left shoulder")
    control.box.activated.emit(control.box.currentIndex())
    assert "left shoulder is the modifier" in control.fault.text()
    setting.table.say(left_x=0.3)
    assert "left shoulder is the modifier" in control.fault.text()


def test_an_operator_that_the_project_does_not_know_yet_is_added(setting: Setting) -> None:
    desk = setting.desk
    first = default_handlings(desk.project.rig)[0]
    desk.edit("one operator", replace(desk.project, hands=(first,)))
    pull(setting.form.operator, "second operator")
    write(setting.form.feels["top"][1], "30")
    assert setting.hands == (first, replace(SPARE, top=0.3))


def test_a_line_loses_its_control_and_nothing_to_hold_is_cautioned(setting: Setting) -> None:
    roles = setting.form.roles
    assert not roles.caution.isVisible()
    setting.choose(Held.ENABLING)
    press(roles.none)
    assert setting.hands[0].enabling is None
    assert "Whatever touches a stick moves the rig" in roles.caution.text()
    setting.choose(Held.MODIFIER)
    press(roles.none)
    assert "roll needs a modifier" in roles.fault.text()
    setting.choose(Deed.PUNCH)
    press(roles.none)
    assert setting.row(Deed.PUNCH)[1] == "none"


def test_a_stick_is_turned_round_put_on_the_modifier_and_given_a_range(setting: Setting) -> None:
    roles = setting.form.roles
    setting.choose(Drives("slide"))
    press(roles.round)
    assert setting.row(Drives("slide"))[2] == "the other way round"
    tick = roles.modifier.box
    QtBot.mouseClick(tick, Qt.MouseButton.LeftButton, pos=QPoint(8, tick.height() // 2))
    write(roles.swing, "20 cm")
    assert setting.row(Drives("slide"))[2] == "with the modifier, the other way round, range 200 mm"
    write(roles.swing, "-5")
    assert "above zero" in roles.swing.fault.text()
    write(roles.swing, "")
    assert next(one for one in setting.hands[0].sticks if one.axis == "slide").range is None


@pytest.mark.parametrize(
    ("name", "text", "value"),
    [
        ("dead_band", "20", 0.2),
        ("response", "0 %", 0.0),
        ("smoothing_s", "150 ms", 0.15),
        ("top", "75", 0.75),
        ("fine", "12,5", 0.125),
    ],
)
def test_how_a_pad_feels_is_typed(setting: Setting, name: str, text: str, value: float) -> None:
    field = setting.form.feels[name][1]
    write(field, text)
    assert field.fault.text() == ""
    assert getattr(setting.hands[0], name) == pytest.approx(value)
    assert len(setting.desk.history.past) == 1


@pytest.mark.parametrize("feel", feels(), ids=lambda feel: feel.name)
def test_what_is_refused_at_the_field_could_not_be_kept(setting: Setting, feel: Feel) -> None:
    field, plain = setting.form.feels[feel.name][1], Handling()

    def kept(value: float) -> Handling:
        return replace(plain, **{feel.name: value / feel.shown})  # type: ignore[arg-type]  # one dict of many types

    for value in (feel.low, feel.high):
        assert getattr(kept(value), feel.name) == value / feel.shown
    for value in (feel.low - 1, feel.high + 1):
        with pytest.raises(ValueError, match=feel.name):
            kept(value)
        write(field, f"{value:g}")
        assert "write a number from" in field.fault.text()
    assert not setting.desk.dirty


def test_manner_and_range_are_chosen_or_typed(setting: Setting) -> None:
    form = setting.form
    pull(form.manner, "spring-back: how far")
    assert setting.row(Drives("slide"))[2] == "rate control: it has no range"
    pull(form.range, "180 °")
    assert (setting.hands[0].manner, setting.hands[0].range_deg) == ("spring", 180.0)
    write(form.typed_range, "60")
    assert setting.hands[0].range_deg == 60.0
    assert form.range.box.currentText() == "60 °"
    write(form.typed_range, "0")
    assert "above zero" in form.typed_range.fault.text()
    write(form.priority, "2.5")
    assert "whole number" in form.priority.fault.text()
    write(form.priority, "3")
    assert setting.hands[0].priority == 3


def test_an_operator_has_the_pad_with_a_name(setting: Setting) -> None:
    setting.table.say(name="Left hand")
    pull(setting.form.pad, "Left hand")
    assert setting.hands[0].pad == "Left hand"
    setting.table.say(name="Left hand", here=False)
    assert setting.form.pad.box.currentText() == "Left hand"
    setting.table.say(pad=1)
    assert "Pad 2, Pad: second operator" in setting.form.here.cards[0].title.text()


def test_all_is_as_the_defaults_say_again_in_one_step(setting: Setting) -> None:
    setting.choose(Held.ENABLING)
    press(setting.form.roles.none)
    write(setting.form.feels["top"][1], "100")
    press(setting.form.defaults)
    assert not setting.hands
    assert setting.form.feels["top"][1].line.text() == "50"
    setting.desk.undo()
    assert setting.hands[0].top == 1.0


def test_a_locked_desk_keeps_its_hands(setting: Setting) -> None:
    setting.desk.lock("the rig is armed or moves")
    write(setting.form.feels["top"][1], "100")
    assert "armed or moves" in setting.form.feels["top"][1].fault.text()
    assert not setting.desk.dirty


def test_it_is_kept_in_the_project(setting: Setting, tmp_path: Path) -> None:
    setting.table.say()
    setting.learn(Drives("tilt"), lambda: setting.table.say(right_y=1.0))
    save(tmp_path, setting.desk.project, laws())
    assert load(tmp_path, laws()).hands == setting.hands


def test_each_axis_is_drawn_to_its_own_side_in_both_themes(setting: Setting) -> None:
    setting.table.say()
    meters = setting.form.here.cards[0].meters
    pictures = [meters.grab().toImage()]
    for axis in ("left_x", "left_y", "right_x", "right_y", "left_trigger", "right_trigger"):
        for value in (0.5, -0.5):
            setting.table.say(**{axis: value})  # type: ignore[arg-type]  # the name of a stick is a keyword of its own
            pictures.append(meters.grab().toImage())
    setting.table.say()
    assert meters.grab().toImage() == pictures[0]
    setting.desk.dress(SUN)
    pictures.append(meters.grab().toImage())
    assert all(one != other for place, one in enumerate(pictures) for other in pictures[:place])
