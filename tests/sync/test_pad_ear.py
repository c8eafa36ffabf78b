"""What game controllers tell an operator who looks which stick is which."""

import pytest

from sequencer.sync.describe import Describer
from sequencer.wire.pad import PadRow, packed

MS = 1_000_000


def feed(describer: Describer, at_ms: int, row: PadRow) -> list[str]:
    describer.feed(at_ms * MS, packed(row))
    return [str(fact) for fact in describer.facts(at_ms * MS)]


def test_sticks_and_buttons_of_a_known_pad_have_names() -> None:
    describer = Describer("pads", 0)
    axes = (0.5, -0.004, 0.0, -1.0, 1.0, 0.0)
    assert feed(describer, 0, PadRow(0, "quay pad", axes, frozenset({0, 9}))) == [
        "pad 1 (quay pad) left x 0.50, left y 0.00, right x 0.00, right y -1.00, left trigger 1.00, right trigger 0.00",
        "pad 1 buttons held: lower, right shoulder; pressed last: lower, right shoulder",
    ]
    sticks, buttons = describer.facts(0)
    assert sticks.values["right y"] == -1.0
    assert buttons.values == {"pad": 1, "held": "lower, right shoulder", "pressed_last": "lower, right shoulder"}


def test_those_of_another_have_numbers() -> None:
    describer = Describer("pads", 0)
    assert feed(describer, 0, PadRow(3, "old stick", (-1.0, 0.25), frozenset({31}), known=False)) == [
        "pad 4 (old stick) axis 0 -1.00, axis 1 0.25",
        "pad 4 buttons held: button 31; pressed last: button 31",
    ]
    assert feed(describer, 10, PadRow(4, "board", (), known=False))[2:] == [
        "pad 5 (board) it has no axes",
        "pad 5 buttons held: none",
    ]


def test_only_what_changes_is_counted_and_a_short_press_stays_to_be_seen() -> None:
    describer = Describer("pads", 0)
    row = PadRow(0, "quay pad", (0.0,) * 6)
    for step in range(100):
        # the noise of a stick at rest
        noisy = PadRow(0, "quay pad", (0.004 * (-1) ** step, *row.axes[1:]))
        feed(describer, step * 10, noisy)
    sticks, buttons = describer.facts(1000 * MS)
    assert (sticks.count, sticks.at_ns, buttons.count) == (1, 0, 0)
    feed(describer, 1000, PadRow(0, "quay pad", (0.0, 0.2, 0.0, 0.0, 0.0, 0.0), frozenset({10})))
    feed(describer, 1010, PadRow(0, "quay pad", (0.0, 0.2, 0.0, 0.0, 0.0, 0.0)))
    sticks, buttons = describer.facts(1020 * MS)
    assert (sticks.count, sticks.at_ns) == (2, 1000 * MS)
    assert (buttons.count, buttons.words) == (1, "held: none; pressed last: pad up")


def test_a_slow_stick_is_counted_too() -> None:
    describer = Describer("pads", 0)
    for step in range(101):
        feed(describer, step * 10, PadRow(0, "quay pad", (step / 1000, 0.0, 0.0, 0.0, 0.0, 0.0)))
    assert describer.facts(0)[0].count == pytest.approx(10, abs=2)


def test_a_pad_that_is_gone_is_wrong_until_it_is_back() -> None:
    describer = Describer("pads", 0)
    feed(describer, 0, PadRow(0, "quay pad", (1.0,) * 6, frozenset({1})))
    feed(describer, 10, PadRow(1, "lantern pad", (0.0,) * 6))
    assert feed(describer, 20, PadRow(0, "quay pad", here=False))[0] == "pad 1 (quay pad) is gone"
    assert [fact.wrong for fact in describer.facts(0)] == [True, False, False]
    assert feed(describer, 30, PadRow(0, "quay pad", (0.0,) * 6))[0].startswith("pad 1 (quay pad) left x 0.00")
    assert not describer.facts(0)[0].wrong


def test_what_is_no_row_is_told() -> None:
    describer = Describer("pads", 0)
    describer.feed(0, b"\x00\x01")
    (fact,) = describer.facts(0)
    assert fact.wrong
    assert str(fact).startswith("no row of a pad 2 bytes are no row of a pad")
