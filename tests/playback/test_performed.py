"""Hands have some axes while the others play: these stay exactly on the timeline, and the guard holds nothing back."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.playback.cued import cue_up
from sequencer.playback.events import Brake, Follow, HandOver, Steer, ToMark
from sequencer.playback.guard import Sent, at_rest, guard, limits
from sequencer.playback.pilot import Pilot, Still, obey, plan, settled, want
from sequencer.score.marks import Mark
from sequencer.sync.reading import Clock, Lock
from tests.playback.moves import END, START, there
from tests.playback.rules import RIG, broken

TICK_NS = 4_000_000
LIMITS = limits(RIG)
CUED = cue_up(RIG, there(), 10.0, 14.0)
masks = st.tuples(*(st.booleans() for _ in RIG.axes)).filter(any)
parts = st.tuples(*(st.sampled_from([-1.0, -0.3, 0.0, 0.5, 1.0]) for _ in RIG.axes))


def clock(due_ns: int) -> Clock:
    """The master is at 10 s when the monotonic clock is at zero."""
    return Clock(Lock.LOCKED, 0, 10.0, 1.0, 1e-4, 0)


def play(by_hand: tuple[bool, ...], punch_s: float, wishes: list[tuple[float, ...]]) -> tuple[Pilot, list[Sent]]:
    """Play the cue; from `punch_s` on hands have their axes, and wish something else each half second."""
    pilot, sent = obey(Pilot(RIG, Still(START)), Follow(CUED), at_rest(0, START), TICK_NS), at_rest(0, START)
    run = [sent]
    for tick in range(1, 1000):
        due_ns = tick * TICK_NS
        if tick == round(punch_s * 1e9 / TICK_NS) + 1:
            pilot = obey(pilot, HandOver(by_hand), sent, due_ns)
        if tick % 125 == 0 and tick // 125 <= len(wishes):
            wish = tuple(part * axis.speed for part, axis in zip(wishes[tick // 125 - 1], RIG.axes, strict=True))
            pilot = obey(pilot, Steer(wish), sent, due_ns)
        pilot = plan(pilot, sent, due_ns, clock(due_ns))
        guarded = guard(LIMITS, sent, want(pilot, due_ns, clock(due_ns)))
        assert not guarded.gap
        sent = guarded.sent
        run.append(sent)
    return pilot, run


@settings(max_examples=10, deadline=None)
@given(by_hand=masks, punch_s=st.sampled_from([0.0, 1.2, 2.0]), wishes=st.lists(parts, max_size=7))
def test_the_others_play_as_if_nobody_had_a_hand_on_the_rig(
    by_hand: tuple[bool, ...], punch_s: float, wishes: list[tuple[float, ...]]
) -> None:
    _, run = play(by_hand, punch_s, wishes)
    _, plain = play(by_hand, 99.0, [])
    position, alone = (np.array([one.position for one in sent]) for sent in (run, plain))
    assert np.array_equal(position[:, ~np.array(by_hand)], alone[:, ~np.array(by_hand)])
    assert broken(np.array([one.due_ns for one in run]), position) == ""


def test_a_hand_that_asks_for_nothing_brings_its_axis_to_rest_where_it_is() -> None:
    pilot, run = play((True, False, False, False), 2.0, [])
    pan = np.array([one.position[0] for one in run])
    assert abs(pan[500] - (START[0] + END[0]) / 2) < 0.2
    assert pan[-1] == pan[-2] == pan[-100]
    assert pan[500] < pan[-1] < END[0]
    assert not settled(pilot, run[-1].due_ns)


def test_a_wish_for_an_axis_that_plays_is_nothing_to_it() -> None:
    _, run = play((True, False, False, False), 0.0, [(1.0, 1.0, 1.0, 1.0)] * 7)
    assert np.allclose(run[-1].position[1:], END[1:], atol=0.05)
    assert run[-1].position[0] > END[0] + 50


def test_a_stop_brakes_the_axes_that_play_and_those_in_hand() -> None:
    pilot, run = play((False, False, True, False), 0.0, [(0.0, 0.0, -1.0, 0.0)] * 3)
    sent = run[-1]
    pilot = obey(pilot, Brake(), sent, sent.due_ns + TICK_NS)
    for _ in range(300):
        due_ns = sent.due_ns + TICK_NS
        sent = guard(LIMITS, sent, want(pilot, due_ns, clock(due_ns))).sent
    assert sent.stands


def test_the_way_to_a_mark_begins_in_motion_and_ends_at_the_mark() -> None:
    _, run = play((True, True, True, True), 0.0, [(1.0, 0.5, 1.0, 0.0)] * 7)
    sent = run[-1]
    mark = Mark("window", (("pan", -40.0), ("slide", 600.0)))
    pilot = obey(Pilot(RIG, Still(START)), ToMark(mark), sent, sent.due_ns + TICK_NS)
    ended = [sent]
    while not settled(pilot, ended[-1].due_ns):
        due_ns = ended[-1].due_ns + TICK_NS
        guarded = guard(LIMITS, ended[-1], want(pilot, due_ns, clock(due_ns)))
        assert not guarded.gap
        ended.append(guarded.sent)
    assert np.allclose(np.array(ended[-1].position)[[0, 2]], [-40.0, 600.0], atol=1e-6)
