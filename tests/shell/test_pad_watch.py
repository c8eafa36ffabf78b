"""The process that watches game controllers: what it prints, that no press is lost, and that it ends in order."""

import time

import pytest

from sequencer.errors import LinkError
from sequencer.shell.companion import Companion, companion
from sequencer.shell.pad_watch import CONTROLS, Gathered, line, watched
from sequencer.wire.pad import AXES, BUTTONS, PadRow
from tests.shell.told_pads import Hand, hand

__all__ = ["hand"]  # a fixture

MODULE = "sequencer.shell.pad_watch"
KNOWN = PadRow(1, "Pad", (0.5, -0.25, 0.0, 0.0, 1.0, 0.0), frozenset({0, 8}))
ODD = PadRow(0, "Odd", (0.1, -1.0, 0.0), frozenset({3, 17}), known=False)


@pytest.mark.parametrize("row", [KNOWN, ODD, PadRow(2, "Gone", here=False), PadRow(3, "Bare", (), frozenset())])
def test_a_line_says_all_of_a_row(row: PadRow) -> None:
    assert watched(line(row)).row == row


def test_controls_have_the_names_by_which_they_are_assigned() -> None:
    seen = watched(line(KNOWN))
    assert seen.axes == dict(zip(AXES, KNOWN.axes, strict=True))
    assert seen.held == ("lower", "left shoulder")
    assert seen.controls == CONTROLS == (*AXES, *BUTTONS)
    odd = watched(line(ODD))
    assert odd.axes == {"axis 0": 0.1, "axis 1": -1.0, "axis 2": 0.0}
    assert odd.held == ("button 3", "button 17")
    assert "axis 2" in odd.controls
    assert "axis 3" not in odd.controls


def test_what_was_moved_the_most_is_found() -> None:
    rest = watched(line(PadRow(0, "Pad", (0.0,) * 6)))
    assert watched(line(PadRow(0, "Pad", (0.1, -0.9, 0.0, 0.6, 0.0, 0.0)))).moved_since(rest) == ("left y", True)
    assert watched(line(PadRow(0, "Pad", (0.1,) * 6))).moved_since(rest) is None


@pytest.mark.parametrize(
    "wrong", [{}, {"pad": "x"}, {**line(KNOWN), "held": ["no button"]}, {**line(ODD), "axes": [1, 2]}]
)
def test_what_is_no_pad_is_told(wrong: dict[str, object]) -> None:
    with pytest.raises(LinkError, match="what is no pad"):
        watched(wrong)


def test_a_tap_between_two_looks_is_in_the_next_one_and_only_there() -> None:
    gathered = Gathered()
    for buttons in ((), (2,), ()):
        gathered.feed(PadRow(0, "Pad", (0.0,) * 6, frozenset(buttons)))
    gathered.feed(PadRow(1, "Other", (0.5,) * 6))
    assert [(row.pad, row.buttons) for row in gathered.look()] == [(0, {2}), (1, frozenset())]
    assert gathered.look() == []
    gathered.feed(PadRow(0, "Pad", (0.0,) * 6, frozenset({4})))
    gathered.feed(PadRow(0, "Pad", here=False))
    assert [(row.here, row.buttons) for row in gathered.look()] == [(False, frozenset())]


def waited(watch: Companion, key: str, wanted: object) -> dict[str, object]:
    """Return the first line in which `key` is so."""
    end_s = time.monotonic() + 15.0
    while time.monotonic() < end_s:
        for one in watch.hear():
            if one.get(key) == wanted:
                return one
        time.sleep(0.01)
    raise AssertionError(f"nobody said {key} {wanted}")


@pytest.mark.real_time
def test_it_says_what_pads_say_and_that_they_are_gone(hand: Hand) -> None:
    with companion("watch", MODULE, "--pads", hand.address) as watch:
        assert watch.wait_for("watching") == hand.address
        hand.say("upper", left_x=0.5)
        said = waited(watch, "held", ["upper"])
        assert said["pad"] == 0
        assert dict(said["axes"])["left x"] == pytest.approx(0.5, abs=1e-4)  # type: ignore[call-overload]  # from JSON
        hand.say(here=False)
        assert waited(watch, "here", False)["pad"] == 0


@pytest.mark.real_time
def test_it_watches_the_pads_of_this_machine_also_where_there_are_none_and_ends_in_order() -> None:
    with companion("watch", MODULE) as watch:
        process = watch._process
        assert watch.wait_for("watching") == "pads:"
        time.sleep(0.3)
        assert all(one.keys() & {"watching", "pad", "notice"} for one in watch.hear())
        assert process.poll() is None
    assert process.returncode == 0


@pytest.mark.real_time
def test_what_cannot_be_opened_is_said_with_the_mend() -> None:
    with (
        companion("watch", MODULE, "--pads", "nothing:") as watch,
        pytest.raises(LinkError, match="'nothing:' is no game controller; it must begin with pads:"),
    ):
        watch.wait_for("watching")
