"""Captured performances: how near, how few keys, how they join what was there, and that nothing else changes.

Errors are looked at between the samples too, sixteen times as densely; the path there is numpy's straight line.
"""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from sequencer.errors import ProjectError
from sequencer.live.capture import Captured, capture
from sequencer.live.performed import Path
from sequencer.motion.check import check
from sequencer.motion.compile import compile_move
from sequencer.rig.axis import Axis, Rig
from sequencer.score.move import Cue, Ease, Key, Move, Track
from sequencer.timebase.rate import Rate
from tests.live.hand import performed
from tests.motion.machines import LAWS, track

Floats = NDArray[np.float64]

RATE = Rate(25)
RIG = Rig(
    name="quay head",
    axes=(
        Axis(name="pan", kind="pan", unit="deg", travel=(-170.0, 170.0), speed=90.0, acceleration=160.0, jerk=700.0),
        Axis(name="tilt", kind="tilt", unit="deg", travel=(-45.0, 60.0), speed=60.0, acceleration=110.0, jerk=550.0),
        Axis(name="turn", kind="pan", unit="deg", travel=None, speed=90.0, acceleration=160.0, jerk=700.0),
    ),
)
EMPTY = Move(tracks=())


def furthest(move: Move, axis: str, path: Path, span: tuple[Fraction, Fraction]) -> float:
    """Return how far the axis is from the straight lines between the samples, at four thousand instants a second."""
    begin_s, end_s = (float(RATE.seconds(at)) for at in span)
    t_s = np.arange(begin_s, end_s, 1 / 4000)
    stands = compile_move(RIG, move, RATE, LAWS).sample(t_s)[:, RIG.index(axis)]
    return float(np.abs(stands - np.interp(t_s, path.at_s, path.position)).max())


def captured(
    move: Move, axis: str, path: Path, span: tuple[int, int], within: float
) -> tuple[Move, Captured, tuple[Fraction, Fraction]]:
    both = Fraction(span[0]), Fraction(span[1])
    return *capture(RIG, move, RATE, LAWS, axis, path, both, within), both


def hands(axis: str, seed: int, lasts_s: float, from_s: float = 0.0) -> Path:
    at_s, position = performed(RIG, axis, seed, lasts_s)
    return Path(at_s + from_s, position)


def swinging(from_s: float, to_s: float, middle: float = 0.0, wide: float = 20.0, period_s: float = 4.0) -> Path:
    """Return an axis that swings without end: it begins and ends in motion nearly anywhere."""
    at_s = np.arange(from_s - 0.02, to_s + 0.02, 0.004)
    return Path(at_s, middle + wide * np.sin(2 * np.pi * at_s / period_s))


def one(move: Move, axis: str) -> Track:
    return next(track for track in move.tracks if track.axis == axis)


@pytest.mark.parametrize("axis", ["pan", "tilt"])
@pytest.mark.parametrize("within", [0.5, 0.1, 0.03])
def test_a_minute_of_hands_becomes_few_keys_near_everywhere_and_the_motors_can_do_them(
    axis: str, within: float
) -> None:
    path = hands(axis, 7, 60.0)
    move, found, span = captured(EMPTY, axis, path, (0, 1490), within)
    assert furthest(move, axis, path, span) <= found.furthest * (1 + 1e-9)
    assert found.furthest <= within
    assert found.keys < 0.05 * found.samples
    assert found.keys <= 420
    assert not found.over
    judged = check(RIG, move, RATE, LAWS)
    assert judged.ok


@given(seed=st.integers(0, 10_000), within=st.floats(0.02, 1.0), axis=st.sampled_from(["pan", "tilt"]))
@settings(max_examples=12, deadline=None)
def test_any_performance_is_met_within_any_tolerance(seed: int, within: float, axis: str) -> None:
    path = hands(axis, seed, 8.0)
    move, found, span = captured(EMPTY, axis, path, (3, 190), within)
    assert furthest(move, axis, path, span) <= found.furthest + 1e-12
    assert found.furthest <= within
    own = one(move, axis).keys
    assert {span[0], span[1]} <= {key.at for key in own}
    assert all(key.at == round(key.at * 8) / Fraction(8) for key in own)


def test_where_the_hands_rest_the_axis_rests() -> None:
    at_s = np.arange(0, 6.02, 0.004)
    rise = (
        30
        * np.clip((at_s - 2) / 2, 0, 1) ** 3
        * (10 - 15 * np.clip((at_s - 2) / 2, 0, 1) + 6 * np.clip((at_s - 2) / 2, 0, 1) ** 2)
    )
    path = Path(at_s, rise)
    move, found, _ = captured(EMPTY, "pan", path, (0, 150), 0.05)
    stands = compile_move(RIG, move, RATE, LAWS).sample(np.linspace(0, 1.6, 50))[:, 0]
    assert np.ptp(stands) == 0
    later = compile_move(RIG, move, RATE, LAWS).sample(np.linspace(4.4, 6, 50))[:, 0]
    assert np.ptp(later) == 0
    # a stay at either end, and the movement between them, which is one leg of least jerk
    assert found.keys <= 8
    assert one(move, "pan").keys[0].ease.law == "hold"


def test_a_tolerance_that_is_larger_needs_fewer_keys() -> None:
    path = hands("tilt", 3, 20.0)
    counts = [captured(EMPTY, "tilt", path, (0, 490), within)[1].keys for within in (0.02, 0.1, 0.5, 2.0)]
    assert counts == sorted(counts, reverse=True)
    assert counts[0] > 2 * counts[2]


def test_at_the_end_of_the_travel_the_run_stays_inside() -> None:
    at_s = np.arange(0, 8, 0.004)
    # up to the soft limit, where it stays, and away again: the angle is a smoothed step
    part = np.clip(np.minimum(at_s - 1, 7 - at_s) / 1.5, 0, 1)
    path = Path(at_s, 60 - 25 * (1 - part**3 * (10 - 15 * part + 6 * part**2)))
    move, found, _ = captured(EMPTY, "tilt", path, (0, 199), 0.3)
    assert not found.over
    assert check(RIG, move, RATE, LAWS).ok
    assert compile_move(RIG, move, RATE, LAWS).sample(np.linspace(0, 8, 20_000))[:, 1].max() <= 60 + 1e-4


BEFORE = Move(
    tracks=(
        track([0, 50, 100, 150, 200, 300], [0, 30, -10, 20, 0, 40], "poly345", "pan"),
        track([0, 300], [0, 40], "poly345", "tilt"),
    ),
    cues=(Cue("whole", Fraction(0), Fraction(300)),),
)


def smooth_at(move: Move, axis: str, instants_s: list[float]) -> None:
    """Position, speed and acceleration have no jump there."""
    curve = compile_move(RIG, move, RATE, LAWS)
    for order, most in ((0, 1e-6), (1, 1e-5), (2, 1e-3)):
        t_s = np.array(instants_s)
        sides = (curve.sample(each, order)[:, RIG.index(axis)] for each in (np.nextafter(t_s, -np.inf), t_s))
        assert np.abs(np.subtract(*sides)).max() <= most


@pytest.mark.parametrize("span", [(60, 140), (55, 210), (110, 240), (130, 290)])
def test_punched_into_a_moving_track_it_joins_in_position_speed_and_acceleration(span: tuple[int, int]) -> None:
    path = swinging(span[0] / 25, span[1] / 25)
    move, found, both = captured(BEFORE, "pan", path, span, 0.1)
    assert furthest(move, "pan", path, both) <= 0.1
    own, old = one(move, "pan").keys, one(BEFORE, "pan").keys
    outside = [(key.at, key.value, key.passing, key.pin) for key in old if not span[0] <= key.at <= span[1]]
    new = {*found.added, *(key.at for key in own if span[0] <= key.at <= span[1])}
    assert [(key.at, key.value, key.passing, key.pin) for key in own if key.at not in new] == outside
    smooth_at(move, "pan", [float(at) / 25 for at in (*both, *(key.at for key in own[1:-1]))])
    assert move.tracks[1] is BEFORE.tracks[1]
    assert (move.cues, move.markers, move.passes) == (BEFORE.cues, BEFORE.markers, BEFORE.passes)
    # none is put between old ones: legs that are not beside the performance are what they were
    edge = max(key.at for key in old if key.at < span[0]), min(key.at for key in old if key.at > span[1])
    t_s = np.concatenate((np.linspace(0, float(edge[0]) / 25, 100), np.linspace(float(edge[1]) / 25, 12.5, 100)))
    was, now = (compile_move(RIG, each, RATE, LAWS).sample(t_s)[:, 0] for each in (BEFORE, move))
    assert np.abs(was - now).max() <= 1e-9
    assert found.beside > 0


def test_where_the_hands_take_over_in_step_the_move_before_stays_as_it_was() -> None:
    """The performance is the move itself, from its middle on: what comes before must stay what it was."""
    at_s = np.arange(2.9, 7.1, 0.004)
    curve = compile_move(RIG, BEFORE, RATE, LAWS)
    path = Path(at_s, curve.sample(at_s)[:, 0])
    move, found, both = captured(BEFORE, "pan", path, (75, 175), 0.05)
    assert furthest(move, "pan", path, both) <= 0.05
    assert found.beside <= 0.06
    t_s = np.linspace(0, 12.5, 3000)
    assert np.abs(curve.sample(t_s)[:, 0] - compile_move(RIG, move, RATE, LAWS).sample(t_s)[:, 0]).max() <= 0.06


def test_inside_a_smooth_run_the_run_goes_on_on_both_sides() -> None:
    run = replace(BEFORE, tracks=(track([0, 50, 100, 150, 200, 300], [0, 30, 45, 60, 80, 100], "through", "pan"),))
    path = swinging(4.4, 7.2, middle=50.0)
    move, found, both = captured(run, "pan", path, (110, 180), 0.1)
    assert furthest(move, "pan", path, both) <= 0.1
    smooth_at(move, "pan", [float(key.at) / 25 for key in one(move, "pan").keys[1:-1]])
    assert [key.value for key in one(move, "pan").keys if key.at < 110 and key.at not in found.added] == [0, 30, 45]


def test_an_axis_in_motion_without_a_key_beside_it_is_brought_to_speed_and_to_rest() -> None:
    path = swinging(3.5, 6.7)
    move, found, both = captured(EMPTY, "pan", path, (90, 165), 0.1)
    assert found.added[0] < 90
    assert found.added[-1] > 165
    assert furthest(move, "pan", path, both) <= 0.1
    assert check(RIG, move, RATE, LAWS).ok
    smooth_at(move, "pan", [float(at) / 25 for at in both])


def test_an_axis_that_has_nearly_stopped_is_not_made_to_stop_with_more_jerk_than_it_has() -> None:
    at_s = np.arange(-0.02, 2.02, 0.004)
    # at the end it still goes at a quarter of a degree a second: to be at rest there takes more jerk than it has
    path = Path(at_s, 10 * (1 - np.cos(np.pi / 2 * np.maximum(at_s - 0.01, 0))))
    move, found, both = captured(EMPTY, "tilt", path, (0, 50), 0.005)
    assert not found.over
    assert check(RIG, move, RATE, LAWS).ok
    assert furthest(move, "tilt", path, both) <= 0.005


def test_overdubbing_one_axis_leaves_the_others_alone() -> None:
    first, _, _ = captured(EMPTY, "pan", hands("pan", 1, 6.0), (0, 145), 0.1)
    both, _, _ = captured(first, "tilt", hands("tilt", 2, 6.0), (0, 145), 0.1)
    assert both.tracks[0] is first.tracks[0]
    assert [track.axis for track in both.tracks] == ["pan", "tilt"]


def test_captured_again_the_same_performance_gives_the_same_keys() -> None:
    path = hands("pan", 5, 6.0)
    once, _, _ = captured(EMPTY, "pan", path, (0, 145), 0.1)
    again, found, both = captured(once, "pan", path, (0, 145), 0.1)
    assert one(again, "pan") == one(once, "pan")
    assert furthest(again, "pan", path, both) <= 0.1
    assert found.beside <= 0.1


def test_a_law_that_stops_with_a_jolt_gives_way_where_its_leg_changes() -> None:
    move = Move(tracks=(track([0, 50, 200], [0, 0.001, 30], "linear", "pan"),))
    at_s = np.arange(3, 5.01, 0.004)
    path = Path(at_s, 10 + 2 * (1 - np.cos(np.pi * (at_s - 3))))
    after, _, _ = captured(move, "pan", path, (75, 125), 0.1)
    own = one(after, "pan").keys
    assert own[0].ease.law == "linear"
    assert own[1].ease.law == "poly345"
    smooth_at(after, "pan", [3.0, 5.0])


def test_an_axis_that_goes_round_keeps_its_turns_on_both_sides() -> None:
    keys = (
        Key(Fraction(0), 350.0, Ease("poly345"), turn="up"),
        Key(Fraction(50), 20.0, Ease("poly345")),
        Key(Fraction(150), 60.0, Ease("poly345"), turn="up"),
        Key(Fraction(250), 30.0, Ease("poly345")),
    )
    move = Move(tracks=(Track("turn", keys),))
    before = compile_move(RIG, move, RATE, LAWS)
    # the axis stands at 380 there, and goes on from it
    at_s = np.arange(2.4, 4.65, 0.004)
    path = Path(at_s, 380 + 20 * np.sin(np.pi * np.clip((at_s - 2.5) / 2, 0, 1)) ** 2)
    after, _, both = captured(move, "turn", path, (60, 115), 0.1)
    assert furthest(after, "turn", path, both) <= 0.1
    last_s = np.array([0.0, 1.0, 2.0, 6.0, 8.0, 10.0])
    was, now = (each.sample(last_s)[:, 2] for each in (before, compile_move(RIG, after, RATE, LAWS)))
    assert now == pytest.approx(was, abs=1e-9)


def test_where_the_key_that_chose_a_turn_is_replaced_the_axis_still_goes_round() -> None:
    keys = (
        Key(Fraction(0), 350.0, Ease("poly345"), turn="up"),
        Key(Fraction(100), 20.0, Ease("poly345")),
        Key(Fraction(150), 60.0, Ease("poly345")),
    )
    move = Move(tracks=(Track("turn", keys),))
    at_s = np.arange(0, 2.0, 0.004)
    path = Path(at_s, 350 - 10 * np.sin(np.pi / 2 * np.clip(at_s - 0.4, 0, 1)) ** 2)
    after, _, _ = captured(move, "turn", path, (0, 48), 0.1)
    stands = compile_move(RIG, after, RATE, LAWS).sample(np.array([0.0, 1.8, 4.0, 6.0]))[:, 2]
    assert stands == pytest.approx([350, 340, 380, 420], abs=0.1)


def test_after_a_performance_that_rests_the_law_of_the_leg_stays() -> None:
    move = Move(tracks=(track([0, 50, 200], [0, 5, 30], "cycloidal", "pan"),))
    at_s = np.arange(3, 5.01, 0.004)
    after, _, _ = captured(move, "pan", Path(at_s, 10 + 2 * (1 - np.cos(np.pi * (at_s - 3)))), (75, 125), 0.1)
    laws = {key.at: key.ease.law for key in one(after, "pan").keys}
    assert (laws[Fraction(50)], laws[Fraction(125)]) == ("cycloidal", "cycloidal")


def test_what_cannot_be_done_is_said() -> None:
    path = hands("pan", 1, 6.0)
    with pytest.raises(ValueError, match="above zero"):
        captured(EMPTY, "pan", path, (0, 100), 0.0)
    with pytest.raises(ValueError, match="tenth of the travel"):
        captured(EMPTY, "pan", path, (0, 100), 50.0)
    with pytest.raises(ValueError, match=r"performed from @0 to @149\.9, not from @0 to @200; name instants"):
        captured(EMPTY, "pan", path, (0, 200), 0.1)
    with pytest.raises(ValueError, match=r"can be brought to within .* allow more"):
        captured(EMPTY, "pan", swinging(0, 4, period_s=0.4, wide=30), (0, 100), 1e-4)
    far = Move(tracks=(track([0, 9, 200], [0, 100, 0], "poly345", "pan"),))
    with pytest.raises(ValueError, match=r"at @10, not 0.1; allow more, or take out the key beside it at @9$"):
        captured(far, "pan", swinging(0, 8), (10, 126), 0.1)
    pinned = replace(BEFORE.tracks[0], keys=tuple(replace(key, pin=key.at == 100) for key in BEFORE.tracks[0].keys))
    with pytest.raises(ProjectError, match=r"tracks\[0\].keys\[2\]: the key of pan at @100 is pinned.*unpin"):
        captured(replace(BEFORE, tracks=(pinned,)), "pan", path, (60, 120), 0.1)


def test_what_the_motor_cannot_follow_is_said_and_captured_all_the_same() -> None:
    move, found, both = captured(EMPTY, "pan", swinging(1, 5, period_s=0.8, wide=10), (30, 120), 0.1)
    assert found.over
    assert not check(RIG, move, RATE, LAWS).ok
    assert found.furthest <= 0.1
    assert furthest(move, "pan", swinging(1, 5, period_s=0.8, wide=10), both) <= 0.1
