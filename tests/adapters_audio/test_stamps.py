"""A block's stamp from what PortAudio says of its time: the clocks' distance, what is nonsense, what was torn apart."""

import pytest

from sequencer.adapters.audio_ports.devices import Way
from sequencer.adapters.audio_ports.stamps import CardClock

MS = 1_000_000
CARD_S = 1_700_000_000.0  # a wall clock
NOW_NS = 5_000_000 * MS


def test_a_stamp_is_as_far_from_now_as_the_card_says() -> None:
    clock = CardClock("output", 0.05)
    assert clock.stamp(CARD_S + 0.0625, CARD_S, NOW_NS, NOW_NS) == pytest.approx(NOW_NS + 62.5 * MS, abs=1000)
    assert clock.stamp(CARD_S - 0.0625, CARD_S, NOW_NS, NOW_NS) == pytest.approx(NOW_NS - 62.5 * MS, abs=1000)
    assert clock.notices() == ()


def test_a_wall_clock_that_is_set_changes_no_stamp() -> None:
    clock = CardClock("output")
    clock.stamp(CARD_S + 0.05, CARD_S, NOW_NS, NOW_NS)
    after_ns, set_s = NOW_NS + 5 * MS, CARD_S - 3600
    assert clock.stamp(set_s + 0.05, set_s, after_ns, after_ns) == pytest.approx(after_ns + 50 * MS, abs=1000)


def test_a_look_that_the_scheduler_tore_apart_is_not_used_while_there_is_a_better_one() -> None:
    clock = CardClock("input")
    clock.stamp(CARD_S, CARD_S, NOW_NS, NOW_NS)
    # the card was asked at the end of 20 ms, not in their middle
    late_ns = NOW_NS + 20 * MS
    assert clock.stamp(CARD_S + 0.015, CARD_S + 0.02, NOW_NS, late_ns) == pytest.approx(NOW_NS + 15 * MS, abs=1000)
    # one that is all there is, or that follows on nothing newer than a second, is better than nothing
    later_ns = NOW_NS + 2000 * MS
    torn = clock.stamp(CARD_S + 2, CARD_S + 2, later_ns, later_ns + 20 * MS)
    assert torn == pytest.approx(later_ns + 10 * MS, abs=1000)


@pytest.mark.parametrize(("way", "sign", "does"), [("output", 1, "leaves"), ("input", -1, "comes in")])
@pytest.mark.parametrize("said_s", [0.0, 17.0, CARD_S + 60])
def test_a_card_that_says_nothing_of_use_gets_its_latency_and_one_notice(
    way: Way, sign: int, does: str, said_s: float
) -> None:
    clock = CardClock(way, 0.025)
    for _ in range(3):
        assert clock.stamp(said_s, CARD_S, NOW_NS, NOW_NS) == NOW_NS + sign * 25 * MS
    (notice,) = clock.notices()
    assert f"does not say when sound {does}: 25 ms are taken" in notice
    assert clock.notices() == ()
