"""A planned camera as keys: near it at every frame, few, checked, in its place; and what is refused, in words."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sequencer.errors import ProjectError
from sequencer.live.filmed import Placing
from sequencer.motion.compile import compile_move
from sequencer.project.previz import Asked, TakenIn, slower, taken_in
from sequencer.project.previz_within import Within
from sequencer.project.store import load, save
from sequencer.score.move import Cue, Ease, Key, Move, Track
from sequencer.shell.kinds import laws
from sequencer.timebase.rate import Rate
from tests.project.previz_cameras import (
    CAMERAS,
    FIRST,
    LIFT,
    PAN,
    RIG,
    ROLL,
    SLIDE,
    TILT,
    WAYS,
    camera,
    eased,
    empty,
    off,
)

UNITS = Within(units=(("deg", 0.05), ("mm", 0.5)))
NOTHING = Move(tracks=())
SHORT_S = np.arange(101) / 25
SHORT = (20 * eased(0.4, 3.6, SHORT_S), *(0 * SHORT_S,) * 4)


def at(begin: int | Fraction, end: int | Fraction) -> tuple[Fraction, Fraction]:
    return Fraction(begin), Fraction(end)


def short(**how: Any) -> Any:
    return camera(*SHORT, **how)


def run(found: Any = None, move: Move = NOTHING, **asked: Any) -> TakenIn:
    return taken_in(empty(move=move), laws(), short() if found is None else found, Asked(**{"within": UNITS, **asked}))


def refused(found: Any = None, move: Move = NOTHING, **asked: Any) -> str:
    with pytest.raises(ProjectError) as fault:
        run(found, move, **asked)
    return str(fault.value)


@pytest.mark.parametrize("name", sorted(CAMERAS))
def test_a_thousand_frames_become_less_than_five_percent_of_keys_and_all_are_kept(name: str, tmp_path: Path) -> None:
    within = Within(units=(("deg", 0.1), ("mm", 1.0))) if name == "handheld" else UNITS
    done = run(CAMERAS[name], within=within)
    assert done.ok, [leg.worst for leg in done.over]
    save(tmp_path / "quay", done.project, laws())
    kept = load(tmp_path / "quay", laws())
    found = off(done, kept, WAYS[name])
    for one in done.axes:
        axis = one.fitted.captured.axis
        assert one.fitted.captured.keys < 50
        assert found[axis] <= dict(within.units)[RIG.axes[RIG.index(axis)].unit]
        # what it says of itself is what is there, but for the project's exactness of instants
        assert one.off == pytest.approx(found[axis], abs=1e-6)
    assert done.left_mm[0] < 1e-6
    assert done.left_deg[0] < 1e-6


def test_pixels_are_kept_by_all_axes_together() -> None:
    # each axis sways by itself, so that what each may do alone adds up to more than all may together
    random = np.random.default_rng(2)
    hz, begins = random.uniform(0.5, 0.9, 5), random.uniform(0, 1, 5)
    sways = 0.12 * np.sin(2 * np.pi * (hz * SHORT_S[:, None] + begins)).T
    ways = [size * (eased(0.2, 3.8, SHORT_S) + sway) for size, sway in zip((20, 9, -4, 600, 200), sways, strict=True)]
    planned = camera(*ways)
    done = run(planned, within=Within(px=4.0))
    assert done.off_px is not None
    assert 1.0 < done.off_px[0] <= 4.0
    # by hand: a point 3.5 m ahead in the corner, through scipy's own turn
    project = done.project
    there = compile_move(project.rig, project.move, project.timebase.rate, laws()).sample(done.way.at_s)
    kept = camera(*there.T)
    corner = np.array([24.9 / 2 / 35 * 3.5, 3.5, 14 / 2 / 35 * 3.5])
    points = planned.position_m + planned.matrix @ corner
    seen = np.einsum("tij,ti->tj", kept.matrix, points - kept.position_m)
    moved = (seen[:, ::2] / seen[:, 1:2] - corner[::2] / 3.5) * 35 / (24.9 / 4096)
    assert np.hypot(*moved.T).max() <= done.off_px[0] + 1e-9


def test_shake_is_refused_with_the_room_that_takes_it_in_and_that_room_does() -> None:
    tight = Within(units=(("deg", 0.02), ("mm", 0.2)))
    words = refused(CAMERAS["shaken"], within=tight)
    assert "shakes from sample to sample: pan by 0.011 deg" in words
    assert "--within pan=0.043 --within tilt=0.041" in words
    # roll rests all through this part, but for the shake
    jerk = {}
    for within, shake in ((UNITS, False), (tight, True)):
        done = run(CAMERAS["shaken"], within=within, shake=shake, last=FIRST + 150, axes=("roll",))
        assert done.axes[0].off <= dict(within.units)["deg"]
        jerk[shake] = done.check.axes()[2].jerk.value
    assert jerk[False] < ROLL.jerk / 100
    assert jerk[True] > 10 * jerk[False]
    pixels = refused(CAMERAS["shaken"], within=Within(px=1.0))
    wanted = float(pixels.partition("--within-px ")[2].partition(";")[0])
    assert run(CAMERAS["shaken"], within=Within(px=wanted), last=FIRST + 40).ok


def test_one_that_begins_and_ends_in_motion_is_led_there_and_away() -> None:
    done = run(camera(10 * SHORT_S, *SHORT[1:]))
    assert done.ok
    pan = done.axes[0].fitted.captured
    assert len(pan.added) == 2
    assert (done.cue.start, done.cue.end) == pan.added
    assert pan.added[0] < 0
    assert pan.added[1] > 100
    assert off(done, done.project, (10 * SHORT_S, *SHORT[1:]))["pan"] <= 0.05


class TestPlace:
    def test_the_first_position_is_where_the_rig_stands(self) -> None:
        stands = Move(tracks=(Track("slide", (Key(Fraction(0), 300.0, Ease("poly345")),)),))
        away = camera(SHORT[0], SHORT[0], SHORT[2], 700 * eased(0.5, 3.5, SHORT_S), SHORT[4])
        away = replace(away, position_m=away.position_m + np.array([40, -7, 3]))
        done = run(away, stands, placing=Placing(place="start"), replace=True)
        assert done.left_mm[0] < 1e-6
        values = done.way.positions[:, RIG.index("slide")]
        np.testing.assert_allclose(values, 300 + 700 * eased(0.5, 3.5, SHORT_S), atol=1e-6)
        # as the world has it, that is 40 m away
        assert "--place start begins where the rig stands" in refused(away, stands, replace=True)

    def test_a_miniature_is_scaled_and_a_set_is_turned(self) -> None:
        away = camera(SHORT[0], *SHORT[1:3], 3000 * eased(0.5, 3.5, SHORT_S), SHORT[4])
        away = replace(away, position_m=away.position_m - away.position_m[0])
        placing = Placing(scale=1 / 6, place="start", turn_deg=0)
        done = run(away, placing=placing)
        # the pupil goes round with the head at its own size, which a rig cannot scale
        assert done.way.positions[-1, 3] == pytest.approx(500, abs=40)
        assert done.way.positions[-1, 0] == pytest.approx(20, abs=1e-6)
        turned = run(away, placing=replace(placing, turn_deg=30), within=UNITS)
        assert turned.way.positions[-1, 0] == pytest.approx(50, abs=1e-6)
        np.testing.assert_allclose(turned.left_mm[0], np.hypot(500, 0) * np.sin(np.radians(30)), atol=40)

    @pytest.mark.parametrize(("pan", "turn"), [(560.0, -40.0), (-230.0, 30.0)])
    def test_a_pan_outside_is_told_the_turn_that_brings_it_in(self, pan: float, turn: float) -> None:
        rig = replace(RIG, axes=(replace(PAN, travel=(-100, 100)), TILT, ROLL, SLIDE, LIFT))
        way = np.sign(pan) * (120 + 80 * eased(0.5, 3.5, SHORT_S)) - 0
        found = camera(way, *SHORT[1:])
        with pytest.raises(ProjectError, match="pan would go from") as fault:
            taken_in(empty(rig), laws(), found, Asked(within=UNITS))
        words = str(fault.value)
        told = float(words.partition("--turn ")[2].split()[0])
        placing = Placing(turn_deg=told, place="start")
        assert taken_in(empty(rig), laws(), found, Asked(within=UNITS, placing=placing)).ok

    def test_what_is_the_same_distance_beside_it_all_along_is_told(self) -> None:
        away = replace(short(), position_m=short().position_m + np.array([0.0, 0.25, 0.0]))
        done = run(away)
        assert done.left_mm[0] == pytest.approx(250, abs=0.01)
        assert "it is 250 mm beside what the rig can reach all along; --place start" in done.remarks[-1]
        assert run(away, placing=Placing(place="start")).left_mm[0] < 1e-6

    def test_a_hair_beyond_the_travel_as_numbers_of_a_file_leave_it_is_met_inside(self) -> None:
        rig = replace(RIG, axes=(PAN, TILT, ROLL, replace(SLIDE, travel=(0, 1500)), LIFT))
        hair = camera(*SHORT[:3], -0.02 + 0 * SHORT_S, SHORT[4])
        done = taken_in(empty(rig), laws(), hair, Asked(within=UNITS))
        values = [key.value for track in done.project.move.tracks if track.axis == "slide" for key in track.keys]
        assert min(values) >= 0
        assert done.axes[3].off <= 0.5
        far = camera(*SHORT[:3], -0.2 + 0 * SHORT_S, SHORT[4])
        with pytest.raises(ProjectError, match="slide would go from"):
            taken_in(empty(rig), laws(), far, Asked(within=UNITS))

    def test_what_is_too_long_is_told_the_scale(self) -> None:
        long = camera(*SHORT[:3], 4000 * eased(0.1, 3.9, SHORT_S), SHORT[4])
        assert "slide would go from" in (words := refused(long))
        assert "--scale 0.425 at the most" in words
        assert run(long, placing=Placing(scale=0.3, place="start"), axes=("slide",)).axes


class TestTime:
    def test_it_goes_to_its_own_timecode_to_a_cue_or_where_it_is_said(self) -> None:
        assert run(short(start=Fraction(36012))).span == at(300, 400)
        assert run(short(start=Fraction(3600))).span == at(0, 100)  # hours before the project
        assert "far from the project's" in run(short(start=Fraction(3600))).remarks[0]
        assert run(short(start=None)).span == at(0, 100)
        assert run(at=Fraction(77)).span == at(77, 177)
        cued = Move(tracks=(), cues=(Cue("turn", Fraction(50), Fraction(200)),))
        done = run(move=cued, cue="turn")
        assert done.span == at(50, 150)
        assert (done.made, done.project.move.cues) == (False, cued.cues)
        assert run(move=cued, at=Fraction(60)).cue.name == "turn"
        new = run(move=cued, cue="other", at=Fraction(60))
        assert (new.cue, new.made) == (Cue("other", Fraction(60), Fraction(160)), True)

    def test_a_new_cue_has_a_name_of_its_own(self) -> None:
        there = Move(tracks=(), cues=(Cue("shot 7", Fraction(500), Fraction(600)),))
        assert run(move=there).cue.name == "shot 7 2"
        assert run(short(name="/world/rig/cam")).cue.name == "cam"
        assert "no name" in refused(cue=" ")

    def test_a_cue_that_is_too_short_is_told(self) -> None:
        cued = Move(tracks=(), cues=(Cue("turn", Fraction(50), Fraction(100)),))
        words = refused(move=cued, cue="turn")
        assert "10:00:02:00 to 10:00:06:00" in words
        assert "the cue turn is from 10:00:02:00 to 10:00:04:00" in words

    def test_another_rate_is_refused_until_somebody_says_what_is_kept(self) -> None:
        film = short(rate=Rate(24))
        words = refused(film)
        assert "has 24 frames a second, and the project 25" in words
        assert "--convert time keeps its 4.1667 s" in words
        assert "--convert frames keeps frame for frame, and lasts 4 s" in words
        by_time, by_frame = run(film, convert="time"), run(film, convert="frames")
        assert by_time.span == at(0, Fraction(100 * 25, 24))
        assert by_frame.span == at(0, 100)
        np.testing.assert_allclose(by_time.way.at_s, np.arange(101) / 24, atol=1e-12)
        for done in (by_time, by_frame):
            there = compile_move(RIG, done.project.move, Rate(25), laws()).sample(done.way.at_s)
            assert np.abs(there[:, 0] - SHORT[0]).max() <= 0.05

    def test_drop_frame_or_not_a_thousandth_matters(self) -> None:
        assert "24000/1001" in refused(short(rate=Rate(24000, 1001)), convert=None)

    def test_it_may_last_longer(self) -> None:
        done = run(stretch=Fraction(3, 2))
        assert done.span == at(0, 150)
        assert "above zero" in refused(stretch=Fraction(0))

    def test_a_part_of_it_is_taken(self) -> None:
        done = run(first=FIRST + 10, last=FIRST + 60)
        assert len(done.film.frames) == 51
        assert done.span == at(10, 60)  # its own timecode counts on
        assert "a move needs two" in refused(first=FIRST + 10, last=FIRST + 10)
        assert "it goes from 1001 to 1101" in refused(first=5000.0)

    def test_a_cut_in_the_middle_is_told_with_the_shots(self) -> None:
        with pytest.raises(ProjectError) as fault:
            taken_in(empty(), laws(), short(), Asked(within=UNITS), (1041.0, 1080.0))
        words = str(fault.value)
        assert "at frame 1041, 1080" in words
        assert "--from 1001 --to 1040, or --from 1041 --to 1079, or --from 1080 --to 1101" in words
        asked = Asked(within=UNITS, first=1041.0, last=1079.0)
        assert taken_in(empty(), laws(), short(), asked, (1041.0, 1080.0)).ok


class TestKeysThere:
    MOVE = Move(
        tracks=(
            Track("pan", tuple(Key(Fraction(at), float(at % 7), Ease("poly345")) for at in (0, 60, 120, 300))),
            Track("tilt", (Key(Fraction(500), 9.0, Ease("poly345")),)),
        )
    )

    def test_they_stay_unless_they_may_go(self) -> None:
        words = refused(move=self.MOVE, at=Fraction(50))
        assert "keys already from 10:00:02:00 to 10:00:06:00: pan has 2" in words
        assert "--replace" in words

    def test_only_those_in_its_place_go(self) -> None:
        done = run(move=self.MOVE, at=Fraction(50), replace=True)
        pan, tilt = done.project.move.tracks[:2]
        assert [key.at for key in pan.keys if not 50 <= key.at <= 150] == [0, 300]
        assert (pan.keys[0], pan.keys[-1]) == (self.MOVE.tracks[0].keys[0], self.MOVE.tracks[0].keys[-1])
        assert tilt.keys[-1] == self.MOVE.tracks[1].keys[0]
        assert done.axes[0].fitted.replaced == 2

    def test_a_pinned_key_is_not_taken_out(self) -> None:
        pinned = replace(self.MOVE.tracks[0].keys[1], pin=True)
        keys = (self.MOVE.tracks[0].keys[0], pinned)
        words = refused(move=Move(tracks=(Track("pan", keys),)), at=Fraction(50), replace=True)
        assert "the key of pan at 10:00:02:10 is pinned" in words
        assert "the camera would replace it" in words

    def test_only_some_axes_are_taken(self) -> None:
        done = run(move=self.MOVE, at=Fraction(50), axes=("tilt",))
        assert [track.axis for track in done.project.move.tracks] == ["pan", "tilt"]
        assert done.project.move.tracks[0] == self.MOVE.tracks[0]
        assert "the rig has no axis 'crane'" in refused(axes=("crane",))


class TestMotors:
    FAST = camera(*(60 * eased(1, 1.9, SHORT_S), *SHORT[1:]))

    def test_what_is_too_fast_is_judged_and_a_slower_time_is_tried(self) -> None:
        done = run(self.FAST)
        assert not done.ok
        assert {leg.axis for leg in done.over} == {"pan"}
        asked = Asked(within=UNITS)
        scale = slower(empty(), laws(), self.FAST, asked, done)
        assert scale is not None
        assert taken_in(empty(), laws(), self.FAST, replace(asked, stretch=scale)).ok
        # and not much slower than need be
        assert not taken_in(empty(), laws(), self.FAST, replace(asked, stretch=scale * Fraction(9, 10))).ok

    def test_what_was_over_elsewhere_is_not_the_cameras_fault(self) -> None:
        rough = Track("pan", tuple(Key(Fraction(at), value, Ease("linear")) for at, value in ((300, 0.0), (400, 50.0))))
        done = run(move=Move(tracks=(rough,)))
        assert not done.check.ok
        assert done.ok


class TestWithin:
    def test_an_axis_by_name_comes_before_its_unit(self) -> None:
        done = run(within=Within(axes=(("pan", 0.2),), units=(("deg", 0.01), ("mm", 2.0))))
        allowed = {one.fitted.captured.axis: one.fitted.within for one in done.axes}
        assert allowed == {"pan": 0.2, "tilt": 0.01, "roll": 0.01, "slide": 2.0, "lift": 2.0}

    def test_nothing_said_is_a_pixel_or_what_is_usual(self) -> None:
        assert (run(within=Within()).off_px or (9, 0))[0] <= 1
        blind = taken_in(empty(replace(RIG, camera=None)), laws(), short(), Asked())
        assert blind.off_px is None
        assert {one.fitted.within for one in blind.axes} == {0.02, 0.5}

    def test_what_makes_no_sense_is_refused(self) -> None:
        with pytest.raises(ValueError, match="above zero"):
            Within(px=0.0)
        with pytest.raises(ValueError, match="above zero"):
            Within(units=(("deg", float("nan")),))
        assert "no axis 'crane'" in refused(within=Within(axes=(("crane", 1.0),)))
        assert "more than a tenth of the travel" in refused(within=Within(axes=(("tilt", 50.0),)))
        with pytest.raises(ProjectError, match="nothing is known of pixels"):
            taken_in(empty(replace(RIG, camera=None)), laws(), short(), Asked(within=Within(px=1.0)))


def test_a_rig_that_can_do_none_of_it_says_so() -> None:
    only = replace(RIG, axes=(replace(PAN, unit="part", travel=(0, 1)),))
    with pytest.raises(ProjectError, match="none of the axes"):
        taken_in(empty(only), laws(), short(), Asked(within=UNITS))
