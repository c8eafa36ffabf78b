"""The keep-clear area: against points thrown on the ground, scipy's convex hull, and shapes worked out by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial import ConvexHull, cKDTree

from sequencer.motion.swept import Zone, endless, heights_m, hull, travels, zone
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.geometry import Geometry

Floats = NDArray[np.float64]


def slide(name: str, travel: tuple[float, float] | None = (0.0, 1200.0)) -> Axis:
    home = travel[0] if travel else 0.0
    return Axis(
        name=name, kind="slide", unit="mm", travel=travel, speed=400.0, acceleration=600.0, jerk=3000.0, home=home
    )


PAN = Axis(name="pan", kind="pan", unit="deg", travel=(-170.0, 170.0), speed=90.0, acceleration=160.0, jerk=700.0)
LIFT = Axis(name="lift", kind="lift", unit="mm", travel=(0.0, 400.0), speed=30.0, acceleration=60.0, jerk=300.0)
GANTRY = Rig(
    name="gantry",
    axes=(PAN, slide("slide"), slide("crab", (-300.0, 500.0)), LIFT),
    geometry=Geometry(height_m=0.8, heading_deg=(("slide", -70.0), ("crab", 20.0))),
)


def thrown(generator: np.random.Generator, number: int) -> Floats:
    return generator.uniform(-2.5, 3.5, (number, 2))


def pivots(rig: Rig, ends: Floats) -> Floats:
    """Where the pivot may be, many places of it, by docs/conventions.md: a heading of 0 is forward, 90 to the left."""
    places = np.zeros((1, 2))
    for number, axis in enumerate(rig.axes):
        if axis.kind != "slide":
            continue
        heading = math.radians(dict(rig.geometry.heading_deg).get(axis.name, -90.0))
        way = np.array([-math.sin(heading), math.cos(heading)]) / 1000
        along = np.linspace(ends[number, 0], ends[number, 1], 121)[:, None] * way
        places = (places[:, None, :] + along[None, :, :]).reshape(-1, 2)
    return places


def test_a_slide_makes_a_lane_with_round_ends() -> None:
    rig = Rig(name="r", axes=(PAN, slide("slide")))
    found = zone(rig, np.array([[-58.0, 52.0], [0.0, 1080.0]]), 0.45)
    # to the right where nothing else is said
    assert found.corners == pytest.approx(np.array([[0.0, 0.0], [1.08, 0.0]]))
    assert found.area_m2 == pytest.approx(1.08 * 0.9 + math.pi * 0.45**2)
    assert found.bounds[0] == pytest.approx([-0.45, -0.45])
    assert found.bounds[1] == pytest.approx([1.53, 0.45])


def test_a_head_without_a_slide_makes_a_disc_whichever_way_pan_turns() -> None:
    found = zone(Rig(name="r", axes=(PAN,)), np.array([[-170.0, 170.0]]), 0.5)
    assert found.area_m2 == pytest.approx(math.pi * 0.25)
    around = found.outline(60)
    assert np.linalg.norm(around, axis=1) == pytest.approx(np.full(len(around), 0.5))
    assert found.clear_m(np.array([[0.0, 0.7]]), 0.2) == pytest.approx(0.0)


@pytest.mark.parametrize("reach_m", [0.2, 0.8])
def test_area_and_edge_are_those_of_points_thrown_on_the_ground(reach_m: float) -> None:
    ends = np.array([[-10.0, 10.0], [100.0, 1000.0], [-250.0, 400.0], [0.0, 300.0]])
    found = zone(GANTRY, ends, reach_m)
    points = thrown(np.random.default_rng(7), 3000)
    # brute force: nearest of all places of the pivot, which lie 8 mm apart at most
    near = pivots(GANTRY, ends)
    apart = cKDTree(near).query(points)[0]
    said = np.array([found.clear_m(point[None]) for point in points]) + reach_m
    assert said == pytest.approx(apart, abs=0.006)
    share = float(np.mean(apart <= reach_m)) * 36.0
    assert found.area_m2 == pytest.approx(share, abs=4 * 36.0 * math.sqrt(0.25 / len(points)))
    edge = found.outline(90)
    assert cKDTree(near).query(edge)[0] == pytest.approx(np.full(len(edge), reach_m), abs=0.006)
    after = np.roll(edge, -1, axis=0)
    shoelace = 0.5 * float(np.sum(edge[:, 0] * after[:, 1] - after[:, 0] * edge[:, 1]))
    assert shoelace == pytest.approx(found.area_m2, rel=1e-3)


def test_two_shapes_are_as_far_apart_as_their_nearest_points() -> None:
    generator = np.random.default_rng(3)
    for _ in range(40):
        one, other = generator.uniform(0, 1, (5, 2)), generator.uniform(0, 1, (4, 2)) + generator.uniform(-2, 2, 2)
        corners = hull(one)
        parts = generator.dirichlet(np.ones(len(corners)), 3000), generator.dirichlet(np.ones(4), 3000)
        inner = np.concatenate([parts[0] @ corners, *edges(corners)])
        outer = np.concatenate([parts[1] @ other, *edges(hull(other))])
        apart = float(np.min(cKDTree(inner).query(outer)[0]))
        found = Zone(corners, 0.0).clear_m(hull(other))
        assert found == pytest.approx(apart, abs=0.03)


def edges(corners: Floats) -> list[Floats]:
    part = np.linspace(0, 1, 200)[:, None]
    return [a + part * (b - a) for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True)]


def test_the_hull_is_scipys() -> None:
    generator = np.random.default_rng(5)
    for _ in range(20):
        points = generator.normal(size=(30, 2))
        found = ConvexHull(points)
        ours = hull(points)
        assert {tuple(point) for point in ours} == {tuple(point) for point in points[found.vertices]}
        assert Zone(ours, 0.0).area_m2 == pytest.approx(found.volume)  # which is the area in the plane


def test_a_box_across_the_lane_is_within_it_though_no_corner_is() -> None:
    lane = Zone(np.array([[0.0, 0.0], [1.0, 0.0]]), 0.1)
    beam = np.array([[0.4, -1.0], [0.6, -1.0], [0.6, 1.0], [0.4, 1.0]])
    assert lane.clear_m(beam) <= 0
    assert lane.clear_m(beam + np.array([0.0, 1.5])) == pytest.approx(0.5 - 0.1)


def test_heights_are_those_of_the_lift() -> None:
    ends = np.array([[0.0, 0.0], [0.0, 100.0], [0.0, 0.0], [50.0, 300.0]])
    assert heights_m(GANTRY, ends) == pytest.approx((0.85, 1.1))


def test_what_has_no_ends_is_named_and_stays_as_it_moves() -> None:
    rig = Rig(name="r", axes=(PAN, slide("slide", None)))
    assert endless(rig) == ("slide",)
    assert travels(rig, np.array([[0.0, 1.0], [5.0, 9.0]])) == pytest.approx(np.array([[-170.0, 170.0], [5.0, 9.0]]))


def test_more_slides_than_anybody_has_are_refused() -> None:
    rig = Rig(name="r", axes=tuple(replace(slide("s"), name=f"s{number}") for number in range(9)))
    with pytest.raises(ValueError, match="9 slides and lifts"):
        zone(rig, np.zeros((9, 2)), 0.3)
