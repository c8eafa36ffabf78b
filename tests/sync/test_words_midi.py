"""What is said of MIDI that is garbled, uneven, breaks off or floods; each with what to look for."""

import pytest

from sequencer.sync.midi_orders import BYTES_AT_ONCE, MidiOrders
from sequencer.sync.reading import Lock
from tests.sync.band import clocks, said
from tests.sync.master import chance
from tests.sync.test_midi_clock import BASE, GAP_S, SONG, followed, started

UNEVEN = "MIDI clock is uneven: two masters on one port, or a bad cable"


def test_garbage_among_the_clocks_is_told() -> None:
    sent = started(clocks(SONG, 3.0, chance(1), sigma_s=0))
    _, told = followed([*sent, said(2.0, b"\xf2\x01\xf6")], 3.0)
    assert told == ("bytes that are no MIDI arrive with the clock; check the cable",)


def test_a_clock_that_ends_at_once_is_told() -> None:
    sent = started(clocks(SONG, 3.0, chance(2), sigma_s=0))[:6]
    found, told = followed(sent, 6.0)
    assert told == ("MIDI clock stopped before it was locked",)
    assert found[-1].lock not in (Lock.LOCKING, Lock.LOCKED)


def test_clocks_that_come_at_odd_times_are_told() -> None:
    _, told = followed(started(clocks(SONG, 8.0, chance(3), sigma_s=GAP_S / 2)), 8.0)
    assert UNEVEN in told


@pytest.mark.parametrize("too_many", [False, True])
def test_a_flood_among_the_triggers_is_told(too_many: bool) -> None:
    reader = MidiOrders((), 0, BASE)
    for _ in range(2 if too_many else 1):
        reader.feed(0, b"\xfe" * BYTES_AT_ONCE)
    told = reader.troubles()
    assert told == (
        (
            "more MIDI arrives among the triggers than four cables carry; nothing of it is obeyed but stops. "
            "Look for what sends so much",
        )
        if too_many
        else ()
    )
