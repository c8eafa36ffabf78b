"""A curve that is written back into a track comes out of the compiler as it went in."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from scipy.interpolate import PPoly

from sequencer.motion.compile import compile_move
from sequencer.motion.repair.written import drawn, drawn_legs, frame_at, read_back, table
from sequencer.score.fit import hermite
from sequencer.score.laws.spline import Spline
from sequencer.score.move import Move
from sequencer.timebase.rate import Rate
from tests.motion.machines import LAWS, SECONDS, rig, track


def test_a_drawn_curve_comes_out_of_the_compiler_as_it_went_in() -> None:
    rng = np.random.default_rng(1)
    nodes_s = np.cumsum(rng.uniform(0.1, 2.0, 20))
    state = rng.normal(0, 10, (20, 3))
    state[[0, -1], 1:] = 0
    key = np.array([0, 4, 5, 9, 19])
    before = track(nodes_s[key].tolist(), state[key, 0].tolist(), "poly345")
    after = drawn(before, 0, 4, nodes_s[key], nodes_s, state)
    breaks_s, coeffs = compile_move(rig(), Move(tracks=(after,)), SECONDS, LAWS).of(0)
    true = PPoly(hermite(nodes_s, *state.T), nodes_s)
    t_s = np.linspace(nodes_s[0], nodes_s[-1], 5001)[1:-1]
    for order in range(3):
        assert PPoly(coeffs, breaks_s)(t_s, order) == pytest.approx(true(t_s, order), abs=1e-9 * 10.0**order)


def test_what_is_read_back_is_what_the_compiler_makes() -> None:
    rng = np.random.default_rng(2)
    pieces, lasts_s = np.array([1, 8, 2, 16]), rng.uniform(0.5, 3.0, 4)
    first = np.append(0, np.cumsum(pieces))
    part = np.concatenate([np.arange(each) / each for each in pieces])
    state = rng.normal(0, 10, (first[-1] + 1, 3))
    nodes = table(lasts_s, pieces, part, state)
    at_s, values = np.append(0.0, np.cumsum(lasts_s)), state[first, 0]
    before = track(at_s.tolist(), values.tolist(), "poly345")
    keys = drawn_legs(before.keys[:-1], pieces, nodes)
    after = replace(before, keys=(*keys, before.keys[-1]))
    breaks_s, coeffs = compile_move(rig(), Move(tracks=(after,)), SECONDS, LAWS).of(0)
    width_s, own = read_back(nodes, lasts_s, values, pieces)
    np.testing.assert_allclose(width_s, np.diff(breaks_s), rtol=1e-12)
    np.testing.assert_allclose(own, coeffs, rtol=1e-9, atol=1e-9)
    # parts of a leg's time are written without rounding
    how = keys[1].ease.how
    assert isinstance(how, Spline)
    assert [node[0] for node in how.nodes] == [number / 8 for number in range(9)]


def test_drawing_a_leg_keeps_all_else_of_its_key() -> None:
    before = track([0, 2], [0, 10], "hold")
    key = replace(before.keys[0], passing="stop", pin=True)
    (after,) = drawn_legs([key], np.array([1]), table(np.array([2.0]), np.array([1]), np.zeros(1), np.zeros((2, 3))))
    assert replace(after, ease=key.ease) == key


def test_a_leg_between_equal_values_may_be_drawn_too() -> None:
    nodes_s, state = np.array([0.0, 1.0, 2.0]), np.array([[5.0, 0, 0], [7.0, 0, -3.0], [5.0, 0, 0]])
    before = track([0, 2], [5, 5], "hold")
    after = drawn(before, 0, 1, nodes_s[[0, 2]], nodes_s, state)
    compiled = compile_move(rig(), Move(tracks=(after,)), SECONDS, LAWS)
    assert compiled.at(1.0)[0][0] == pytest.approx(7.0)


def test_a_drawn_leg_still_meets_its_keys_when_one_is_moved() -> None:
    nodes_s, state = np.array([0.0, 1.0, 2.0]), np.array([[0.0, 0, 0], [9.0, 0, 0], [10.0, 0, 0]])
    after = drawn(track([0, 2], [0, 10], "hold"), 0, 1, nodes_s[[0, 2]], nodes_s, state)
    edited = replace(after, keys=(after.keys[0], replace(after.keys[1], value=12.0)))
    compiled = compile_move(rig(), Move(tracks=(edited,)), SECONDS, LAWS)
    assert compiled.sample(np.array([0.0, 1.0, 2.0]))[:, 0] == pytest.approx([0.0, 10.0, 12.0])


def test_an_instant_is_kept_as_fine_as_a_file_keeps_it() -> None:
    assert frame_at(1 / 3, Rate(25)) == Fraction(8_333_333_333, 10**9)


def test_a_key_that_is_no_node_is_refused() -> None:
    with pytest.raises(ValueError, match="node"):
        drawn(track([0, 2], [0, 1], "hold"), 0, 1, np.array([0.0, 2.0]), np.array([0.0, 1.0]), np.zeros((2, 3)))
