"""The OSC source on 127.0.0.1, with liblo's oscsend and python-osc's builder as senders."""

import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from typing import cast

import numpy as np
import pytest
from pythonosc.osc_bundle_builder import OscBundleBuilder
from pythonosc.osc_message import OscMessage
from pythonosc.osc_message_builder import OscMessageBuilder

from sequencer.adapters import wallclock
from sequencer.adapters.contract import Chunk, Source
from sequencer.adapters.sources.osc import AT_ONCE, KIND, LONGEST, ORDERS_PER_S, OscIn
from sequencer.errors import LinkError
from sequencer.sync.orders import GoToMark, Locate, StartClock, StopRig
from sequencer.sync.osc_orders import OscOrders
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, Timecode
from sequencer.wire.timetag import timetag
from tests.needs import needs

MS_NS = 1_000_000
SECOND_NS = 1_000 * MS_NS
TIMEBASE = Timebase(Counting(Rate(25)), Timecode(10, 0, 0, 0))


def osc(address: str, *arguments: str | float) -> bytes:
    builder = OscMessageBuilder(address)
    for one in arguments:
        builder.add_arg(one)
    return bytes(builder.build().dgram)


def bundle(unix_s: float, *messages: bytes) -> bytes:
    # its type says whole seconds, and it takes their part too
    builder = OscBundleBuilder(cast("int", unix_s))
    for one in messages:
        builder.add_content(OscMessage(one))
    return bytes(builder.build().dgram)


START, FADER = osc("/run/start"), osc("/fader/1", 0.5)


@pytest.fixture
def source() -> Iterator[OscIn]:
    with KIND.open("osc:0") as one:
        assert isinstance(one, OscIn)
        yield one


@pytest.fixture
def sender(source: OscIn) -> Iterator[socket.socket]:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as port:
        port.connect(("127.0.0.1", number(source)))
        yield port


def number(source: Source) -> int:
    return int(source.address.rpartition(":")[2])


def read(source: Source) -> tuple[Chunk, ...]:
    return source.read(time.monotonic_ns())


def rest(source: Source, datagrams: int) -> list[Chunk]:
    """Return what is left of so many datagrams of one message each, which takes several calls at one instant."""
    chunks: list[Chunk] = []
    for _ in range(datagrams // 512 + 2):
        chunks += source.read(77 * SECOND_NS)
    return chunks


def test_a_port_in_use_is_a_link_error_with_the_mend(source: OscIn) -> None:
    with pytest.raises(LinkError, match=r"in use by another program; end that one"), KIND.open(source.address):
        pass


def test_an_address_of_another_machine_cannot_be_listened_at() -> None:
    """Source: RFC 5737: 192.0.2.0/24 belongs to no machine."""
    with pytest.raises(LinkError, match="no address of this machine"), KIND.open("osc:192.0.2.1:0?from=192.0.2.2"):
        pass


def test_it_hears_this_machine_only_where_nothing_else_is_asked_for(source: OscIn) -> None:
    assert source.address == f"osc:{number(source)}"
    with KIND.open("osc:[::1]:0") as other:
        assert other.address == f"osc:[::1]:{number(other)}"
    assert KIND.names() == ("osc:9001",)
    assert KIND.blocks


def test_a_message_alone_is_stamped_with_its_arrival(source: OscIn, sender: socket.socket) -> None:
    """The kernel's stamp, where there is one: reading late must not shift a trigger."""
    before_ns = time.monotonic_ns()
    sender.send(START)
    after_ns = time.monotonic_ns()
    while time.monotonic_ns() < after_ns + 10 * MS_NS:
        pass
    (chunk,) = read(source)
    assert chunk.data == START
    if source.port.stamped:
        # the wall clock is read for the offset, to within what that reading takes
        assert before_ns - MS_NS <= chunk.stamp_ns <= after_ns + MS_NS
    else:
        assert chunk.stamp_ns >= after_ns + 10 * MS_NS


def test_a_stamp_lies_between_the_last_look_and_now_however_the_wall_clock_was_set(
    source: OscIn, sender: socket.socket, monkeypatch: pytest.MonkeyPatch
) -> None:
    at_ns, offset_ns = wallclock.measure()
    for step_ns in (-3600 * SECOND_NS, 3600 * SECOND_NS):
        monkeypatch.setattr(wallclock, "measure", lambda step_ns=step_ns: (at_ns, offset_ns + step_ns))
        looked_ns = time.monotonic_ns()
        assert source.read(looked_ns) == ()
        sender.send(START)
        (chunk,) = read(source)
        assert looked_ns <= chunk.stamp_ns <= time.monotonic_ns()


@pytest.mark.parametrize("ahead_s", [2.5, -0.4, 3000.0])
def test_a_timetag_is_the_stamp_of_each_message_in_its_bundle(
    source: OscIn, sender: socket.socket, ahead_s: float
) -> None:
    before_ns = time.monotonic_ns()
    unix_s = time.time() + ahead_s
    after_ns = time.monotonic_ns()
    sender.send(bundle(unix_s, osc("/run/locate", "10:00:01:00"), START))
    chunks = read(source)
    assert [chunk.data for chunk in chunks] == [osc("/run/locate", "10:00:01:00"), START]
    assert chunks[0].stamp_ns == chunks[1].stamp_ns
    ahead_ns = round(ahead_s * SECOND_NS)
    assert before_ns + ahead_ns - MS_NS <= chunks[0].stamp_ns <= after_ns + ahead_ns + MS_NS


def test_a_timetag_is_exact_to_the_offset_of_the_clocks(
    source: OscIn, sender: socket.socket, monkeypatch: pytest.MonkeyPatch
) -> None:
    at_ns, offset_ns = wallclock.measure()
    monkeypatch.setattr(wallclock, "measure", lambda: (at_ns, offset_ns))
    due_ns = at_ns + 1_234_567_891
    tag = timetag(due_ns, offset_ns)
    size = len(START).to_bytes(4, "big")
    sender.send(b"#bundle\0" + tag.to_bytes(8, "big") + size + START)
    assert [chunk.stamp_ns for chunk in read(source)] == [due_ns]


def test_another_program_sends_orders(source: OscIn) -> None:
    """liblo's oscsend, in every type that an order has."""
    needs("oscsend")
    program = shutil.which("oscsend") or ""
    reader = OscOrders(TIMEBASE)
    for arguments in (["/run/start"], ["/run/locate", "s", "10:00:02:00"], ["/mark/go", "s", "lit"], ["/stop"]):
        subprocess.run([program, "127.0.0.1", str(number(source)), *arguments], check=True, timeout=10)
    due = [one for chunk in read(source) for one in reader.feed(chunk.stamp_ns, chunk.data)]
    assert [one.order for one in due] == [StartClock(), Locate(2.0), GoToMark("lit"), StopRig()]
    assert [one.at_ns for one in due] == sorted(one.at_ns for one in due)
    assert reader.troubles() == ()


@pytest.mark.parametrize("flood", [FADER, START, osc("/run/locate", "10:00:01:00"), b"\x93garbage"])
def test_ten_thousand_messages_neither_hold_up_nor_lose_a_stop(
    source: OscIn, sender: socket.socket, flood: bytes
) -> None:
    """What comes in a second, within one instant of the source's time: the most that it may let pass at once."""
    chunks: list[Chunk] = []
    for piece in range(100):
        for _ in range(100):
            sender.send(flood)
        if piece in (30, 99):
            sender.send(osc("/stop"))
        chunks += source.read(77 * SECOND_NS)
    stops = [chunk for chunk in chunks if chunk.data == osc("/stop")]
    assert len(stops) == 2
    assert len(chunks) - len(stops) <= AT_ONCE
    assert source.left_aside + source.malformed + len(chunks) == 10_002
    assert source.lost == 0
    told = source.notices()
    assert 1 <= len(told) <= 6
    if not source.malformed:
        assert "more OSC arrives" in told[0]
        assert source.read(77 * SECOND_NS + SECOND_NS // 2) == ()
        assert source.notices() == ()
        source.read(79 * SECOND_NS)
        over = f"the flood at {source.address} is over; {source.left_aside} OSC messages were left aside"
        assert source.notices() == (over,)
        sender.send(START)
        assert len(source.read(80 * SECOND_NS)) == 1


def test_a_flood_of_something_else_does_not_hold_up_an_order(source: OscIn, sender: socket.socket) -> None:
    for _ in range(300):
        sender.send(FADER)
    sender.send(START)
    chunks = rest(source, 301)
    assert [chunk.data for chunk in chunks] == [FADER] * AT_ONCE + [START]


@pytest.mark.parametrize("flood", [FADER, START, osc("/run/locate", "10:00:01:00")])
def test_a_stop_of_the_clock_passes_whatever_floods_the_port(
    source: OscIn, sender: socket.socket, flood: bytes
) -> None:
    for _ in range(400):
        sender.send(flood)
    sender.send(osc("/run/stop"))
    assert rest(source, 401)[-1].data == osc("/run/stop")


@pytest.mark.parametrize("stop", ["/stop", "/run/stop"])
def test_a_stop_passes_without_what_makes_it_too_long(source: OscIn, sender: socket.socket, stop: str) -> None:
    sender.send(osc(stop, "x" * 5_000))
    assert [chunk.data for chunk in read(source)] == [osc(stop)]


def test_a_flood_of_stops_of_the_clock_is_bounded_too(source: OscIn, sender: socket.socket) -> None:
    for _ in range(400):
        sender.send(osc("/run/stop"))
    assert len(rest(source, 400)) == AT_ONCE


def test_orders_pass_at_their_rate_again_when_time_has_gone_by(source: OscIn, sender: socket.socket) -> None:
    passed = []
    for tenth in range(20):
        for _ in range(15):
            sender.send(START)
        passed.append(len(source.read(50 * SECOND_NS + tenth * SECOND_NS // 10)))
    assert passed[:3] == [15, 15, 10]
    assert sum(passed) == AT_ONCE + 19 * ORDERS_PER_S // 10
    # a long silence saves up no more than may come at once
    for _ in range(3 * ORDERS_PER_S):
        sender.send(START)
    assert len(source.read(9_000 * SECOND_NS)) == AT_ONCE


def test_many_stops_at_once_are_one_stop(source: OscIn, sender: socket.socket) -> None:
    for _ in range(400):
        sender.send(osc("/stop"))
    assert len(read(source)) == 1
    sender.send(osc("/stop"))
    assert len(read(source)) == 1


def test_a_bundle_of_very_many_messages_is_one_call_and_bounded(source: OscIn, sender: socket.socket) -> None:
    for _ in range(4):
        sender.send(bundle(time.time(), *[FADER] * 500))
    before = source.left_aside
    source.read(77 * SECOND_NS)
    assert source.left_aside - before <= 2 * 500
    rest(source, 4)
    assert source.left_aside + AT_ONCE == 4 * 500


@pytest.mark.parametrize(
    "packet",
    [
        b"",
        b"garbage",
        b"#bundle\0",
        b"#bundle\0" + bytes(8) + b"\0\0\0\x09/run/star",
        b"#bundle\0" + bytes(8) + b"\x7f\xff\xff\xfc" + START,
        START + bytes(40_000),
    ],
)
def test_malformed_packets_are_counted_and_told(source: OscIn, sender: socket.socket, packet: bytes) -> None:
    sender.send(packet)
    sender.send(START)
    assert [chunk.data for chunk in read(source)] == [START]
    assert source.malformed == 1
    (told,) = source.notices()
    assert told.startswith(f"what came to {source.address} cannot be read: ")


def test_random_datagrams_never_raise_and_hide_nothing(source: OscIn, sender: socket.socket) -> None:
    chance = np.random.default_rng(4)
    reader = OscOrders(TIMEBASE)
    heads = (
        b"",
        b"/",
        b"/run/start\0\0",
        b"#bundle\0" + bytes(8),
        b"#bundle\0" + bytes(8) + len(START).to_bytes(4, "big"),
    )
    for number in range(2000):
        sender.send(heads[number % len(heads)] + chance.bytes(int(chance.integers(0, 60))))
        if number % 100 == 99:
            sender.send(osc("/stop"))
            due = [one for chunk in source.read(number * SECOND_NS) for one in reader.feed(chunk.stamp_ns, chunk.data)]
            assert [one.order for one in due if one.order != StartClock()] == [StopRig()]
    assert source.malformed > 500
    assert len(source.notices()) < 60


def test_what_the_machine_had_no_room_for_is_counted(source: OscIn, sender: socket.socket) -> None:
    """Source: Linux socket(7), SO_RXQ_OVFL."""
    if not source.port.stamped:
        pytest.skip("this system does not say what it lost")
    sent = 0
    large = FADER + bytes(480)
    for _ in range(60_000):
        sender.send(large)
        sent += 1
    heard = 0
    while read(source) or source.left_aside > heard:
        heard = source.left_aside
    sender.send(START)
    read(source)
    assert source.lost > 0
    assert source.lost + source.left_aside + AT_ONCE == pytest.approx(sent, abs=AT_ONCE)
    assert any("more OSC arrives" in notice for notice in source.notices())


def test_a_message_that_is_longer_than_any_order_goes_no_further_but_a_stop_does(
    source: OscIn, sender: socket.socket
) -> None:
    """What went on would fill the way to the engine, in which a stop has to find room."""
    longest = osc("/mark/go", "m" * (LONGEST - 17))
    assert len(longest) == LONGEST
    sender.send(longest)
    sender.send(osc("/mark/go", "m" * LONGEST))
    sender.send(bundle(time.time(), *[osc("/fader", "m" * 700)] * 20))
    sender.send(osc("/stop", "m" * 9000))
    assert [chunk.data for chunk in rest(source, 4)] == [longest, osc("/stop")]
    assert source.malformed == 21
    assert "no order is longer than 512" in source.notices()[0]


def test_the_port_closes_with_the_block() -> None:
    with KIND.open("osc:0") as source:
        assert isinstance(source.fileno(), int)
        where = source.address
    with KIND.open(where) as again:
        assert again.address == where
    with pytest.raises(LinkError, match="gone"):
        again.read(0)
