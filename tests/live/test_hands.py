"""Hands on pads, on a rig in simulated time: who drives what, what returns, and what ends when a hand is gone."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.live.driving import eased
from sequencer.live.handling import SPARE, Deed, Handling, Manner, Stick, default_handlings
from sequencer.live.hands import begin, feel, let_go, wishes
from sequencer.live.pads import Done
from sequencer.live.wish import Towards
from sequencer.rig.axis import Rig
from tests.live.pad import ROW_NS, Drive, held, row
from tests.live.rigs import PAN, RIG, SLIDE, TILT

FIRST = replace(default_handlings(RIG)[0], smoothing_s=0.0)
SPRING = replace(FIRST, manner="spring", top=1.0)


def drive(*handlings: Handling, rig: Rig = RIG) -> Drive:
    """Return the rig with a first pad that is here and at rest."""
    return Drive(rig, handlings).say(row()).last(0.05)


def test_a_stick_is_a_speed_and_let_go_the_axis_stops() -> None:
    rig = drive(FIRST).say(held(left_x=1.0)).last(2.0)
    assert rig.speed("pan") == pytest.approx(PAN.speed * FIRST.top)
    assert rig.speed("tilt") == 0
    rig.say(held()).last(1.5)
    assert rig.stands
    # who lets go of all the rest is done with: the rig may be armed
    assert rig.wanted[-1] is None


def test_nothing_moves_before_it_is_enabled() -> None:
    rig = drive(FIRST).say(row(left_x=1.0)).last(1.0)
    assert rig.at("pan") == 0
    assert all(one is None for one in rig.wanted)
    free = drive(replace(FIRST, enabling=None)).say(row(left_x=1.0)).last(1.0)
    assert free.at("pan") > 10


def test_coarse_fine_and_top_speed_from_the_pad() -> None:
    rig = drive(FIRST).say(held("pad up")).last(0.05).say(held(left_x=1.0)).last(1.5)
    assert rig.speed("pan") == pytest.approx(PAN.speed * 0.75)
    rig.say(held("right shoulder", left_x=1.0)).last(1.5)
    assert rig.speed("pan") == pytest.approx(PAN.speed * 0.75 * FIRST.fine)


def test_roll_while_the_modifier_is_held_and_pan_without() -> None:
    rig = drive(FIRST).say(held("left shoulder", left_x=1.0)).last(0.4)
    assert rig.at("roll") > 1
    assert rig.at("pan") == 0
    rig.say(held(left_x=1.0)).last(1.0)
    assert rig.speed("roll") == 0
    assert rig.speed("pan") > 0


@pytest.mark.parametrize("ending", ["let go of the trigger", "pulled", "silent"], ids=["trigger", "pulled", "silent"])
@pytest.mark.parametrize("manner", ["rate", "spring"])
def test_without_a_hand_the_rig_brakes_within_its_limits_and_stays(ending: str, manner: Manner) -> None:
    rig = drive(replace(SPRING, manner=manner)).say(held(left_x=1.0)).last(0.6)
    assert rig.speed("pan") > 20
    before = len(rig.states)
    rig.say({"let go of the trigger": row(left_x=1.0), "pulled": row(here=False), "silent": None}[ending])
    rig.last(0.15 + 1.5)
    assert rig.stands
    assert rig.wanted[-1] is None
    speeds = np.array([one.velocity[0] for one in rig.states[before:]])
    if ending == "silent":
        speeds = speeds[150 // 4 + 1 :]
    # no faster than it was from there on, but for the acceleration that it had, and never back
    assert speeds.min() >= 0
    assert speeds.max() <= speeds[0] + PAN.acceleration**2 / (2 * PAN.jerk)
    stays = rig.at("pan")
    assert rig.say(row(left_x=1.0)).last(1.0).at("pan") == stays
    asked = np.array([one.acceleration for one in rig.states])
    axes = eased(RIG).axes
    for number, axis in enumerate(axes):
        assert np.abs(asked[:, number]).max() <= axis.acceleration * (1 + 1e-9)
        assert np.abs(np.diff(asked[:, number])).max() / 0.004 <= axis.jerk * (1 + 1e-6)


def test_a_pad_that_comes_back_held_over_does_nothing_before_it_was_centred() -> None:
    over = held(left_x=1.0)
    rig = drive(FIRST).say(over).last(0.5).say(row(here=False)).last(1.5)
    stays = rig.at("pan")
    rig.say(over).last(0.5)
    assert rig.at("pan") == stays
    assert "must be let go first" in rig.words
    assert rig.say(row()).last(0.05).say(over).last(0.5).at("pan") > stays + 1


@settings(max_examples=12, deadline=None)
@given(st.floats(-1, 1), st.floats(-1, 1), st.floats(0.05, 1.2), st.sampled_from([30.0, 45.0, 90.0, 180.0]))
def test_spring_back_returns_exactly(pan: float, tilt: float, lasts_s: float, range_deg: float) -> None:
    rig = drive(replace(SPRING, range_deg=range_deg)).say(held(left_x=pan, left_y=tilt)).last(lasts_s)
    farthest = np.abs([one.position[0] for one in rig.states]).max()
    assert farthest <= range_deg / 2 + 1e-9
    rig.say(held()).last(6.0)
    assert (rig.at("pan"), rig.at("tilt"), rig.stands) == (PAN.home, TILT.home, True)
    assert rig.wanted[-1] is None


def test_a_full_push_swings_half_of_the_range_to_its_side_from_where_the_axis_was() -> None:
    rig = drive(replace(SPRING, manner="rate")).say(held(left_x=1.0)).last(0.8).say(held()).last(1.0)
    origin = rig.at("pan")
    assert origin > 10
    rig.say(held("back")).last(0.05).say(held(left_x=-1.0)).last(3.0)
    assert rig.at("pan") == pytest.approx(origin - 45)
    # while it returns it is pushed again: the origin is the one that it had
    rig.say(held()).last(0.3).say(held(left_x=1.0)).last(4.0)
    assert rig.at("pan") == pytest.approx(origin + 45)
    rig.say(held()).last(4.0)
    assert rig.at("pan") == origin


def test_an_axis_that_is_not_in_degrees_swings_by_its_own_range_or_goes_by_rate() -> None:
    rig = drive(SPRING).say(held(right_x=1.0)).last(1.0).say(held()).last(2.0)
    assert rig.at("slide") > 200
    ranged = tuple(replace(stick, range=120.0) if stick.axis == "slide" else stick for stick in SPRING.sticks)
    rig = drive(replace(SPRING, sticks=ranged)).say(held(right_x=1.0)).last(2.0)
    assert rig.at("slide") == pytest.approx(160)
    assert rig.say(held()).last(3.0).at("slide") == SLIDE.home


def test_taken_hold_of_again_a_spring_waits_for_its_centre_and_begins_where_it_is() -> None:
    over = held(left_x=1.0)
    rig = drive(SPRING).say(over).last(1.0).say(row(left_x=1.0)).last(1.5)
    stays = rig.at("pan")
    assert rig.say(over).last(1.0).at("pan") == stays
    assert "left x of pad 1 (Pad) must be let go first" in rig.words
    rig.say(held()).last(0.1).say(over).last(3.0)
    assert rig.at("pan") == pytest.approx(stays + 45)


def test_a_spring_stays_in_the_travel_and_still_returns() -> None:
    rig = drive(replace(SPRING, range_deg=180.0)).say(held(left_y=1.0)).last(4.0)
    assert TILT.travel is not None
    assert rig.at("tilt") == pytest.approx(TILT.travel[1], abs=1e-6)
    assert rig.say(held()).last(4.0).at("tilt") == TILT.home


def test_who_sends_the_rig_elsewhere_ends_what_a_spring_had_begun() -> None:
    rig = drive(SPRING).say(held(left_x=1.0)).last(0.8).say(held("upper", left_x=1.0)).last(0.1)
    assert [one.deed for one in rig.done] == [Deed.ORIGIN]
    assert rig.wanted[-1] is None


SECOND = Handling(sticks=(Stick(control="left x", axis="pan"), Stick(control="right x", axis="slide")), smoothing_s=0.0)


def two(first: Handling = FIRST, second: Handling = SECOND) -> Drive:
    return Drive(RIG, (first, second)).say(row()).say(row(name="Other"), 1).last(0.05)


def test_two_pads_drive_their_own_axes_at_once() -> None:
    rig = two().say(held(left_y=1.0)).say(held(right_x=1.0), 1).last(0.6)
    assert rig.speed("tilt") > 10
    assert rig.speed("slide") > 50
    rig.say(row(here=False), 1).last(1.5)
    assert rig.speed("slide") == 0
    assert rig.at("tilt") > 20


def test_the_pad_with_priority_has_an_axis_while_it_holds_on() -> None:
    rig = two().say(held(left_x=-1.0), 1).last(1.0)
    assert rig.speed("pan") < -20
    rig.say(held(left_x=0.5)).last(1.5)
    assert rig.speed("pan") > 0
    rig.say(held()).last(1.5)
    assert rig.speed("pan") < -20
    # of equals, the one that has it keeps it
    rig = two(replace(FIRST, priority=0)).say(held(left_x=-1.0), 1).last(0.5)
    assert rig.say(held(left_x=1.0)).last(1.5).speed("pan") < -20
    assert rig.say(row(name="Other"), 1).last(1.5).speed("pan") > 20


@settings(max_examples=12, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 1), st.floats(-1, 1), st.floats(0.02, 0.4)), min_size=2, max_size=8),
    st.sampled_from(["rate", "spring"]),
    st.sampled_from(["rate", "spring"]),
)
def test_an_axis_is_handed_over_without_a_jump(
    hand: list[tuple[int, float, float]], manner: Manner, other: Manner
) -> None:
    rig = two(replace(FIRST, manner=manner), replace(SECOND, manner=other))
    for pad, push, lasts_s in hand:
        rig.say(held(left_x=push), pad).last(lasts_s)
    position = np.array([one.position[0] for one in rig.states])
    acceleration = np.array([one.acceleration[0] for one in rig.states])
    (pan, *_) = eased(RIG).axes
    assert np.abs(np.diff(position)).max() <= pan.speed * 0.004 * (1 + 1e-9)
    assert np.abs(acceleration).max() <= pan.acceleration * (1 + 1e-9)
    assert np.abs(np.diff(acceleration)).max() <= pan.jerk * 0.004 * (1 + 1e-6)


def test_who_loses_an_axis_under_spring_back_must_let_go_before_having_it_again() -> None:
    rig = two(second=replace(SECOND, manner="spring")).say(held(left_x=1.0), 1).last(2.0)
    rig.say(held(left_x=-0.6)).last(0.5).say(held()).last(1.5)
    stays = rig.at("pan")
    assert rig.last(1.0).at("pan") == stays
    rig.say(held(name="Other"), 1).last(0.05).say(held(name="Other", left_x=1.0), 1).last(3.0)
    assert rig.at("pan") == pytest.approx(stays + 45)


def test_a_handling_for_a_name_goes_to_that_pad_and_others_in_order() -> None:
    named = replace(SECOND, pad="Other")
    rig = Drive(RIG, (named, FIRST)).say(row(name="Third"), 2).say(row(name="Other"), 1).last(0.05)
    rig.say(row(name="Fourth")).last(0.05)
    given = {pad.number: pad.handling for pad in rig.hands.pads}
    assert given == {1: named, 2: FIRST, 0: SPARE}
    assert "pad 1 (Fourth) drives nothing yet" in rig.words


def test_after_all_is_let_go_of_pads_are_handled_as_they_were_and_a_stick_that_is_held_counts_no_more() -> None:
    rig = two().say(held("right shoulder")).last(0.05).say(held(left_x=1.0)).last(0.5)
    assert rig.speed("pan") > 0
    rig.hands = let_go(rig.hands)
    # the other pad speaks first now, as after it was the first to come back
    first = rig.pads.pop(0)
    rig.say(held(name="Other", left_y=1.0), 1).say(first).last(1.5)
    assert rig.stands
    assert {pad.number: (pad.handling, pad.fine) for pad in rig.hands.pads} == {0: (FIRST, True), 1: (SECOND, False)}
    assert rig.say(held()).last(0.05).say(held(left_x=1.0)).last(2.0).speed("pan") == 0  # the trigger was not let go
    rig.say(row()).last(0.05).say(held(left_x=1.0)).last(2.0)
    assert rig.speed("pan") == pytest.approx(PAN.speed * FIRST.top * FIRST.fine)


def test_what_a_pad_lacks_is_told_once_it_counts() -> None:
    hands = begin(RIG, (SPARE,))
    told: list[Done] = []
    for number in range(3):
        hands, done = feel(hands, row(), number * ROW_NS, counts=False)
        told += done
    assert told == []
    hands = let_go(hands)
    for number in range(3, 6):
        hands, done = feel(hands, row(), number * ROW_NS)
        told += done
    assert [one.words for one in told] == ["pad 1 (Pad) drives nothing yet; assign its sticks to axes"]


def test_where_all_is_let_go_of_nothing_returns_to_where_it_was() -> None:
    rig = drive(replace(SPRING, enabling=None)).say(row(left_x=1.0)).last(2.0)
    rig.hands = let_go(rig.hands)
    rig.say(row()).last(2.0)
    assert rig.at("pan") > 20


def test_any_pad_stops_the_rig() -> None:
    rig = Drive(RIG, (FIRST,)).say(row()).say(row(name="Other"), 1).last(0.05).say(row("start"), 1).last(0.05)
    assert [(one.deed, one.pad) for one in rig.done if one.deed] == [(Deed.STOP, 1)]


def test_a_pad_that_was_never_here_cannot_go() -> None:
    rig = Drive(RIG, (FIRST,)).say(row(here=False)).last(0.1)
    assert (rig.done, rig.hands.pads) == ([], ())


def test_rest_is_wished_until_it_is_there() -> None:
    rig = drive(FIRST).say(held(left_x=1.0)).last(1.0).say(row()).last(1.5)
    ended = next(at for at, one in enumerate(rig.states) if at > 250 and one.velocity[0] == 0)
    wished = [at for at, one in enumerate(rig.wanted) if one is not None]
    assert wished == list(range(wished[0], wished[-1] + 1))
    assert ended <= wished[-1] <= ended + 2
    assert all(one == 0.0 for one in rig.wanted[wished[-1]] or (1.0,))


def test_rest_is_wished_once_even_where_nothing_has_moved_yet() -> None:
    hands = begin(RIG, (FIRST,))
    still = tuple(axis.home for axis in RIG.axes)
    said = []
    for number, one in enumerate((row(), held(left_x=1.0), held(), held())):
        hands, _ = feel(hands, one, number * ROW_NS)
        hands, wanted = wishes(hands, number * ROW_NS, still)
        said.append(wanted)
    assert said[0] is None
    assert said[1] is not None
    assert said[2] == (0.0,) * len(RIG.axes)
    assert said[3] is None


def test_a_wish_is_never_beyond_the_part_that_the_pad_has() -> None:
    rig = drive(replace(SPRING, top=0.25)).say(held(left_x=1.0, left_y=1.0, right_x=1.0)).last(0.1)
    wanted = rig.wanted[-1]
    assert wanted is not None
    pan, tilt, _, slide, _ = wanted
    assert isinstance(pan, Towards)
    assert isinstance(tilt, Towards)
    assert pan.speed == PAN.speed / 4
    assert slide == SLIDE.speed / 4
