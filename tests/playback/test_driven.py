"""A rig that is driven by hand: the guard has nothing to hold back, and a stop brakes from wherever the hand is."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.playback.events import Brake, Hold, Steer
from sequencer.playback.guard import Sent, at_rest, guard, limits
from sequencer.playback.pilot import Pilot, Still, obey, plan, settled, want
from sequencer.sync.reading import Clock, Lock
from tests.playback.moves import START
from tests.playback.rules import RIG

TICK_NS = 4_000_000
LIMITS = limits(RIG)
NOWHEN = Clock(Lock.WAITING, 0)
parts = st.tuples(*(st.sampled_from([-1.0, -0.3, 0.0, 0.5, 1.0]) for _ in RIG.axes))
hands = st.lists(st.tuples(st.integers(1, 50), parts, st.integers(1, 3)), min_size=1, max_size=6)


def tick(pilot: Pilot, sent: Sent, due_ns: int) -> tuple[Pilot, Sent]:
    pilot = plan(pilot, sent, due_ns, NOWHEN)
    guarded = guard(LIMITS, sent, want(pilot, due_ns, NOWHEN))
    assert not guarded.gap
    return pilot, guarded.sent


def drive(hand: list[tuple[int, tuple[float, ...], int]]) -> tuple[Pilot, Sent]:
    """Drive as the hand says: so many ticks, parts of full speed, and how long each tick lasts."""
    pilot, sent = Pilot(RIG, Still(START)), at_rest(0, START)
    for ticks, part, longer in hand:
        wanted = tuple(share * axis.speed for share, axis in zip(part, RIG.axes, strict=True))
        pilot = obey(pilot, Steer(wanted), sent, sent.due_ns + TICK_NS)
        for _ in range(ticks):
            pilot, sent = tick(pilot, sent, sent.due_ns + longer * TICK_NS)
    return pilot, sent


@settings(max_examples=12, deadline=None)
@given(hands)
def test_the_guard_has_nothing_to_hold_back_whatever_the_hand_does(
    hand: list[tuple[int, tuple[float, ...], int]],
) -> None:
    pilot, sent = drive(hand)
    pilot = obey(pilot, Steer(()), sent, sent.due_ns + TICK_NS)
    for _ in range(500):
        pilot, sent = tick(pilot, sent, sent.due_ns + TICK_NS)
    assert sent.stands
    assert not settled(pilot, sent.due_ns)


@settings(max_examples=8, deadline=None)
@given(hands)
def test_a_stop_brakes_from_wherever_the_hand_is(hand: list[tuple[int, tuple[float, ...], int]]) -> None:
    pilot, sent = drive(hand)
    pilot = obey(pilot, Brake(), sent, sent.due_ns + TICK_NS)
    for _ in range(500):
        due_ns = sent.due_ns + TICK_NS
        sent = guard(LIMITS, sent, want(pilot, due_ns, NOWHEN)).sent
    assert sent.stands


def test_driving_begins_where_the_last_setpoint_is_and_ends_there_too() -> None:
    pilot, sent = drive([(50, tuple(0.5 for _ in RIG.axes), 1), (400, tuple(0.0 for _ in RIG.axes), 1)])
    assert np.all(np.array(sent.position) != START)
    held = obey(pilot, Hold(), sent, sent.due_ns + TICK_NS)
    assert tuple(want(held, sent.due_ns + TICK_NS, NOWHEN).position) == sent.position
