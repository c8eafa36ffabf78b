"""What is measured of one take: against takes made from formulas, whose every number is known in advance."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sequencer.export.shoot import Listed, chosen, measured
from sequencer.takes.take import Happening
from tests.export.shots import RIG, listed
from tests.takes.shot import Shot

LATE_S = 0.02


def test_the_rates_are_those_of_the_swing_and_the_limits_those_of_the_rig() -> None:
    found = measured(Shot().take(), RIG)
    pan, slide = found.uses
    # the shot swings pan by 120/π deg at π/2 rad/s, and the slide by 300 mm at 1 rad/s
    assert pan.sent == pytest.approx((60.0, 60 * math.pi / 2, 60 * (math.pi / 2) ** 2), rel=0.01)
    assert pan.actual == pytest.approx(pan.sent, rel=0.01)
    assert slide.sent[1] == pytest.approx(300.0, rel=0.01)
    assert pan.limits == (90.0, 160.0, 700.0)
    assert slide.limits == (400.0, 600.0, 3000.0)
    # nobody knows the limits of an axis that the rig does not have, or has in another unit
    assert measured(Shot().take(), None).uses[0].limits == (None, None, None)


def test_the_following_error_is_how_far_the_rig_trails() -> None:
    pan, slide = measured(Shot(late_s=LATE_S).take(), RIG).uses
    # late by t at speed v is off by v t, to its first order; the fastest is 60 deg/s, and 300 mm/s
    assert pan.error_peak == pytest.approx(60 * LATE_S, rel=0.01)
    assert slide.error_peak == pytest.approx(300 * LATE_S, rel=0.01)
    assert pan.error_rms == pytest.approx(60 * LATE_S / math.sqrt(2), rel=0.02)
    # pan is fastest at whole seconds that are even: cos(π/2 t) is 1 or -1 there
    assert pan.error_at in ("10:00:02:00", "10:00:04:00", "10:00:06:00")


def test_setpoints_that_were_left_out_are_counted() -> None:
    take = Shot().take()
    at_s = (take.due_ns - take.due_ns[0]) / 1e9 - 0.1
    # three ticks in a row are missing at second 3 of the timeline, one at second 5; one before the cue does not count
    gone = [np.abs(at_s - 3.0).argmin() + step for step in range(3)] + [np.abs(at_s - 5.0).argmin()]
    gone.append(np.abs(at_s - 0.7).argmin())
    kept = np.delete(np.arange(len(at_s)), gone)
    found = measured(
        replace(take, due_ns=take.due_ns[kept], timeline_s=take.timeline_s[kept], asked=take.asked[kept]), RIG
    )
    assert found.skipped == 4
    assert found.longest_s == pytest.approx(0.016)
    assert found.tick_s == pytest.approx(0.004)


def test_a_silent_rig_is_a_gap_and_frames_without_a_position() -> None:
    found = measured(Shot(silent_s=(3.0, 3.5)).take(), RIG)
    assert found.gaps == 1
    assert found.gap_s == pytest.approx(0.5, abs=0.005)
    # at 25 frames a second from frame 75 to frame 87.5, where only an end itself may still be known
    assert found.unanswered in (11, 12, 13)
    assert found.frames == 101
    whole = measured(Shot().take(), RIG)
    assert (whole.gaps, whole.unanswered) == (0, 0)


def test_a_rig_that_never_answers_has_no_numbers_that_are_made_up() -> None:
    take = Shot().take()
    found = measured(replace(take, actual=np.full_like(take.actual, np.nan)), RIG)
    assert found.uses[0].actual == (None, None, None)
    assert found.uses[0].error_peak is None
    assert found.uses[0].sent[0] == pytest.approx(60.0, rel=0.01)
    assert (found.gaps, found.gap_s, found.unanswered) == (0, None, 101)


def test_lateness_is_that_of_the_messages_and_of_playback() -> None:
    late = Shot(clock_ahead_s=0.003)
    found = measured(late.take(), RIG)
    assert found.ahead_ms == pytest.approx((3.0, 0.0), abs=1e-3)
    assert found.ppm == pytest.approx(0.0, abs=0.1)
    # a master that runs 50 millionths fast
    fast = measured(Shot(master=lambda at_s: at_s * (1 + 50e-6)).take(), RIG)
    assert fast.ppm == pytest.approx(50.0, abs=0.5)
    deaf = measured(Shot(sights=False).take(), RIG)
    assert (deaf.messages, deaf.scatter_ms, deaf.ppm) == (0, None, None)


def test_a_line_of_the_log_has_the_timecode_at_which_it_fell() -> None:
    take = Shot().take()
    lines = (
        Happening(int(take.due_ns[0]) - 10**9, "armed", "before anything"),
        Happening(int(take.due_ns[0]) + 3_100_000_000, "stop", "a hand on the stop"),
    )
    found = measured(replace(take, happenings=lines), RIG).log
    assert [(line.at, line.code) for line in found] == [("", "armed"), ("10:00:03:00", "stop")]


def test_a_take_without_rows_is_no_trouble() -> None:
    take = Shot().take()
    empty = replace(
        take,
        due_ns=take.due_ns[:0],
        timeline_s=take.timeline_s[:0],
        asked=take.asked[:0],
        actual_ns=take.actual_ns[:0],
        actual=take.actual[:0],
        sighted_ns=take.sighted_ns[:0],
        sighted_s=take.sighted_s[:0],
        happenings=(),
    )
    found = measured(empty, RIG)
    assert (found.tick_s, found.longest_s, found.gap_s, found.ahead_ms) == (None, None, None, None)
    assert found.unanswered == found.frames == 101


def test_circled_takes_are_compared_first_then_the_latest_and_never_a_broken_one() -> None:
    def take(number: int, standing: str = "whole", circled: bool = False) -> Listed:
        name = str(number)
        return Listed(name=name, path=Path(name), cue="c", run="r", started="", standing=standing, circled=circled)

    takes = [take(1, circled=True), take(2), take(3, "stopped", circled=True), take(4), take(5, "broken off"), take(6)]
    assert [one.name for one in chosen(takes, 3)] == ["1", "4", "6"]
    assert [one.name for one in chosen(takes, 9)] == ["1", "2", "4", "6"]
    assert chosen([], 3) == ()


def test_what_is_listed_knows_whether_it_is_whole() -> None:
    assert listed(Shot()).whole
    assert not listed(Shot(), standing="broken off").whole
