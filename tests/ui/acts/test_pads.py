"""Pads as the editor watches them: only while it is asked to, and given to operators as an engine gives them."""

from dataclasses import replace

import pytest
from pytestqt.qtbot import QtBot

from sequencer.live.handling import default_handlings
from tests.ui.watched import Table
from ui.acts.pads import PadWatch, assigned, operator, start
from ui.desk import Desk
from ui.link.company import Aside


@pytest.fixture
def table(qtbot: QtBot) -> Table:
    return Table()


def test_pads_are_known_only_while_they_are_watched(table: Table) -> None:
    watch = table.watch
    assert watch.here == {}
    watch.begin()
    assert watch.looking
    watch.look()
    assert not watch.looking
    table.say("lower", left_x=0.5)
    table.say(pad=1, name="Other")
    assert [pad.name for pad in watch.here.values()] == ["Pad", "Other"]
    table.say(pad=0, here=False)
    assert list(watch.here) == [1]
    watch.end()
    assert watch.here == {}
    assert (table.begun, table.ended) == (1, 1)
    watch.begin()
    watch.begin()
    assert (table.begun, table.ended) == (2, 1)


def test_why_none_can_be_watched_is_told_and_forgotten_with_the_next_look(table: Table) -> None:
    watch = table.watch
    watch.begin()
    table.say()
    table.break_down("game controllers need the SDL2 library")
    assert watch.trouble == "game controllers need the SDL2 library"
    assert watch.here == {}
    assert table.ended == 1
    table.fault = ""
    watch.begin()
    watch.look()
    assert watch.trouble == ""


def test_a_process_that_does_not_start_is_trouble(qtbot: QtBot) -> None:
    def refuse() -> None:
        raise OSError("no room for another process")

    watch = PadWatch(start=refuse)  # type: ignore[arg-type]  # it never returns
    watch.begin()
    qtbot.waitUntil(lambda: watch.trouble != "")
    assert "no room" in watch.trouble
    watch.end()


def test_what_starts_after_nobody_watches_any_more_is_ended(qtbot: QtBot) -> None:
    table = Table()
    aside = Aside()
    watch = PadWatch(start=table._start, aside=aside)
    watch.begin()
    watch.end()
    qtbot.waitUntil(lambda: table.ended == 1)
    assert watch.here == {}
    aside.wait()


@pytest.mark.real_time
def test_the_pads_of_this_machine_are_watched_by_a_process_that_ends(qtbot: QtBot) -> None:
    aside = Aside()
    watch = PadWatch(start=start, aside=aside)
    watch.begin()
    qtbot.waitUntil(lambda: not watch.looking, timeout=15_000)
    assert watch.trouble == ""
    talk = watch._talking.talk
    watch.end()
    aside.wait()
    assert talk is not None
    assert talk._process.returncode == 0  # type: ignore[attr-defined]  # a real companion


def test_pads_are_given_to_operators_in_the_order_in_which_they_came(table: Table, desk: Desk) -> None:
    watch = table.watch
    watch.begin()
    for pad in (0, 1, 2):
        table.say(pad=pad)
    rig = desk.project.rig
    found = assigned(rig, default_handlings(rig), watch.here)
    assert [one.place for one in found] == [0, 1, None]
    assert [operator(one.place) for one in found][:2] == ["first operator", "second operator"]
    assert found[0].lacks == ()
    assert "drives nothing" in found[1].lacks[0]


def test_a_pad_that_is_named_has_its_own_whenever_it_comes(table: Table, desk: Desk) -> None:
    watch, rig = table.watch, desk.project.rig
    first, second = default_handlings(rig)
    watch.begin()
    table.say(pad=0, name="Other")
    table.say_odd(0.0, 0.0, pad=1)
    found = assigned(rig, (replace(first, pad="Odd pad"), second), watch.here)
    assert [(one.pad.name, one.place) for one in found] == [("Other", 1), ("Odd pad", 0)]
    assert "no left trigger" in found[1].lacks[0]


def test_a_line_that_is_no_pad_is_trouble(table: Table) -> None:
    table.watch.begin()
    table.left.append({"pad": 0})
    table.watch.look()
    assert "what is no pad" in table.watch.trouble
