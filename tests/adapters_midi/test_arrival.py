"""Stamps come nearer the wire than the look that found the message."""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.adapters.midi_ports.arrival import CycleClock, DeltaChain

MS = 1_000_000


def polled(came_ns: list[int], looks_ns: list[int], lost: frozenset[int] = frozenset()) -> list[tuple[int, int]]:
    """Return (came, stamp) for messages taken out by looks at these instants; the driver lost some with their delta."""
    chain = DeltaChain()
    queue = list(enumerate(came_ns))
    last, absent, stamps = None, None, []
    for look_ns in looks_ns:
        while queue and queue[0][1] <= look_ns:
            number, came = queue.pop(0)
            delta = 0 if last is None else came - last
            last = came
            if number in lost:
                continue
            stamps.append((came, chain.stamp(delta, absent, look_ns)))
        absent = look_ns
    return stamps


def test_stamps_are_finer_than_the_looks() -> None:
    # quarter frames at 25 frames a second, 1 ms of jitter on the wire, looks every 3 ms and a bit
    noise = np.random.default_rng(1)
    came = [k * 10 * MS + round(MS * noise.standard_normal()) + 50 * MS for k in range(1000)]
    looks = list(range(0, 11_000 * MS, 3_137_000))
    stamps = polled(came, looks)
    assert len(stamps) == 1000
    off = np.array([stamp - came for came, stamp in stamps[100:]]) / MS
    late = np.array([min(look for look in looks if look >= came) - came for came, _ in stamps[100:]]) / MS
    assert late.std() > 0.8
    assert abs(off.mean()) < 0.05
    assert off.std() < 0.02


@given(
    gaps_us=st.lists(st.integers(0, 30_000), min_size=1, max_size=60),
    looks_us=st.lists(st.integers(100, 9_000), min_size=1, max_size=60),
    lost=st.frozensets(st.integers(0, 59), max_size=10),
)
def test_a_stamp_never_leaves_the_looks_around_it(
    gaps_us: list[int], looks_us: list[int], lost: frozenset[int]
) -> None:
    came = [1000 * sum(gaps_us[: k + 1]) for k in range(len(gaps_us))]
    looks = list(itertools.accumulate(1000 * us for us in looks_us))
    looks += [came[-1] + looks[-1]]
    for came_ns, stamp_ns in polled(came, looks, lost):
        before = max((look for look in looks if look < came_ns), default=None)
        after = min(look for look in looks if look >= came_ns)
        assert stamp_ns <= after
        assert before is None or stamp_ns >= before


def test_a_driver_clock_of_another_speed_is_followed() -> None:
    chain = DeltaChain()
    offs = []
    for k in range(1, 6000):
        came = k * 10 * MS
        look = -(-came // 700_001) * 700_001
        # a driver clock that is 200 parts in a million slow
        offs.append((chain.stamp(0 if k == 1 else 9_998_000, look - 700_001, look) - came) / MS)
    assert max(abs(off) for off in offs[10:]) < 0.7


def cycles(count: int, late_ns: dict[int, int], steps_ns: dict[int, int]) -> list[tuple[int, int, int]]:
    """Return (frame, woke, true begin) for cycles of 64 frames at 48 kHz, the counter near its wrap."""
    rows, shift = [], 0
    for k in range(count):
        shift += steps_ns.get(k, 0)
        begin = 64 * k * 1_000_000_000 // 48_000 + shift
        rows.append(((2**32 - 640 + 64 * k) % 2**32, begin + late_ns.get(k, 0), begin))
    return rows


def test_a_late_wake_does_not_move_the_cycle() -> None:
    clock = CycleClock(48_000)
    for frame, woke, begin in cycles(200, {50: 3 * MS, 51: 2 * MS, 120: 9 * MS}, {}):
        assert abs(clock.begin(frame, woke) - begin) <= 1


@pytest.mark.parametrize("step_ns", [MS * 2 // 3, 7 * MS])
def test_missed_cycles_are_followed_after_three(step_ns: int) -> None:
    clock = CycleClock(48_000)
    off = [abs(clock.begin(frame, woke) - begin) for frame, woke, begin in cycles(200, {}, {100: step_ns})]
    assert max(off[:100] + off[103:]) <= 1
    assert max(off) >= step_ns - 1
