"""The instants of a timelapse: when a frame may be exposed at the earliest, when it is given up, and what is said."""

from dataclasses import replace
from fractions import Fraction

import pytest

from sequencer.playback.timelapse import (
    Course,
    Deed,
    Fire,
    GoTo,
    Note,
    Phase,
    Say,
    Seen,
    State,
    begin,
    course_of,
    step,
)
from sequencer.score.interval import Known, solve
from sequencer.timebase.rate import Rate
from tests.playback.lapse_stage import course

EVERY = course(3, 30.0)  # frame 0 at 10 s, 1 at 40 s, 2 at 70 s; within 0.02, still for 0.2 s, settles in 1 s
THERE = EVERY.poses[1]
OFF = (THERE[0] + 0.05, THERE[1])
SETTLING = replace(begin(EVERY, 1), phase=Phase.SETTLING, since_s=30.0)


def seen(now_s: float, actual: tuple[float | None, ...] = THERE, **more: object) -> Seen:
    known = Seen(now_s=now_s, standing=True, bound_for=1, actual=actual, actual_s=now_s)
    return replace(known, **more)  # type: ignore[arg-type]  # fields by name


def looked(state: State, *looks: Seen, of: Course = EVERY) -> tuple[State, list[Deed]]:
    did: list[Deed] = []
    for one in looks:
        state, deeds = step(of, state, one)
        did += deeds
    return state, did


def test_nobody_knows_anything_before_he_is_told() -> None:
    nothing = Seen(now_s=1.0)
    assert (nothing.standing, nothing.bound_for, nothing.actual, nothing.fired_s, nothing.not_fired) == (
        False,
        None,
        (),
        None,
        "",
    )
    assert not nothing.go_on
    moving = replace(begin(EVERY, 1), phase=Phase.MOVING)
    assert step(EVERY, moving, nothing) == (moving, ())
    first = begin(EVERY)
    assert (first.frame, first.phase, first.trouble) == (0, Phase.SETTING_OFF, "")
    assert begin(EVERY, 3).phase is Phase.DONE
    assert begin(EVERY, 2).phase is Phase.SETTING_OFF


def test_a_frame_is_exposed_at_its_time_and_not_before() -> None:
    early, did = looked(SETTLING, seen(39.0), seen(39.5), seen(39.9), seen(39.999))
    assert (early.phase, did) == (Phase.SETTLING, [])
    due, did = looked(early, seen(40.0))
    assert due.phase is Phase.FIRING
    assert did == [Note(what="firing", frame=1, at_s=40.0), Fire()]
    assert (due.since_s, due.still_s, due.restless_s) == (40.0, None, None)


def test_it_must_have_been_still_for_as_long_as_was_asked() -> None:
    late, did = looked(SETTLING, seen(50.0, OFF), seen(50.1), seen(50.2), seen(50.28))
    assert (late.phase, did) == (Phase.SETTLING, [])
    assert late.still_s == 50.1
    late, did = looked(late, seen(50.32))
    assert late.phase is Phase.FIRING
    # one look off its pose, and it begins anew
    again, did = looked(SETTLING, seen(50.0), seen(50.1), seen(50.15, OFF), seen(50.2), seen(50.35))
    assert (again.phase, did) == (Phase.SETTLING, [])


def test_being_just_within_the_tolerance_is_being_there() -> None:
    edge = (THERE[0], THERE[1] + 0.0199)
    assert looked(SETTLING, seen(50.0, edge), seen(50.25, edge))[0].phase is Phase.FIRING
    beyond = (THERE[0], THERE[1] - 0.0201)
    assert looked(SETTLING, seen(50.0, beyond), seen(50.25, beyond))[0].phase is Phase.SETTLING


def test_what_was_said_before_it_arrived_counts_for_nothing() -> None:
    old = seen(50.0, actual_s=29.9)
    state, _ = looked(SETTLING, old)
    assert state.still_s is None
    assert looked(SETTLING, seen(30.0))[0].still_s == 30.0
    # and the same word twice is one word
    twice, _ = looked(SETTLING, seen(50.0), seen(50.3, actual_s=50.0))
    assert (twice.looked_s, twice.phase) == (50.0, Phase.SETTLING)


def test_where_nobody_looked_for_half_a_second_nobody_knows_what_it_did_meanwhile() -> None:
    near, _ = looked(SETTLING, seen(50.0), seen(50.49))
    assert near.phase is Phase.FIRING
    assert looked(SETTLING, seen(50.0), seen(50.5))[0].phase is Phase.FIRING
    far, _ = looked(SETTLING, seen(50.0), seen(50.51))
    assert (far.phase, far.still_s) == (Phase.SETTLING, 50.51)
    stale, _ = looked(SETTLING, seen(49.0), seen(49.25, actual_s=49.1))
    assert stale.phase is Phase.SETTLING
    # long still, but what it said last is older than half a second
    known = replace(SETTLING, still_s=38.0, looked_s=39.49)
    assert looked(known, seen(40.0, actual_s=39.49))[0].phase is Phase.SETTLING
    assert looked(replace(known, looked_s=39.5), seen(40.0, actual_s=39.5))[0].phase is Phase.FIRING
    assert looked(replace(known, looked_s=39.51), seen(40.0, actual_s=39.51))[0].phase is Phase.FIRING


def test_unrest_is_told_after_two_seconds_and_again_each_thirty() -> None:
    state, told = SETTLING, []
    for tick in range(900):
        now_s = 40.0 + tick * 0.1
        state, deeds = step(EVERY, state, seen(now_s, OFF))
        told += [(round(now_s, 1), one.code) for one in deeds if isinstance(one, Say)]
    assert told == [(42.0, "waits"), (72.0, "waits"), (102.0, "waits")]
    assert state.restless_s == 40.0


def test_unrest_counts_from_when_it_is_due_and_was_to_be_settled() -> None:
    assert looked(SETTLING, seen(39.9, OFF))[0].restless_s is None
    assert looked(SETTLING, seen(40.0, OFF))[0].restless_s == 40.0
    late = replace(SETTLING, since_s=60.0)
    assert looked(late, seen(60.9, OFF))[0].restless_s is None
    assert looked(late, seen(61.0, OFF))[0].restless_s == 61.0
    # it comes to rest before it is due: that was all
    early = replace(SETTLING, since_s=20.0, still_s=30.0, looked_s=39.0, restless_s=25.0)
    assert looked(early, seen(39.2))[0].restless_s is None


def test_it_is_given_up_after_two_minutes_of_unrest_and_what_shakes_is_named() -> None:
    restless = replace(SETTLING, restless_s=40.0, told_s=159.0)
    assert looked(restless, seen(159.9, OFF)) == (replace(restless, looked_s=159.9, actual=OFF), [])
    failed, did = looked(restless, seen(160.0, OFF))
    assert (failed.phase, did) == (Phase.FAILED, [])
    assert failed.trouble.startswith("frame 1 waits: pan is 0.05 off its pose (0.02 are allowed), for 120 s; look")


@pytest.mark.parametrize(
    ("actual", "why"),
    [
        ((None, THERE[1]), "frame 1 waits: pan does not say where it stands"),
        ((None, THERE[1] + 1), "pan does not say where it stands and slide is 1 off its pose"),
        ((float("nan"), THERE[1]), "pan is nan off its pose"),
    ],
)
def test_what_it_waits_for_is_said_of_each_axis(actual: tuple[float | None, ...], why: str) -> None:
    _, did = looked(replace(SETTLING, restless_s=40.0), seen(42.0, actual))
    (said,) = did
    assert isinstance(said, Say)
    assert why in said.text


def test_a_rig_that_says_nothing_or_shakes_is_said_to() -> None:
    restless = replace(SETTLING, restless_s=40.0)
    _, (said,) = looked(restless, seen(42.0, ()))
    assert isinstance(said, Say)
    assert "the rig does not say where it stands any more" in said.text
    _, (said,) = looked(restless, seen(42.0))
    assert isinstance(said, Say)
    assert said.text == "frame 1 waits: the rig shakes"


def test_silent_axes_are_not_asked_and_their_longest_settle_is_waited_out() -> None:
    half = replace(EVERY, silent=frozenset({"slide"}))
    there = (THERE[0], None)
    late = replace(SETTLING, since_s=60.0)
    state, _ = looked(late, seen(60.2, there), seen(60.6, there), seen(60.99, there), of=half)
    assert state.phase is Phase.SETTLING
    assert looked(state, seen(61.0, there), of=half)[0].phase is Phase.FIRING
    # where all say where they stand, they need not settle any longer than they do
    assert looked(late, seen(60.2), seen(60.45))[0].phase is Phase.FIRING


def test_a_silent_axis_excuses_no_other() -> None:
    first = replace(EVERY, silent=frozenset({"pan"}))
    late = replace(SETTLING, since_s=50.0)
    off = (None, THERE[1] + 1)
    state, did = looked(late, seen(51.1, off), seen(51.4, off), of=first)
    assert (state.phase, did) == (Phase.SETTLING, [])


FIRED = replace(begin(EVERY, 1), phase=Phase.FIRING, since_s=40.0, actual=THERE)


def test_the_note_of_an_exposure_says_when_how_late_and_where() -> None:
    exposing, did = looked(FIRED, seen(41.2, fired_s=40.5))
    assert did == [Note(what="exposed", frame=1, at_s=40.5, late_s=0.5, actual=THERE)]
    assert exposing.phase is Phase.EXPOSING
    assert exposing.free_s == pytest.approx(40.5 + 0.4 + 0.1)
    _, (note,) = looked(replace(FIRED, since_s=39.0), seen(41.2, fired_s=39.9))
    assert isinstance(note, Note)
    assert note.late_s == 0.0
    assert looked(FIRED, seen(41.2, fired_s=40.0))[0].phase is Phase.EXPOSING
    assert looked(FIRED, seen(41.2, fired_s=39.99))[0].phase is Phase.FIRING


def test_nobody_is_waited_for_longer_than_ten_seconds() -> None:
    assert looked(FIRED, seen(49.99))[0].phase is Phase.FIRING
    failed, _ = looked(FIRED, seen(50.0))
    assert failed.phase is Phase.FAILED
    assert "nobody said for 10 s whether the order to the camera went out" in failed.trouble


def test_the_next_frame_is_gone_to_once_the_exposure_and_the_camera_are_done() -> None:
    exposing = replace(begin(EVERY, 1), phase=Phase.EXPOSING, free_s=41.0)
    assert looked(exposing, seen(40.99)) == (exposing, [])
    moving, did = looked(exposing, seen(41.0))
    assert (moving.phase, moving.frame, did) == (Phase.MOVING, 2, [GoTo(2, EVERY.poses[2])])
    done, did = looked(replace(exposing, frame=2), seen(41.0))
    assert (done.phase, done.frame, did) == (Phase.DONE, 3, [])
    assert step(EVERY, done, seen(99.0)) == (done, ())


def test_before_a_change_it_is_held_until_told_to_go_on() -> None:
    held_up = replace(EVERY, changes=frozenset({1}))
    held, did = looked(begin(held_up, 1), seen(20.0), of=held_up)
    assert held.phase is Phase.HELD
    assert did == [Say("held", "before frame 1: change what is to be changed, then go on. The rig stands")]
    assert looked(held, seen(25.0), of=held_up) == (held, [])
    gone, did = looked(held, seen(26.0, go_on=True), of=held_up)
    assert (gone.phase, gone.since_s, did) == (Phase.MOVING, 26.0, [GoTo(1, EVERY.poses[1])])
    assert looked(begin(held_up, 0), seen(20.0), of=held_up)[0].phase is Phase.MOVING
    still = replace(begin(held_up, 1), free_s=20.5)
    assert looked(still, seen(20.4), of=held_up) == (still, [])


def test_what_the_plan_says_is_what_the_course_does() -> None:
    plan = solve(
        Known(
            frames=4,
            interval_s=Fraction(10),
            rate=Rate(25, 1),
            exposure_s=Fraction(2),
            settle_s=Fraction(3),
            camera_s=Fraction(1, 2),
        )
    )
    poses = [(float(n),) for n in range(4)]
    made = course_of(plan, ("pan",), poses, 100.0, 0.3, (0.1,), frozenset({0, 3}), frozenset({"pan"}))
    assert (made.axes, made.poses, made.begins_s, made.still_s, made.tolerance) == (("pan",), poses, 100.0, 0.3, (0.1,))
    assert (made.exposure_s, made.settle_s, made.camera_s) == (2.0, 3.0, 0.5)
    assert (made.changes, made.silent, made.patience_s) == (frozenset({0, 3}), frozenset({"pan"}), 120.0)
    assert [made.due_s(frame) for frame in range(4)] == [100.0, 110.0, 120.0, 130.0]
    with pytest.raises(ValueError, match="there is no frame -1; they are 0 to 3"):
        course_of(plan, ("pan",), poses, 100.0, 0.3, (0.1,), frozenset({-1}))
