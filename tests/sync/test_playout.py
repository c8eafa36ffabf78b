"""The clock that rigs are driven by: smooth, limited, at one with its own speed, and soon where it should be."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.sync.playout import Playout

Master = Callable[[float], tuple[float, float]]
TICK_S = 0.004


def played(master: Master, seconds: float, tick_s: float = TICK_S) -> np.ndarray:
    """Return instant, position and speed at each tick of a clock that begins with the master. Shape: (T, 3)."""
    clock = Playout()
    clock.set(0.0, *master(0.0))
    rows = [(0.0, clock.position, clock.speed)]
    for tick in range(1, round(seconds / tick_s) + 1):
        clock.advance(tick * tick_s, *master(tick * tick_s))
        rows.append((tick * tick_s, clock.position, clock.speed))
    return np.array(rows)


def slipping(by_s: float, way: int = 1) -> Master:
    """Return a master that is suddenly `by_s` elsewhere after a tenth of a second."""
    return lambda t_s: (10 + way * t_s + by_s * (t_s >= 0.1), float(way))


@given(st.floats(-0.05, 0.05), st.sampled_from([-1, 1]), st.sampled_from([0.001, 0.002, 0.004, 0.01]))
def test_acceleration_and_jerk_are_limited_and_the_speed_is_the_slope(by_s: float, way: int, tick_s: float) -> None:
    rows = played(slipping(by_s, way), 2.0, tick_s)
    t_s, position, speed = rows.T
    acceleration = np.diff(speed) / tick_s
    assert np.abs(acceleration).max() <= 2 + 1e-9
    assert np.abs(np.diff(acceleration)).max() / tick_s <= 200 + 1e-6
    # what the slope of a tick can differ from the mean of the speeds at its ends by, at that jerk
    assert np.abs(np.diff(position) / tick_s - (speed[1:] + speed[:-1]) / 2).max() <= 200 * tick_s**2 / 12 + 1e-9
    # no correction is faster than 6 %, but for what a limited jerk overshoots by
    assert np.abs(speed - way).max() <= 0.06 + 0.005
    assert np.all(np.diff(position) * way > 0)
    # at 6 %, and a moment to take it up and to end it
    caught = t_s > 0.1 + abs(by_s) / 0.06 + 0.5
    assert np.abs(position - 10 - way * t_s - by_s)[caught].max() < 1e-3


def test_a_step_of_speed_is_taken_up_smoothly_and_made_up_for() -> None:
    def master(t_s: float) -> tuple[float, float]:
        return t_s + 0.04 * max(0.0, t_s - 0.1), 1.0 if t_s < 0.1 else 1.04

    t_s, position, speed = played(master, 1.0).T
    off = position - [master(float(at_s))[0] for at_s in t_s]
    assert np.abs(off).max() < 1.5e-3
    assert np.abs(off[t_s > 0.4]).max() < 1e-4
    assert np.abs(np.diff(speed) / TICK_S).max() <= 2 + 1e-9


def test_ticks_of_any_length_give_nearly_the_same_clock() -> None:
    fine = played(slipping(0.01), 1.0, 0.001)[-1]
    for tick_s in (0.004, 0.01, 0.02):
        assert played(slipping(0.01), 1.0, tick_s)[-1] == pytest.approx(fine, abs=2e-4)


def test_shuttle_speeds_and_stops_are_taken_over_at_once() -> None:
    clock = Playout()
    clock.set(0.0, 0.0, 1.0)
    clock.advance(0.01, 0.01, 0.2)
    assert clock.speed == pytest.approx(0.2, abs=0.02)
    clock.advance(0.02, 0.012, 4.0)
    assert clock.speed == pytest.approx(4.0, abs=0.25)


def test_it_stands_still_when_asked_twice() -> None:
    clock = Playout()
    clock.set(1.0, 5.0, 1.0)
    clock.advance(1.0, 6.0, 1.0)
    assert (clock.position, clock.speed) == (5.0, 1.0)


def test_a_long_silence_of_its_owner_is_gone_over_at_the_speed_that_is_measured() -> None:
    clock = Playout()
    clock.set(0.0, 0.0, 1.0)
    clock.advance(3600.0, 3600.001, 1.0)
    assert clock.position == pytest.approx(3600.001, abs=2e-4)
