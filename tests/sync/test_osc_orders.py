"""OSC messages as orders; python-osc's builder is the other side."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pythonosc.osc_bundle_builder import IMMEDIATELY, OscBundleBuilder
from pythonosc.osc_message import OscMessage
from pythonosc.osc_message_builder import OscMessageBuilder

from sequencer.sync.orders import Due, GoToMark, Locate, Order, Reader, StartClock, StopClock, StopRig, TakeCue
from sequencer.sync.osc_orders import ADDRESSES, OscOrders
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, Timecode

TIMEBASE = Timebase(Counting(Rate(25)), Timecode(10, 0, 0, 0))


Argument = str | bytes | bool | int | float


def osc(address: str, *arguments: Argument) -> bytes:
    builder = OscMessageBuilder(address)
    for one in arguments:
        builder.add_arg(one)
    return bytes(builder.build().dgram)


@pytest.mark.parametrize(
    ("message", "order"),
    [
        (osc("/run/start"), StartClock()),
        (osc("/run/stop"), StopClock()),
        (osc("/run/locate", "10:00:05:12"), Locate(5.48)),
        (osc("/run/locate", "10:00:05:12.5"), Locate(5.5)),
        (osc("/run/locate", "09:59:59:00"), Locate(-1.0)),
        (osc("/mark/go", "lantern lit"), GoToMark("lantern lit")),
        (osc("/cue/take", "clean plate"), TakeCue("clean plate")),
        (osc("/stop"), StopRig()),
        # a stop is obeyed whatever comes with it
        (osc("/stop", 0.0, "now"), StopRig()),
        (osc("/run/stop", 1), StopClock()),
        # of a type that is not read here, cut short, not padded
        (b"/stop\0\0\0,x\0\0", StopRig()),
        (b"/stop\0\0\0,i\0\0", StopRig()),
        (b"/stop\0\0\0,s\0\0\xff\xff\xff\xff", StopRig()),
        (b"/run/stop\0\0\0,c\0\0\0\0\0a", StopClock()),
        (b"/stop", StopRig()),
        # older senders leave out the type tags: OSC 1.0, "OSC Type Tag String"
        (b"/stop\0\0\0", StopRig()),
        (b"/run/start\0\0", StartClock()),
    ],
)
def test_orders(message: bytes, order: Order) -> None:
    reader: Reader = OscOrders(TIMEBASE)
    address = message.partition(b"\0")[0].decode()
    assert list(reader.feed(77, message)) == [Due(77, order, f"OSC {address}")]
    assert (reader.counts.orders, reader.counts.wrong, reader.counts.others) == (1, 0, 0)
    assert reader.troubles() == ()


@pytest.mark.parametrize(
    ("start", "label", "position_s"),
    [
        ((23, 59, 50, 0), "00:00:05:00", 15.0),
        ((0, 0, 10, 0), "23:59:55:00", -15.0),
        ((0, 0, 0, 0), "12:00:00:00", -43_200.0),
    ],
)
def test_midnight_is_crossed_the_short_way(start: tuple[int, int, int, int], label: str, position_s: float) -> None:
    reader = OscOrders(Timebase(Counting(Rate(25)), Timecode(*start)))
    assert reader.feed(0, osc("/run/locate", label)) == [Due(0, Locate(position_s), "OSC /run/locate")]


def test_drop_frame_labels_count_as_they_should() -> None:
    """Source: SMPTE ST 12-1: at the end of minute 0 of ten, ;28 and ;29 are followed by 00:01:00;02."""
    reader = OscOrders(Timebase(Counting(Rate(30000, 1001), drop=True), Timecode(0, 0, 0, 0, drop=True)))
    (due,) = reader.feed(0, osc("/run/locate", "00:01:00;02"))
    assert isinstance(due.order, Locate)
    assert due.order.position_s == pytest.approx(1800 * 1001 / 30000, abs=1e-12)
    assert reader.feed(0, osc("/run/locate", "00:01:00;01")) == []
    assert "left out by drop-frame" in reader.troubles()[0]


@pytest.mark.parametrize(
    ("message", "words"),
    [
        (osc("/run/start", 1.0), "/run/start is sent without arguments, not with 1"),
        (osc("/run/locate"), "a timecode as text like 10:00:05:12"),
        (osc("/run/locate", 5.0), "a timecode as text"),
        (osc("/run/locate", "10:00:05:12", 1), "a timecode as text"),
        (osc("/run/locate", "10:00:05:25"), "has frame 25; at 25 frames run from 0 to 24"),
        (osc("/run/locate", "25:00:00:00"), "25 hours"),
        (osc("/run/locate", "soon"), "'soon' is not a timecode"),
        (osc("/run/locate", "10:00:05:12." + "1" * 9000), "a timecode as text"),
        (osc("/mark/go"), "a name as text"),
        (osc("/mark/go", 3), "a name as text"),
        (osc("/mark/go", ""), "a name as text"),
        (osc("/mark/go", "a" * 5000), "a name as text"),
        (osc("/cue/take", b"blob"), "a name as text"),
        (osc("/cue/take", True), "a name as text"),
        (b"no OSC at all", "no OSC message"),
        (b"", "no OSC message"),
        (b"/run/start\0\0,x\0\0", "no OSC message"),
    ],
)
def test_what_is_wrong_is_told_counted_and_moves_nothing(message: bytes, words: str) -> None:
    reader = OscOrders(TIMEBASE)
    assert reader.feed(0, message) == []
    assert (reader.counts.orders, reader.counts.wrong, reader.counts.others) == (0, 1, 0)
    (told,) = reader.troubles()
    assert words in told
    assert len(told) < 300


@pytest.mark.parametrize("address", ["/run", "/run/start/", "/Run/start", "/run/*", "/rig/pan/actual", "/" + "a" * 999])
def test_other_addresses_are_counted_and_told_with_what_there_is(address: str) -> None:
    reader = OscOrders(TIMEBASE)
    assert reader.feed(0, osc(address, 1.0)) == []
    assert (reader.counts.orders, reader.counts.wrong, reader.counts.others) == (0, 0, 1)
    (told,) = reader.troubles()
    assert "/run/start" in told
    assert len(told) < 300


def test_a_fault_is_told_once_and_then_at_ten_a_hundred_and_a_thousand() -> None:
    reader = OscOrders(TIMEBASE)
    told: list[str] = []
    for stamp_ns in range(2000):
        # stamps do not run in order, since timetags are the sender's
        reader.feed((stamp_ns * 7_919) % 2000, osc("/fader/3", 0.5))
        told += reader.troubles()
    assert [("so far" in words, words.partition("(")[2]) for words in told] == [
        (False, ""),
        (True, "10 such messages so far)"),
        (True, "100 such messages so far)"),
        (True, "1000 such messages so far)"),
    ]
    assert reader.counts.others == 2000


def test_a_flood_of_different_faults_is_not_told_one_by_one() -> None:
    reader = OscOrders(TIMEBASE)
    for number in range(1000):
        reader.feed(0, osc(f"/fader/{number}"))
    assert len(reader.troubles()) < 40
    # the first of another kind is said all the same
    reader.feed(0, osc("/run/start", 1))
    assert "without arguments" in reader.troubles()[0]


def test_the_messages_of_a_bundle_are_orders_in_their_order() -> None:
    bundle = OscBundleBuilder(IMMEDIATELY)
    for message in (osc("/run/locate", "10:00:01:00"), osc("/what"), osc("/run/start")):
        bundle.add_content(OscMessage(message))
    due = OscOrders(TIMEBASE).feed(9, bytes(bundle.build().dgram))
    assert [one.order for one in due] == [Locate(1.0), StartClock()]
    assert {one.at_ns for one in due} == {9}


@given(data=st.binary(max_size=200))
def test_random_bytes_never_raise_and_give_no_order(data: bytes) -> None:
    reader = OscOrders(TIMEBASE)
    for one in reader.feed(0, data):
        # by chance a stop, whose address is short
        assert one.by.removeprefix("OSC ") in ADDRESSES
    reader.troubles()


@given(rest=st.binary(max_size=60))
def test_a_stop_is_obeyed_whatever_comes_with_it(rest: bytes) -> None:
    for address, order in (("/stop", StopRig()), ("/run/stop", StopClock())):
        reader = OscOrders(TIMEBASE)
        assert reader.feed(5, address.encode() + b"\0" + rest) == [Due(5, order, f"OSC {address}")]
        assert (reader.counts.orders, reader.counts.wrong) == (1, 0)


TEXTS = st.sampled_from([*ADDRESSES, "/run/locat", "/x"])
ARGUMENTS = st.lists(
    st.one_of(st.text("0123456789:;.", max_size=14), st.integers(0, 9), st.floats(0, 1), st.booleans())
)


@given(address=TEXTS, arguments=ARGUMENTS, spoilt=st.integers(0, 40))
def test_whatever_comes_with_it_an_order_is_that_of_its_address(
    address: str, arguments: list[Argument], spoilt: int
) -> None:
    kinds = {
        "/run/start": StartClock,
        "/run/stop": StopClock,
        "/run/locate": Locate,
        "/mark/go": GoToMark,
        "/cue/take": TakeCue,
        "/stop": StopRig,
    }
    message = osc(address, *arguments)
    for data in (message, message[:spoilt] + message[spoilt + 1 :]):
        for one in OscOrders(TIMEBASE).feed(0, data):
            assert type(one.order) is kinds[one.by.removeprefix("OSC ")]
            if isinstance(one.order, Locate):
                assert -43_200 <= one.order.position_s < 43_200
