"""A performance with a key for every frame becomes a few keys, and is nowhere further off than was allowed."""

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest

from sequencer.errors import ProjectError
from sequencer.motion.compile import compile_move
from sequencer.motion.thin import thin
from sequencer.score.move import Ease, Key, Move, Track
from sequencer.timebase.rate import Rate
from tests.motion.machines import LAWS, rig, seeded_keys, track

RATE = Rate(25)


def performed(seed: int, noise: float = 0.0, axis: str = "pan0") -> Track:
    """Return a smooth run through a few keys as a hand would have left it: a key a frame, with some tremble."""
    at_s, values = seeded_keys("beats", seed, 8)
    keys_at = [Fraction(round(1000 * when), 1000) * 25 for when in at_s]
    run = Move(tracks=(track(keys_at, values.tolist(), "through"),))
    frames = np.arange(0, at_s[-1] * 25 + 0.5)
    heard = compile_move(rig(), run, RATE, LAWS).sample(frames / 25)[:, 0]
    heard += noise * np.random.default_rng(seed).uniform(-1, 1, len(heard))
    return track(frames.astype(int).tolist(), heard.tolist(), "linear", axis)


def furthest(before: Track, after: Move) -> float:
    t_s = np.array([float(RATE.seconds(key.at)) for key in before.keys])
    values = np.array([key.value for key in before.keys])
    axis = rig(2).index(before.axis)
    return float(np.abs(compile_move(rig(2), after, RATE, LAWS).sample(t_s)[:, axis] - values).max())


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize(("noise", "tolerance", "most"), [(0.0, 0.2, 22), (0.05, 0.2, 26), (0.0, 0.01, 65)])
def test_few_keys_are_left_and_no_key_is_further_off_than_allowed(
    seed: int, noise: float, tolerance: float, most: int
) -> None:
    tracks = (performed(seed, noise), performed(seed + 20, noise, "pan1"))
    move = Move(tracks=tracks)
    chosen = {one.axis: frozenset(range(len(one.keys))) for one in tracks}
    found = thin(rig(2), move, RATE, LAWS, chosen, tolerance)
    for before, after in zip(tracks, found.tracks, strict=True):
        assert furthest(before, found) <= tolerance
        assert len(after.keys) <= most < len(before.keys)
        kept = {(key.at, key.value) for key in after.keys}
        assert kept <= {(key.at, key.value) for key in before.keys}
        assert (after.keys[0].at, after.keys[-1]) == (before.keys[0].at, before.keys[-1])


def test_a_run_of_eight_keys_is_found_again_nearly() -> None:
    one = performed(3)
    found = thin(rig(), Move(tracks=(one,)), RATE, LAWS, {"pan0": frozenset(range(len(one.keys)))}, 0.1)
    assert len(found.tracks[0].keys) <= 14


def test_a_stay_is_kept_as_a_stay() -> None:
    rise = 10 * np.sin(np.linspace(0, np.pi / 2, 25)) ** 2
    values = [*rise.tolist(), *[10.0] * 30, *rise[::-1].tolist()]
    one = track(range(len(values)), values, "linear")
    found = thin(rig(), Move(tracks=(one,)), RATE, LAWS, {"pan0": frozenset(range(len(values)))}, 0.5)
    assert furthest(one, found) <= 0.5
    assert len(found.tracks[0].keys) <= 8


def test_only_what_is_chosen_is_thinned_and_what_says_something_stays() -> None:
    keys = list(performed(1).keys)
    keys[20] = replace(keys[20], pin=True)
    keys[30] = replace(keys[30], passing="stop")
    one = Track("pan0", tuple(keys))
    found = thin(rig(), Move(tracks=(one,)), RATE, LAWS, {"pan0": frozenset(range(10, 100))}, 0.3)
    left = found.tracks[0].keys
    assert left[:10] == one.keys[:10]
    assert left[-(len(keys) - 99) :] == one.keys[99:]
    assert {20, 30} <= {int(key.at) for key in left}
    assert all(key.ease.law == ("through" if 10 <= key.at < 99 else "linear") for key in left)
    assert len(left) < len(keys) - 60
    t_s = np.array([float(RATE.seconds(key.at)) for key in keys])
    far = np.abs(compile_move(rig(), found, RATE, LAWS).sample(t_s)[:, 0] - [key.value for key in keys])
    assert far.max() <= 0.3


def test_an_axis_that_goes_round_keeps_its_turns() -> None:
    angle = np.cumsum(np.full(60, 10.0))
    keys = [
        Key(Fraction(at), float(value % 360), one.ease)
        for at, (value, one) in enumerate(zip(angle, track(range(60), angle.tolist(), "linear").keys, strict=True))
    ]
    keys = [
        replace(key, turn="short" if following.value < key.value else None)
        for key, following in zip(keys, [*keys[1:], keys[-1]], strict=True)
    ]
    move = Move(tracks=(Track("pan0", tuple(keys)),))
    found = thin(rig(), move, RATE, LAWS, {"pan0": frozenset(range(60))}, 1.0)
    t_s = np.arange(60) / 25
    after = compile_move(rig(), found, RATE, LAWS).sample(t_s)
    assert after == pytest.approx(compile_move(rig(), move, RATE, LAWS).sample(t_s), abs=1.0)
    # even turning without a rest at the ends is nothing that a smooth run can do: it needs keys there
    assert len(found.tracks[0].keys) < 25


def test_what_cannot_be_thinned_is_said() -> None:
    one = performed(1)
    move = Move(tracks=(one,))
    with pytest.raises(ValueError, match="above zero"):
        thin(rig(), move, RATE, LAWS, {"pan0": frozenset(range(10))}, 0.0)
    with pytest.raises(ProjectError, match=r"keys\[4\].*between chosen ones"):
        thin(rig(), move, RATE, LAWS, {"pan0": {1, 2, 3, 5}}, 0.1)
    assert thin(rig(), move, RATE, LAWS, {"pan0": {3, 4}}, 0.1) == move


def test_legs_between_rests_stay_as_they_are_where_no_key_goes() -> None:
    eases = [Ease("poly345"), Ease("hold"), *[Ease("cycloidal")] * 3, Ease("s-curve"), Ease("poly4567"), Ease("linear")]
    one = track([0, 10, 60, 70, 80, 90, 100, 110], [0, 20, 20, 30, 50, 60, -30, 0], eases)
    one = replace(one, keys=tuple(replace(key, pin=key.at in (10, 60)) for key in one.keys))
    whole = Move(tracks=(one,))
    # only where the cycloidal legs go the same way is a key near enough to a run
    found = thin(rig(), whole, RATE, LAWS, {"pan0": frozenset(range(8))}, 5.5).tracks[0]
    assert [(int(key.at), key.ease.law) for key in found.keys] == [
        (0, "poly345"),
        (10, "hold"),
        (60, "through"),
        (90, "s-curve"),
        (100, "poly4567"),
        (110, "linear"),
    ]
    assert furthest(one, Move(tracks=(found,))) <= 5.5


def test_where_no_key_goes_nothing_changes() -> None:
    zigzag = Move(tracks=(track(range(0, 70, 10), [0, 20, -20, 20, -20, 20, 0], "linear"),))
    assert thin(rig(), zigzag, RATE, LAWS, {"pan0": frozenset(range(7))}, 1.0) == zigzag


def test_a_leg_that_ends_with_speed_goes_on_as_a_run_beside_one() -> None:
    """A run rests at its ends: beside a leg of even speed it would jolt there."""
    found = thin(
        rig(), Move(tracks=(performed(2),)), RATE, LAWS, {"pan0": frozenset(range(len(performed(2).keys)))}, 0.01
    )
    keys = found.tracks[0].keys
    assert any(following.at - key.at == 1 for key, following in pairwise(keys))
    curve = compile_move(rig(), found, RATE, LAWS)
    t_s = np.array([float(RATE.seconds(key.at)) for key in keys])
    jolt = np.abs(curve.sample(t_s[1:-1], 1) - curve.sample(np.nextafter(t_s[1:-1], -np.inf), 1))
    assert jolt.max() < 1e-6
