"""Words carry instants as frames, and whoever shows them makes labels of them."""

from fractions import Fraction

import pytest

from sequencer.timebase.instants import instant, labelled
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, parse

HOW = Counting(Rate(25))
PROJECT = Timebase(HOW, parse("10:00:00:00", HOW))


@pytest.mark.parametrize(
    ("at", "label"),
    [(0, "10:00:00:00"), (Fraction(3375, 8), "10:00:16:21.875"), (-25, "09:59:59:00"), (7.5, "10:00:00:07.5")],
)
def test_an_instant_becomes_its_label(at: Fraction | float, label: str) -> None:
    words = f"pan at {instant(at)} to {instant(500)}: moved by 1.5 frames"
    assert labelled(words, PROJECT.label) == f"pan at {label} to 10:00:20:00: moved by 1.5 frames"


def test_words_without_an_instant_stay_as_they_are() -> None:
    assert labelled("by 12 frames, not @home", PROJECT.label) == "by 12 frames, not @home"
