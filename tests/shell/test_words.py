"""What is said fit to be printed and kept: no control character in it, and no flood of it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.shell.words import AT_ONCE, LONGEST, PER_S, Words, visible

SECOND_NS = 1_000_000_000


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("\x1b[2J\x1b]0;all well\x07", "\\x1b[2J\\x1b]0;all well\\x07"),
        ("a\r\nb\tc", "a\\r\\nb\\tc"),
        ("\u202eevil", "\\u202eevil"),  # which turns the direction of writing
        ("Hafen für Kähne", "Hafen für Kähne"),
    ],
)
def test_what_a_terminal_obeys_is_made_visible(text: str, shown: str) -> None:
    assert visible(text) == shown
    assert Words().fit(0, "going", text) == shown
    assert Words().fit(0, "stopped", text) == shown


@given(st.text())
def test_whatever_is_said_can_be_printed(text: str) -> None:
    fit = Words().fit(0, "trigger", text)
    assert fit is not None
    assert fit.isprintable()


def test_what_is_longer_than_a_reader_has_time_for_is_cut() -> None:
    fit = Words().fit(0, "link", "x" * 60_000)
    assert fit is not None
    assert len(fit) == LONGEST + 1


def test_a_flood_of_one_kind_is_bounded_and_its_number_is_told() -> None:
    words = Words()
    said = [words.fit(number * 1_000_000, "trigger", f"number {number}") for number in range(60_000)]
    told = [one for one in said if one is not None]
    assert len(told) <= AT_ONCE + 60 * PER_S + 1
    assert said[:AT_ONCE] == [f"number {number}" for number in range(AT_ONCE)]
    assert told[AT_ONCE].startswith("more of this kind is to be said than anybody can read")
    assert "(and 499 more of this kind before it)" in told[-1]
    # once it is calm, single words are said as they are
    calm_ns = 200 * SECOND_NS
    assert words.fit(calm_ns, "trigger", "again") is not None
    assert words.fit(calm_ns, "trigger", "and again") == "and again"


@pytest.mark.parametrize("code", ["stopping", "stopped", "reset", "locating", "ready", "running", "refused", "fired"])
def test_what_nobody_outside_can_bring_about_without_end_is_always_said(code: str) -> None:
    words = Words()
    assert [words.fit(0, code, str(number)) for number in range(1_000)] == [str(number) for number in range(1_000)]


def test_a_flood_of_one_kind_holds_up_no_other() -> None:
    words = Words()
    for number in range(1_000):
        words.fit(0, "trigger", str(number))
    assert words.fit(0, "link", "the link to the rig is down") == "the link to the rig is down"
