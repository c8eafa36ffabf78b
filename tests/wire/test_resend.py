"""Which sets go out again, beside a plain model of what the other side has; made-up links with seeds."""

import numpy as np
import pytest

from sequencer.wire.device import NUMBERS, Held
from sequencer.wire.resend import MOST_AT_ONCE, Unheard

MS = 1_000_000
TICK = 4 * MS


def held(have: set[int], first: int) -> Held:
    """Say what has come, as docs/device.md has it: the lowest missing number, and a bit for each of the 64 after it."""
    while first in have:
        first = (first + 1) % NUMBERS
    mask = sum(1 << bit for bit in range(64) if (first + 1 + bit) % NUMBERS in have)
    return Held(len(have), first, mask)


def test_only_what_is_missing_goes_out_again_and_not_before_a_round_trip() -> None:
    unheard = Unheard()
    for number in range(10):
        unheard.sent(number, b"%d" % number, 1000 * MS + number * TICK, number * TICK)
    unheard.hear(held({0, 1, 2, 4, 5, 8}, 0))
    assert len(unheard) == 4
    assert unheard.due(52 * MS, 40 * MS, 0) == [b"3"]  # sent at 12 ms; 6, 7 and 9 at 24 ms and later
    assert unheard.due(53 * MS, 40 * MS, 0) == []
    assert unheard.due(80 * MS, 40 * MS, 0) == [b"6", b"7", b"9"]
    assert unheard.due(92 * MS, 40 * MS, 0) == [b"3"]
    assert unheard.again == 5


def test_what_could_not_be_there_in_time_is_forgotten() -> None:
    unheard = Unheard()
    unheard.sent(1, b"1", 100 * MS, 0)
    unheard.sent(2, b"2", 104 * MS, 0)
    assert unheard.due(81 * MS, 40 * MS, 20 * MS) == [b"2"]
    assert len(unheard) == 1


def test_what_found_no_room_goes_out_at_once() -> None:
    unheard = Unheard()
    unheard.sent(1, b"1", 100 * MS, None)
    assert unheard.due(1 * MS, 40 * MS, 0) == [b"1"]
    assert unheard.due(2 * MS, 40 * MS, 0) == []
    assert unheard.again == 0


def test_a_changed_plan_takes_back_what_is_due_later() -> None:
    unheard = Unheard()
    for number in range(10):
        unheard.sent(number, b"%d" % number, 100 * MS + number * TICK, 0)
    unheard.replace(100 * MS + 3 * TICK)
    assert unheard.due(50 * MS, 40 * MS, 0) == [b"0", b"1", b"2"]
    unheard.clear()
    assert len(unheard) == 0


def test_a_call_gives_back_few_and_the_soonest_first() -> None:
    unheard = Unheard()
    for number in range(100):
        unheard.sent(number, b"%d" % number, 1000 * MS + number * TICK, 0)
    assert unheard.due(100 * MS, 40 * MS, 0) == [b"%d" % number for number in range(MOST_AT_ONCE)]
    assert unheard.due(101 * MS, 40 * MS, 0)[0] == b"%d" % MOST_AT_ONCE


def test_memory_is_bounded_where_nobody_ever_answers() -> None:
    unheard = Unheard()
    for number in range(10_000):
        unheard.sent(number, b"", 10**15, 0)
    assert len(unheard) == 4096


@pytest.mark.parametrize("first", [0, NUMBERS - 300])
@pytest.mark.parametrize("seed", range(5))
def test_over_a_link_that_loses_three_in_a_hundred_all_come_in_time(first: int, seed: int) -> None:
    """0.8 s ahead, 10 to 110 ms each way: what is missing can go out four times more."""
    chance = np.random.default_rng(seed)
    unheard, have = Unheard(), set[int]()
    ways: list[tuple[int, int | Held]] = []
    dues, missed, packets = {}, [], 0

    def put(what: int | Held, now_ns: int) -> None:
        if chance.random() >= 0.03:
            ways.append((now_ns + round(chance.uniform(10, 110)) * MS, what))

    for tick in range(2500):
        now_ns = tick * TICK
        number = (first + tick) % NUMBERS
        dues[number] = now_ns + 800 * MS
        unheard.sent(number, number.to_bytes(4, "big"), dues[number], now_ns)
        put(number, now_ns)
        packets += 1
        if tick % 12 == 0:
            start = (first + max(0, tick - 200)) % NUMBERS
            put(held(have, start), now_ns)
        for _, what in sorted((one for one in ways if one[0] <= now_ns), key=lambda one: one[0]):
            if isinstance(what, Held):
                unheard.hear(what)
                for packet in unheard.due(now_ns, 150 * MS, 10 * MS):
                    put(int.from_bytes(packet, "big"), now_ns)
                    packets += 1
            else:
                have.add(what)
        ways = [one for one in ways if one[0] > now_ns]
        missed += [one for one, due_ns in dues.items() if due_ns == now_ns and one not in have]
    assert missed == []
    assert packets < 1.4 * 2500
