"""The menus: no two items share a shortcut or a letter, and a key does the same in the timeline as in the menu."""

from collections import Counter
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import pytest
from PyQt6.QtCore import QKeyCombination, Qt
from PyQt6.QtGui import QKeySequence
from pytestqt.qtbot import QtBot

from sequencer.project.begin import empty
from sequencer.project.store import load
from sequencer.shell.kinds import laws
from tests.ui.conftest import LANTERNS
from ui.actions import Item, Menu, Part, Topic, menus
from ui.acts import clipboard
from ui.acts.files import Files
from ui.desk import Desk, Note
from ui.timeline.keyboard import ACTS

TOLD: list[Topic] = []
HANDED: list[Part] = []


@pytest.fixture
def files(desk: Desk, tmp_path: Path) -> Iterator[Files]:
    made = Files(desk, tmp_path)
    yield made
    made.end()


def items(found: tuple[Menu, ...]) -> dict[str, Item]:
    return {item.name: item for menu in found for item in menu.items if item is not None}


def letters(words: list[str]) -> Counter[str]:
    return Counter(each[each.index("&") + 1].lower() for each in words if "&" in each)


def test_no_two_items_share_a_shortcut_a_name_or_a_letter_of_their_menu(desk: Desk, files: Files) -> None:
    found = menus(desk, files, None, TOLD.append, lambda: None, lambda: None, HANDED.append)
    names = [item.name for menu in found for item in menu.items if item is not None]
    assert len(names) == len(set(names))
    shortcuts = Counter(item.keys for item in items(found).values() if item.keys)
    assert max(shortcuts.values()) == 1
    assert max(letters([menu.words for menu in found]).values()) == 1
    for menu in found:
        assert max(letters([item.words for item in menu.items if item is not None]).values()) == 1


def test_what_hands_over_is_in_the_menu_of_files(desk: Desk, files: Files) -> None:
    there = items(menus(desk, files, hand=HANDED.append))
    for name in ("hand-over", "import", "report", "prep", "copy-project"):
        there[name].do()
        assert there[name].keys == ""
    assert HANDED == ["export", "import", "report", "prep", "copy"]
    assert "hand-over" not in items(menus(desk, files))


class Lanes:
    """A timeline whose keyboard is in the lane of tilt."""

    axis = "tilt"

    def other_lane(self, step: int, *, extend: bool = False) -> None:
        raise AssertionError

    def ask_numbers(self) -> None:
        raise AssertionError


def at_work() -> Desk:
    desk = Desk(load(LANTERNS, laws()), laws(), LANTERNS)
    desk.place(Fraction(400))
    desk.select({"pan": {2}})
    clipboard.copy_keys(desk)
    clipboard.paste_keys(desk)
    clipboard.cut_keys(desk)
    desk.undo()
    return desk


def seen(desk: Desk) -> tuple[object, ...]:
    return desk.project, desk.selection, desk.playhead, desk.span_s, len(desk.history.past)


def test_a_shortcut_of_the_menu_does_what_the_key_does_in_the_timeline(qtbot: QtBot, desk: Desk, files: Files) -> None:
    shared = {item.keys for item in items(menus(desk, files)).values()} & {text(*stroke) for stroke in ACTS}
    assert len(shared) > 12
    for stroke, act in ACTS.items():
        if text(*stroke) in shared:
            by_key, by_menu = at_work(), at_work()
            act(by_key, Lanes())
            found = items(menus(by_menu, files, axis=lambda: "tilt")).values()
            next(item for item in found if item.keys == text(*stroke)).do()
            assert seen(by_key) == seen(by_menu), text(*stroke)


def text(key: Qt.Key, held: Qt.KeyboardModifier) -> str:
    return QKeySequence(QKeyCombination(held, key)).toString(QKeySequence.SequenceFormat.PortableText)


def test_no_item_breaks_where_there_is_nothing(desk: Desk, files: Files) -> None:
    notes: list[Note] = []
    desk.open(empty(), None)
    desk.noted.connect(notes.append)
    for menu in menus(desk, files, tell=TOLD.append)[1:]:
        for item in menu.items:
            if item is not None and not item.everywhere:
                item.do()
    assert {note.weight for note in notes} >= {"refused"}
    while desk.history.past:
        desk.undo()
    assert desk.project == empty()


def test_acts_on_one_axis_are_for_the_lane_with_the_keyboard_or_the_chosen_keys(desk: Desk, files: Files) -> None:
    desk.select({"roll": {0}})
    items(menus(desk, files))["add-key"].do()
    assert desk.history.past[-1].words == "add a key of roll"
    items(menus(desk, files, axis=lambda: "focus"))["add-key"].do()
    assert desk.history.past[-1].words == "add a key of focus"


def test_help_tells_its_topics(desk: Desk, files: Files) -> None:
    told: list[Topic] = []
    found = items(menus(desk, files, tell=told.append))
    found["help-keys"].do()
    found["cautions"].do()
    assert told == ["keys", "cautions"]
    assert "help-keys" not in items(menus(desk, files))
