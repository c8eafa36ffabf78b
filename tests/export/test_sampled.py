"""The path of a take, beside the formula that it was made from: frames are the master's, and nothing is filled in."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from sequencer.errors import ExportError
from sequencer.export.opening import Opening
from sequencer.export.sampled import cue_of, sampled, unanswered
from sequencer.rig.axis import Rig
from sequencer.rig.geometry import Geometry
from sequencer.score.move import Cue, Pass
from sequencer.takes.take import Take
from tests.export.rigs import PUPIL_MM, mapped
from tests.motion.aim_oracles import axis
from tests.takes.shot import CAMERA, Shot, swing

RIG = Rig(
    name="head on a slider",
    # in another order than in the take, which goes by names
    axes=(axis("slide", "slide", "mm"), axis("pan", "pan", "deg")),
    camera=CAMERA,
    geometry=Geometry(height_m=1.2, pupil_mm=PUPIL_MM),
)
FRAMES = np.arange(50, 151)  # of a cue from 2 to 6 s at 25 fps, both ends


def fast(at_s: np.ndarray) -> np.ndarray:
    """The master whose seconds are a ten-thousandth shorter than this machine's."""
    return 1.0001 * at_s + 0.3


def eyes(at_s: np.ndarray) -> np.ndarray:
    """Where the entrance pupil is at seconds of the timeline, by scipy."""
    pan, slide = swing(at_s).T
    turned = Rotation.from_euler("Z", pan[:, np.newaxis], degrees=True)
    return np.stack([slide / 1000, np.zeros_like(pan), np.full_like(pan, 1.2)], axis=1) + turned.apply(
        np.array(PUPIL_MM) / 1000
    )


@pytest.mark.parametrize("source", ["asked", "actual"])
def test_frames_are_the_masters_and_lie_on_the_movement(source: str) -> None:
    take = Shot(master=fast, clock_ahead_s=0.004).take()
    path = sampled(take, source, RIG)  # type: ignore[arg-type]  # one of two words
    assert mapped(path) == [50, 50, 1, 101]
    # 0.01 mm and 0.0001 degree, though playback's clock was 4 ms ahead, in which the pan goes a quarter of a degree
    assert path.position_m[:, 0] == pytest.approx(eyes(FRAMES / 25), abs=1e-5)
    assert path.angles_deg[:, 0, 0] == pytest.approx(swing(FRAMES / 25)[:, 0], abs=1e-4)
    assert path.values[:, 0] == pytest.approx(swing(FRAMES / 25)[:, ::-1], abs=1e-4)
    assert (path.focal_mm == 35).all()
    assert "frames were found by one straight line through the timecode" in path.remarks


def test_actual_is_what_the_rig_did_and_asked_what_was_asked() -> None:
    take = Shot(late_s=0.02, offset=(0.5, 3.0)).take()
    done, asked = sampled(take, "actual", RIG), sampled(take, "asked", RIG)
    at_s = FRAMES / 25
    assert done.angles_deg[:, 0, 0] == pytest.approx(swing(at_s - 0.02)[:, 0] + 0.5, abs=1e-4)
    assert done.values[:, 0, 0] == pytest.approx(swing(at_s - 0.02)[:, 1] + 3, abs=1e-3)
    assert asked.angles_deg[:, 0, 0] == pytest.approx(swing(at_s)[:, 0], abs=1e-4)


def test_what_was_asked_is_where_the_rig_was_to_be_and_not_what_was_sent_ahead() -> None:
    shot = Shot().take()
    due_s = (shot.due_ns - 5_000_000_000_123) / 1e9
    late_s = {"pan": 0.02, "slide": 0.008}
    ahead = np.stack([swing(due_s + late_s["pan"])[:, 0], swing(due_s + late_s["slide"])[:, 1]], axis=1)
    rig = replace(RIG, axes=tuple(replace(one, latency_s=late_s[one.name]) for one in RIG.axes))
    path = sampled(replace(shot, asked=ahead), "asked", rig)
    assert path.values[:, 0] == pytest.approx(swing(FRAMES / 25)[:, ::-1], abs=1e-4)
    assert any("sent ahead by what each axis is late, 20 ms at most; that is taken off" in one for one in path.remarks)


def test_samples_lie_where_the_shutter_is_open() -> None:
    path = sampled(Shot().take(), "actual", RIG, Opening(Fraction(180), "centre", 5))
    assert [*path.parts] == [Fraction(-1, 4), Fraction(-1, 8), 0, Fraction(1, 8), Fraction(1, 4)]
    at_s = (FRAMES[:, np.newaxis] + np.array([-0.25, -0.125, 0, 0.125, 0.25])) / 25
    assert path.frames == 101
    assert path.angles_deg[..., 0].ravel() == pytest.approx(swing(at_s.ravel())[:, 0], abs=1e-4)
    assert path.position_m.reshape(-1, 3) == pytest.approx(eyes(at_s.ravel()), abs=1e-5)


def test_a_pass_at_half_speed_says_which_frames_of_the_move_it_shows() -> None:
    take = Shot(speed=Fraction(1, 2)).take()
    path = sampled(take, "actual", RIG)
    # the picture has a frame each 1/25 s of the 4 s; the move was written twice as fast, from frame 50 on
    assert mapped(path) == [50, 50, Fraction(1, 2), 101]
    assert cue_of(take) == Cue("lanterns", Fraction(50), Fraction(100))
    assert path.angles_deg[:, 0, 0] == pytest.approx(swing(FRAMES / 25)[:, 0], abs=1e-4)


def test_a_camera_at_another_rate_has_its_own_frames() -> None:
    path = sampled(Shot(speed=Fraction(2)).take(), "actual", RIG, camera=Fraction(50))
    assert mapped(path) == [50, 50, 1, 201]
    assert path.angles_deg[:, 0, 0] == pytest.approx(swing(2 + np.arange(201) / 50)[:, 0], abs=1e-4)


def test_a_take_says_itself_at_which_rate_its_camera_ran() -> None:
    take = replace(Shot(speed=Fraction(2)).take(), shot_as=Pass("fast", speed=Fraction(2), rate=Fraction(50)))
    path = sampled(take, "actual", RIG)
    assert mapped(path) == [50, 50, 1, 201]
    assert path.shot_hz == 50
    assert sampled(Shot().take(), "actual", RIG).shot_hz == 25


def test_a_cue_that_begins_within_a_frame_is_read_as_it_was_meant() -> None:
    take = Shot(cue_s=(2.01, 6.0)).take()  # frame 50.25, as near as a float is
    path = sampled(take, "actual", RIG)
    assert mapped(path) == [51, 51, 1, 100]
    assert cue_of(take).start == Fraction("50.25")


def test_frames_without_answers_stay_empty_and_are_named() -> None:
    path = sampled(Shot(silent_s=(2.99, 3.51)).take(), "actual", RIG)
    # frames 75 (3 s) to 87 (3.48 s)
    assert unanswered(path) == ((25, 37),)
    assert np.isnan(path.position_m[25:38]).all()
    assert np.isnan(path.values[25:38]).all()
    assert np.isnan(path.focal_mm[25:38]).all()
    assert np.isfinite(path.position_m[:25]).all()
    assert np.isfinite(path.position_m[38:]).all()
    assert "not known, 13 frames: 10:00:03:00 to 10:00:03:12" in path.remarks


def test_ends_without_answers_are_left_out_and_named() -> None:
    shot = Shot().take()
    answered = (shot.actual_ns - 5_000_000_000_123) / 1e9
    kept = (answered > 2.5) & (answered < 5.5)
    path = sampled(replace(shot, actual_ns=shot.actual_ns[kept], actual=shot.actual[kept]), "actual", RIG)
    assert path.first == path.origin == 63  # 2.5 s is frame 62.5
    assert path.frames == 137 - 63 + 1
    assert unanswered(path) == ()
    assert path.angles_deg[:, 0, 0] == pytest.approx(swing(np.arange(63, 138) / 25)[:, 0], abs=1e-3)
    said = "left out, since nothing is known of them: 10:00:02:00 to 10:00:02:12, 10:00:05:13 to 10:00:06:00"
    assert said in path.remarks
    # what was asked is known throughout
    assert sampled(shot, "asked", RIG).frames == 101


def without(take: Take, axes: tuple[int, ...]) -> Take:
    silent = take.actual.copy()
    silent[:, axes] = np.nan
    return replace(take, actual=silent)


def test_an_axis_that_never_answers_is_not_guessed_where_it_moves_the_camera() -> None:
    with pytest.raises(ExportError, match=r"the rig never said where slide stood.*--source asked"):
        sampled(without(Shot().take(), (1,)), "actual", RIG)
    still = replace(
        without(Shot().take(), (1,)), asked=Shot().take().asked * np.array([1.0, 0.0]) + np.array([0, 250.0])
    )
    path = sampled(still, "actual", RIG)
    assert path.values[..., 0] == pytest.approx(250.0)
    assert any(
        "never said where slide stood: what was asked of it is given, which did not move" in one for one in path.remarks
    )


def test_a_lens_motor_that_never_answers_is_where_it_was_asked_to_be() -> None:
    shot = Shot().take()
    take = replace(without(shot, (1,)), axes=("pan", "pull"), kinds=("pan", "focus"), units=("deg", "mm"))
    rig = replace(RIG, axes=(axis("pan", "pan", "deg"), axis("pull", "focus", "mm")))
    path = sampled(take, "actual", rig)
    assert path.values[:, 0, 1] == pytest.approx(swing(FRAMES / 25)[:, 1], abs=1e-3)
    assert "the rig never said where pull stood: what was asked of it is given" in path.remarks
    # where it stands at no distance ahead, nobody knows what is in focus
    asked = swing(FRAMES / 25)[:, 1]
    clear = np.abs(asked) > 1
    assert (np.isnan(path.focus_m[:, 0]) == (asked < 0))[clear].all()


def test_without_timecode_and_in_a_broken_take_that_is_said() -> None:
    path = sampled(replace(Shot(sights=False).take(), complete=False, fault="it breaks off"), "actual", RIG)
    assert any(one.startswith("frames were found by the playback clock") for one in path.remarks)
    assert "the take is not complete: it breaks off" in path.remarks
    assert path.angles_deg[:, 0, 0] == pytest.approx(swing(FRAMES / 25)[:, 0], abs=1e-4)


def test_what_cannot_be_handed_over_is_refused_with_the_mend() -> None:
    shot = Shot().take()
    with pytest.raises(ExportError, match=r"not shot with the rig head on a slider: pan differs; name the project"):
        sampled(replace(shot, units=("part", "mm")), "actual", RIG)
    with pytest.raises(ExportError, match="lift differs"):
        sampled(shot, "actual", replace(RIG, axes=(*RIG.axes, axis("lift", "lift", "mm"))))
    nothing = replace(shot, actual_ns=shot.actual_ns[:0], actual=shot.actual[:0])
    with pytest.raises(ExportError, match="--source asked"):
        sampled(nothing, "actual", RIG)
    rare = replace(shot, actual_ns=shot.actual_ns[::50], actual=shot.actual[::50])  # each 200 ms
    with pytest.raises(ExportError, match=r"at no frame of lanterns the rig said where it stood.*--source asked"):
        sampled(rare, "actual", RIG)
    with pytest.raises(ExportError, match="holds no whole frame"):
        sampled(replace(shot, cue_s=(2.01, 2.03)), "actual", RIG)
    seldom = replace(shot, due_ns=shot.due_ns[::50], timeline_s=shot.timeline_s[::50], asked=shot.asked[::50])
    with pytest.raises(ExportError) as caught:
        sampled(seldom, "asked", RIG)
    assert str(caught.value) == (
        "take 1: at no frame of lanterns the take has setpoints at least each 50 ms; choose another take"
    )
