"""Notes, program changes and MIDI Machine Control as orders; mido's messages are the other side."""

from typing import Literal

import mido
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.sync.midi_orders import MidiOrders
from sequencer.sync.orders import (
    Due,
    GoToMark,
    Locate,
    Mapped,
    Order,
    Reader,
    StartClock,
    StopClock,
    StopRig,
    TakeCue,
)
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, Timecode
from sequencer.wire import mmc
from sequencer.wire.mmc import Transport, encode

TIMEBASE = Timebase(Counting(Rate(25)), Timecode(10, 0, 0, 0))
DROP = Counting(Rate(30000, 1001), drop=True)


def mapped(message: Literal["note", "program"], number: int, order: Order, channel: int | None = None) -> Mapped:
    return Mapped(message=message, number=number, channel=channel, order=order)


MAPPED = (
    mapped("note", 60, StartClock()),
    mapped("note", 61, StopClock(), 10),
    mapped("note", 0, StopRig(), 16),
    mapped("program", 5, TakeCue("band")),
    mapped("program", 6, GoToMark("lantern lit"), 1),
    # the first entry for a message counts
    mapped("note", 60, StopRig(), 3),
)


def reader(device: int | None = 4, timebase: Timebase = TIMEBASE) -> MidiOrders:
    return MidiOrders(MAPPED, device, timebase)


def note(number: int, channel: int, velocity: int = 64) -> bytes:
    return bytes(mido.Message("note_on", note=number, channel=channel - 1, velocity=velocity).bytes())


def program(number: int, channel: int) -> bytes:
    return bytes(mido.Message("program_change", program=number, channel=channel - 1).bytes())


@pytest.mark.parametrize(
    ("data", "order", "by"),
    [
        (note(60, 1), StartClock(), "note 60 on channel 1"),
        (note(60, 3), StartClock(), "note 60 on channel 3"),
        (note(61, 10), StopClock(), "note 61 on channel 10"),
        (note(0, 16, 1), StopRig(), "note 0 on channel 16"),
        (program(5, 7), TakeCue("band"), "program 5 on channel 7"),
        (program(6, 1), GoToMark("lantern lit"), "program 6 on channel 1"),
        (encode([Transport.PLAY]), StartClock(), "MMC play"),
        (encode([Transport.DEFERRED_PLAY], 4), StartClock(), "MMC deferred play"),
        (encode([Transport.STOP]), StopClock(), "MMC stop"),
        (encode([Transport.PAUSE]), StopClock(), "MMC pause"),
        (encode([mmc.Locate(1, 10, 0, 5, 12, 50)]), Locate(5.5), "MMC locate"),
        (encode([mmc.Locate(1, 9, 59, 59, 0)], 4), Locate(-1.0), "MMC locate"),
    ],
)
def test_orders(data: bytes, order: Order, by: str) -> None:
    one: Reader = reader()
    assert list(one.feed(55, data)) == [Due(55, order, by)]
    assert (one.counts.orders, one.counts.others, one.counts.wrong, one.counts.elsewhere) == (1, 0, 0, 0)
    assert one.troubles() == ()


@pytest.mark.parametrize(
    "data",
    [
        note(60, 1, velocity=0),  # a note off: MIDI 1.0, "Note On" with velocity 0
        bytes(mido.Message("note_off", note=60).bytes()),
        note(61, 1),
        program(6, 2),
        program(60, 1),
        bytes(mido.Message("control_change", control=60, value=64).bytes()),
        bytes(mido.Message("polytouch", note=60, value=64).bytes()),
        bytes(mido.Message("quarter_frame", frame_type=3, frame_value=12).bytes()),
        bytes.fromhex("F0 7F 7F 01 01 2A 00 05 0C F7"),  # a full frame of MIDI timecode
        bytes.fromhex("F0 7F 7F 07 01 F7"),  # an answer of a machine
        bytes(mido.Message("songpos", pos=60).bytes()),
    ],
)
def test_everything_else_is_counted_and_said_nothing_of(data: bytes) -> None:
    one = reader()
    assert one.feed(0, data) == []
    assert (one.counts.orders, one.counts.others, one.counts.wrong) == (0, 1, 0)
    assert one.troubles() == ()


@pytest.mark.parametrize("byte", [0xF8, 0xFA, 0xFB, 0xFC, 0xFE])
def test_clock_is_somebody_elses(byte: int) -> None:
    one = reader()
    start = note(60, 1)
    assert one.feed(1, bytes((byte,))) == []
    assert [due.order for due in one.feed(2, start[:1] + bytes((byte,)) + start[1:])] == [StartClock()]
    assert one.counts.others == 0


def test_running_status_and_bytes_split_anywhere() -> None:
    stream = note(60, 1) + note(61, 10) + bytes((61, 0, 61, 9)) + encode([Transport.PLAY]) + program(5, 2) + b"\x05"
    want: list[Order] = [StartClock(), StopClock(), StopClock(), StartClock(), TakeCue("band"), TakeCue("band")]
    for size in (1, 2, 3, 7, len(stream)):
        one = reader()
        due = [order for at in range(0, len(stream), size) for order in one.feed(at, stream[at : at + size])]
        assert [order.order for order in due] == want
        assert one.counts.wrong == 0


def test_an_order_is_due_when_its_last_byte_came() -> None:
    one = reader()
    message = encode([Transport.PLAY])
    assert [one.feed(stamp_ns, message[stamp_ns : stamp_ns + 1]) for stamp_ns in range(5)] == [[]] * 5
    assert one.feed(5, message[5:]) == [Due(5, StartClock(), "MMC play")]


def test_several_commands_in_one_message_are_orders_in_their_order() -> None:
    sent = encode([Transport.STOP, mmc.Locate(1, 10, 0, 1, 0), Transport.DEFERRED_PLAY])
    assert [due.order for due in reader().feed(0, sent)] == [StopClock(), Locate(1.0), StartClock()]


def test_another_device_is_counted_and_told_once() -> None:
    one = reader(device=4)
    for _ in range(9):
        assert one.feed(0, encode([Transport.PLAY], 5)) == []
    assert (one.counts.elsewhere, one.counts.orders) == (9, 0)
    (told,) = one.troubles()
    assert "for device 5" in told
    assert "this is device 4" in told
    assert [due.order for due in reader(device=None).feed(0, encode([Transport.PLAY], 5))] == [StartClock()]


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ("44 06 01 2A 00", "cut short"),
        ("", "no command"),
        ("44 06 01 2A 00 05 19 00", "frame 25; at 25 frames run from 0 to 24"),
        ("44 06 01 3F 00 05 00 00", "31 hours"),
        ("44 06 01 2A 00 05 40 00", "before zero"),
        # other rates than the project's 25
        ("44 06 01 0A 00 05 00 00", "counts 24 frames a second, and the project 25"),
        ("44 06 01 4A 00 05 02 00", "counts 30 frames a second with drop-frame, and the project 25"),
        ("44 06 01 6A 00 05 00 00", "counts 30 frames a second, and the project 25"),
    ],
)
def test_what_is_wrong_is_told_counted_and_moves_nothing(body: str, words: str) -> None:
    one = reader()
    assert one.feed(0, bytes.fromhex(f"F0 7F 7F 06 {body} F7")) == []
    assert (one.counts.orders, one.counts.wrong) == (0, 1)
    (told,) = one.troubles()
    assert words in told


def test_what_came_before_a_fault_is_obeyed() -> None:
    one = reader()
    assert [due.order for due in one.feed(0, bytes.fromhex("F0 7F 7F 06 01 44 06 F7"))] == [StopClock()]
    assert one.counts.wrong == 1


def test_commands_that_are_not_obeyed_are_told_by_name() -> None:
    one = reader()
    assert [due.order for due in one.feed(0, bytes.fromhex("F0 7F 7F 06 06 0D 44 02 00 08 02 F7"))] == [StartClock()]
    assert one.counts.others == 3
    told = " ".join(one.troubles())
    for name in ("MMC record strobe", "MMC reset", "MMC locate to a stored point"):
        assert f"{name} is not obeyed" in told


@pytest.mark.parametrize(
    ("counting", "asked", "position_s", "told"),
    [
        # a rate that MIDI timecode names by the code of its neighbour
        (Counting(Rate(24000, 1001)), mmc.Locate(0, 1, 0, 0, 12), 12 * 1001 / 24000, False),
        (Counting(Rate(30000, 1001)), mmc.Locate(3, 1, 0, 1, 0), 30 * 1001 / 30000, False),
        # rates that it has no code for: their labels at half the count
        (Counting(Rate(50)), mmc.Locate(1, 1, 0, 0, 12), 0.48, True),
        (Counting(Rate(50)), mmc.Locate(1, 1, 0, 0, 12, 50), 0.5, True),
        (Counting(Rate(48)), mmc.Locate(0, 1, 0, 0, 12), 0.5, True),
        (Counting(Rate(60)), mmc.Locate(3, 1, 0, 0, 15), 0.5, True),
        # 01:01:00;02 is 1800 frames after 01:00:00;00, SMPTE ST 12-1
        (DROP, mmc.Locate(2, 1, 1, 0, 2), 1800 * 1001 / 30000, False),
        (Counting(Rate(60000, 1001), drop=True), mmc.Locate(2, 1, 1, 0, 2), 1800 * 1001 / 30000, True),
    ],
)
def test_a_locate_is_converted_where_every_frame_is_frames_of_ours(
    counting: Counting, asked: mmc.Locate, position_s: float, told: bool
) -> None:
    one = reader(timebase=Timebase(counting, Timecode(1, 0, 0, 0, drop=counting.drop)))
    (due,) = one.feed(0, encode([asked]))
    assert isinstance(due.order, Locate)
    assert due.order.position_s == pytest.approx(position_s, abs=1e-12)
    assert bool(one.troubles()) == told


@pytest.mark.parametrize(
    ("counting", "asked"),
    [
        (Counting(Rate(24000, 1001)), mmc.Locate(3, 1, 0, 0, 0)),
        (Counting(Rate(30000, 1001)), mmc.Locate(2, 1, 0, 0, 0)),
        (DROP, mmc.Locate(3, 1, 0, 0, 0)),
        (DROP, mmc.Locate(2, 1, 1, 0, 1)),  # a label that is left out
        (Counting(Rate(60)), mmc.Locate(1, 1, 0, 0, 0)),
        (Counting(Rate(60000, 1001), drop=True), mmc.Locate(2, 1, 1, 0, 1)),
    ],
)
def test_other_rates_and_labels_that_do_not_exist_are_refused(counting: Counting, asked: mmc.Locate) -> None:
    one = reader(timebase=Timebase(counting, Timecode(1, 0, 0, 0, drop=counting.drop)))
    assert one.feed(0, encode([asked])) == []
    assert one.counts.wrong == 1
    assert one.troubles()


def test_a_locate_crosses_midnight_the_short_way() -> None:
    late = reader(timebase=Timebase(Counting(Rate(25)), Timecode(23, 59, 50, 0)))
    assert [due.order for due in late.feed(0, encode([mmc.Locate(1, 0, 0, 5, 0)]))] == [Locate(15.0)]


def test_a_bad_cable_is_told() -> None:
    one = reader()
    assert one.feed(0, b"\x11\x22\x33" + note(60, 1)) == [Due(0, StartClock(), "note 60 on channel 1")]
    assert one.counts.wrong == 1
    assert "check the cable" in one.troubles()[0]


ORDERS = [one.order for one in MAPPED] + [StartClock(), StopClock()]


@settings(max_examples=300, deadline=None)
@given(pieces=st.lists(st.binary(max_size=40), max_size=8))
def test_random_bytes_never_raise_and_never_give_an_order_that_is_not_mapped(pieces: list[bytes]) -> None:
    one = reader()
    for piece in pieces:
        for due in one.feed(0, piece):
            assert due.order in ORDERS or isinstance(due.order, Locate)
    one.troubles()


@settings(max_examples=200, deadline=None)
@given(
    pieces=st.lists(
        st.one_of(
            st.binary(max_size=6),
            st.sampled_from(
                [b"\xf0\x7f\x7f\x06", b"\xf7", b"\x02", b"\x44\x06\x01\x2a", b"\xf4", b"\xf8", b"\x90\x3c"]
            ),
        ),
        max_size=20,
    )
)
def test_without_a_map_only_machine_control_gives_orders(pieces: list[bytes]) -> None:
    """And that only for our device, in a message that nothing but real-time bytes interrupts."""
    one = MidiOrders((), 4, TIMEBASE)
    stream = b"".join(pieces)
    due = [order for piece in pieces for order in one.feed(0, piece)]
    if due:
        assert any(head in stream.translate(None, bytes(range(0xF8, 0x100))) for head in MACHINE_HEADS)
    assert all(order.by.startswith("MMC ") for order in due)


MACHINE_HEADS = (b"\xf0\x7f\x7f\x06", b"\xf0\x7f\x04\x06")
