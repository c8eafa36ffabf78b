"""What the terminal says and sounds when the link to the rig changes, and what it says of the link now and then."""

import io

import pytest
from msgspec.structs import replace
from rich.console import Console

from sequencer.cli.link_shown import LinkShown, link_words
from sequencer.shell.messages import Status

UP = Status(
    at_ns=1,
    phase="idle",
    cause="",
    source="the program's own clock",
    lost=0,
    lock="waiting",
    timeline_s=0.0,
    speed=0.0,
    uncertainty_s=0.0,
    asked=(0.0,),
    actual=(0.0,),
    ticks=1,
    skipped=0,
    late_ns=0,
    link="up",
    round_trip_s=0.0123,
    lost_part=0.05,
)
DOWN = replace(UP, link="down", silent_s=3.2, round_trip_s=None, lost_part=1.0)
DEAF = replace(UP, round_trip_s=None, lost_part=None)


def shown(*statuses: Status | None, terminal: bool = True) -> str:
    out = io.StringIO()
    one = LinkShown(Console(file=out, force_terminal=terminal, width=200, _environ={"TERM": "xterm"}))
    for status in statuses:
        one.look(status)
    return out.getvalue()


def test_a_change_is_told_once_with_the_bell_at_a_drop_and_at_a_return() -> None:
    assert shown(None, UP, UP, None, UP) == ""
    down = shown(UP, DOWN, DOWN)
    assert "the link to the rig is down; nothing is sent until it is back and you have reset" in down
    assert down.count("\a") == down.count("\n") == 1
    both = shown(UP, DOWN, UP)
    assert "the link to the rig is up, round trip 12 ms, 5% lost" in both
    assert both.count("\a") == 2


def test_what_is_no_terminal_gets_no_bell() -> None:
    quiet = shown(UP, DOWN, UP, terminal=False)
    assert "\a" not in quiet
    assert quiet.count("\n") == 2


def test_a_rig_that_begins_to_answer_is_told_without_the_bell() -> None:
    unknown = replace(DEAF, link="unknown")
    assert "is up" in shown(unknown, UP)
    assert "\a" not in shown(unknown, UP)
    assert "cannot be known" in shown(UP, unknown)


@pytest.mark.parametrize(
    ("status", "words"),
    [
        (UP, "round trip 12 ms, 5% lost"),
        (DOWN, "no answer for 3 s"),
        (DEAF, "round trip unknown, loss unknown"),
        (replace(UP, round_trip_s=None), "round trip unknown, 5% lost"),
    ],
)
def test_the_link_in_few_words(status: Status, words: str) -> None:
    assert link_words(status) == words
