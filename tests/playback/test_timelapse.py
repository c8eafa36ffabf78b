"""The timelapse machine in simulated time: every frame at its pose, once, through kills, gusts and late frames."""

import math
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from sequencer.playback.timelapse import SAID_S, Fire, GoTo, Note, Phase, Seen, begin, course_of, step
from sequencer.project import shot_log
from sequencer.score.interval import Known, solve
from sequencer.timebase.rate import Rate
from tests.playback.lapse_stage import Camera, Rig, Stage, course, killed_often

FRAMES = 2000
TOLERANCE = 0.02 + 4 * 0.001  # what the rig says is noisy


@pytest.fixture
def path(tmp_path: Path) -> Path:
    memory = Path("/dev/shm")
    if not memory.is_dir():
        return tmp_path / "shots.jsonl"
    return memory / f"{tmp_path.name}-{tmp_path.stat().st_ino}.shots.jsonl"


@pytest.fixture(autouse=True)
def gone(path: Path) -> object:
    yield
    path.unlink(missing_ok=True)
    return None


def off(camera: Camera, poses: object) -> float:
    """Return how far the rig truly stood off a frame's pose at the worst, when it was exposed."""
    stood = np.array([where for _, where in camera.exposed])
    return float(np.abs(stood - np.array(poses)).max())


def kill_list(seed: int) -> list[str]:
    """Return 20 kills: at any time, and just where it hurts most, before and after the camera is ordered."""
    chance = np.random.default_rng(seed)
    at_s = np.sort(chance.uniform(20, FRAMES * 3.0, 20)).tolist()
    kinds = ["at {}", "firing after {}", "fire after {}", "exposed after {}", "go after {}"]
    return [kinds[number % len(kinds)].format(one) for number, one in enumerate(at_s)]


def test_two_thousand_frames_are_exposed_at_their_poses_none_left_out_or_doubled_with_twenty_kills(path: Path) -> None:
    stage = Stage(course(FRAMES, 3.0), path, Rig((0.0, 0.0)))
    ended, kills = killed_often(stage, kill_list(1), 1)
    assert (ended.phase, kills) == (Phase.DONE, 20)
    assert len(stage.camera.exposed) == FRAMES
    assert off(stage.camera, stage.course.poses) < TOLERANCE
    shot = shot_log.read(path)
    assert [one.frame for one in shot.exposed] == list(range(FRAMES))
    assert shot.again == ()
    times_s = np.array([at_s for at_s, _ in stage.camera.exposed])
    due_s = np.array([stage.course.due_s(frame) for frame in range(FRAMES)])
    assert (times_s >= due_s - 1e-9).all(), "none before its time"
    # the wall clock's schedule is kept: the gaps are made up for, and nine frames of ten are in time
    assert np.mean(times_s - due_s < 0.1) > 0.9
    assert (np.diff(times_s) >= 0.5).all(), "exposure and the camera's own time are kept also where it hurries"


def test_unasked_a_frame_in_doubt_is_taken_again_and_the_log_says_which(path: Path) -> None:
    stage = Stage(course(200, 3.0), path, Rig((0.0, 0.0)))
    kills = ["fire after 50", "firing after 100", "fire after 200", "fire after 300"]
    ended, count = killed_often(stage, kills, 2, asked=False)
    assert (ended.phase, count) == (Phase.DONE, 4)
    shot = shot_log.read(path)
    assert [one.frame for one in shot.exposed] == list(range(200))
    assert len(shot.again) == 4, "each that may be double, also where it is not"
    assert len(stage.camera.exposed) == 203
    # whoever leaves out the first of each that is on the card twice has every frame at its pose
    doubles = [n for n in shot.again if n != shot.again[1]]
    card = list(stage.camera.exposed)
    for frame in doubles:
        del card[frame]
    assert off(Camera(card), stage.course.poses) < TOLERANCE


def test_a_resumed_rig_is_brought_back_to_the_frames_pose(path: Path) -> None:
    stage = Stage(course(50, 3.0), path, Rig((0.0, 0.0)))
    killed_often(stage, ["exposed after 80"], 3)
    assert stage.moves == list(range(50)), "the frame that came next was gone to, and none again"
    stage.path.unlink()
    again = Stage(course(50, 3.0), path, Rig((0.0, 0.0)))
    killed_often(again, ["firing after 80"], 3)
    twice = [frame for frame in range(50) if again.moves.count(frame) == 2]
    assert len(twice) == 1
    assert again.moves == sorted(again.moves)


def test_no_frame_is_exposed_while_a_gust_shakes_the_rig(path: Path) -> None:
    gusts = ((60.0, 75.0), (100.0, 101.0))
    stage = Stage(course(60, 3.0), path, Rig((0.0, 0.0), gusts=gusts))
    assert stage.shoot().phase is Phase.DONE
    for begin_s, end_s in gusts:
        assert not [at_s for at_s, _ in stage.camera.exposed if begin_s + 0.1 < at_s < end_s]
    assert off(stage.camera, stage.course.poses) < TOLERANCE
    assert len(stage.camera.exposed) == 60
    assert "pan is" in stage.words[0].text
    assert stage.words[0].code == "waits"
    last = stage.camera.exposed[-1][0]
    assert last == pytest.approx(stage.course.due_s(59), abs=0.05), "it is back on its schedule"


def test_a_rig_that_never_rests_is_given_up_and_the_axis_named(path: Path) -> None:
    stage = Stage(course(60, 3.0), path, Rig((0.0, 0.0), gusts=((30.0, 1e9),)))
    ended = stage.shoot()
    assert ended.phase is Phase.FAILED
    assert "for 120 s; look for wind" in ended.trouble
    assert "off its pose (0.02 are allowed)" in ended.trouble
    assert all(at_s < 30.1 for at_s, _ in stage.camera.exposed)


def test_a_long_wait_for_the_time_is_no_unrest(path: Path) -> None:
    """A gust just before a frame's time, minutes after the rig came to rest, fails nothing."""
    gusts = ((10 + 600 - 0.5, 10 + 600 + 2.0),)
    stage = Stage(course(3, 600.0), path, Rig((0.0, 0.0), gusts=gusts))
    assert stage.shoot().phase is Phase.DONE
    assert stage.camera.exposed[1][0] == pytest.approx(612.0 + 0.2, abs=0.2)


def test_frames_that_cannot_be_in_time_are_late_and_none_is_left_out(path: Path) -> None:
    """Ten frames in mid-run are 0.5 s apart, less than they need; those after them are in time again."""
    every = course(60, 3.0)
    times = [3.0 * n if n < 20 else 60 + 0.5 * (n - 20) if n < 30 else 65 + 4.0 * (n - 30) for n in range(60)]
    stage = Stage(replace(every, times_s=times), path, Rig((0.0, 0.0)))
    assert stage.shoot().phase is Phase.DONE
    late = [one.late_s for one in shot_log.read(path).exposed]
    assert max(late[:20]) < 0.05
    assert 2.0 < max(late[20:40]) < 20.0
    assert max(late[45:]) < 0.05
    assert len(late) == 60


def test_it_waits_before_a_frame_for_a_battery_to_be_changed() -> None:
    every = course(3, 3.0, changes=frozenset({1}))
    state = replace(begin(every, 0), phase=Phase.EXPOSING, free_s=12.0)
    state, deeds = step(every, state, Seen(now_s=12.0))
    assert (state.frame, state.phase) == (1, Phase.HELD)
    assert "before frame 1" in deeds[0].text  # type: ignore[union-attr]  # it says something
    assert step(every, state, Seen(now_s=500.0)) == (state, ())
    state, deeds = step(every, state, Seen(now_s=501.0, go_on=True))
    assert deeds == (GoTo(1, every.poses[1]),)


def test_what_the_rig_said_before_says_nothing_of_now() -> None:
    every = course(2, 3.0)
    state, _ = step(every, begin(every), Seen(now_s=11.0))
    there = every.poses[0]
    state, _ = step(every, state, Seen(now_s=12.0, standing=True, bound_for=0, actual=there, actual_s=11.5))
    assert state.phase is Phase.SETTLING
    for now_s in (12.1, 12.5, 12.9):
        state, deeds = step(every, state, Seen(now_s=now_s, standing=True, bound_for=0, actual=there, actual_s=11.9))
        assert deeds == ()
    for now_s in (13.0, 13.1):
        state, deeds = step(every, state, Seen(now_s=now_s, standing=True, bound_for=0, actual=there, actual_s=now_s))
        assert deeds == ()
    # silent since, and what it said then is too old
    state, deeds = step(every, state, Seen(now_s=14.0, standing=True, bound_for=0, actual=there, actual_s=13.1))
    assert not any(isinstance(deed, Fire) for deed in deeds)
    for now_s in (14.1, 14.31):
        state, deeds = step(every, state, Seen(now_s=now_s, standing=True, bound_for=0, actual=there, actual_s=now_s))
    assert deeds == (Note(what="firing", frame=0, at_s=14.31), Fire())


def test_where_an_axis_never_says_where_it_stands_the_longest_settle_is_waited_out() -> None:
    every = course(2, 3.0, silent=frozenset({"pan", "slide"}))
    state, _ = step(every, begin(every), Seen(now_s=11.0))
    state, _ = step(every, state, Seen(now_s=12.0, standing=True, bound_for=0))
    state, deeds = step(every, state, Seen(now_s=12.9, standing=True, bound_for=0))
    assert deeds == ()
    state, deeds = step(every, state, Seen(now_s=13.0, standing=True, bound_for=0))
    assert deeds[-1] == Fire()
    # and where one does, it must be at its pose besides
    half = course(2, 3.0, silent=frozenset({"slide"}))
    state = replace(begin(half), phase=Phase.SETTLING, since_s=12.0)
    for now_s in (12.5, 13.0, 13.4):
        seen = Seen(now_s=now_s, standing=True, bound_for=0, actual=(5.0, None), actual_s=now_s)
        state, deeds = step(half, state, seen)
        assert not any(isinstance(deed, Fire) for deed in deeds)


def test_a_rig_that_still_stands_at_the_pose_before_has_not_arrived() -> None:
    every = course(3, 3.0)
    state, _ = step(every, begin(every, 1), Seen(now_s=11.0))
    state, _ = step(every, state, Seen(now_s=11.1, standing=True, bound_for=0))
    assert state.phase is Phase.MOVING
    state, _ = step(every, state, Seen(now_s=11.2, standing=False, bound_for=1))
    assert state.phase is Phase.MOVING
    state, _ = step(every, state, Seen(now_s=11.3, standing=True, bound_for=1))
    assert state.phase is Phase.SETTLING


def test_an_order_that_reaches_no_camera_ends_it() -> None:
    every = course(2, 3.0)
    state = replace(begin(every), phase=Phase.FIRING, since_s=12.0)
    state, _ = step(every, state, Seen(now_s=12.1, fired_s=11.0))
    assert state.phase is Phase.FIRING, "that was the one before"
    state, _ = step(every, state, Seen(now_s=12.1, not_fired="no output carries it"))
    assert (state.phase, state.trouble) == (Phase.FAILED, "no output carries it")


def test_an_order_of_which_nobody_says_a_word_ends_it_and_stays_in_doubt() -> None:
    own = course(3, 3.0)
    own = replace(own, silent=frozenset(own.axes), settle_s=0.0)
    at_s = own.due_s(0)
    state, _ = step(own, begin(own), Seen(now_s=at_s - 2.0))
    state, _ = step(own, state, Seen(now_s=at_s - 1.0, standing=True, bound_for=0))
    state, deeds = step(own, state, Seen(now_s=at_s, standing=True, bound_for=0))
    assert [type(deed) for deed in deeds] == [Note, Fire]
    state, _ = step(own, state, Seen(now_s=at_s + SAID_S - 0.1, standing=True, bound_for=0))
    assert state.phase is Phase.FIRING
    state, deeds = step(own, state, Seen(now_s=at_s + SAID_S, standing=True, bound_for=0))
    assert (state.phase, deeds) == (Phase.FAILED, ())
    assert "count the card" in state.trouble


def test_an_exposure_that_still_runs_is_waited_for_after_a_crash() -> None:
    every = course(3, 3.0)
    state = begin(every, 1, free_s=20.0)
    assert step(every, state, Seen(now_s=19.9)) == (state, ())
    assert step(every, state, Seen(now_s=20.0))[1] == (GoTo(1, every.poses[1]),)


def test_a_plans_times_are_the_courses() -> None:
    plan = solve(
        Known(
            frames=4,
            interval_s=Fraction(1001, 100),
            rate=Rate(24000, 1001),
            exposure_s=Fraction(1),
            settle_s=Fraction(1),
        )
    )
    made = course_of(plan, ("pan",), [(0.0,)] * 4, 100.0, 0.3, (0.1,))
    assert [made.due_s(frame) for frame in range(4)] == pytest.approx([100.0, 110.01, 120.02, 130.03])
    assert made.moved(5.0).due_s(0) == 105.0
    assert math.isclose(made.exposure_s, 1.0)
    with pytest.raises(ValueError, match="there is no frame 4; they are 0 to 3"):
        course_of(plan, ("pan",), [(0.0,)] * 4, 100.0, 0.3, (0.1,), frozenset({4}))
