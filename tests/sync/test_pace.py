"""How many orders pass, and how many bytes are read: a flood is bounded, told once and counted; no stop is lost."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.sync.allowance import Allowance
from sequencer.sync.complaints import Complaints
from sequencer.sync.midi_orders import BYTES_AT_ONCE, BYTES_PER_S, MidiOrders
from sequencer.sync.midi_stops import Stops
from sequencer.sync.orders import Due, GoToMark, Locate, Mapped, Order, StartClock, StopClock, StopRig, TakeCue
from sequencer.sync.osc_orders import OscOrders
from sequencer.sync.pace import AT_ONCE, CHOICES_PER_S, ORDERS_PER_S, Pace
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, Timecode
from sequencer.wire import mmc
from sequencer.wire.osc import command

SECOND_NS = 1_000_000_000
TIMEBASE = Timebase(Counting(Rate(25)), Timecode(10, 0, 0, 0))
DEVICE = 9
MAPPED = (
    Mapped(message="note", number=36, channel=10, order=StartClock()),
    Mapped(message="note", number=37, channel=10, order=StopRig()),
    Mapped(message="program", number=5, order=StopClock()),
)
STOP_NOTE, START_NOTE, OTHER_NOTE = b"\x99\x25\x64", b"\x99\x24\x64", b"\x91\x40\x40"
MMC_STOP, MMC_PAUSE = mmc.encode([mmc.Transport.STOP], DEVICE), mmc.encode([mmc.Transport.PAUSE])


def reader() -> MidiOrders:
    return MidiOrders(MAPPED, DEVICE, TIMEBASE)


def orders(dues: list[Due]) -> list[Order]:
    return [due.order for due in dues]


def test_an_allowance_lets_so_many_at_once_and_so_many_a_second() -> None:
    one = Allowance(10, 4)
    assert sum(one.grants(0) for _ in range(100)) == 4
    assert sum(one.grants(number * SECOND_NS // 1000) for number in range(1, 10_001)) == 100
    assert not one.grants(10 * SECOND_NS, 2)


def test_an_instant_that_lies_back_gives_nothing() -> None:
    one = Allowance(10, 4)
    assert sum(one.grants(at_s * SECOND_NS) for at_s in (50, 1, 50, 1, 50, 1, 50, 1)) == 4


@pytest.mark.parametrize(
    ("order", "per_s"),
    [(StartClock(), ORDERS_PER_S), (Locate(1.0), ORDERS_PER_S), (GoToMark("a"), CHOICES_PER_S), (TakeCue("a"), 5)],
)
def test_a_flood_of_orders_is_bounded_told_once_and_counted(order: Order, per_s: int) -> None:
    pace = Pace("midi:Desk")
    passed = sum(pace.lets(order, number * 100_000) for number in range(100_000))  # ten seconds
    assert passed == pytest.approx(AT_ONCE + 10 * per_s, abs=1)
    assert pace.left_aside == 100_000 - passed
    told = pace.troubles()
    assert told[0].startswith("more orders arrive at midi:Desk than a show sends")
    assert len(told) <= 6, "once, and then at ten, a hundred, a thousand"


@pytest.mark.parametrize("stop", [StopRig(), StopClock()])
def test_a_stop_passes_any_flood(stop: Order) -> None:
    pace = Pace("midi:Desk")
    for _ in range(1_000):
        pace.lets(StartClock(), 0)
        pace.lets(TakeCue("a"), 0)
        assert pace.lets(stop, 0)


def test_a_flood_of_starts_does_not_hold_up_a_choice() -> None:
    pace = Pace("midi:Desk")
    for _ in range(1_000):
        pace.lets(StartClock(), 0)
    assert pace.lets(TakeCue("a"), 0)


@pytest.mark.parametrize(
    ("stop", "meant"),
    [
        (STOP_NOTE, StopRig()),
        (b"\xc3\x05", StopClock()),
        (MMC_STOP, StopClock()),
        (MMC_PAUSE, StopClock()),
        (mmc.encode([mmc.Locate(1, 10, 0, 1, 9), mmc.Transport.PLAY, mmc.Transport.STOP], DEVICE), StopClock()),
        (b"\x99\x20\x40\x25\x01", StopRig()),  # by running status
        (b"\xf0\x7f\x09\x06\x47\x03\x01\x09\x01\x09\xf7", StopClock()),  # behind a command whose data look like a stop
    ],
)
@pytest.mark.parametrize("cut", range(1, 18, 3))
def test_a_stop_is_found_in_a_flood_however_it_is_split(stop: bytes, meant: Order, cut: int) -> None:
    one = reader()
    flood = OTHER_NOTE * 2_000
    assert one.feed(0, flood) == []
    first, rest = flood + stop[:cut], stop[cut:] + flood
    found = [*one.feed(1, first), *one.feed(2, rest)]
    # one that is complete before its message is may be found in both
    assert set(orders(found)) == {meant}
    assert len(found) <= 2
    assert one.counts.left_aside == len(flood) * 3 + len(stop)


@pytest.mark.parametrize(
    "harmless",
    [
        START_NOTE,
        b"\x99\x25\x00",  # velocity 0: a note off
        b"\x98\x25\x64",  # another channel
        b"\xc3\x06",
        mmc.encode([mmc.Transport.STOP], DEVICE + 1),
        mmc.encode([mmc.Locate(1, 1, 9, 1, 9)], DEVICE),  # numbers that look like stop and pause
        mmc.encode([mmc.Transport.PLAY]),
        b"\xf0\x43\x01\x09\xf7",
    ],
)
def test_nothing_else_is_obeyed_in_a_flood(harmless: bytes) -> None:
    one = reader()
    assert one.feed(0, (OTHER_NOTE + harmless) * 2_000) == []
    assert one.feed(1, (harmless + OTHER_NOTE) * 2_000) == []
    told = one.troubles()
    assert sum("nothing of it is obeyed but stops" in words for words in told) == 1


def test_a_flood_that_is_over_leaves_the_stream_whole() -> None:
    one = reader()
    one.feed(0, OTHER_NOTE * 2_000 + START_NOTE[:2])
    later_ns = 10 * SECOND_NS
    assert orders(one.feed(later_ns, START_NOTE[2:] + START_NOTE[1:])) == [StartClock(), StartClock()]
    assert one.counts.wrong == 0


def test_what_a_cable_can_carry_is_all_obeyed() -> None:
    """Source: MIDI 1.0, 31,250 bits a second, ten a byte: a note in 0.96 ms."""
    one = reader()
    got = [due for number in range(5_000) for due in one.feed(number * 960_000, START_NOTE)]
    assert len(got) == 5_000
    assert one.counts.left_aside == 0


def test_the_bytes_that_are_read_in_a_flood_are_bounded() -> None:
    one = reader()
    for number in range(10_000):
        one.feed(number * 1_000_000, START_NOTE * 100)
    assert one.counts.orders * 3 <= BYTES_AT_ONCE + 10 * BYTES_PER_S


@given(st.lists(st.binary(max_size=60), max_size=20))
def test_a_search_for_stops_takes_any_bytes_and_keeps_few(pieces: list[bytes]) -> None:
    stops = Stops([(0x99, 37), (0xC0, 5)], None)
    for piece in pieces:
        for found in stops.find(piece):
            assert 2 <= len(found) <= 300
        assert len(stops.begun) <= 257


def test_what_is_heard_of_strange_addresses_and_names_is_not_kept_without_end() -> None:
    """A hostile sender makes each message another complaint."""
    one = OscOrders(TIMEBASE)
    words: list[str] = []
    for number in range(20_000):
        one.feed(0, command(f"/of/no/use/{number}"))
        one.feed(0, b"garbage %d" % number)
        words += one.troubles()
    assert len(words) <= 32 + 2 * 5
    assert all(len(text) < 400 for text in words)
    assert one.counts.others == 20_000


def test_complaints_forget_no_kind_and_keep_no_more_than_32() -> None:
    one = Complaints()
    for number in range(100_000):
        one.tell("strange", f"number {number}")
    one.tell("another", "a new kind is told, whatever else was")
    told = one.take()
    assert len(told) <= 32 + 5 + 1
    assert told[-1] == "a new kind is told, whatever else was"
    assert one.take() == ()
