"""How many MIDI messages of one port go on: what a show sends, all; a flood, within bounds; a stop, always."""

import pytest

from sequencer.sync.crowd import AT_ONCE, LONGEST, OTHERS_PER_S, PLAYED_PER_S, TIME_PER_S, Crowd
from sequencer.sync.orders import Mapped, StartClock, StopClock, StopRig
from sequencer.wire import mmc
from sequencer.wire.mmc import Transport

SECOND_NS = 1_000_000_000
MS_NS = 1_000_000
DEVICE = 12
NOTE, PROGRAM, FADER, NOTE_OFF = b"\x90\x24\x64", b"\xc0\x05", b"\xb0\x07\x10", b"\x90\x24\x00"
QUARTER, CLOCK = b"\xf1\x25", b"\xf8"
STOP_NOTE, STOP_PROGRAM, OFF_OF_STOP = b"\x99\x30\x40", b"\xc9\x30", b"\x99\x30\x00"
MAPPED = (
    Mapped(message="note", number=0x30, channel=10, order=StopRig()),
    Mapped(message="program", number=0x30, order=StopClock()),
    Mapped(message="note", number=0x24, channel=1, order=StartClock()),
)
MMC_STOP, MMC_PAUSE = mmc.encode([Transport.STOP], DEVICE), mmc.encode([Transport.PAUSE])
LOCATED = mmc.encode([mmc.Locate(1, 10, 0, 1, 0), Transport.STOP], DEVICE)
STOPS = [STOP_NOTE, STOP_PROGRAM, MMC_STOP, MMC_PAUSE, LOCATED]
FLOODS = [QUARTER, NOTE, PROGRAM, FADER, mmc.encode([Transport.PLAY])]


def crowd() -> Crowd:
    return Crowd("midi:Desk", MAPPED, DEVICE)


def passed(one: Crowd, messages: list[bytes], now_ns: int = SECOND_NS) -> list[bytes]:
    return [message for message in messages if one.lets(message, now_ns)]


def test_what_a_show_sends_passes_whole() -> None:
    """Timecode at 30 frames, clocks at 300 beats a minute, notes and a fader at 250 a second, for a minute."""
    one = crowd()
    sent = [(number * SECOND_NS // 120, message) for number in range(7_200) for message in (QUARTER, CLOCK)]
    sent += [(number * SECOND_NS // 250, message) for number in range(15_000) for message in (FADER, NOTE, NOTE_OFF)]
    assert all(one.lets(message, at_ns) for at_ns, message in sorted(sent))
    assert (one.left_aside, one.notices(90 * SECOND_NS)) == (0, ())


@pytest.mark.parametrize(
    ("message", "at_once", "per_s"),
    [
        (QUARTER, 2 * AT_ONCE, TIME_PER_S),
        (CLOCK, 2 * AT_ONCE, TIME_PER_S),
        (NOTE, AT_ONCE, PLAYED_PER_S),
        (PROGRAM, AT_ONCE, PLAYED_PER_S),
        (FADER, AT_ONCE, OTHERS_PER_S),
        (NOTE_OFF, AT_ONCE, OTHERS_PER_S),
        (b"\xf0\x7d\x01\xf7", AT_ONCE, OTHERS_PER_S),
        (b"", AT_ONCE, OTHERS_PER_S),
    ],
)
def test_a_flood_is_bounded_and_told_once(message: bytes, at_once: int, per_s: int) -> None:
    one = crowd()
    assert len(passed(one, [message] * 5000)) == at_once
    later = sum(len(passed(one, [message] * 300, SECOND_NS + ms * MS_NS)) for ms in range(1, 1001))
    assert per_s - 1 <= later <= per_s + 1
    (told,) = one.notices(2 * SECOND_NS)
    assert told.startswith("more MIDI arrives at midi:Desk than a show sends")
    assert one.notices(3 * SECOND_NS) == (
        f"the flood at midi:Desk is over; {one.left_aside} MIDI messages were left aside",
    )
    assert passed(one, [message], 4 * SECOND_NS) == [message]


@pytest.mark.parametrize("flood", FLOODS)
@pytest.mark.parametrize("stop", STOPS)
def test_a_stop_passes_whatever_floods_the_port(flood: bytes, stop: bytes) -> None:
    one = crowd()
    for ms in range(1, 21):
        assert stop in passed(one, [flood] * 500 + [stop], SECOND_NS + ms * MS_NS)


def test_a_stop_passes_among_all_other_notes_that_there_are() -> None:
    one = crowd()
    every = [bytes((0x90 | channel, note, 64)) for channel in range(16) for note in range(128)]
    every.remove(STOP_NOTE)
    for second in range(1, 21):
        assert STOP_NOTE in passed(one, [*every, STOP_NOTE], second * SECOND_NS)


@pytest.mark.parametrize("stop", STOPS)
def test_a_flood_of_stops_is_bounded_too(stop: bytes) -> None:
    one = crowd()
    passes = [sum(one.lets(stop, SECOND_NS + ms * MS_NS) for _ in range(300)) for ms in range(1000)]
    assert min(passes) >= 1
    assert sum(passes) <= 1000 + OTHERS_PER_S + AT_ONCE


def test_a_stop_behind_a_start_at_the_same_instant_passes() -> None:
    """Else the clock would run on that was stopped last."""
    one = crowd()
    passed(one, [MMC_STOP] * 500 + [NOTE_OFF] * 500)
    assert passed(one, [MMC_STOP] * 3 + [NOTE, MMC_STOP]) == [NOTE, MMC_STOP]


@pytest.mark.parametrize("harmless", [OFF_OF_STOP, b"\x98\x30\x40", mmc.encode([Transport.STOP], DEVICE + 1), FADER])
def test_what_is_no_stop_of_ours_is_counted_like_anything_else(harmless: bytes) -> None:
    one = crowd()
    passed(one, [FADER, NOTE] * 5_000)
    assert one.stop(harmless) is None
    assert passed(one, [harmless]) == []


def test_who_has_no_number_obeys_the_stop_to_every_number() -> None:
    one = Crowd("midi:Desk", MAPPED)
    assert one.stop(mmc.encode([Transport.STOP], DEVICE + 1)) is StopClock


def test_an_exclusive_message_that_is_too_long_goes_no_further() -> None:
    one = crowd()
    fits = b"\xf0\x7d" + bytes(LONGEST - 3) + b"\xf7"
    assert passed(one, [fits]) == [fits]
    assert passed(one, [b"\xf0\x7f\x7f\x06" + b"\x01" * LONGEST + b"\xf7"]) == []
    assert one.left_aside == 1
