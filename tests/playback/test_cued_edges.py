"""Where a cue begins and ends, from where each axis comes to it, and which pass of it fits, at the edges."""

import math
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from sequencer.motion.trajectory import Trajectory
from sequencer.playback.cued import Cued, cue_up
from sequencer.playback.pass_check import PassCheck, check_pass, checked, planned
from sequencer.rig.axis import Rig
from sequencer.score.move import Cue, Move, Pass, Scaled
from tests.motion.machines import LAWS, SECONDS, rig, track
from tests.playback.moves import END, START, Floats, legs, there
from tests.playback.rules import RIG, SPEED

LATE = np.array([0.0, 0.05, 0.0, 0.02])


def creeping(fast: float) -> Trajectory:
    """Pan goes at this part of its full speed all the time, and the others stand, from second 10 to 14."""
    pieces = [
        (np.array([10.0, 14.0]), np.array([[fast * 60.0], [START[0]]]), float(START[0] + 4 * fast * 60)),
        *((np.array([10.0, 14.0]), np.array([[0.0], [one]]), float(one)) for one in START[1:].tolist()),
    ]
    return Trajectory.joined(RIG.names, pieces, np.zeros(4))


def cue(timeline: Trajectory, start_s: float = 10.0, end_s: float = 14.0, speed: float = 1.0) -> Cued:
    return cue_up(RIG, timeline, start_s, end_s, speed)


@pytest.mark.parametrize(("fast", "moves"), [(0.9e-6, ()), (1.1e-6, ("pan",)), (-1.1e-6, ("pan",))])
def test_a_millionth_of_full_speed_is_rest(fast: float, moves: tuple[str, ...]) -> None:
    assert cue(creeping(fast), 10.5).moving == moves
    # an axis that creeps on is waited for at the end, one that rests is not
    assert cue(creeping(fast), 10.5, 12.0).rest_s == (14.0 if moves else 12.0)


def test_the_end_is_the_first_instant_from_the_cues_end_on_at_which_all_rest() -> None:
    thrice = legs([10.0, 12.0, 13.0, 15.0], [START, END, START, END])
    assert cue(thrice, end_s=11.0).rest_s == 12.0
    assert cue(thrice, end_s=12.0).rest_s == 12.0
    assert cue(thrice, end_s=12.5).rest_s == 13.0
    assert cue(thrice, end_s=15.0).rest_s == 15.0
    assert cue(thrice, end_s=16.0).rest_s == 16.0


def test_an_axis_leads_by_what_the_clock_runs_in_its_own_latency() -> None:
    cued = cue(there())
    for speed in (1.0, 0.9, 0.0):
        np.testing.assert_allclose(cued.leads_s(speed), speed * LATE)
    assert cued.lead_s == 0.05
    assert [latency_s for latency_s, _ in cued.leads] == [0.0, 0.02, 0.05]
    assert [axes.tolist() for _, axes in cued.leads] == [[0, 2], [3], [1]]
    alike = Rig(name="alike", axes=tuple(replace(axis, latency_s=0.03) for axis in RIG.axes))
    same = cue_up(alike, there(), 10.0, 14.0)
    assert same.lead_s == 0.03
    np.testing.assert_array_equal(same.ahead(11.0, 0.5)[0], there().at(11.015)[0])


def test_what_one_axis_leads_by_changes_nothing_for_who_looks_next() -> None:
    cued = cue(there())
    first = [one.copy() for one in cued.ahead(11.0, 1.0)]
    cued.ahead(12.0, 1.0)
    again = cued.ahead(11.0, 1.0)
    for one, other in zip(first, again, strict=True):
        np.testing.assert_array_equal(one, other)


def test_a_cue_knows_its_own_pace_and_no_faster_one_than_written() -> None:
    assert (cue(there()).pace, cue(there(), speed=0.5).pace, cue(there(), speed=2.0).pace) == (1.0, 0.5, 1.0)
    assert cue(there()).start_s == 10.0
    np.testing.assert_array_equal(cue(there()).position, START)


@pytest.mark.parametrize(
    ("place", "beyond"),
    [([0, -30, 0, 0], ()), ([0, 60, 1200, 1], ()), ([0, -30.001, 0, 1.001], ("tilt", "focus")), ([1e9, 0, 0, 0], ())],
)
def test_an_end_of_the_travel_is_within_it(place: list[float], beyond: tuple[str, ...]) -> None:
    at = np.array(place, dtype=np.float64)
    assert cue(legs([10.0, 14.0], [at, at])).beyond == beyond
    if beyond:
        return
    no_place = at + np.array([math.nan, 0, 0, 0])
    assert cue(legs([10.0, 14.0], [no_place, no_place])).beyond == ("pan",)


def approach(rig_: Rig, timeline: Trajectory, start_s: float) -> Floats:
    cued = cue_up(rig_, timeline, start_s, 20.0)
    return cued.approach - cued.position


def test_each_axis_comes_from_where_it_moves_first_after_the_start_and_not_before_it() -> None:
    play = SPEED / 1000
    worn = Rig(name="worn", axes=tuple(replace(axis, backlash=axis.speed / 1000) for axis in RIG.axes))
    there_and_back = legs([8.0, 10.0, 12.0, 14.0], [START, END, START, END])
    np.testing.assert_allclose(approach(worn, there_and_back, 10.0), 2 * play)
    np.testing.assert_allclose(approach(worn, there_and_back, 12.0), -2 * play)
    np.testing.assert_allclose(approach(worn, there_and_back, 8.0), -2 * play)
    # one that never moves again comes from below
    np.testing.assert_allclose(approach(worn, there_and_back, 14.0), -2 * play)
    # each by itself: pan up, and the others down
    mixed = END.copy()
    mixed[0] = START[0] - 10
    down = legs([10.0, 14.0], [END, np.where(np.arange(4) == 0, END + 10, START)])
    np.testing.assert_allclose(np.sign(approach(worn, down, 10.0)), [-1, 1, 1, 1])


def test_what_goes_out_and_back_between_two_breaks_is_come_to_as_it_sets_out() -> None:
    """One piece, at both ends of which pan is at the same place: it goes down by 8 degrees between them."""
    worn = Rig(name="worn", axes=tuple(replace(axis, backlash=axis.speed / 1000) for axis in RIG.axes))
    pieces = [
        (np.array([10.0, 14.0]), np.array([[2.0], [-8.0], [START[0]]]), float(START[0])),
        *((np.array([10.0, 14.0]), np.array([[0.0], [0.0], [one]]), float(one)) for one in START[1:].tolist()),
    ]
    down = Trajectory.joined(RIG.names, pieces, np.zeros(4))
    np.testing.assert_allclose(approach(worn, down, 10.0), [0.12, *(-2 * SPEED[1:] / 1000)], rtol=1e-6)


def test_at_an_end_of_the_travel_it_comes_from_the_only_side_that_there_is() -> None:
    worn = Rig(name="worn", axes=tuple(replace(axis, backlash=axis.speed / 1000) for axis in RIG.axes))
    low = np.array([0.0, -30.0, 0.0, 0.0])
    np.testing.assert_allclose(np.sign(approach(worn, legs([10.0, 14.0], [low, END]), 10.0)), [-1, 1, 1, 1])
    high = np.array([0.0, 60.0, 1200.0, 1.0])
    np.testing.assert_allclose(np.sign(approach(worn, legs([10.0, 14.0], [high, START]), 10.0)), [1, -1, -1, -1])
    # just as far from the end as it comes from: that is room enough
    room = low + 2 * SPEED / 1000
    np.testing.assert_allclose(np.sign(approach(worn, legs([10.0, 14.0], [room, END]), 10.0)), [-1, -1, -1, -1])


def test_a_span_that_is_none_is_refused() -> None:
    for end_s in (10.0, 9.0, math.nan):
        with pytest.raises(ValueError, match=r"the cue starts at 10\.0 s and ends at .*; it must end later"):
            cue(there(), end_s=end_s)
    with pytest.raises(ValueError, match=r"the timeline is of pan, tilt, slide, focus, the rig has pan$"):
        cue_up(Rig(name="less", axes=RIG.axes[:1]), there(), 10.0, 14.0)


# --- passes

TURN = Cue("turn", Fraction(0), Fraction(10))
# 60 degrees in 4 s by the 3-4-5 polynomial: 28.1 deg/s of 60, 21.65 deg/s2 of 120, 56.25 deg/s3 of 600
MOVE = Move(tracks=(track([1, 5], [0, 60], "poly345"),), cues=(TURN,))


def done(one: Pass, move: Move = MOVE, at: Cue = TURN, limits: dict[str, float] | None = None) -> PassCheck:
    machine = rig(travel=(-100, 100))
    axis = replace(machine.axes[0], **(limits or {}))  # type: ignore[arg-type]  # fields by name
    return check_pass(replace(machine, axes=(axis,)), replace(move, passes=(one,)), SECONDS, LAWS, at, one)


@pytest.mark.parametrize(
    ("limits", "fits"),
    [
        # the factors of the 3-4-5 polynomial (handbooks of cam design): 15/8, 10/sqrt(3), 60, over 4 s for 60 degrees
        ({"speed": 10.0}, 10 / (15 / 8 * 15)),
        ({"acceleration": 10.0}, math.sqrt(10 / (10 / math.sqrt(3) * 60 / 16))),
        ({"jerk": 10.0}, (10 / (60 * 60 / 64)) ** (1 / 3)),
        ({"speed": 20.0, "acceleration": 1.0}, math.sqrt(1 / (10 / math.sqrt(3) * 60 / 16))),
    ],
)
def test_the_speed_that_fits_is_that_of_the_limit_that_is_broken_most(limits: dict[str, float], fits: float) -> None:
    found = done(Pass("one"), limits=limits)
    assert not found.ok
    assert found.fits is not None
    assert found.fits <= fits * (1 + 1e-6)
    assert float(found.fits) == pytest.approx(fits, rel=0.011)
    # in three figures
    digits = str(float(found.fits)).replace("0.", "").lstrip("0")
    assert len(digits) <= 3
    assert done(Pass("fits", found.fits), limits=limits).ok


def test_a_faster_pass_is_offered_a_speed_in_its_own_terms() -> None:
    found = done(Pass("fast", Fraction(20)))
    assert found.fits == Fraction("2.13")
    assert found.over
    assert found.reserve is not None
    assert found.reserve < 0


def test_a_pass_that_leaves_its_travel_fits_at_no_speed() -> None:
    narrow = replace(rig(travel=(-100, 50)), name="narrow")
    found = check_pass(narrow, replace(MOVE, passes=(Pass("one"),)), SECONDS, LAWS, TURN, Pass("one"))
    assert (found.ok, found.fits) == (False, None)
    assert {one.of for one in found.over} == {"travel"}


def test_what_fits_is_offered_nothing_else_and_says_what_is_left() -> None:
    found = done(Pass("one"))
    assert (found.ok, found.fits, found.over, found.moving, found.rests, found.fault) == (True, None, (), (), (), None)
    assert found.reserve == pytest.approx(1 - 15 / 8 * 15 / 60, abs=1e-3)
    assert (found.cue, found.run) == (TURN, Pass("one"))
    nothing = PassCheck(cue=TURN, run=Pass("one"))
    assert (nothing.ok, nothing.reserve, nothing.worst, nothing.fits) == (True, None, None, None)
    assert not replace(nothing, moving=("pan",)).ok


def test_the_rests_beside_a_cue_that_begins_under_way_are_the_nearest() -> None:
    move = Move(tracks=(track([1, 5, 6, 9], [0, 60, 60, 0], "poly345"),), cues=(TURN,))
    late = done(Pass("late"), move, Cue("late", Fraction(7), Fraction(10)))
    assert (late.moving, late.rests, late.ok) == (("pan0",), (Fraction(6), Fraction(9)), False)
    assert late.cue.name == "late"
    assert late.run == Pass("late")
    early = done(Pass("early"), move, Cue("early", Fraction(3), Fraction(10)))
    assert early.rests == (Fraction(1), Fraction(5))


def test_a_pass_at_half_speed_plays_the_whole_cue_and_no_more() -> None:
    """The leg after the cue is too fast for the rig, and is not part of it at any speed."""
    move = Move(tracks=(track([1, 5, 11, 11.2], [0, 60, 60, 0], "poly345"),), cues=(TURN,))
    for speed in (Fraction(1, 2), Fraction(1), Fraction(2)):
        assert done(Pass("one", speed), move).ok
    assert not done(Pass("one", Fraction(1, 2)), move, Cue("all", Fraction(0), Fraction(12))).ok


def test_what_cannot_be_made_says_of_which_cue_and_pass() -> None:
    one = Pass("eye", offset=(("pan0", 70.0),))
    found = done(one)
    assert found.fault is not None
    assert (found.cue, found.run) == (TURN, one)


def test_a_later_cue_ends_where_it_ends() -> None:
    move = Move(tracks=(track([1, 5, 6, 9, 11, 11.2], [0, 60, 60, 0, 0, 60], "poly345"),), cues=(TURN,))
    assert done(Pass("one"), move, Cue("back", Fraction(6), Fraction(10))).ok
    assert not done(Pass("one"), move, Cue("back", Fraction(6), Fraction(11))).over
    assert done(Pass("one"), move, Cue("back", Fraction(6), Fraction(12))).over


def test_all_axes_must_rest_where_a_cue_may_begin() -> None:
    tracks = (track([1, 5], [0, 60], "poly345"), track([2, 8], [0, 60], "poly345", "pan1"))
    move = Move(tracks=tracks, cues=(TURN,), passes=(Pass("one"),))
    late = check_pass(rig(2, (-100, 100)), move, SECONDS, LAWS, Cue("late", Fraction(3), Fraction(10)), Pass("one"))
    assert late.moving == ("pan0", "pan1")
    assert late.rests == (Fraction(1), Fraction(8))


SMALL, SMALLER = (Scaled(Fraction(1, scale), (("slide", 100.0),)) for scale in (6, 12))
ALIKE = Pass("a")
WAYS = [
    (TURN, replace(ALIKE, name="b", scale=SMALL)),
    (TURN, replace(ALIKE, name="c", note="rain")),
    (TURN, replace(ALIKE, name="d", rate=Fraction(48))),
    (Cue("rise", Fraction(20), Fraction(30)), replace(ALIKE, name="e")),
    (TURN, replace(ALIKE, name="f", offset=(("pan0", 1.0),))),
    (TURN, replace(ALIKE, name="g", speed=Fraction(1, 2))),
    (TURN, replace(ALIKE, name="h", reversed=True)),
]


@pytest.mark.parametrize("other", WAYS, ids=[one.name for _, one in WAYS])
def test_what_is_alike_stays_together(other: tuple[Cue, Pass]) -> None:
    each = [(TURN, ALIKE), other, (TURN, replace(ALIKE, name="again"))]
    assert [one.name for _, one in planned(each)] == ["a", "again", other[1].name]


@pytest.mark.parametrize("dear", range(len(WAYS)))
def test_what_takes_longer_to_change_is_changed_less_often(dear: int) -> None:
    """Four passes that differ in two ways: the dearer one is changed once, whatever comes first."""
    for cheap in range(dear + 1, len(WAYS)):
        (dear_cue, dearer), (cheap_cue, cheaper) = WAYS[dear], WAYS[cheap]
        changed = {name: getattr(cheaper, name) for name in ("note", "rate", "offset", "speed", "reversed")}
        changed = {name: value for name, value in changed.items() if value != getattr(ALIKE, name)}
        both = (cheap_cue if cheap_cue is not TURN else dear_cue, replace(dearer, name="both", **changed))
        each = [(TURN, ALIKE), (dear_cue, dearer), (cheap_cue, cheaper), both]
        if dear_cue is not TURN and cheap_cue is not TURN:
            continue
        assert [one.name for _, one in planned(each)] == ["a", cheaper.name, dearer.name, "both"]


def test_another_scale_is_another_set_and_the_point_that_it_is_about_too() -> None:
    about = replace(SMALL, about=(("slide", 50.0),))
    for other in (SMALLER, about):
        each = [(TURN, Pass("a", scale=SMALL)), (TURN, Pass("b", scale=other)), (TURN, Pass("c", scale=SMALL))]
        assert [one.name for _, one in planned(each)] == ["a", "c", "b"]


def test_all_passes_of_all_cues_are_checked_once() -> None:
    rise = Cue("rise", Fraction(0), Fraction(10))
    move = replace(MOVE, cues=(TURN, rise), passes=(Pass("all"), Pass("its", of="rise")))
    found = checked(rig(), move, SECONDS, LAWS, move.cues)
    assert [(one.cue.name, one.run.name, one.ok) for one in found] == [
        ("turn", "all", True),
        ("rise", "all", True),
        ("rise", "its", True),
    ]
