"""Round trip and loss from numbers that come back, beside numpy's median and a count of our own."""

import numpy as np
import pytest

from sequencer.wire import echo

MS_NS = 1_000_000
SECOND_NS = 1_000 * MS_NS


def talk(seconds: float, delay_ns: int, drop: float, seed: int = 1) -> tuple[echo.Echo, int, list[int], list[bool]]:
    """Call for a while over a link; return the echo, the time, what came back after how long, and who was lost."""
    chance = np.random.default_rng(seed)
    now = echo.Echo()
    took: list[int] = []
    gone: list[bool] = []
    under_way: list[tuple[int, int, int]] = []
    at_ns = 0
    for at_ns in range(0, round(seconds * SECOND_NS), MS_NS):
        while under_way and under_way[0][0] <= at_ns:
            _, number, sent_ns = under_way.pop(0)
            now = echo.hear(now, number, at_ns)
            took.append(at_ns - sent_ns)
        if echo.due(now, at_ns):
            now = echo.call(now, at_ns)
            gone.append(bool(chance.random() < drop))
            if not gone[-1]:
                under_way.append((at_ns + delay_ns + round(chance.uniform(0, 5)) * MS_NS, now.number, at_ns))
    return now, at_ns, took, gone


def test_the_round_trip_is_the_median_of_the_last_second() -> None:
    now, at_ns, took, _ = talk(10.0, 20 * MS_NS, 0.0)
    assert len(took) == 50
    assert echo.round_trip_s(now, at_ns) == pytest.approx(float(np.median(took[-5:])) * 1e-9)
    assert echo.lost(now, at_ns) == 0


@pytest.mark.parametrize("drop", [0.1, 0.5])
def test_the_loss_is_the_part_of_twenty_calls_that_did_not_come_back(drop: float) -> None:
    now, at_ns, _, gone = talk(60.0, 20 * MS_NS, drop)
    # calls at 55.4, 55.6 ... 59.2 s are half a second old at 59.999 s, and not older than four and a half
    judged = gone[round(55.6 / 0.2) : round(59.4 / 0.2) + 1]
    assert len(judged) == 20
    assert 0 < sum(judged) < 20
    assert echo.lost(now, at_ns) == pytest.approx(sum(judged) / 20)


def test_a_link_that_is_cut_loses_all_and_its_round_trip_is_not_known() -> None:
    now, at_ns, _, _ = talk(10.0, 20 * MS_NS, 0.0)
    for later_ns in range(at_ns, at_ns + 5 * SECOND_NS, 200 * MS_NS):
        now = echo.call(now, later_ns)
    end_ns = at_ns + 5 * SECOND_NS
    assert echo.round_trip_s(now, end_ns) is None
    assert echo.lost(now, end_ns) == 1


def test_who_never_echoes_has_no_loss_and_no_round_trip() -> None:
    now, at_ns, _, _ = talk(10.0, 20 * MS_NS, 1.0)
    assert (echo.round_trip_s(now, at_ns), echo.lost(now, at_ns)) == (None, None)


def test_a_number_that_comes_twice_or_was_never_sent_says_nothing() -> None:
    now = echo.call(echo.Echo(), 0)
    assert echo.hear(now, 7, 5 * MS_NS) is now
    once = echo.hear(now, 0, 5 * MS_NS)
    assert echo.hear(once, 0, 900 * MS_NS) is once
    assert echo.round_trip_s(once, 900 * MS_NS) == pytest.approx(0.005)


def test_one_that_is_late_still_counts_as_come_back() -> None:
    now = echo.call(echo.Echo(), 0)
    now = echo.hear(echo.call(now, 200 * MS_NS), 1, 210 * MS_NS)
    assert echo.lost(now, 600 * MS_NS) == 1
    assert echo.lost(echo.hear(now, 0, 650 * MS_NS), 650 * MS_NS) == 0


def test_numbers_stay_within_32_bits() -> None:
    last = echo.Echo((echo.Call(2**31 - 1, 0),))
    assert echo.call(last, SECOND_NS).number == 0


def test_five_a_second_and_no_more_are_kept_than_count() -> None:
    now, _, _, gone = talk(60.0, 0, 0.0)
    assert len(gone) == 300
    assert len(now.calls) <= 23
