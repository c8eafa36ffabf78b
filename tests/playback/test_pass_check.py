"""Passes are judged as arming judges them, what fits instead really fits, and the order spares work."""

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise, permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.motion.check import check
from sequencer.motion.peaks import TOLERANCE
from sequencer.playback.pass_check import PassCheck, check_pass, checked, planned
from sequencer.score.move import Cue, Move, Pass, Scaled
from tests.motion.machines import LAWS, SECONDS, rig, track

TURN = Cue("turn", Fraction(0), Fraction(10))
# 60 degrees in 4 s: 3-4-5 asks 15/8 x 15 = 28.1 deg/s of 60, 5.7735 x 3.75 = 21.7 deg/s2 of 120, 56.25 of 600
MOVE = Move(tracks=(track([1, 5], [0, 60], "poly345"),), cues=(TURN,))
speeds = st.fractions(Fraction(1, 20), 20, max_denominator=100)


def done(one: Pass, move: Move = MOVE, cue: Cue = TURN) -> PassCheck:
    return check_pass(rig(travel=(-100, 100)), replace(move, passes=(one,)), SECONDS, LAWS, cue, one)


@given(speeds)
def test_a_pass_of_the_whole_move_is_judged_as_the_check_judges_it(speed: Fraction) -> None:
    found = done(Pass("one", speed))
    same = check(rig(travel=(-100, 100)), MOVE, SECONDS, LAWS, speed)
    assert found.ok == same.ok
    assert found.reserve == pytest.approx(same.reserve, abs=1e-9)
    assert (found.fits is None) == found.ok


@given(speeds.filter(lambda speed: speed > Fraction(11, 5)))
def test_the_speed_that_is_offered_fits_and_a_little_more_does_not(speed: Fraction) -> None:
    found = done(Pass("fast", speed))
    assert found.fits is not None
    # the law's own limit: speed is 15/8 of the mean (handbook factor of the 3-4-5 polynomial), and that is 60 deg/s
    assert float(found.fits) == pytest.approx(60 / (15 / 8 * 15), rel=0.005)
    assert done(Pass("fits", found.fits)).ok
    assert not done(Pass("more", found.fits * Fraction(101, 100))).ok


def test_only_the_part_that_is_played_counts() -> None:
    move = Move(tracks=(track([1, 5, 12, 12.5], [0, 60, 60, 0], "poly345"),), cues=(TURN,))
    assert not check(rig(), move, SECONDS, LAWS).ok
    assert done(Pass("turn"), move).ok


def test_a_cue_that_begins_under_way_is_said_with_its_nearest_rests() -> None:
    found = done(Pass("late"), cue=Cue("late", Fraction(3), Fraction(10)))
    assert (found.ok, found.moving, found.rests) == (False, ("pan0",), (Fraction(1), Fraction(5)))
    assert done(Pass("late"), cue=Cue("late", Fraction(1), Fraction(10))).ok


def test_what_no_speed_mends_has_no_speed_that_fits() -> None:
    jolts = Move(tracks=(track([1, 5], [0, 60], "linear"),), cues=(TURN,))
    found = done(Pass("one"), jolts)
    assert (found.ok, found.fits) == (False, None)
    overshoots = Move(tracks=(track([1, 5], [0, 60], "harmonic"),), cues=(TURN,))
    assert done(Pass("one"), overshoots).fits is None  # its acceleration begins at once


def test_a_pass_that_cannot_be_made_is_a_verdict_and_no_crash() -> None:
    found = done(Pass("eye", offset=(("pan0", 70.0),)))
    assert found.fault is not None
    assert found.fault.path == "passes[0].offset.pan0"
    assert (found.ok, found.reserve) == (False, None)
    assert done(Pass("eye", offset=(("pan0", 40.0),))).ok


def test_a_pass_of_another_cue_is_not_offered_for_this_one() -> None:
    other = Cue("other", Fraction(20), Fraction(30))
    move = replace(MOVE, cues=(TURN, other), passes=(Pass("all"), Pass("mine", of="turn"), Pass("its", of="other")))
    found = checked(rig(), move, SECONDS, LAWS, move.cues)
    assert [(one.cue.name, one.run.name) for one in found] == [
        ("turn", "all"),
        ("turn", "mine"),
        ("other", "all"),
        ("other", "its"),
    ]
    plain = checked(rig(), MOVE, SECONDS, LAWS, (TURN,))
    assert [one.run.name for one in plain] == ["as written"]


# --- the order

SMALL = Scaled(Fraction(1, 6), (("slide", 100.0),))
FIVE = (
    Pass("beauty"),
    Pass("model", scale=SMALL),
    Pass("plate", note="clean"),
    Pass("model slow", Fraction(1, 2), scale=SMALL, note="smoke"),
    Pass("fast camera", Fraction(2), rate=Fraction(48)),
)
CUES = (TURN, Cue("rise", Fraction(20), Fraction(30)))


def changes(order: list[tuple[Cue, Pass]]) -> tuple[int, ...]:
    """Count what is done on the way, dearest first."""
    told = [(one.scale, one.note, one.rate, cue) for cue, one in order]
    return tuple(sum(one[way] != other[way] for one, other in pairwise(told)) for way in range(4))


def test_no_other_order_goes_to_another_set_less_often() -> None:
    each = [(TURN, one) for one in FIVE]
    best = min(changes(list(order))[0] for order in permutations(each))
    assert changes(planned(each))[0] == best == 1


def test_the_order_is_the_rule_and_keeps_the_projects_own_where_that_leaves_room() -> None:
    found = [(cue.name, one.name) for cue, one in planned([(cue, one) for cue in CUES for one in FIVE])]
    assert found == [
        ("turn", "beauty"),
        ("rise", "beauty"),
        ("turn", "fast camera"),
        ("rise", "fast camera"),
        ("turn", "plate"),
        ("rise", "plate"),
        ("turn", "model"),
        ("rise", "model"),
        ("turn", "model slow"),
        ("rise", "model slow"),
    ]


@given(st.permutations([(cue, one) for cue in CUES for one in FIVE]))
def test_planning_loses_nothing_and_a_plan_is_its_own_plan(each: list[tuple[Cue, Pass]]) -> None:
    order = planned(each)
    assert sorted(order, key=repr) == sorted(each, key=repr)
    assert planned(order) == order
    assert order[0][1].scale == each[0][1].scale
    # as many groups as there are scales, and never a set twice
    assert changes(order)[0] == 1


def test_what_is_left_of_the_limits_is_that_of_the_fastest_motion() -> None:
    found = done(Pass("one"))
    assert found.worst is not None
    assert found.worst.excess == pytest.approx(15 / 8 * 15 / 60 - 1, abs=TOLERANCE)
