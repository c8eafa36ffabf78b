"""The frames of a cue and positions between answers."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import lagrange

from sequencer.takes.frames import cue_frames, positions_at
from sequencer.timebase.rate import RATES
from sequencer.timebase.timecode import Counting, Timebase, Timecode
from tests.takes.shot import Shot


@given(st.sampled_from(sorted(RATES)), st.integers(-5000, 5000), st.integers(0, 800))
def test_whole_frames_of_a_cue_are_met_at_every_rate(rate: str, first: int, length: int) -> None:
    timebase = Timebase(Counting(RATES[rate]), Timecode(10, 0, 0, 0))
    span = tuple(float(timebase.rate.seconds(frame)) for frame in (first, first + length))
    frames, frame_s = cue_frames(Shot(timebase=timebase, cue_s=(span[0], span[1]), sights=False).take())
    assert frames.tolist() == list(range(first, first + length + 1))
    exact = [Fraction(int(frame)) * timebase.rate.den / timebase.rate.num for frame in frames[:: 1 + length // 5]]
    assert frame_s[:: 1 + length // 5].tolist() == [float(one) for one in exact]


def test_a_cubic_between_the_answers() -> None:
    # Hermite with three-point slopes at even spacing is the average of the two parabolas (interpolation by hand)
    times, values = np.array([0.0, 0.02, 0.04, 0.06]), np.array([1.0, 3.0, 2.0, 5.0])
    left, right = lagrange(times[:3], values[:3]), lagrange(times[1:], values[1:])
    found = positions_at(times, values[:, None], np.array([0.03]))
    assert found[0, 0] == pytest.approx((left(0.03) + right(0.03)) / 2)


def test_a_slow_rig_is_still_met() -> None:
    # 25 answers a second of a 60 deg/s swing; a straight line would miss by 60 x pi/2 x 0.04^2 / 8 = 0.019 deg
    times = np.arange(0, 4, 0.04)
    at = np.linspace(0.5, 3.5, 301)
    amplitude = 60 / (np.pi / 2)
    found = positions_at(times, amplitude * np.sin(np.pi / 2 * times)[:, None], at)[:, 0]
    assert np.abs(found - amplitude * np.sin(np.pi / 2 * at)).max() < 0.001


def test_silence_is_named_and_not_filled() -> None:
    times = np.concatenate((np.arange(0, 1, 0.01), np.arange(1.06, 2, 0.01)))
    at = np.array([-0.001, 0.0, 0.5, 0.99, 0.995, 1.05, 1.06, 1.99, 1.991, np.nan])
    found = positions_at(times, np.column_stack((times, 2 * times)), at)
    assert np.isnan(found[:, 0]).tolist() == [True, False, False, False, True, True, False, False, True, True]
    assert found[~np.isnan(found[:, 1]), 1] == pytest.approx([0.0, 1.0, 1.98, 2.12, 3.98])


def test_an_axis_that_an_answer_does_not_name_is_taken_from_its_neighbours() -> None:
    times = np.arange(0, 1, 0.01)
    values = np.column_stack((times, times))
    values[50, 0] = np.nan
    values[60:66, 1] = np.inf
    found = positions_at(times, values, np.array([0.5, 0.62]))
    assert found[:, 0] == pytest.approx([0.5, 0.62])
    assert found[0, 1] == pytest.approx(0.5)
    assert np.isnan(found[1, 1])


def test_order_and_doubles_do_not_matter() -> None:
    times = np.array([0.02, 0.0, 0.01, 0.01, 0.03])
    values = np.array([2.0, 0.0, 99.0, 1.0, 3.0])[:, None]  # of the two at 0.01 the last counts
    assert positions_at(times, values, np.array([0.015]))[0, 0] == pytest.approx(1.5)


@pytest.mark.parametrize("answers", [0, 1])
def test_too_few_answers_are_none(answers: int) -> None:
    assert np.isnan(positions_at(np.zeros(answers), np.zeros((answers, 2)), np.array([0.0]))).all()


def test_answers_of_one_instant_that_differ_by_a_nanosecond_count_as_one() -> None:
    stamps_s = np.arange(0.0, 0.4, 0.02)
    # said twice, the second time a nanosecond later and with another noise; so between two frames the truth is met
    doubled_s = np.sort(np.concatenate((stamps_s, stamps_s + 1e-9)))
    noise = 0.01 * (-1.0) ** np.arange(len(doubled_s))
    positions = (30 * doubled_s + noise)[:, np.newaxis]
    at_s = np.linspace(0.05, 0.35, 61)
    found = positions_at(doubled_s, positions, at_s)[:, 0]
    assert np.abs(found - 30 * at_s).max() < 0.02
