"""The page of refusals is that of the source, each message says what to do, and what no test raises gets no more."""

import ast
from collections import Counter
from typing import Any

import pytest

from tests.house import noted, raised, told
from tests.house.raised import MENDLESS, OURS, UNREACHED, Refusal, refusals
from tests.house.refusals import PAGE, SITUATIONS, known, listed, page, situation

MOST_UNRAISED = 0


def test_the_page_is_current() -> None:
    assert PAGE.read_text(encoding="utf-8") == page(), "run: python -m tests.house.refusals"


def test_every_message_says_what_to_do_next() -> None:
    assert not [f"{one.path}:{one.line}: {one.words}" for one in refusals() if not one.mend and not one.mendless]


def test_no_exception_is_left_over() -> None:
    for path, begins in MENDLESS:
        assert [
            one for one in refusals() if one.path.startswith(path) and one.words.startswith(begins) and not one.mend
        ]
    for path, words in UNREACHED:
        assert [one for one in refusals() if one.path == path and words in one.words], words
    files = [path for path, _ in noted.sources()]
    assert not [begins for begins in OURS if not any(path.startswith(begins) for path in files)]


def test_what_no_test_raises_yet_only_shrinks() -> None:
    assert not known() - set(listed(refusals())), (
        "these are not there any more: take them out of tests/house/unraised.txt"
    )
    assert len(known()) <= MOST_UNRAISED


def test_every_situation_is_met() -> None:
    assert set(Counter(situation(one).title for one in refusals())) == {one.title for one in SITUATIONS}


SOURCE = """
from sequencer.errors import LinkError, ProjectError

_WORDS = {"a": "is away", "b": "is busy"}

def nearer(place: str, axis: Axis, number: int) -> None:
    raise ProjectError(f"axes[{number}]", f"{axis.name} is {place!r} by {len(place)}", "move " + "it")

def chosen(far: bool) -> None:
    if far:
        what, mend = "it is far", "go there"
    else:
        what, mend = "it is near", "wait"
    raise LinkError(f"{what}; {mend}")

def made(path: str) -> None:
    raise refusal(path, "x") from None

def refusal(path: str, why: str) -> LinkError:
    return LinkError(f"{path}: {why}; look")

def known(word: str) -> None:
    raise LinkError(f"it {_WORDS[word]}; ask {'it' if word else 'them'}")

def either(far: bool) -> None:
    raise LinkError("it is off; switch it on" if far else "it is on; go on")

def last(far: bool, near: bool) -> None:
    what = "it waits; let it"
    if far:
        what = "it is lost; look"
        raise LinkError(what)
    if near:
        what = "it is here; stop"
    raise LinkError(what)

def again(fault: LinkError) -> None:
    raise fault
"""


def test_words_are_read_from_the_source(monkeypatch: pytest.MonkeyPatch) -> None:
    tree = ast.parse(SOURCE)
    monkeypatch.setattr(raised, "_FOUND", [])
    monkeypatch.setattr(
        raised, "program", lambda: {"sequencer/cli/made.py": told.Module("sequencer/cli/made.py", tree)}
    )
    found = sorted(raised.refusals(), key=lambda one: (one.line, one.words))
    assert [one.words for one in found] == [
        "project.json: axes[NUMBER]: AXIS is 'PLACE' by N; move it",
        "it is far; go there",
        "it is near; wait",
        "PATH: x; look",
        "it is away; ask it/them",
        "it is busy; ask it/them",
        "it is off; switch it on",
        "it is on; go on",
        "it is lost; look",
        "it is here; stop",
        "it waits; let it",
    ]
    assert [one.mend for one in found[:3]] == ["move it", "go there", "wait"]
    assert Refusal("sequencer/wire/x.py", 1, "PeerError", "no message", frozenset()).mendless
    # each choice of words is a place of its own, beside the error itself
    assert [len(one.places) for one in found] == [1, 1, 1, 1, 1, 1, 2, 2, 2, 2, 2]


def test_what_is_made_is_noted_and_handed_on(monkeypatch: pytest.MonkeyPatch) -> None:
    tree = ast.parse("def f(far):\n    return 'away' if far else 'here'\n")
    choice = next(node for node in ast.walk(tree) if isinstance(node, ast.IfExp))
    seen: set[str] = set()
    monkeypatch.setattr(noted, "NOTED", seen)
    wrapped = noted.wrapped(tree, "m.py", [choice.body, choice.orelse])
    room: dict[str, object] = {"__noted__": noted.note}
    exec(compile(wrapped, "m.py", "exec"), room)
    assert callable(room["f"])
    assert room["f"](True) == "away"
    assert seen == {noted.key("m.py", choice.body)}
    assert room["f"](False) == "here"
    assert seen == {noted.key("m.py", choice.body), noted.key("m.py", choice.orelse)}


def test_of_a_choice_only_the_words_that_are_chosen_are_noted(monkeypatch: pytest.MonkeyPatch) -> None:
    """A choice begins where its first words do: that it was made says nothing of these."""
    text = "def f(far):\n    raise LinkError('away; look' if far else 'here; wait')\n"
    tree = ast.parse(text)
    monkeypatch.setattr(raised, "_FOUND", [])
    monkeypatch.setattr(raised, "program", lambda: {"m.py": told.Module("m.py", ast.parse(text))})
    seen: set[str] = set()
    monkeypatch.setattr(noted, "NOTED", seen)
    room: dict[str, Any] = {"__noted__": noted.note, "LinkError": ValueError}
    exec(compile(noted.wrapped(tree, "m.py", list(raised.places(tree, "m.py"))), "m.py", "exec"), room)
    with pytest.raises(ValueError, match="here"):
        room["f"](False)
    assert [one.words for one in raised.missing(seen)] == ["away; look"]
