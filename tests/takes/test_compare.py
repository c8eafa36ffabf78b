"""Comparisons of takes that differ by known amounts."""

import json
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from sequencer.errors import TakeError
from sequencer.takes.compare import AxisMatch, Comparison, compare
from sequencer.takes.facts import facts
from sequencer.takes.take import Take
from sequencer.takes.verdict import Verdict
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, Timecode
from tests.takes.shot import CAMERA, Floats, Shot, swing

PIXEL_MM = 24.9 / 4096


def shots(*takes: Shot) -> list[Take]:
    return [replace(shot, name=f"take {number}").take() for number, shot in enumerate(takes, 1)]


def axis(comparison: Comparison, name: str) -> AxisMatch:
    return next(one for one in comparison.axes if one.axis == name)


def test_takes_that_are_alike_do_not_differ_though_they_began_at_other_times() -> None:
    comparison = compare(shots(Shot(), Shot(origin_ns=Shot.origin_ns + 98_765_432_111), Shot()), tolerance_px=0.5)
    pan = axis(comparison, "pan")
    assert len(comparison.frames) == 101
    assert pan.peak is not None
    assert pan.pixels_peak is not None
    assert pan.peak < 1e-5  # stamps are whole nanoseconds, and the cubic between answers is a cubic
    assert pan.pixels_peak < 0.001
    assert comparison.verdict is Verdict.MATCH
    assert comparison.missing == ()


def test_an_offset_is_found_in_units_and_pixels() -> None:
    comparison = compare(shots(Shot(), Shot(offset=(0.02, -3.0))))
    pan, slide = axis(comparison, "pan"), axis(comparison, "slide")
    assert (pan.mean, pan.rms, pan.peak) == pytest.approx((0.02, 0.02, 0.02), abs=1e-5)
    assert pan.pairs[0].spread.offset == pytest.approx(0.02, abs=1e-5)
    assert slide.pairs[0].spread.offset == pytest.approx(-3.0, abs=1e-5)
    # 35 mm x tan(0.02 deg) and 35 mm x 3 mm / 4000 mm, each through the width of a pixel
    pan_px, slide_px = 35 * np.tan(np.radians(0.02)) / PIXEL_MM, 35 * 3 / 4000 / PIXEL_MM
    assert pan.pixels_peak == pytest.approx(pan_px, rel=1e-3)
    assert slide.pixels_peak == pytest.approx(slide_px, rel=1e-5)
    assert comparison.shift is not None
    assert comparison.shift.peak_px == pytest.approx(pan_px + slide_px, rel=1e-3)
    # from the mean path each of two takes stands half as far: RT_p of two runs is half the difference
    assert pan.path_repeatability == pytest.approx(0.01, abs=1e-5)
    assert [one.offset for one in pan.from_mean] == pytest.approx([-0.01, 0.01], abs=1e-5)


def test_a_late_take_shows_where_the_move_is_fast() -> None:
    comparison = compare(shots(Shot(), Shot(late_s=0.0001)))
    pan = axis(comparison, "pan")
    # speed 60 cos(pi/2 t), so the difference is 0.006 deg times the cosine; over 2 s to 6 s, one whole period:
    # peak 0.006, RMS 0.006 / sqrt(2), mean size 0.006 x 2 / pi, signed mean zero; the peak is met at 2, 4 and 6 s.
    assert pan.peak == pytest.approx(0.006, rel=0.002)
    assert pan.rms == pytest.approx(0.006 / np.sqrt(2), rel=0.01)
    assert pan.mean == pytest.approx(0.006 * 2 / np.pi, rel=0.01)
    assert pan.pixels_peak == pytest.approx(0.6029, rel=0.002)
    assert pan.peak_at in ("10:00:02:00", "10:00:04:00", "10:00:06:00")
    assert pan.fastest == pytest.approx(60.0, rel=1e-4)
    assert pan.pixels_per_step == pytest.approx(0.6029, rel=1e-3)


def test_playback_that_runs_ahead_cannot_hide_it() -> None:
    # the rig does as it was told, but playback believed the master 1 ms ahead in the second take
    comparison = compare(shots(Shot(), Shot(clock_ahead_s=0.001, late_s=-0.001)))
    pan = axis(comparison, "pan")
    assert pan.peak == pytest.approx(0.06, rel=0.01)
    assert comparison.alignments[1].clock_error_s.mean() == pytest.approx(0.001, abs=1e-6)


def test_three_takes_give_the_numbers_worked_by_hand() -> None:
    # at every frame the takes stand at 0, 0.01, 0.04: pairs 0.01, 0.04, 0.03
    comparison = compare(shots(*(Shot(offset=(offset, 0.0)) for offset in (0.0, 0.01, 0.04))))
    pan = axis(comparison, "pan")
    assert pan.mean == pytest.approx(0.08 / 3, abs=1e-5)
    assert pan.rms == pytest.approx(np.sqrt(0.0026 / 3), abs=1e-5)
    assert pan.peak == pytest.approx(0.04, abs=1e-5)
    assert pan.peak_takes == ("take 1", "take 3")
    assert [(one.first, one.second) for one in pan.pairs] == [
        ("take 1", "take 2"),
        ("take 1", "take 3"),
        ("take 2", "take 3"),
    ]
    # the mean is 0.05/3 = 0.016667: distances 0.016667, 0.006667, 0.023333; mean 0.015556;
    # S = sqrt((0.001111^2 + 0.008889^2 + 0.007778^2) / 2) = 0.008389; RT_p = 0.015556 + 3 x 0.008389 = 0.040722
    assert pan.path_repeatability == pytest.approx(0.040722, abs=2e-5)


def test_following_error_is_told_with_its_delay() -> None:
    comparison = compare(shots(Shot(late_s=0.025), Shot(late_s=0.025, offset=(0.1, 0.0))))
    first, second = axis(comparison, "pan").following
    assert first.spread.peak == pytest.approx(60 * 0.025, rel=0.01)
    assert first.behind_s == pytest.approx(0.025, rel=0.01)
    assert second.behind_s == pytest.approx(0.025, rel=0.01)
    assert second.spread.offset - first.spread.offset == pytest.approx(0.1, abs=1e-4)


def test_an_axis_that_stands_has_no_delay() -> None:
    def still(at_s: Floats) -> Floats:
        return np.full((len(at_s), 2), 7.0)

    comparison = compare(shots(Shot(move=still), Shot(move=still)))
    assert axis(comparison, "pan").following[0].behind_s is None
    assert axis(comparison, "pan").fastest == 0.0


def test_stretches_without_answers_are_named_and_decide_nothing() -> None:
    comparison = compare(shots(Shot(), Shot(silent_s=(3.01, 3.19))), tolerance_px=0.5)
    assert comparison.verdict is Verdict.OPEN
    assert [(one.take, one.axes, one.frames) for one in comparison.missing] == [("take 2", ("pan", "slide"), 4)]
    assert comparison.missing[0].stretches == (("10:00:03:01", "10:00:03:04"),)
    assert "take 2 has no answer of pan, slide for 4 frames (10:00:03:01 to 10:00:03:04)" in comparison.words
    assert comparison.shift is not None
    assert comparison.shift.undecided == 4
    assert np.isnan(comparison.actual[1, 26:30]).all()
    differ = compare(shots(Shot(offset=(1.0, 0.0)), Shot(silent_s=(3.01, 3.19))), tolerance_px=0.5)
    assert differ.verdict is Verdict.DIFFER


def test_an_axis_that_never_answers_is_not_judged() -> None:
    takes = shots(Shot(), Shot())
    deaf = [replace(take, actual=take.actual * np.array([np.nan, 1.0])) for take in takes]
    comparison = compare(deaf, tolerance_px=0.5)
    pan, slide = axis(comparison, "pan"), axis(comparison, "slide")
    assert (pan.peak, pan.pixels_peak, pan.path_repeatability, pan.pairs) == (None, None, None, ())
    assert slide.peak is not None
    assert comparison.shift is None
    assert comparison.verdict is Verdict.OPEN
    json.dumps(facts(comparison), allow_nan=False)


@pytest.mark.parametrize(
    ("tolerance_px", "verdict", "says"),
    [
        (None, Verdict.OPEN, "no tolerance was given"),
        (0.5, Verdict.DIFFER, "The takes do not match"),
        (0.7, Verdict.MATCH, "The takes match"),
    ],
)
def test_the_verdict(tolerance_px: float | None, verdict: Verdict, says: str) -> None:
    comparison = compare(shots(Shot(), Shot(late_s=0.0001, offset=(0.0, 0.0))), tolerance_px)
    # the slide is late as well: 0.03 mm x 35 / 4000 / pixel = 0.043 pixel, where it is fast
    assert comparison.verdict is verdict
    assert says in comparison.words


@pytest.mark.parametrize("tolerance_px", [0.0, -1.0, float("nan"), float("inf")])
def test_a_tolerance_is_above_zero(tolerance_px: float) -> None:
    with pytest.raises(ValueError, match="above zero"):
        compare(shots(Shot(), Shot()), tolerance_px)


def test_other_lenses_leave_units_only() -> None:
    first, second = shots(Shot(), Shot(offset=(0.02, 0.0)))
    comparison = compare([first, replace(second, camera=replace(CAMERA, focal_mm=50.0))], tolerance_px=0.5)
    assert axis(comparison, "pan").pixels_peak is None
    assert axis(comparison, "pan").peak == pytest.approx(0.02, abs=1e-5)
    assert comparison.verdict is Verdict.OPEN
    assert "different lenses" in comparison.notes[0]


def test_a_broken_take_is_compared_as_far_as_it_goes_and_says_so() -> None:
    first, second = shots(Shot(), Shot())
    cut = second.actual_ns < Shot.origin_ns + 4_000_000_000
    broken = replace(
        second, actual_ns=second.actual_ns[cut], actual=second.actual[cut], complete=False, fault="it broke"
    )
    comparison = compare([first, broken])
    assert comparison.notes == ("take 2: it broke",)
    assert comparison.missing[0].frames == 51


FILM = Timebase(Counting(Rate(24)), Timecode(10, 0, 0, 0))
LATER = Timebase(Counting(Rate(25)), Timecode(11, 0, 0, 0))


@pytest.mark.parametrize(
    ("takes", "says"),
    [
        ([], "two takes or more are needed"),
        (shots(Shot()), "two takes or more are needed"),
        (shots(Shot(), Shot(timebase=FILM)), "differ in rate (25 against 24)"),
        (shots(Shot(), Shot(timebase=LATER)), "differ in start of the project"),
        (shots(Shot(), Shot(speed=Fraction(1, 2))), "differ in speed of the pass (1 against 1/2)"),
        (shots(Shot(), Shot(cue_s=(2.0, 7.0))), "differ in span of the cue"),
        ([Shot().take(), replace(Shot().take(), cue="boats")], "differ in cue (lanterns against boats)"),
        ([Shot().take(), replace(Shot().take(), axes=("pan", "lift"))], "differ in axes"),
        ([Shot().take(), replace(Shot().take(), project="low-tide")], "differ in project"),
        (shots(Shot(), Shot(silent_s=(1.0, 9.0))), "no frame was answered in all takes"),
        (shots(Shot(cue_s=(2.01, 2.02)), Shot(cue_s=(2.01, 2.02))), "the cue holds 0 frames"),
    ],
)
def test_takes_that_cannot_be_compared(takes: Sequence[Take], says: str) -> None:
    with pytest.raises(TakeError) as refused:
        compare(takes)
    assert says in str(refused.value)


def test_passes_of_one_speed_may_be_compared() -> None:
    assert compare(shots(Shot(run="band"), Shot(run="clean plate")), tolerance_px=0.5).verdict is Verdict.MATCH


def test_facts_are_the_numbers_and_go_through_json() -> None:
    comparison = compare(shots(Shot(), Shot(offset=(0.02, 0.0))), tolerance_px=0.5)
    told = json.loads(json.dumps(facts(comparison), allow_nan=False))
    pan = next(one for one in told["axes"] if one["axis"] == "pan")
    assert pan["peak"] == pytest.approx(0.02, abs=1e-5)
    assert set(pan) >= {"rms", "peak", "path_repeatability", "pixels_peak"}
    assert told["verdict"] == "differ"
    assert told["frames"] == 101
    assert [one["name"] for one in told["takes"]] == ["take 1", "take 2"]


def test_the_demand_on_repeats_is_met_by_exact_motion_under_jitter() -> None:
    """Two takes clocked by quarter frames with 0.3 ms jitter and 10 s of preroll: what aligning alone costs."""
    seeds = iter(range(20, 22))

    def heard(number: int) -> Floats:
        return np.random.default_rng(next(seeds)).normal(0, 0.0003, number)

    comparison = compare(shots(*(Shot(preroll_s=10.0, heard_late_s=heard) for _ in range(2))))
    # 1,500 messages: 2 x 0.3 / sqrt(1500) = 0.015 ms a take at the end of the line, 0.022 between two; 0.13 pixel
    peak = axis(comparison, "pan").pixels_peak
    assert peak is not None
    assert 0.001 < peak < 0.5


def test_the_sample_is_what_it_says() -> None:
    at = np.linspace(0, 4, 4001)
    assert np.abs(np.diff(swing(at)[:, 0])).max() * 1000 == pytest.approx(60, rel=1e-3)
