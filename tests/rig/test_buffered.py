"""The buffer of a simulated device, and the plan between its sets; scipy's Hermite spline is the outside check."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import CubicHermiteSpline

from sequencer.rig.buffered import NUMBERS, Buffer, Held, Point, onward

MS_NS = 1_000_000


def held(number: int, due_ms: int, value: float = 0.0) -> Held:
    return Held(number % NUMBERS, due_ms * MS_NS, np.array([value]), np.zeros(1), scheduled=True)


def played(buffer: Buffer, until_ms: int) -> list[int]:
    numbers = []
    while (one := buffer.play(until_ms * MS_NS)) is not None:
        numbers.append(one.number)
    return numbers


@given(st.permutations(range(12)), st.sampled_from([0, 77, NUMBERS - 6]))
def test_sets_are_played_in_the_order_of_their_time_whatever_the_order_in_which_they_came(
    order: list[int], first: int
) -> None:
    buffer = Buffer(20)
    for place in order:
        buffer.take(held(first + place, 10 * place), None)
        buffer.take(held(first + place, 10 * place + 5), None)
    assert len(buffer) == 12
    assert played(buffer, 1000) == [(first + place) % NUMBERS for place in range(12)]
    assert buffer.report() == (0, (first + 12) % NUMBERS, 0)


def test_what_is_missing_is_told_with_a_mask_of_what_came_after_it() -> None:
    buffer = Buffer(100)
    assert buffer.report() is None
    for number in (5, 6, 8, 9, 72):
        buffer.take(held(number, 10 * number), None)
    # bit 0 is 8, bit 63 is 71; 72 lies beyond
    assert buffer.report() == (5, 7, 0b11)
    buffer.take(held(71, 710), None)
    assert buffer.report() == (6, 7, 0b11 - (1 << 63)), "a signed number of 64 bits"


def test_a_newer_plan_takes_the_place_of_the_older_one_even_where_packets_overtake() -> None:
    buffer = Buffer(100)
    for number in range(10):
        buffer.take(held(number, 10 * number), None)
    buffer.take(held(12, 65), None)
    buffer.take(held(11, 55), 50 * MS_NS)
    buffer.take(held(10, 95), None)  # overtaken by the new plan
    assert played(buffer, 1000) == [0, 1, 2, 3, 4, 11, 12]
    assert buffer.report() == (0, 13, 0)


def test_a_full_buffer_refuses_what_is_furthest_and_fills_gaps_first() -> None:
    buffer = Buffer(3)
    for number in (0, 2, 3, 4):
        buffer.take(held(number, 10 * number), None)
    assert (buffer.refused, buffer.report()) == (1, (3, 1, 0b11))
    buffer.take(held(1, 10), None)
    assert buffer.report() == (3, 3, 0), "the set 3 made room, and is missing now"


def test_a_set_older_than_what_is_played_is_never_played() -> None:
    buffer = Buffer(3)
    buffer.take(held(4, 40), None)
    assert played(buffer, 50) == [4]
    buffer.take(held(3, 30), None)
    buffer.take(held(5, 35), None)
    assert played(buffer, 1000) == []


def test_what_was_due_before_the_count_began_anew_is_neither_played_nor_begins_it() -> None:
    buffer = Buffer(3)
    buffer.take(held(4, 40), None)
    assert played(buffer, 50) == [4]
    buffer.begin()
    buffer.take(held(3, 40), None)
    assert buffer.report() is None
    buffer.begin(100 * MS_NS)
    buffer.take(held(70, 100), None)
    assert buffer.report() is None
    buffer.take(held(71, 101), None)
    buffer.take(held(72, 99), None)
    assert played(buffer, 1000) == [71]


@pytest.mark.parametrize("seed", range(5))
def test_between_two_sets_the_plan_is_the_cubic_of_hermite(seed: int) -> None:
    chance = np.random.default_rng(seed)
    places, speeds = chance.normal(0, 10, (2, 2))
    spline = CubicHermiteSpline([0.0, 0.1], places, speeds)
    point = Point(0, places[:1], speeds[:1])
    end = Held(1, 100 * MS_NS, places[1:], speeds[1:], scheduled=True)
    for at_ms in range(1, 100, 7):
        # from any point of it the rest is the same cubic
        point = onward(point, end, at_ms * MS_NS)
        assert point.position[0] == pytest.approx(spline(at_ms * 1e-3), abs=1e-9)
        assert point.velocity[0] == pytest.approx(spline(at_ms * 1e-3, 1), abs=1e-7)
