"""Pan and tilt that look at a point: against scipy and OpenUSD, straight above, around the back, and where they cannot.

The rates near straight above are those of geometry: a point that passes at `d` with speed `v` turns pan at v / d.
"""

import importlib.util
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import ArrayLike

from sequencer.motion.aim import Aimed, Missed, Why, aimed, head, off_deg
from sequencer.rig.axis import Rig
from sequencer.rig.geometry import Geometry
from tests.motion.aim_oracles import axis, off_by_openusd, off_by_scipy, random_place, random_rig, zooming

WITHIN_DEG = 0.001
RIG = Rig(
    name="dolly",
    axes=(axis("pan", "pan", "deg"), axis("tilt", "tilt", "deg"), axis("slide", "slide", "mm")),
    geometry=Geometry(height_m=1.0),
)
T_S = np.linspace(0.0, 10.0, 2501)


def stood(rig: Rig = RIG, **given: float) -> np.ndarray:
    return np.array([given.get(name, 0.0) for name in rig.names])


def slid(slide_mm: np.ndarray) -> np.ndarray:
    positions = np.zeros((len(slide_mm), 3))
    positions[:, 2] = slide_mm
    return positions


def looked(rig: Rig, positions: np.ndarray, points: ArrayLike, **how: object) -> Aimed:
    t_s = np.linspace(0.0, 10.0, len(positions))
    found = aimed(rig, t_s, positions, np.asarray(points, np.float64), **how)  # type: ignore[arg-type]  # of each case
    assert isinstance(found, Aimed)
    return found


def off(rig: Rig, positions: np.ndarray, found: Aimed, points: ArrayLike) -> np.ndarray:
    own = head(rig)
    at = positions.copy()
    at[:, own.pan], at[:, own.tilt] = found.pan, found.tilt
    return off_deg(rig, at, np.broadcast_to(np.asarray(points, np.float64), (len(at), 3)))


def test_random_rigs_look_at_random_points_as_scipy_and_openusd_have_it() -> None:
    random = np.random.default_rng(5)
    usd = importlib.util.find_spec("pxr") is not None
    for number in range(300):
        rig = random_rig(random)
        rig = zooming(rig, random) if number % 3 == 0 else rig
        at, point = random_place(rig, random)
        found = looked(rig, at[None], point, over_the_top=number % 4 == 0)
        own = head(rig)
        at[own.pan], at[own.tilt] = found.pan[0], found.tilt[0]
        for oracle in (off_by_scipy, off_by_openusd) if usd else (off_by_scipy,):
            away_deg, ahead_m = oracle(rig, at, point)
            assert away_deg < WITHIN_DEG / 1000
            assert ahead_m == pytest.approx(found.distance_m[0], abs=1e-9)


@pytest.mark.parametrize(
    ("point", "pan", "tilt", "distance_m"),
    [
        ([0, 2, 1], 0, 0, 2),
        ([-2, 0, 1], 90, 0, 2),
        ([2, 0, 1], -90, 0, 2),
        ([0, 3, 4], 0, 45, np.sqrt(18)),
        ([1, 1, 1 - np.sqrt(2)], -45, -45, 2),
    ],
)
def test_points_about_the_camera(point: list[float], pan: float, tilt: float, distance_m: float) -> None:
    found = looked(RIG, stood()[None], point)
    assert (found.pan[0], found.tilt[0]) == pytest.approx((pan, tilt), abs=1e-12)
    assert found.distance_m[0] == pytest.approx(distance_m)


def test_the_distance_counts_from_the_pupil_and_an_axis_beside_it_turns_pan() -> None:
    """A pupil 30 mm to the right of the axes and a point 5 m ahead: pan is the angle whose sine is 0.03 / 5."""
    rig = replace(RIG, geometry=Geometry(height_m=1.0, pupil_mm=(30.0, 120.0, 0.0)))
    found = looked(rig, stood()[None], [0, 5, 1])
    assert found.pan[0] == pytest.approx(np.degrees(np.arcsin(0.03 / 5)))
    assert found.distance_m[0] == pytest.approx(np.sqrt(25 - 0.03**2) - 0.12)


def test_over_the_top_is_the_other_answer_and_upside_down() -> None:
    found = looked(RIG, stood()[None], [0, 3, 4], over_the_top=True)
    assert (abs(found.pan[0]), found.tilt[0]) == pytest.approx((180, 135))
    assert off(RIG, stood()[None], found, [0, 3, 4])[0] < 1e-9


def test_a_point_that_goes_round_the_camera_winds_pan_up_without_a_jump() -> None:
    round_deg = np.linspace(0, 1000, len(T_S))
    points = np.stack(
        (np.sin(-np.radians(round_deg)) * 3, np.cos(np.radians(round_deg)) * 3, np.full(len(T_S), 1.5)), 1
    )
    found = looked(RIG, np.zeros((len(T_S), 3)), points)
    assert found.pan == pytest.approx(round_deg)
    assert np.ptp(found.tilt) < 1e-9


def test_the_turn_is_the_one_nearest_to_where_pan_stands_that_fits_the_travel() -> None:
    behind = [0.5, -2.0, 1.0]
    endless = looked(RIG, stood(pan=700.0)[None], behind)
    assert endless.pan[0] == pytest.approx(720 + np.degrees(np.arctan2(-0.5, -2.0)))
    assert abs(endless.pan[0] - 700) <= 180
    bound = replace(RIG, axes=(axis("pan", "pan", "deg", (-350.0, 100.0)), *RIG.axes[1:]))
    # 194 degrees to the left is outside, 166 to the right is not
    found = looked(bound, stood(pan=90.0)[None], behind)
    assert found.pan[0] == pytest.approx(-(180 - np.degrees(np.arctan2(0.5, 2.0))))
    assert not found.beyond


def test_a_point_straight_above_is_passed_over_the_top_with_pan_at_rest() -> None:
    positions, point = slid(np.linspace(-1000, 1000, len(T_S))), [0, 0, 3]
    found = looked(RIG, positions, point)
    assert np.ptp(found.pan) < 1e-9
    assert found.tilt[0] == pytest.approx(np.degrees(np.arctan2(2, 1)))
    assert found.tilt[-1] == pytest.approx(180 - found.tilt[0])
    assert off(RIG, positions, found, point).max() < 1e-9
    (near,) = found.near
    assert near.over
    assert near.up
    assert near.at_s == pytest.approx(5.0, abs=0.004)
    assert near.off_deg == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("aside_m", [1e-5, 4e-5, 8e-5])
def test_a_hair_beside_straight_above_it_goes_over_the_top_within_the_tolerance(aside_m: float) -> None:
    positions, point = slid(np.linspace(-1000, 1000, len(T_S))), [0, aside_m, 3]
    found = looked(RIG, positions, point, within_deg=0.01)
    assert found.near[0].over
    assert found.near[0].off_deg == pytest.approx(np.degrees(aside_m / 2), rel=1e-3)
    assert off(RIG, positions, found, point).max() < 0.0026
    assert np.abs(np.diff(found.pan)).max() < 0.01
    assert np.abs(np.diff(found.tilt)).max() < 0.03


@pytest.mark.parametrize("aside_m", [1e-3, 0.01, 0.1])
def test_beside_straight_above_pan_turns_round_and_how_fast_is_said(aside_m: float) -> None:
    positions, point = slid(np.linspace(-1000, 1000, len(T_S))), [0, aside_m, 3]
    found = looked(RIG, positions, point)
    (near,) = found.near
    assert not near.over
    assert near.at_s == pytest.approx(5.0, abs=0.001)
    assert near.off_deg == pytest.approx(np.degrees(np.arctan2(aside_m, 2)), rel=1e-6)
    assert near.pan_speed == pytest.approx(np.degrees(0.2 / aside_m), rel=1e-3)
    assert near.from_s < 5.0 < near.to_s
    assert off(RIG, positions, found, point).max() < 1e-9
    assert abs(found.pan[-1] - found.pan[0]) == pytest.approx(180, abs=2 * np.degrees(aside_m))


def test_below_is_named_as_below() -> None:
    found = looked(RIG, slid(np.linspace(-1000, 1000, len(T_S))), [0, 0.05, 0])
    assert not found.near[0].up


def test_a_slide_that_stops_below_the_point_and_goes_on_turns_nothing_round() -> None:
    way = np.concatenate((np.linspace(-800, 0, 1000), np.zeros(501), np.linspace(0, 800, 1000)))
    found = looked(RIG, slid(way), [0, 0, 3])
    assert found.near[0].over
    assert np.ptp(found.pan) < 1e-9
    assert np.abs(np.diff(found.tilt)).max() < 0.03


def test_a_slide_that_turns_back_below_the_point_does_not_go_over_the_top() -> None:
    way = np.concatenate((np.linspace(-800, 0, 1000), np.zeros(501), np.linspace(0, -800, 1000)))
    found = looked(RIG, slid(way), [0, 0, 3])
    assert not found.near[0].over
    assert np.ptp(found.pan) < 1e-9
    assert found.tilt[-1] == pytest.approx(found.tilt[0])


def test_a_slide_that_passes_twice_goes_over_and_back() -> None:
    way = np.concatenate((np.linspace(-500, 500, 1250), np.linspace(500, -500, 1251)))
    found = looked(RIG, slid(way), [0, 0, 3])
    assert [one.over for one in found.near] == [True, True]
    assert found.tilt[-1] == pytest.approx(found.tilt[0])
    assert np.abs(np.diff(found.tilt)).max() < 0.05


def test_beginning_straight_below_the_point_pan_is_what_it_will_be() -> None:
    found = looked(RIG, slid(np.linspace(0, 1000, len(T_S))), [0, 0, 3])
    assert np.ptp(found.pan) < 1e-9
    assert not found.near[0].over
    always = looked(RIG, np.zeros((50, 3)), [0, 0, 3])
    assert np.ptp(always.pan) == 0
    assert always.tilt == pytest.approx(np.full(50, 90.0))


def test_a_point_nearer_to_the_pan_axis_than_the_lens_is_missed() -> None:
    rig = replace(RIG, geometry=Geometry(height_m=1.0, pupil_mm=(40.0, 0.0, 0.0)))
    found = aimed(rig, T_S, slid(np.linspace(-1000, 1000, len(T_S))), np.array([0, 0.01, 3.0]))
    assert isinstance(found, Missed)
    assert found.why is Why.ASIDE
    assert found.need_m == pytest.approx(0.04)
    assert found.far_m < 0.04
    assert 4.7 < found.at_s < 5.0


def test_a_point_inside_the_lens_is_missed() -> None:
    rig = replace(RIG, geometry=Geometry(height_m=1.0, pupil_mm=(0.0, 150.0, 0.0)))
    found = aimed(rig, T_S[:1], stood()[None], np.array([0.0, 0.155, 1.0]))
    assert isinstance(found, Missed)
    assert found.why is Why.INSIDE
    assert (found.far_m, found.need_m) == pytest.approx((0.155, 0.16))
    ahead = aimed(rig, T_S[:1], stood()[None], np.array([0.0, 0.165, 1.0]))
    assert isinstance(ahead, Aimed)
    assert ahead.distance_m[0] == pytest.approx(0.015)


def test_a_point_behind_what_pan_can_turn_to_is_told_with_the_stretch_where_it_is_not() -> None:
    rig = replace(RIG, axes=(axis("pan", "pan", "deg", (-100.0, 100.0)), *RIG.axes[1:]))
    found = looked(rig, slid(np.linspace(-1000, 1000, len(T_S))), [0.0, -0.1, 1.0])
    (beyond,) = found.beyond
    assert beyond.axis == "pan"
    # the point comes behind when the slide is nearer than 100 degrees to the side: 0.1 / tan(10 degrees) = 0.567 m
    assert beyond.at_s == pytest.approx((1 - 0.1 / np.tan(np.radians(10))) * 5, abs=0.01)
    assert beyond.inside_s is not None
    assert beyond.inside_s[0] == 0.0
    assert beyond.inside_s[1] == pytest.approx(beyond.at_s, abs=0.01)


def test_other_axes_of_the_kind_stay_as_they_are_told_and_count() -> None:
    rig = Rig(name="two", axes=(*RIG.axes, axis("base", "pan", "deg")), geometry=RIG.geometry)
    found = looked(rig, stood(rig, base=30.0)[None], [-2, 0, 1])
    assert found.pan[0] == pytest.approx(60)


@pytest.mark.parametrize("kind", ["pan", "tilt"])
def test_a_rig_that_cannot_be_aimed_says_what_it_lacks(kind: str) -> None:
    without = Rig(name="half", axes=tuple(one for one in RIG.axes if one.kind != kind))
    with pytest.raises(ValueError, match=f"the rig has no {kind}; to be aimed it needs a {kind} in deg"):
        head(without)
    parts = Rig(name="parts", axes=tuple(replace(one, unit="part") if one.kind == kind else one for one in RIG.axes))
    with pytest.raises(ValueError, match=f"{kind} counts part"):
        head(parts)


def test_beside_straight_above_it_keeps_its_side_however_far_samples_are_apart() -> None:
    positions, point = slid(np.linspace(-1000, 1000, 101)), [0, 0.003, 3]
    found = looked(RIG, positions, point)
    assert not found.near[0].over
    assert found.tilt[-1] == pytest.approx(found.tilt[0])
    assert off(RIG, positions, found, point).max() < 1e-9


@pytest.mark.parametrize("seed", range(6))
def test_a_slide_that_trembles_below_the_point_goes_over_the_top_once(seed: int) -> None:
    still = np.random.default_rng(seed).normal(0, 1e-3, 501)
    way = np.concatenate((np.linspace(-800, -1, 1000), still, np.linspace(1, 800, 1000)))
    found = looked(RIG, slid(way), [0, 0, 3])
    assert found.near[0].over
    assert found.tilt[-1] == pytest.approx(180 - found.tilt[0])
    assert np.ptp(found.pan) < 1e-6
