"""What other machines hear of our clock: MIDI timecode read by mido and put together by the specification's rule."""

from collections.abc import Callable
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.sync.giving import LtcGiving, MtcGiving, Stretch
from sequencer.sync.ltc_row import carried
from sequencer.sync.reading import Clock, Lock
from sequencer.timebase.rate import RATES, Rate
from sequencer.timebase.timecode import Counting, Timebase, Timecode
from sequencer.wire.ltc_word import decode
from tests.sync.master import COUNTINGS, timebase
from tests.sync.receiver import Told, quarters, received, theirs

MS = 1_000_000
S = 1_000_000_000
EVERY = pytest.mark.parametrize("counting", COUNTINGS.values(), ids=COUNTINGS)
HALVED = [Counting(Rate(48)), Counting(Rate(50)), Counting(Rate(60)), Counting(Rate(60000, 1001), True)]
EVERY_WORD = pytest.mark.parametrize(
    "counting", [*COUNTINGS.values(), Counting(Rate(24000, 1001)), *HALVED], ids=lambda one: f"{one.rate}{one.drop:d}"
)
# Source: MIDI Time Code and Cueing, 1987: the rate code of 24, 25, 30 drop-frame and 30 frames a second
CODES = {"24": 24, "25": 25, "30000/1001": 29.97, "30": 30}

Where = Callable[[int], tuple[Lock, float, float]]  # lock, position in s and speed at an instant


def clock_at(where: Where, now_ns: int) -> Clock:
    """Return the engine's newest clock, which it publishes 250 times a second."""
    at_ns = now_ns // (4 * MS) * 4 * MS
    lock, position_s, speed = where(at_ns)
    return Clock(lock, at_ns, position_s, speed)


def sent(
    counting: Counting, where: Where, until_ns: int, ahead_ns: int = 0, poll_ns: int = 2 * MS
) -> list[tuple[int, bytes]]:
    """Return what is sent for this clock, polled as the sending process does."""
    giving, messages = MtcGiving(timebase(counting)), []
    for now_ns in range(0, until_ns, poll_ns):
        messages += giving.due(clock_at(where, now_ns), now_ns + ahead_ns, now_ns + ahead_ns + 2 * poll_ns)
    assert [at for at, _ in messages] == sorted(at for at, _ in messages)
    return messages


def steady(speed: float, start_s: float = 0.0) -> Where:
    return lambda at_ns: (Lock.LOCKED, start_s + speed * at_ns * 1e-9, speed)


def stepped(from_ns: int, by_s: float) -> Where:
    """Return a clock at speed one that is set `by_s` further at `from_ns`."""
    return lambda at_ns: (Lock.LOCKED, at_ns * 1e-9 + (by_s if at_ns >= from_ns else 0.0), 1.0)


def true_frame(counting: Counting, where: Where, at_ns: int) -> float:
    """Return where the clock is in frames from midnight; the tests' projects start at ten o'clock."""
    return counting.day * 10 / 24 + where(at_ns)[1] * float(counting.rate.fraction)


@EVERY
@pytest.mark.parametrize("speed", [1.0, 0.9, 1.1, 0.25, 3.0, -1.0, -0.9, -3.0])
@pytest.mark.parametrize("ahead_ns", [0, 8 * MS])
def test_every_address_stands_for_its_instant(counting: Counting, speed: float, ahead_ns: int) -> None:
    # ten seconds around a minute at which labels are left out
    where = steady(speed, 55.0 if speed > 0 else 65.0)
    messages = sent(counting, where, 10 * S, ahead_ns)
    running = [one for one in received(messages) if not one.full]
    assert len(running) > 10 * abs(speed) * float(counting.rate.fraction) / 2 - 4
    for one in running:
        frame = true_frame(counting, where, one.at_ns)
        assert abs(frame - round(frame)) < 1e-4
        assert one.label == theirs(counting, round(frame))
        assert round(frame) % 2 == 0


@EVERY
@pytest.mark.parametrize("speed", [1.0, 1.04, -1.0])
def test_each_quarter_has_one_message_at_its_own_instant(counting: Counting, speed: float) -> None:
    messages = sent(counting, steady(speed, 20.0), 4 * S)
    ours = quarters(messages)
    gap_ns = S / 4 / float(counting.rate.fraction) / abs(speed)
    assert all(abs(b - a - gap_ns) < 10 for (a, _), (b, _) in pairwise(ours))
    step = 1 if speed > 0 else -1
    assert ours[0][1] == (0 if speed > 0 else 7)
    assert all(b == (a + step) % 8 for (_, a), (_, b) in pairwise(ours))
    # the specification: the rate's code is in piece 7
    assert {data[1] >> 1 & 3 for _, data in messages if len(data) == 2 and data[1] >> 4 == 7} == {
        list(CODES).index(str(counting.rate))
    }


def test_a_start_is_told_by_a_full_frame_and_then_a_whole_cycle() -> None:
    counting = COUNTINGS["25"]
    first, second, *_ = received(sent(counting, steady(1.0), S))
    assert first == Told(0, "10:00:00:00", True)
    # the cable needs a while for the full frame, so that the cycle of the second frame is the first one
    assert second == Told(80 * MS, "10:00:00:02", False)


def test_a_clock_that_stands_is_told_seldom_and_sends_no_quarter_frames() -> None:
    messages = sent(COUNTINGS["30 drop"], lambda at_ns: (Lock.LOCATED, 60.06, 1.0), 5 * S)
    assert quarters(messages) == []
    told = received(messages)
    assert 5 <= len(told) <= 6
    # a minute of 30000/1001 is 1800 frames, and two labels are left out
    assert {one.label for one in told} == {"10:01:00:02"}


@EVERY
def test_every_frame_that_is_located_is_told_as_itself(counting: Counting) -> None:
    giving = MtcGiving(Timebase(counting, Timecode(0, 0, 0, 0, drop=counting.drop)))
    for k in range(200):
        frame = 17 * k
        # the seconds of a frame's start, in binary, may fall short of it
        clock = Clock(Lock.LOCATED, k * S, float(counting.rate.seconds(frame)), 0.0)
        (told,) = received(giving.due(clock, k * S, k * S + 4 * MS))
        assert told.label == theirs(counting, frame)


@EVERY
@pytest.mark.parametrize("by_s", [30.0, -30.0, 0.05, -0.05])
def test_a_jump_is_told_and_a_new_cycle_follows(counting: Counting, by_s: float) -> None:
    where = stepped(S, by_s)
    messages = sent(counting, where, 2 * S)
    told = received(messages)
    full = [one for one in told if one.full]
    assert len(full) == 2
    assert S <= full[1].at_ns < S + 5 * MS
    assert full[1].label == theirs(counting, int(true_frame(counting, where, full[1].at_ns)))
    behind = [one for one in quarters(messages) if one[0] > full[1].at_ns]
    assert behind[0][1] == 0
    assert behind[0][0] - full[1].at_ns < 100 * MS
    for one in told:
        if not one.full:
            assert one.label == theirs(counting, round(true_frame(counting, where, one.at_ns)))


def test_a_stop_ends_with_a_full_frame_and_a_start_goes_on_from_there() -> None:
    counting = COUNTINGS["30"]

    def where(at_ns: int) -> tuple[Lock, float, float]:
        if at_ns < S:
            return Lock.LOCKED, at_ns * 1e-9, 1.0
        if at_ns < 3 * S:
            return Lock.LOCATED, 1.0, 0.0
        return Lock.LOCKED, 1.0 + (at_ns - 3 * S) * 1e-9, 1.0

    messages = sent(counting, where, 5 * S)
    ours = quarters(messages)
    assert not [at for at, _ in ours if S + 5 * MS < at < 3 * S]
    full = [one for one in received(messages) if one.full]
    assert [one.label for one in full[1:]] == ["10:00:01:00"] * (len(full) - 1)
    assert full[1].at_ns < S + 5 * MS
    assert [piece for at, piece in ours if at >= 3 * S][:2] == [0, 1]


def test_a_turn_begins_a_whole_cycle_the_other_way() -> None:
    counting = COUNTINGS["25"]

    def where(at_ns: int) -> tuple[Lock, float, float]:
        passed_s = at_ns * 1e-9
        return (Lock.LOCKED, passed_s, 1.0) if passed_s < 2.05 else (Lock.LOCKED, 4.1 - passed_s, -1.0)

    messages = sent(counting, where, 4 * S)
    assert len([one for one in received(messages) if one.full]) == 1
    back = [piece for at, piece in quarters(messages) if at > 2050 * MS + 5 * MS]
    assert back[:9] == [7, 6, 5, 4, 3, 2, 1, 0, 7]
    for one in received(messages):
        if not one.full and abs(one.at_ns - 2050 * MS) > 20 * MS:
            assert one.label == theirs(counting, round(true_frame(counting, where, one.at_ns)))


@pytest.mark.parametrize("lock", [Lock.WAITING, Lock.LOCKING, Lock.LOST])
def test_nothing_is_given_of_a_clock_that_is_not_known(lock: Lock) -> None:
    assert sent(COUNTINGS["25"], lambda at_ns: (lock, at_ns * 1e-9, 1.0), S) == []


def test_freewheel_is_given_and_lost_is_not() -> None:
    def where(at_ns: int) -> tuple[Lock, float, float]:
        lock = Lock.LOCKED if at_ns < S else Lock.FREEWHEEL if at_ns < 3 * S else Lock.LOST
        return lock, at_ns * 1e-9, 1.0

    ours = [at for at, _ in quarters(sent(COUNTINGS["25"], where, 5 * S))]
    assert all(b - a == pytest.approx(10 * MS, abs=10) for a, b in pairwise(ours))
    assert 3 * S - 15 * MS < ours[-1] < 3 * S + 5 * MS


def test_a_clock_that_nobody_renews_is_given_no_further() -> None:
    giving, messages = MtcGiving(timebase(COUNTINGS["25"])), []
    for now_ns in range(0, 2 * S, 2 * MS):
        messages += giving.due(Clock(Lock.LOCKED, 0, 0.0, 1.0), now_ns, now_ns + 4 * MS)
    assert 200 * MS < messages[-1][0] < 260 * MS


def test_a_sender_that_was_held_up_sends_no_burst() -> None:
    giving = MtcGiving(timebase(COUNTINGS["25"]))
    messages = []
    for now_ns in (*range(0, S, 2 * MS), *range(S + 300 * MS, 2 * S, 2 * MS)):
        messages += giving.due(Clock(Lock.LOCKED, now_ns, now_ns * 1e-9, 1.0), now_ns, now_ns + 4 * MS)
    ours = quarters(messages)
    assert min(b - a for (a, _), (b, _) in pairwise(ours)) >= 5 * MS
    after = [one for one in ours if one[0] > S + 200 * MS]
    assert after[0][1] == 0
    assert after[0][0] >= S + 300 * MS


def test_too_fast_for_quarter_frames_is_told_by_full_frames() -> None:
    counting = COUNTINGS["25"]
    where = steady(12.0)
    messages = sent(counting, where, 2 * S)
    assert quarters(messages) == []
    told = received(messages)
    assert 18 <= len(told) <= 21
    for one in told:
        assert one.label == theirs(counting, int(true_frame(counting, where, one.at_ns) + 1e-6))


def test_small_corrections_cause_no_jump_and_no_second_message() -> None:
    # the clock is set by 15 ms forward, then back, as a follower that is set anew may do
    def where(at_ns: int) -> tuple[Lock, float, float]:
        return Lock.LOCKED, at_ns * 1e-9 + (0.015 if S <= at_ns < 2 * S else 0.0), 1.0

    messages = sent(COUNTINGS["30"], where, 3 * S)
    assert len(received(messages)) - len([one for one in received(messages) if not one.full]) == 1
    ours = quarters(messages)
    assert all(b == (a + 1) % 8 for (_, a), (_, b) in pairwise(ours))
    gaps = [b - a for (a, _), (b, _) in pairwise(ours)]
    assert min(gaps) >= 1 / 240 * S - 1000
    assert max(gaps) <= 1 / 120 * S + 15 * MS + 1000


@EVERY
def test_midnight_is_passed_both_ways(counting: Counting) -> None:
    late = Timebase(counting, Timecode(23, 59, 58, 0, drop=counting.drop))
    for speed in (1.0, -1.0):
        giving, messages = MtcGiving(late), []
        for now_ns in range(0, 4 * S, 2 * MS):
            clock = Clock(Lock.LOCKED, now_ns, speed * (now_ns * 1e-9 - (0 if speed > 0 else 4)), speed)
            messages += giving.due(clock, now_ns, now_ns + 4 * MS)
        labels = [one.label for one in received(messages)]
        nearest = {"23:59:59", "00:00:00"}
        assert nearest <= {one[:8] for one in labels}
        assert labels == sorted(labels, key=lambda one: (one < "12", one), reverse=speed < 0)


@pytest.mark.parametrize("name", ["48", "50", "60000/1001", "60"])
def test_a_rate_that_midi_timecode_cannot_carry_is_refused_with_the_mend(name: str) -> None:
    with pytest.raises(ValueError, match="set the project to"):
        MtcGiving(timebase(Counting(RATES[name])))


BLOCK = 256
CARD_HZ = 48_000


def blocks(
    counting: Counting, where: Where, seconds: float, jitter_ns: Callable[[int], int] = lambda k: 0
) -> list[tuple[int, Stretch | None]]:
    """Return what is to be rendered, with each block's true instant; the card says one that is off by the jitter."""
    giving, found = LtcGiving(timebase(counting)), []
    for k in range(int(seconds * CARD_HZ / BLOCK)):
        due_ns = round(k * BLOCK / CARD_HZ * 1e9)
        found.append((due_ns, giving.block(clock_at(where, due_ns), due_ns + jitter_ns(k), BLOCK, CARD_HZ)))
    return found


@EVERY_WORD
@pytest.mark.parametrize("speed", [1.0, 0.97, -1.0, 2.0])
def test_the_tone_is_where_the_clock_is(counting: Counting, speed: float) -> None:
    words = carried(counting)
    for due_ns, stretch in blocks(counting, steady(speed, 3.0), 3.0):
        assert stretch is not None
        true = words.day * 10 / 24 + (3.0 + speed * due_ns * 1e-9) * float(words.rate.fraction)
        assert stretch.position == pytest.approx(true, abs=1e-5)
        assert stretch.words_hz == pytest.approx(speed * float(words.rate.fraction), rel=1e-5)


@settings(max_examples=25)
@given(st.lists(st.integers(-2 * MS, 2 * MS), min_size=600, max_size=600), st.floats(-0.4, 0.4))
def test_the_tone_never_steps_whatever_the_card_and_the_clock_correct(wobble: list[int], step: float) -> None:
    counting = COUNTINGS["25"]
    found = blocks(counting, stepped(S, step / 25), 3.0, lambda k: wobble[k])
    for (_, a), (_, b) in pairwise(found):
        assert a is not None
        assert b is not None
        # it goes on where it was, no faster than what a receiver takes for a change of speed
        assert b.position == pytest.approx(a.position + a.words_hz * BLOCK / CARD_HZ, abs=1e-9)
        assert abs(a.words_hz / 25 - 1) < 0.045


def test_a_correction_is_closed_in_on() -> None:
    counting = COUNTINGS["25"]
    found = blocks(counting, stepped(S, 0.018), 4.0)
    due_ns, last = found[-1]
    assert last is not None
    assert last.position == pytest.approx(counting.day * 10 / 24 + (due_ns * 1e-9 + 0.018) * 25, abs=0.002)


def test_a_jump_of_the_clock_is_a_jump_of_the_tone() -> None:
    counting = COUNTINGS["25"]
    found = [one for _, one in blocks(counting, stepped(S, 5.0), 2.0) if one is not None]
    steps = [b.position - a.position - a.words_hz * BLOCK / CARD_HZ for a, b in pairwise(found)]
    assert [round(one, 3) for one in steps if abs(one) > 1e-6] == [125.0]


@pytest.mark.parametrize("lock", [Lock.WAITING, Lock.LOCATED, Lock.LOCKING, Lock.LOST])
def test_a_clock_that_does_not_run_is_silence(lock: Lock) -> None:
    assert all(one is None for _, one in blocks(COUNTINGS["25"], lambda at_ns: (lock, 2.0, 1.0), 0.5))


@EVERY_WORD
def test_words_say_the_label(counting: Counting) -> None:
    words = carried(counting)
    giving = LtcGiving(timebase(counting))
    for number in (0, 1, words.day - 1, words.day, words.rate.nominal * 60, words.day * 10 // 24 + 12_345, -1):
        said = decode(giving.word(number), words.rate.nominal)
        assert str(said).replace(";", ":") == theirs(words, number)
        assert said.drop == counting.drop
