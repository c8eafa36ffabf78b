"""What is too much: where it is drawn, and what is said about it."""

from dataclasses import replace

import numpy as np
import pytest

from tests.ui.timeline.shapes import PAN, shape_of
from ui.timeline.geometry import arrange
from ui.timeline.judged import Judged, over
from ui.timeline.words import asked, spoken_key

LAYOUT = arrange((1120.0, 300.0), (0.0, 10.0), [("pan", (-100.0, 100.0))])


def test_the_stretch_and_its_worst_leg_are_named() -> None:
    shape = shape_of([0, 25, 50, 75, 125, 150, 250], [0, 80, 0, 70, 70, 10, 12])
    found = Judged(shape).stretches(LAYOUT)
    assert found.from_px == pytest.approx([LAYOUT.x(0), LAYOUT.x(5)])
    assert found.to_px == pytest.approx([LAYOUT.x(3), LAYOUT.x(6)])
    assert found.leg.tolist() == [int(shape.excess[:3].argmax()), 4]
    assert found.excess == pytest.approx([shape.excess[:3].max(), shape.excess[4]])
    assert found.excess.min() > 0


def test_what_is_out_of_sight_is_left_out_and_cut_at_the_edge() -> None:
    shape = shape_of([0, 25, 500, 525], [0, 80, 80, 0])
    layout = replace(LAYOUT, begin_s=0.5, end_s=10.5)
    found = Judged(shape).stretches(layout)
    assert found.from_px.tolist() == [layout.left_px]
    assert len(Judged(shape).stretches(replace(LAYOUT, begin_s=2.0, end_s=12.0)).leg) == 0


def test_many_stretches_that_nearly_touch_are_one() -> None:
    at = np.arange(2000.0) * 2
    shape = shape_of(at.tolist(), (np.arange(2000) % 2 * 60.0).tolist())
    found = Judged(shape).stretches(replace(LAYOUT, end_s=160.0))
    assert len(found.leg) == 1
    assert found.excess[0] == shape.excess.max()


def test_words_say_what_and_how_much() -> None:
    fast = shape_of([0, 25], [0, 60])
    much = 100 * (fast.peak[0, 0] / PAN.speed - 1)
    wide = replace(PAN, acceleration=1e6, jerk=1e9)
    assert asked(over(shape_of([0, 25], [0, 60], axis=wide), 0), PAN) == f"speed {much:.0f} % over"
    far = shape_of([0, 500], [0, 100])
    assert asked(over(far, 0), PAN) == "travel 10 deg over"
    assert asked(over(shape_of([0, 25], [0, 30], "linear"), 0), PAN) == "speed jumps"
    shy = replace(over(far, 0), of="jerk", excess=2e-6)
    assert asked(shy, PAN) == "jerk 0.0002 % over"


def test_a_single_key_beyond_the_travel_is_marked_too() -> None:
    shape = shape_of([25], [120.0])
    judged = Judged(shape)
    assert judged.stretches(LAYOUT).leg.tolist() == [0]
    assert asked(judged.over(0), PAN) == "travel 30 deg over"
    assert len(Judged(shape_of([25], [90.0])).legs) == 0


def test_a_key_is_spoken_with_all_that_the_picture_shows() -> None:
    from sequencer.timebase.rate import Rate
    from sequencer.timebase.timecode import Counting, Timebase, Timecode

    base = Timebase(Counting(Rate(25)), Timecode(10, 0, 0, 0))
    shape = shape_of([0, 112, 200], [0, 15.2, 3])
    said = spoken_key(shape, 1, base, chosen=True)
    assert said == "Pan, key 2 of 3, 10:00:04:12, 15.20 degrees, poly345, selected"
    assert spoken_key(shape, 2, base, chosen=False) == "Pan, key 3 of 3, 10:00:08:00, 3.00 degrees"
