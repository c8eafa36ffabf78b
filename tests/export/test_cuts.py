"""Where a camera that was found is not one shot."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from sequencer.export.cuts import cut_frames, with_cuts
from sequencer.export.found import FoundCamera
from sequencer.rig.pose import turned
from sequencer.timebase.rate import Rate
from tests.export.deliveries import OPENING, delivery

Numbers = NDArray[np.floating]
PAL = Rate(25)


def camera(x: Numbers, pan: Numbers | None = None, focal: Numbers | None = None, rate: Rate = PAL) -> FoundCamera:
    """A camera that slides by `x` metres and pans by `pan` degrees, frame by frame from 1001 on."""
    count = len(x)
    zero = np.zeros(count)
    angles = np.column_stack([zero if pan is None else pan, zero, zero])
    return FoundCamera(
        name="previz",
        rate=rate,
        frames=np.arange(1001.0, 1001 + count),
        position_m=np.column_stack([x, zero, zero]),
        matrix=turned(angles),
        focal_mm=zero + 35.0 if focal is None else zero + focal,
        focus_m=np.full(count, np.nan),
    )


STILL = np.zeros(60)
GLIDE = 0.02 * np.arange(60.0)  # half a metre a second
WHIP = 90 * (
    0.5 - 0.5 * np.cos(np.pi * np.clip((np.arange(60.0) - 20) / 8, 0, 1))
)  # 90 degrees within a third of a second


def test_a_smooth_move_has_no_cut() -> None:
    for found in (camera(STILL), camera(GLIDE), camera(GLIDE, WHIP), camera(STILL, focal=35 + 0.5 * np.arange(60))):
        assert cut_frames(found) == ()
        assert with_cuts(found) is found


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("parts", [OPENING[1:2], OPENING])
def test_moves_that_a_rig_would_make_have_no_cut(seed: int, parts: tuple[object, ...]) -> None:
    path = delivery(240, rate=Rate(25), parts=parts, seed=seed).path  # type: ignore[arg-type]  # fractions, all of them
    assert path is not None
    frames = (np.arange(240)[:, np.newaxis] + np.array([float(part) for part in path.parts])).ravel()
    found = camera(np.zeros(len(frames)))
    found = replace(
        found,
        frames=frames,
        position_m=path.position_m.reshape(-1, 3),
        matrix=turned(path.angles_deg.reshape(-1, 3)),
        focal_mm=path.focal_mm.ravel(),
    )
    assert cut_frames(found) == ()


@pytest.mark.parametrize("at", [1, 2, 30, 58, 59])
@pytest.mark.parametrize("base", [STILL, GLIDE])
def test_a_jump_is_found_at_the_frame_after_it(at: int, base: Numbers) -> None:
    after = np.arange(60) >= at
    number = 1001.0 + at
    assert cut_frames(camera(base + 2.0 * after)) == (number,)
    assert cut_frames(camera(base, 25.0 * after)) == (number,)
    assert cut_frames(camera(base, focal=np.where(after, 85.0, 35.0))) == (number,)


def test_two_cuts_next_to_each_other_are_both_found() -> None:
    frames = np.arange(60)
    assert cut_frames(camera(2.0 * (frames >= 30) - 3.0 * (frames >= 31))) == (1031, 1032)


def test_a_missing_frame_is_no_jump() -> None:
    found = camera(2 * GLIDE)
    keep = np.arange(60) % 10 != 7
    found = replace(
        found,
        frames=found.frames[keep],
        position_m=found.position_m[keep],
        matrix=found.matrix[keep],
        focal_mm=found.focal_mm[keep],
    )
    assert cut_frames(found) == ()


@pytest.mark.parametrize("length", [1, 2, 3])
def test_frames_held_in_the_middle_of_a_move_are_found(length: int) -> None:
    x = GLIDE.copy()
    x[20 : 20 + length] = x[19]
    assert cut_frames(camera(x))[0] == 1021  # where it catches up may be a jump as well


def test_a_move_at_every_second_frame_is_found_all_along() -> None:
    assert cut_frames(camera(np.repeat(GLIDE[::2], 2)[:20])) == tuple(range(1004, 1020, 2))


def test_a_move_that_slows_down_to_stand_for_a_frame_is_no_cut() -> None:
    """It rests at a key, and goes on: at constant deceleration the last step has a third of the one before it."""
    before = np.cumsum(0.002 * np.concatenate([np.arange(20, 0, -1) - 0.5, [0.0], np.arange(1, 21) - 0.5]))
    assert cut_frames(camera(before)) == ()


def test_one_or_two_samples_are_one_shot() -> None:
    assert cut_frames(camera(STILL[:1])) == ()
    assert cut_frames(camera(np.array([0.0, 9.0]))) == ()


def test_the_remark_names_the_frames() -> None:
    found = with_cuts(camera(2.0 * (np.arange(60) >= 30)))
    assert found.remarks == (
        "previz: it is not one shot: at frame 1031 it jumps, or is held in the middle of a move, which no camera does; "
        "export the shots one by one, or at every frame",
    )
    many = with_cuts(camera(2.0 * (np.arange(60) // 8)))
    assert "at frame 1009, 1017, 1025, 1033, 1041 and 2 more it jumps" in many.remarks[0]
