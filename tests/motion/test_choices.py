"""What the operator chooses at a key: what a smooth run does there, and which way round an endless axis goes."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.interpolate import PPoly

from sequencer.errors import ProjectError
from sequencer.motion.compile import compile_move
from sequencer.motion.trajectory import Trajectory
from sequencer.score.move import Move, Passing, Track, Turn
from tests.motion.machines import LAWS, SECONDS, rig, track


def chosen(before: Track, number: int, passing: Passing = "pass", turn: Turn | None = None) -> Track:
    keys = list(before.keys)
    keys[number] = replace(keys[number], passing=passing, turn=turn)
    return replace(before, keys=tuple(keys))


def compiled(written: Track, travel: tuple[float, float] | None = None) -> Trajectory:
    return compile_move(rig(travel=travel), Move(tracks=(written,)), SECONDS, LAWS)


RUN = track([0, 1, 2, 3], [0, 10, 20, 25], "through")


def test_a_stop_takes_the_speed_from_a_key_and_a_hold_the_acceleration_where_it_turns() -> None:
    passed, stopped = (PPoly(*compiled(chosen(RUN, 1, how)).of(0)[::-1]) for how in ("pass", "stop"))
    assert passed(1.0, 1) > 5
    assert stopped(1.0, 1) == pytest.approx(0, abs=1e-9)
    turning = track([0, 1, 2], [0, 10, 0], "through")
    passed, held = (PPoly(*compiled(chosen(turning, 1, how)).of(0)[::-1]) for how in ("pass", "hold"))
    assert abs(passed(1.0, 2)) > 10
    assert held(1.0, 1) == pytest.approx(0, abs=1e-9)
    assert held(1.0, 2) == pytest.approx(0, abs=1e-9)


def test_a_free_key_lets_its_legs_overshoot_and_only_them() -> None:
    written = track([0, 1, 2, 3, 4], [0, 10, 0, 10, 0], "through")
    t_s = np.linspace(0, 4, 4001)
    strict = compiled(written).sample(t_s)[:, 0]
    free = compiled(chosen(written, 1, "free")).sample(t_s)[:, 0]
    assert strict.max() <= 10 + 1e-7
    assert free[t_s <= 2].max() > 10.05
    assert free[t_s >= 2].max() <= 10 + 1e-7
    assert free[t_s >= 2].min() >= -1e-7


@pytest.mark.parametrize(
    ("turn", "ends"), [("short", 370.0), ("up", 370.0), ("down", 10.0), (None, 10.0)], ids=["short", "up", "down", "-"]
)
def test_an_endless_axis_goes_the_way_that_the_operator_says(turn: Turn | None, ends: float) -> None:
    """350 to 10 degrees: twenty degrees onward, or most of a turn back; the legs after it go on from there."""
    written = chosen(track([0, 1, 2], [350, 10, 15], "poly345"), 0, turn=turn)
    path = compiled(written).sample(np.array([1.0, 2.0, 9.0]))[:, 0]
    assert path.tolist() == pytest.approx([ends, ends + 5, ends + 5])


def test_half_a_turn_and_a_whole_one() -> None:
    half = compiled(chosen(track([0, 1], [0, 180], "poly345"), 0, turn="short"))
    assert half.at(1.0)[0][0] == pytest.approx(180)
    whole = compiled(chosen(track([0, 1], [90, 90 - 720], "poly345"), 0, turn="short"))
    assert whole.at(1.0)[0][0] == pytest.approx(90)
    down = compiled(chosen(track([0, 1], [90, 90], "poly345"), 0, turn="down"))
    assert down.at(1.0)[0][0] == pytest.approx(90)


def test_an_axis_with_ends_cannot_go_round() -> None:
    with pytest.raises(ProjectError, match=r"tracks\[0\].keys\[0\].turn.*cannot go round"):
        compiled(chosen(track([0, 1], [0, 10], "poly345"), 0, turn="short"), travel=(-170, 170))


def test_a_choice_that_there_is_not_is_named() -> None:
    with pytest.raises(ProjectError, match=r"keys\[1\].passing.*'leap'.*pass, stop, hold, free"):
        compiled(chosen(RUN, 1, "leap"))  # type: ignore[arg-type]  # as a file may have it
