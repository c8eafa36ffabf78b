"""Keys that keep the lens on a point: near it at every instant, within the motors' limits, beside what stood there."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from sequencer.errors import ProjectError
from sequencer.live.aiming import Aim, Written, written
from sequencer.motion.check import check
from sequencer.motion.compile import compile_move
from sequencer.rig.axis import Axis, Camera, Rig
from sequencer.rig.geometry import Geometry
from sequencer.rig.lens_table import FocusRow, FocusTable, LensRow, LensTable
from sequencer.rig.pose import pose
from sequencer.rig.reading import reading
from sequencer.score.move import Ease, Key, Move, Track
from sequencer.score.points import Point
from sequencer.shell.kinds import laws
from sequencer.timebase.rate import Rate
from tests.motion.aim_oracles import between

RATE = Rate(25)
LAWS = laws()
PAN = Axis(name="pan", kind="pan", unit="deg", travel=None, speed=40, acceleration=80, jerk=400)
TILT = Axis(name="tilt", kind="tilt", unit="deg", travel=(-60, 60), speed=30, acceleration=60, jerk=300)
ROLL = Axis(name="roll", kind="roll", unit="deg", travel=(-20, 20), speed=30, acceleration=60, jerk=300)
SLIDE = Axis(name="slide", kind="slide", unit="mm", travel=(0, 1500), speed=400, acceleration=600, jerk=3000)
LIFT = Axis(name="lift", kind="lift", unit="mm", travel=(0, 600), speed=200, acceleration=300, jerk=1500)
FOCUS = replace(SLIDE, name="focus", kind="focus", travel=(300, 9000), speed=9e3, acceleration=3e4, jerk=2e5, home=2e3)
RIG = Rig(
    name="quay",
    axes=(PAN, TILT, ROLL, SLIDE, LIFT, FOCUS),
    geometry=Geometry(height_m=1.1, pupil_mm=(8.0, 90.0, -15.0)),
)
POINT = Point("bollard", (0.7, 2.2, 0.6))
OTHER = Point("lantern", (-0.4, 3.4, 1.9))


def track(axis: str, *keys: tuple[int, float], ease: str = "poly345") -> Track:
    return Track(axis, tuple(Key(Fraction(at), value, Ease(ease)) for at, value in keys))


SLIDES = Move(
    tracks=(
        track("slide", (25, 100), (125, 900), (225, 1300)),
        track("lift", (25, 500), (225, 100)),
        track("roll", (50, 0), (200, 6)),
    )
)
AIM = Aim(at=POINT, start=Fraction(20), end=Fraction(230))


def run(aim: Aim = AIM, move: Move = SLIDES, rig: Rig = RIG, within_deg: float = 0.01, **how: bool) -> Written:
    return written(rig, move, RATE, LAWS, aim, within_deg, **how)


def off(done: Written, aim: Aim, point: Point, rig: Rig = RIG, step: float = 0.05) -> np.ndarray:
    """Return the angle off the axis at many instants, by the pose of the compiled move. Shape: (T,)."""
    t_s = np.arange(float(aim.start), float(aim.end), step) / 25
    where = pose(rig, compile_move(rig, done.move, RATE, LAWS).sample(t_s))
    pairs = zip(where.forward, np.array(point.at_m) - where.position, strict=True)
    return np.array([between(ahead, way)[0] for ahead, way in pairs])


@pytest.mark.parametrize("within_deg", [0.05, 0.01, 0.002])
def test_the_lens_stays_on_the_point_while_slide_lift_and_roll_move(within_deg: float) -> None:
    done = run(within_deg=within_deg)
    seen = off(done, AIM, POINT)
    assert seen.max() <= within_deg
    assert done.furthest_deg == pytest.approx(seen.max(), rel=0.05)
    assert check(RIG, done.move, RATE, LAWS).ok
    assert [one.axis for one in done.captured] == ["pan", "tilt", "focus"]
    assert done.replaced == (0, 0, 0)
    # a tolerance as wide as five times another does with fewer keys
    assert all(one.keys < one.samples / 20 for one in done.captured)


def test_a_wider_tolerance_needs_fewer_keys() -> None:
    few, many = (sum(one.keys for one in run(within_deg=within).captured) for within in (0.1, 0.001))
    assert few < many


def test_focus_is_the_distance_along_the_axis() -> None:
    done = run()
    t_s = np.linspace(1.0, 9.0, 200)
    at = compile_move(RIG, done.move, RATE, LAWS).sample(t_s)
    where = pose(RIG, at)
    far_m = np.linalg.norm(np.array(POINT.at_m) - where.position, axis=1)
    assert at[:, 5] / 1000 == pytest.approx(far_m, rel=1 / 400)
    assert done.distance_m == pytest.approx((far_m.min(), far_m.max()), rel=0.02)


def test_focus_follows_the_lens_table_and_its_pupil() -> None:
    rows = (FocusRow(0.0, "inf"), FocusRow(0.3, "3 m"), FocusRow(0.7, "1.5 m"), FocusRow(1.0, "0.8 m"))
    camera = Camera(
        sensor_mm=(24, 13.5),
        pixels=(3840, 2160),
        focal_mm=35,
        subject_m=2,
        focus_table=FocusTable(rows),
        pupil=LensTable((LensRow(60.0, "1 m"), LensRow(70.0, "4 m"))),
    )
    part = replace(FOCUS, unit="part", travel=(0.0, 1.0), home=0.5, speed=2, acceleration=10, jerk=60)
    place = Geometry(height_m=1.1, sensor_plane_mm=(8.0, 25.0, -15.0))
    rig = replace(RIG, axes=(*RIG.axes[:5], part), camera=camera, geometry=place)
    done = run(rig=rig)
    assert done.unfocused == ""
    t_s = np.linspace(1.0, 9.0, 100)
    at = compile_move(rig, done.move, RATE, LAWS).sample(t_s)
    far_m = np.linalg.norm(np.array(POINT.at_m) - pose(rig, at).position, axis=1)
    assert reading(camera, rig, at).ahead_m == pytest.approx(far_m, rel=1 / 200)
    assert off(done, AIM, POINT, rig).max() <= 0.01
    # by the pupil as it is once the lens is focused
    assert done.distance_m == pytest.approx((far_m.min(), far_m.max()), abs=3e-3)


def test_a_focus_in_mm_is_the_distance_from_the_pupil_wherever_the_table_has_it() -> None:
    pupil = LensTable((LensRow(60.0, "1 m", 35.0), LensRow(140.0, "4 m", 35.0)))
    camera = Camera(sensor_mm=(24, 13.5), pixels=(3840, 2160), focal_mm=35, subject_m=2, pupil=pupil)
    rig = replace(RIG, camera=camera, geometry=Geometry(height_m=1.1, sensor_plane_mm=(8.0, -5.0, -15.0)))
    done = run(rig=rig)
    assert done.unfocused == ""
    at = compile_move(rig, done.move, RATE, LAWS).sample(np.linspace(1.0, 9.0, 100))
    far_m = np.linalg.norm(np.array(POINT.at_m) - pose(rig, at).position, axis=1)
    assert at[:, 5] / 1000 == pytest.approx(far_m, rel=1 / 400)
    assert off(done, AIM, POINT, rig).max() <= 0.01


@pytest.mark.parametrize(
    ("focus", "what"),
    [
        (
            replace(FOCUS, unit="part", travel=(0.0, 1.0), home=0.5),
            "focus counts part, and the camera has no focus_table",
        ),
        (replace(FOCUS, travel=(2500.0, 9000.0), home=3000.0), "focus would have to go from"),
    ],
)
def test_a_focus_that_cannot_is_left_as_it_was_and_said(focus: Axis, what: str) -> None:
    done = run(rig=replace(RIG, axes=(*RIG.axes[:5], focus)))
    assert what in done.unfocused
    assert "focus is left as it was" in done.unfocused
    assert [one.axis for one in done.captured] == ["pan", "tilt"]
    assert all(one.axis != "focus" for one in done.move.tracks)


def test_a_blend_turns_from_one_point_to_the_other_and_stays_there() -> None:
    aim = replace(AIM, then=OTHER, leaves=Fraction(75), arrives=Fraction(175))
    done = run(aim)
    assert off(done, replace(aim, end=aim.leaves), POINT).max() <= 0.01
    assert off(done, replace(aim, start=aim.arrives), OTHER).max() <= 0.01
    assert done.furthest_deg <= 0.01
    assert check(RIG, done.move, RATE, LAWS).ok
    one, other = (np.array(point.at_m) - [0.5, 0, 1.1] for point in (POINT, OTHER))
    assert done.turned_deg == pytest.approx(between(one / np.linalg.norm(one), other)[0], abs=25)


def test_of_a_blend_both_points_are_named_where_one_cannot_be_looked_at() -> None:
    knot = Point("knot", (0.1, 0.0, 1.6))
    with pytest.raises(
        ValueError, match=r"knot or lantern cannot be looked at at @20: it is in the lens, or behind it; it"
    ):
        run(replace(AIM, at=knot, then=OTHER, leaves=Fraction(75), arrives=Fraction(175)))


def test_a_point_beside_which_the_lens_passes_is_refused_with_how_far_it_must_be() -> None:
    """The lens sits 8 mm beside the axis of pan, and the point 4 mm off it, half a metre above."""
    rig = replace(RIG, axes=(*RIG.axes[:5],))
    near = Point("knot", (0.004, 0.0, 1.6))
    still = Move(tracks=())
    away = r"it is 0\.004 m away from that axis, and must be 0\.008 m"
    with pytest.raises(ValueError, match=rf"knot cannot be looked at at @20: it is so near the axis .*; {away}"):
        run(replace(AIM, at=near), still, rig)


def test_a_blend_without_time_or_with_a_law_that_leads_nowhere_is_refused() -> None:
    with pytest.raises(ValueError, match="takes more than no time"):
        run(replace(AIM, then=OTHER, leaves=Fraction(75), arrives=Fraction(75)))
    with pytest.raises(ValueError, match="the law hold leads from no point to another"):
        run(replace(AIM, then=OTHER, leaves=Fraction(75), arrives=Fraction(95), ease=Ease("hold")))


def test_keys_before_and_after_stay_and_those_inside_go() -> None:
    old = track("pan", (-150, 10), (-60, -5), (60, 3), (100, 30), (300, 0), (350, 5))
    done = run(move=replace(SLIDES, tracks=(*SLIDES.tracks, old)))
    keys = next(one for one in done.move.tracks if one.axis == "pan").keys
    assert [key.at for key in keys if key.at < 20 or key.at > 240] == [-150, -60, 300, 350]
    assert done.replaced[0] == 2
    assert off(done, AIM, POINT).max() <= 0.01
    assert check(RIG, done.move, RATE, LAWS).ok


def test_a_point_in_the_lens_is_refused_with_how_far_it_must_be() -> None:
    with pytest.raises(ValueError, match=r"knot cannot be looked at at @20: it is in the lens, or behind it; it is"):
        run(replace(AIM, at=Point("knot", (0.1, 0.0, 1.6))))


def test_a_smooth_run_on_either_side_ends_at_the_aim() -> None:
    old = track("pan", (-100, 10), (-40, -5), (60, 3), (300, 0), (350, 5), (400, 10), ease="through")
    done = run(move=replace(SLIDES, tracks=(*SLIDES.tracks, old)))
    assert off(done, AIM, POINT).max() <= 0.01
    curve = compile_move(RIG, done.move, RATE, LAWS)
    assert np.abs(curve.sample(np.array([-40, 300]) / 25, 1)[:, 0]).max() < 1e-9


def test_in_motion_at_an_end_of_the_stretch_keys_lead_there_and_on() -> None:
    aim = replace(AIM, start=Fraction(70), end=Fraction(180))
    done = run(aim)
    assert all(one.added for one in done.captured[:2])
    assert off(done, aim, POINT).max() <= 0.01
    assert check(RIG, done.move, RATE, LAWS).ok


def test_a_pinned_key_in_the_way_is_refused_with_its_place() -> None:
    old = Track("tilt", (Key(Fraction(100), 3.0, Ease("poly345"), pin=True),))
    with pytest.raises(ProjectError, match="the key of tilt at @100 is pinned") as caught:
        run(move=replace(SLIDES, tracks=(*SLIDES.tracks, old)))
    assert caught.value.path == "tracks[3].keys[0]"


def test_a_point_where_tilt_cannot_go_is_refused_with_the_stretch_that_works() -> None:
    with pytest.raises(
        ValueError, match="roof is where the camera cannot be turned to: tilt would have to be"
    ) as caught:
        run(replace(AIM, at=Point("roof", (0.9, 0.4, 2.2))))
    assert "it can be turned there from @20 to @" in str(caught.value)
    with pytest.raises(ValueError, match="it can be turned there nowhere in this stretch"):
        run(replace(AIM, at=Point("zenith", (0.8, 0.1, 50.0))))


def test_a_point_that_passes_beside_straight_above_is_refused_with_the_speed_that_it_asks() -> None:
    tilts = replace(TILT, travel=(-10, 170), speed=90, acceleration=300, jerk=3000)
    rig = replace(RIG, axes=(PAN, tilts, *RIG.axes[2:]), geometry=Geometry(height_m=1.1))
    move = Move(tracks=(track("slide", (25, 0), (225, 1400)),))
    with pytest.raises(ValueError, match=r"where pan has to turn round: pan turns at up to .* deg/s there") as caught:
        run(replace(AIM, at=Point("hook", (0.7, 0.004, 2.1))), move, rig)
    assert "to go over the top instead" in str(caught.value)
    # straight above it goes over the top
    done = run(replace(AIM, at=Point("hook", (0.7, 0.0, 2.1))), move, rig)
    assert done.aimed.near[0].over
    assert done.furthest_deg <= 0.01
    # and with what was offered, so does the other
    wide = run(replace(AIM, at=Point("hook", (0.7, 0.004, 2.1))), move, rig, within_deg=1.0)
    assert wide.aimed.near[0].over
    assert wide.furthest_deg <= 1.0


def test_turning_in_no_time_to_speak_of_is_refused_with_the_speed_that_it_asks() -> None:
    aim = replace(AIM, then=OTHER, leaves=Fraction(120), arrives=Fraction(120) + Fraction(1, 400))
    with pytest.raises(ValueError, match=r"bollard or lantern cannot be kept to within 0\.01 deg: pan can") as caught:
        run(aim)
    assert "turning to lantern takes 0.0001 s, in which pan would turn at up to" in str(caught.value)
    assert str(caught.value).endswith("give it more time")


@pytest.mark.parametrize("within_deg", [0.0, -1.0, float("nan"), float("inf")])
def test_a_tolerance_that_is_none_is_refused(within_deg: float) -> None:
    with pytest.raises(ValueError, match="give an angle above zero"):
        run(within_deg=within_deg)


def test_what_leads_on_from_an_aim_in_motion_does_not_run_on_into_old_keys() -> None:
    aim = replace(AIM, start=Fraction(70), end=Fraction(180))
    old = track("pan", (-100, 10), (-40, -5), (300, 0), (350, 5), (400, 10), ease="through")
    alone, done = run(aim), run(aim, replace(SLIDES, tracks=(*SLIDES.tracks, old)))
    new, kept = (next(one for one in each.move.tracks if one.axis == "pan").keys for each in (alone, done))
    # the aim's own keys, which begin and end at rest, compile as they do alone
    t_s = np.linspace(float(new[0].at) / 25, float(new[-1].at) / 25, 500)
    one, other = (compile_move(RIG, each.move, RATE, LAWS).sample(t_s)[:, 0] for each in (alone, done))
    assert one == pytest.approx(other, abs=1e-9)
    assert len(kept) == len(new) + 5


def test_an_axis_without_end_goes_on_to_an_old_key_the_short_way_round() -> None:
    old = track("pan", (-150, 0), (300, 700), (350, 705))
    done = run(move=replace(SLIDES, tracks=(*SLIDES.tracks, old)))
    pan = compile_move(RIG, done.move, RATE, LAWS).sample(np.array([230, 300]) / 25)[:, 0]
    assert abs(pan[1] - pan[0]) <= 180
    assert (pan[1] - 700) % 360 == pytest.approx(0, abs=1e-6)
