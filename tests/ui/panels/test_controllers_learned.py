"""A control is learned by moving or pressing it: which one counts, what loses it, and when nothing may be learned."""

from collections.abc import Callable

import pytest
from PyQt6.QtCore import Qt
from pytestqt.qtbot import QtBot

from sequencer.live.handling import Deed, Drives, Held, default_handlings
from tests.ui.panels.controllers_setting import Setting, press, pull, setting
from ui.panels.controllers_roles import LEARN_MS

__all__ = ["setting"]  # a fixture


def test_a_stick_is_learned_with_its_way_and_what_it_did_before_is_told(setting: Setting) -> None:
    table = setting.table
    table.say()
    said = setting.learn(Drives("tilt"), lambda: table.say(left_x=-0.9))
    assert said == "left x: move tilt. left x did “move pan” before; give that another control."
    assert not setting.form.roles.learning
    assert setting.row(Drives("tilt"))[1:] == ("left x", "the other way round")
    assert setting.row(Drives("pan"))[1] == "none"
    assert setting.row(Drives("roll"))[1] == "left x"  # with the modifier it is another one
    assert len(setting.desk.history.past) == 1
    setting.desk.undo()
    assert setting.hands == ()
    assert setting.row(Drives("pan"))[1] == "left x"


def test_a_button_is_learned_for_a_deed_and_a_trigger_to_be_held(setting: Setting) -> None:
    table = setting.table
    table.say()
    setting.learn(Deed.PUNCH, lambda: table.say("left stick"))
    assert setting.row(Deed.PUNCH)[1] == "left stick"
    table.say()
    setting.learn(Held.ENABLING, lambda: table.say(right_trigger=1.0))
    assert setting.hands[0].enabling == "right trigger"
    assert setting.hands[1] == default_handlings(setting.desk.project.rig)[1]


def test_what_hardly_moves_or_was_off_centre_before_is_not_learned(setting: Setting) -> None:
    table, roles = setting.table, setting.form.roles
    table.say(right_y=1.0)
    setting.learn(Drives("slide"), lambda: table.say(right_y=1.0, left_y=0.3))
    assert roles.learning
    table.say(right_y=1.0, left_y=0.8)
    assert setting.row(Drives("slide"))[1] == "left y"


def test_learning_is_left_by_escape_by_another_line_and_after_a_while(setting: Setting) -> None:
    table, roles = setting.table, setting.form.roles
    table.say()

    def escape() -> None:
        QtBot.keyClick(roles.learn, Qt.Key.Key_Escape)

    def give_up() -> None:
        assert roles._patience.interval() == LEARN_MS
        roles._patience.timeout.emit()

    for leave in (escape, give_up, lambda: setting.choose(Deed.STORE), lambda: press(roles.learn)):
        setting.choose(Drives("pan"))
        press(roles.learn)
        assert roles.learning
        leave()
        assert not roles.learning
        assert not roles.learn.isChecked()
        table.say(right_x=1.0)
        table.say()
    assert not setting.desk.dirty


def test_an_operator_learns_from_the_own_pad(setting: Setting) -> None:
    table = setting.table
    table.say()
    table.say(pad=1, name="Other")
    pull(setting.form.operator, "second operator")
    setting.learn(Drives("focus"), lambda: table.say(left_y=1.0))
    assert setting.form.roles.learning
    table.say(pad=1, name="Other", right_y=-1.0)
    assert setting.row(Drives("focus"))[1:] == ("right y", "the other way round")
    assert [len(one.sticks) for one in setting.hands] == [5, 1]


def test_a_pad_with_numbers_only_learns_them(setting: Setting) -> None:
    table = setting.table
    table.say_odd(0.0, 0.0, 0.0)
    assert setting.row(Drives("pan"))[2] == "not on this pad"
    setting.learn(Drives("pan"), lambda: table.say_odd(0.0, 0.0, 1.0))
    assert setting.row(Drives("pan"))[1:] == ("axis 2", "")
    table.say_odd(0.0, 0.0, 0.0)
    setting.learn(Deed.STOP, lambda: table.say_odd(0.0, 0.0, 0.0, buttons=(7,)))
    assert setting.row(Deed.STOP)[1] == "button 7"


def no_pad(setting: Setting) -> None:
    setting.table.say(here=False)


def in_hand(setting: Setting) -> None:
    setting.in_hand = True


def locked(setting: Setting) -> None:
    setting.desk.lock("the rig is armed or moves")


@pytest.mark.parametrize(
    ("hinder", "words"), [(no_pad, "plug one in"), (in_hand, "give them back first"), (locked, "armed or moves")]
)
def test_why_nothing_can_be_learned_is_said(setting: Setting, hinder: Callable[[Setting], None], words: str) -> None:
    setting.table.say()
    hinder(setting)
    setting.choose(Drives("pan"))
    press(setting.form.roles.learn)
    assert not setting.form.roles.learning
    assert words in setting.form.roles.fault.text()


def test_learning_ends_where_pads_are_taken_in_hand_meanwhile(setting: Setting) -> None:
    setting.table.say()
    setting.choose(Drives("pan"))
    press(setting.form.roles.learn)
    setting.in_hand = True
    setting.table.say(right_x=1.0)
    assert "give them back first" in setting.form.roles.fault.text()
    assert not setting.desk.dirty


def test_what_is_held_to_drive_moves_nothing_as_well(setting: Setting) -> None:
    setting.table.say()
    setting.learn(Drives("slide"), lambda: setting.table.say(left_trigger=1.0))
    assert "left trigger is the enabling control" in setting.form.roles.fault.text()
    assert not setting.desk.dirty
    setting.table.say()  # it stays to be read while pads go on
    assert "left trigger is the enabling control" in setting.form.roles.fault.text()
