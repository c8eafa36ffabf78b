"""Whatever is said while a rig may move stands in docs/messages.md, and nothing else does."""

import ast
from collections import Counter

import pytest

from tests.house import noted
from tests.house.messages import CONSTANTS, PAGE, Message, Row, constants, messages, rows, speaks, tells, template
from tests.house.pieces import ELSEWHERE, PIECES
from tests.house.said import UNREACHED, missing


@pytest.fixture(scope="module")
def said() -> list[Message]:
    return [one for path, tree in noted.sources() for one in messages(tree, path)]


def test_every_message_has_its_row(said: list[Message]) -> None:
    table = rows()
    lacking = {one.template: one for one in said if not any(tells(row, one.template) for row in table)}
    assert not [f"{one.path}:{one.node.lineno}: {one.template}" for one in lacking.values()]


def test_no_row_is_of_what_nobody_says_any_more(said: list[Message]) -> None:
    templates = {one.template for one in said}
    assert not [row.said for row in rows() if not any(tells(row, one) for one in templates)]


def test_no_message_has_two_rows() -> None:
    assert not [said for said, times in Counter(row.said for row in rows()).items() if times > 1]


def test_a_sentence_that_is_kept_as_a_constant_is_looked_for_where_it_is_named() -> None:
    kept = [
        (path, name, text) for path, tree in noted.sources() if speaks(path) for name, text in constants(tree).items()
    ]
    known = [(path, name) for path, name, text in kept if text not in PIECES.get(path, ())]
    assert sorted(known) == sorted((path, name) for name, path in CONSTANTS.items())


def test_what_is_left_out_is_still_there() -> None:
    known = {
        path: {text for one in ast.walk(tree) if (text := template(one)) is not None} for path, tree in noted.sources()
    }
    assert known.keys() >= ELSEWHERE
    assert not [(path, piece) for path, pieces in PIECES.items() for piece in pieces if piece not in known[path]]


def test_the_page_begins_with_what_always_holds() -> None:
    begin = "\n".join(PAGE.read_text(encoding="utf-8").splitlines()[:7])
    for words in (
        "hard-wired emergency stop first",
        "not a safety device",
        "latched",
        "only the operator",
        "Reset moves nothing",
    ):
        assert words in begin


SPEAKS = '''
LATER = "a sentence that is made when it is named"

def speak(engine, name, codes={"a b": 1}):
    """Say something."""
    engine.say(0, "code", f"the rig of {name} does {name!r}; look at it")
    match name:
        case "a word that is matched":
            raise LinkError(f"{name} is not here; bring it")
    return f"braking: {name}" if Stop(f"why: {name}") else "one"
'''


def test_what_is_found_in_a_module_that_speaks() -> None:
    found = [one.template for one in messages(ast.parse(SPEAKS), "sequencer/shell/other.py")]
    assert found == ["the rig of {} does {}; look at it", "why: {}"]


@pytest.mark.parametrize("path", ["sequencer/score/laws.py", "ui/panels/check.py", "sequencer/shell/listen.py"])
def test_nothing_is_found_where_nobody_speaks_during_a_run(path: str) -> None:
    assert not list(messages(ast.parse(SPEAKS), path))


def test_of_the_editors_words_those_count_that_say_a_failure() -> None:
    tree = ast.parse(
        'def show():\n    translate("run", "connect a rig first")\n    translate("run", "Hold to arm it")\n'
    )
    assert [one.template for one in messages(tree, "ui/run/other.py")] == ["connect a rig first"]


@pytest.mark.parametrize(
    ("said", "template", "yes"),
    [
        ("AXIS is away for SECONDS s", "{} is away for {} s", True),
        ("AXIS is away for 0.5 s", "{} is away for {} s", True),
        ("AXIS, LEFT is away for 0.5 s", "{}{} is away for {} s", True),
        ("AXIS is away for some s", "{} is away for {} s", False),
        ("AXIS is away for SECONDS s; look", "{} is away for {} s", False),
        ("axis is away for SECONDS s", "{} is away for {} s", False),
    ],
)
def test_a_row_tells_of_a_sentence_if_capitals_or_numbers_fill_it(said: str, template: str, yes: bool) -> None:
    assert tells(Row(said, "", "", ""), template) is yes


def test_a_row_with_an_empty_cell_is_no_row(tmp_path: pytest.TempPathFactory) -> None:
    page = tmp_path / "messages.md"  # type: ignore[operator]  # pytest's own path
    page.write_text("| message | what happened | the rig | what to do next |\n| a b | c |  | d |\n", encoding="utf-8")
    with pytest.raises(ValueError, match="a row has a message"):
        rows(page)


def test_what_was_not_said_is_named(said: list[Message]) -> None:
    met = {noted.key(one.path, one.node) for one in said if one.template != "the cue is done"}
    assert [line.rpartition(": ")[2] for line in missing(met)] == ["the cue is done"]


def test_what_no_test_can_bring_about_is_still_said(said: list[Message]) -> None:
    assert UNREACHED.keys() <= {(one.path, one.template) for one in said}
