"""A cue is played from rest to rest, and each axis as far ahead as its latency."""

from dataclasses import replace

import numpy as np
import pytest

from sequencer.playback.cued import cue_up
from sequencer.rig.axis import Rig
from tests.playback.moves import END, START, legs, there
from tests.playback.rules import RIG


def test_outside_the_cue_every_axis_holds_even_where_the_timeline_moves_on() -> None:
    back_and_forth = legs([8.0, 10.0, 14.0, 16.0], [END, START, END, START])
    cued = cue_up(RIG, back_and_forth, 10.0, 14.0)
    for t_s, place in ((3.0, START), (9.9, START), (14.0, END), (15.0, END), (99.0, END)):
        position, velocity = cued.ahead(t_s, 1.0)
        np.testing.assert_allclose(position, place, atol=1e-9)
        assert not velocity.any()
    assert (cued.start_s, cued.rest_s) == (10.0, 14.0)
    assert cued.moving == ()


def test_each_axis_is_ahead_by_what_the_clock_runs_in_its_latency() -> None:
    cued = cue_up(RIG, there(), 10.0, 14.0)
    assert cued.lead_s == 0.05
    for speed in (1.0, 0.9):
        position, velocity = cued.ahead(11.0, speed)
        for axis, one in enumerate(RIG.axes):
            expected = there().at(11.0 + speed * one.latency_s)
            assert position[axis] == expected[0][axis]
            assert velocity[axis] == expected[1][axis]


def test_a_cue_that_ends_in_mid_move_is_played_to_the_next_rest() -> None:
    assert cue_up(RIG, there(), 10.0, 12.0).rest_s == 14.0
    assert cue_up(RIG, there(), 10.0, 20.0).rest_s == 20.0


def test_what_cannot_be_played_is_named() -> None:
    assert cue_up(RIG, there(), 11.0, 14.0).moving == ("pan", "tilt", "slide", "focus")
    away = START + np.array([500.0, -31.0, 0.0, 0.0])
    assert cue_up(RIG, legs([10.0, 14.0], [away, END]), 10.0, 14.0).beyond == ("tilt",)
    with pytest.raises(ValueError, match="must end later"):
        cue_up(RIG, there(), 14.0, 14.0)
    with pytest.raises(ValueError, match="the rig has pan"):
        cue_up(Rig(name="less", axes=RIG.axes[:2]), there(), 10.0, 14.0)


def test_each_axis_comes_to_the_start_the_way_that_it_will_move() -> None:
    worn = Rig(name="worn", axes=tuple(replace(axis, backlash=axis.speed / 1000) for axis in RIG.axes))
    twice = 2 * np.array([axis.backlash for axis in worn.axes])
    up = cue_up(worn, there(), 10.0, 14.0)
    np.testing.assert_allclose(up.approach, START - twice)
    down = cue_up(worn, legs([10.0, 14.0], [END, START]), 10.0, 14.0)
    np.testing.assert_allclose(down.approach, END + twice)
    waits_first = legs([10.0, 11.0, 12.0], [END, END, START])
    np.testing.assert_allclose(cue_up(worn, waits_first, 10.0, 12.0).approach, END + twice)
    stands = legs([10.0, 14.0], [START, START])
    np.testing.assert_allclose(cue_up(worn, stands, 10.0, 14.0).approach, START - twice)
