"""From poses back to positions: random rigs, more turns than one, straight up, axes that are missing or do the same."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from sequencer.motion.reached import base_axes, carried_to, left, turned_to
from sequencer.rig.axis import Axis, AxisKind, Rig
from sequencer.rig.geometry import Geometry
from tests.motion.aim_oracles import axis, random_rig
from tests.motion.seen_oracle import seen

COUNT = 120


def head(*kinds: AxisKind, travel: tuple[float, float] | None = None) -> Rig:
    return Rig(name="head", axes=tuple(axis(kind, kind, "deg", travel if kind == "tilt" else None) for kind in kinds))


def waving(random: np.random.Generator, rig: Rig) -> np.ndarray:
    """Return smooth ways of all axes, pan over more than a turn, tilt not overhead. Shape: (T, A)."""
    u = np.linspace(0, 1, COUNT)
    widest = {"pan": 500.0, "tilt": 80.0, "roll": 60.0, "slide": 1500.0, "lift": 500.0}
    ways = []
    for one in rig.axes:
        begin, end = random.uniform(-1, 1, 2) * widest[one.kind] * 0.8
        ways.append(begin + (end - begin) * u + 0.2 * widest[one.kind] * np.sin(random.uniform(2, 6) * u))
    return np.array(ways).T


@pytest.mark.parametrize("seed", range(30))
def test_a_rig_that_has_all_axes_gets_back_to_where_it_was(seed: int) -> None:
    random = np.random.default_rng(seed)
    rig = random_rig(random)
    was = waving(random, rig)
    position_m, matrix = seen(rig, was)
    others = np.zeros_like(was)
    # whole turns are decided by where pan stands at the begin, here to within half of one
    others[0] = was[0] + random.uniform(-170, 170, was.shape[1])
    there = carried_to(rig, position_m, turned_to(rig, matrix, others))
    assert np.abs(there - was).max() < 1e-7
    over = left(rig, there, position_m, matrix)
    assert np.abs(over.off_m).max() < 1e-12
    assert over.off_deg.max() < 1e-9


def test_turns_are_chosen_that_fit_the_travel() -> None:
    rig = Rig(name="head", axes=(axis("pan", "pan", "deg", (-20, 400)), axis("tilt", "tilt", "deg")))
    pan = np.linspace(-60, 330, COUNT)
    matrix = Rotation.from_euler("z", pan[:, None], degrees=True).as_matrix()
    there = turned_to(rig, matrix, np.zeros((COUNT, 2)))
    np.testing.assert_allclose(there[:, 0], pan, atol=1e-9)  # nothing fits, this is the least beyond
    matrix = Rotation.from_euler("z", (pan + 50)[:, None], degrees=True).as_matrix()
    there = turned_to(rig, matrix, np.full((COUNT, 2), 360.0))
    np.testing.assert_allclose(there[:, 0], pan + 50, atol=1e-9)  # with a turn more it would end at 740


@pytest.mark.parametrize("up", [1, -1])
def test_through_straight_above_tilt_goes_on_and_nothing_flips(up: int) -> None:
    rig = head("pan", "tilt", "roll")
    tilt = up * np.linspace(60, 121, COUNT)
    matrix = Rotation.from_euler("ZX", np.stack([np.full(COUNT, 30.0), tilt], 1), degrees=True).as_matrix()
    there = turned_to(rig, matrix, np.zeros((COUNT, 3)))
    np.testing.assert_allclose(there, np.stack([np.full(COUNT, 30.0), tilt, np.zeros(COUNT)], 1), atol=1e-6)


@pytest.mark.parametrize("place", [0, 40, COUNT - 1])
def test_a_sample_that_is_straight_above_itself_tells_no_pan_and_gets_its_neighbours(place: int) -> None:
    rig = head("pan", "tilt", "roll")
    tilt = 90 - (np.arange(COUNT) - place) * 0.5
    angles = np.stack([np.full(COUNT, -110.0), tilt, np.full(COUNT, 4.0)], 1)
    matrix = Rotation.from_euler("ZXY", angles, degrees=True).as_matrix()
    there = turned_to(rig, matrix, angles[:1].repeat(COUNT, 0))
    assert np.abs(np.diff(there, axis=0)).max() < 0.51
    assert left(rig, there, np.zeros((COUNT, 3)), matrix).off_deg.max() < 1e-6


def test_beside_straight_above_a_tilt_that_cannot_go_over_the_top_lets_pan_turn_round() -> None:
    """A great circle that passes a fifth of a degree beside the zenith."""
    way = np.linspace(-40, 40, COUNT)[:, None]
    turns = Rotation.from_euler("y", 0.2, degrees=True) * Rotation.from_euler("x", 90 + way, degrees=True)
    matrix = turns.as_matrix()
    held = turned_to(head("pan", "tilt", "roll", travel=(-20, 91)), matrix, np.zeros((COUNT, 3)))
    assert held[:, 1].max() < 90
    assert abs(held[-1, 0] - held[0, 0]) > 170
    free = turned_to(head("pan", "tilt", "roll"), matrix, np.zeros((COUNT, 3)))
    assert free[-1, 1] > 129
    steps = [float(np.abs(np.diff(one[:, 0])).max()) for one in (free, held)]
    assert steps[0] < 0.6 * steps[1]
    for one in (held, free):
        assert left(head("pan", "tilt", "roll"), one, np.zeros((COUNT, 3)), matrix).off_deg.max() < 1e-9


@pytest.mark.parametrize("shift", [0.0, 0.25])
@pytest.mark.parametrize("hair", [0.0005, 0.004])
def test_a_hair_beside_straight_above_pan_goes_straight_on(hair: float, shift: float) -> None:
    """A head that turns evenly meanwhile; to keep the hair too, pan would swing aside and back within a few samples."""
    way, aside = np.arange(-40, 40, 0.5) + shift, Rotation.from_euler("y", hair, degrees=True)
    pan = Rotation.from_euler("z", np.linspace(0, 12, len(way))[:, None], degrees=True)
    matrix = (pan * aside * Rotation.from_euler("x", 90 + way[:, None], degrees=True)).as_matrix()
    rig, stood = head("pan", "tilt", "roll", travel=(-20, 150)), np.zeros((len(way), 3))
    exact, led = (turned_to(rig, matrix, stood, within) for within in (0.0, 0.02))
    bends = [float(np.abs(np.diff(one[:, 0], 2)).max()) for one in (exact, led)]
    assert bends[0] > 200 * hair
    assert bends[1] < hair
    assert led[-1, 1] > 129
    assert left(rig, led, np.zeros((len(way), 3)), matrix).off_deg.max() < 0.005


def test_a_camera_that_hangs_upside_down_has_its_roll_about_half_a_turn() -> None:
    roll = replace(axis("roll", "roll", "deg"), travel=(150, 210), home=180)
    rig = Rig(name="hung", axes=(axis("pan", "pan", "deg"), axis("tilt", "tilt", "deg"), roll))
    angles = np.stack([np.linspace(0, 30, COUNT), np.full(COUNT, 10.0), np.linspace(175, 190, COUNT)], 1)
    matrix = Rotation.from_euler("ZXY", angles, degrees=True).as_matrix()
    np.testing.assert_allclose(turned_to(rig, matrix, np.zeros((COUNT, 3))), angles, atol=1e-9)


def test_seen_from_above_pan_turns_the_picture_and_roll_stays() -> None:
    rig = head("pan", "tilt", "roll")
    pan = np.linspace(0, 500, COUNT)
    angles = np.stack([pan, np.full(COUNT, -90.0)], 1)
    there = turned_to(rig, Rotation.from_euler("ZX", angles, degrees=True).as_matrix(), np.zeros((COUNT, 3)))
    np.testing.assert_allclose(there, np.stack([pan, angles[:, 1], np.zeros(COUNT)], 1), atol=1e-6)


def test_what_the_rig_does_not_have_is_left_over() -> None:
    angles = np.stack([np.linspace(0, 40, COUNT), np.full(COUNT, 10.0), np.linspace(0, 7, COUNT)], 1)
    matrix = Rotation.from_euler("ZXY", angles, degrees=True).as_matrix()
    rig = head("pan", "tilt")
    there = turned_to(rig, matrix, np.zeros((COUNT, 2)))
    np.testing.assert_allclose(there, angles[:, :2], atol=1e-9)
    position_m = np.stack([np.zeros(COUNT), np.linspace(0, 0.3, COUNT), np.full(COUNT, 1.9)], 1)
    over = left(rig, there, position_m, matrix)
    np.testing.assert_allclose(over.off_deg, angles[:, 2], atol=1e-9)
    np.testing.assert_allclose(over.off_m, position_m - [0, 0, 1.5], atol=1e-12)
    # without a tilt, what is left is never more than the tilt and the roll themselves
    alone = head("pan", "roll")
    over = left(alone, turned_to(alone, matrix, np.zeros((COUNT, 2))), position_m, matrix)
    assert 9 < over.off_deg.max() < 11


def test_slides_go_as_near_as_they_can_and_one_that_does_the_same_stays() -> None:
    slide = axis("slide", "slide", "mm")
    same, aside = replace(slide, name="same"), replace(slide, name="aside")
    geometry = Geometry(heading_deg=(("slide", 0.0), ("same", 183.0), ("aside", -30.0)))
    rig = Rig(name="slides", axes=(slide, same, aside), geometry=geometry)
    assert base_axes(rig) == (0, 2)
    wish = np.array([[0.4, 0.9, 1.7], [-0.2, 0.1, 1.7]])
    others = np.full((2, 3), 100.0)
    there = carried_to(rig, wish, others)
    assert (there[:, 1] == 100.0).all()
    over = left(rig, there, wish, np.broadcast_to(np.eye(3), (2, 3, 3)))
    np.testing.assert_allclose(over.off_m, [[0, 0, 0.2], [0, 0, 0.2]], atol=1e-12)
    one = Rig(name="slide", axes=(slide,), geometry=Geometry(heading_deg=(("slide", -45.0),)))
    there = carried_to(one, wish, np.zeros((2, 1)))
    # the foot of the perpendicular on a way to the right and ahead
    np.testing.assert_allclose(there[:, 0], 1000 * (wish[:, 0] + wish[:, 1]) / np.sqrt(2))


def test_a_second_pan_stays_and_the_first_makes_up_for_it() -> None:
    one: Axis = axis("pan", "pan", "deg")
    rig = Rig(name="two", axes=(one, replace(one, name="table")), geometry=Geometry(positive=(("table", "right"),)))
    matrix = Rotation.from_euler("z", np.linspace(0, 90, COUNT)[:, None], degrees=True).as_matrix()
    others = np.stack([np.zeros(COUNT), np.linspace(0, 30, COUNT)], 1)
    there = turned_to(rig, matrix, others)
    np.testing.assert_allclose(there[:, 0] - there[:, 1], np.linspace(0, 90, COUNT), atol=1e-9)
    np.testing.assert_array_equal(there[:, 1], others[:, 1])
