"""OSC bytes against python-osc and liblo, and against bytes that are no OSC."""

import contextlib
import math
import select
import socket
import struct
import subprocess
import time
from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pythonosc.osc_bundle import OscBundle
from pythonosc.osc_bundle_builder import OscBundleBuilder
from pythonosc.osc_message_builder import OscMessageBuilder

from sequencer.errors import PeerError
from sequencer.wire.osc import Form, Message, Numbers, actual_addresses, command, decode, setpoint_addresses
from sequencer.wire.timetag import IMMEDIATELY, UNIX_EPOCH_S, timetag
from tests.needs import needs

NAMES = ("pan", "tilt", "roll", "slide", "focus", "a", "ab", "abc")
UNIX_S = 1_700_000_000.25
TAG = timetag(0, 1_700_000_000_250_000_000)

numbers_32 = st.floats(width=32, allow_nan=False)
axis_names = st.lists(
    st.text("abcdefghijklmnopqrstuvwxyz0123456789-_", min_size=1, max_size=9), min_size=1, unique=True
)


def built(addresses: tuple[str, ...], values: list[float], form: str, unix_s: float) -> bytes:
    """The same bundle from python-osc's builders; 0 is its word for "at once"."""
    bundle = OscBundleBuilder(unix_s)  # type: ignore[arg-type]  # takes floats, says int
    for address, value in zip(addresses, values, strict=True):
        message = OscMessageBuilder(address)
        message.add_arg(value, form)
        bundle.add_content(message.build())
    return bytes(bundle.build().dgram)


@given(names=axis_names, form=st.sampled_from(["f", "d"]), data=st.data())
def test_bundles_are_those_that_python_osc_builds(names: list[str], form: Form, data: st.DataObject) -> None:
    addresses = setpoint_addresses(names)
    values = data.draw(st.lists(numbers_32, min_size=len(addresses), max_size=len(addresses)))
    numbers = Numbers(addresses, form)
    assert numbers.pack(TAG, values) == built(addresses, values, form, UNIX_S)
    assert numbers.pack(IMMEDIATELY, values) == built(addresses, values, form, 0)


@given(values=st.lists(numbers_32, min_size=len(NAMES), max_size=len(NAMES)), form=st.sampled_from(["f", "d"]))
def test_python_osc_reads_what_we_pack(values: list[float], form: Form) -> None:
    addresses = actual_addresses(NAMES)
    bundle = OscBundle(Numbers(addresses, form).pack(TAG, values))
    assert bundle.timestamp == pytest.approx(UNIX_S, abs=1e-6)
    assert [(message.address, message.params) for message in bundle] == [
        (address, [value]) for address, value in zip(addresses, values, strict=True)
    ]


@given(values=st.lists(numbers_32, min_size=len(NAMES), max_size=len(NAMES)), form=st.sampled_from(["f", "d"]))
def test_we_read_what_python_osc_builds_by_both_ways(values: list[float], form: str) -> None:
    addresses = actual_addresses(NAMES)
    packet = built(addresses, values, form, UNIX_S)
    assert Numbers(addresses).read(packet) == (TAG, values)
    assert decode(packet) == tuple(Message(TAG, *pair) for pair in zip(addresses, ((v,) for v in values), strict=True))


def test_an_address_that_is_left_out_is_not_a_number() -> None:
    packet = Numbers(("/rig/tilt/actual",)).pack(TAG, [2.0])
    read = Numbers(actual_addresses(("pan", "tilt"))).read(packet)
    assert read is not None
    assert math.isnan(read[1][0])
    assert read[1][1] == 2.0


@pytest.mark.parametrize(
    "packet",
    [
        b"",
        b"#bundle\0",
        command("/stop"),
        Numbers(("/rig/yaw/actual",)).pack(TAG, [1.0]),
        Numbers(("/rig/pan/actual",)).pack(TAG, [1.0])[:-4],
        Numbers(("/rig/pan/actual",)).pack(TAG, [1.0]) + b"\0\0\0",
        b"#bundle\0" + struct.pack(">Qi", TAG, -4),
        b"#bundle\0" + struct.pack(">Qi", TAG, 24) + b"/rig/pan/actual\0,f\0\0",
    ],
)
def test_whatever_is_no_plain_bundle_of_these_numbers_is_left_to_decode(packet: bytes) -> None:
    assert Numbers(actual_addresses(("pan",))).read(packet) is None


def test_a_command_has_no_arguments_and_is_for_now() -> None:
    assert decode(command("/rig/ask")) == (Message(IMMEDIATELY, "/rig/ask", ()),)
    assert command("/stop") == b"#bundle\0" + struct.pack(">Qi", 1, 12) + b"/stop\0\0\0,\0\0\0"


def test_messages_of_nested_bundles_keep_order_and_have_their_own_time() -> None:
    """Source: OSC 1.0, an element of a bundle may be a bundle."""
    one, two, three = (built((f"/{name}",), [1.0], "f", UNIX_S)[16:] for name in ("one", "two", "three"))
    inner = b"#bundle\0" + struct.pack(">Q", 77) + two
    packet = b"#bundle\0" + struct.pack(">Q", TAG) + one + struct.pack(">i", len(inner)) + inner + three
    assert [(message.address, message.tag) for message in decode(packet)] == [
        ("/one", TAG),
        ("/two", 77),
        ("/three", TAG),
    ]


def nested(depth: int) -> bytes:
    packet = b"/a\0\0,\0\0\0"
    for _ in range(depth):
        packet = b"#bundle\0" + struct.pack(">Qi", 1, len(packet)) + packet
    return packet


@pytest.mark.parametrize(
    "packet",
    [
        b"",
        b"hello",
        b"/a",
        b"/\xff\xfe\0,\0\0\0",
        b"/a\0\0,q\0\0",
        b"/a\0\0,d\0\0\0\0",
        b"/a\0\0,[f\0\0\0\0\0",
        b"/a\0\0," + b"T" * 2000 + b"\0" * 3,
        b"#bundle\0",
        b"#bundle\0" + struct.pack(">Qi", 1, -4),
        b"#bundle\0" + struct.pack(">Qi", 1, 0),
        b"#bundle\0" + struct.pack(">Qi", 1, 400),
        b"#bundle\0" + struct.pack(">Qi", 1, 9) + b"/a\0\0,\0\0\0\0",
        nested(5),
        nested(3000),
        b"/a\0\0,\0\0\0" * 10_000,
    ],
)
def test_what_is_no_osc_or_too_much_of_it_is_the_peers_error(packet: bytes) -> None:
    with pytest.raises(PeerError):
        decode(packet)


def test_four_bundles_deep_is_read() -> None:
    assert decode(nested(4)) == (Message(1, "/a", ()),)


osc_like = st.lists(
    st.one_of(
        st.sampled_from([b"#bundle\0", b"\0\0\0\0\0\0\0\1", b"/rig/pan/actual\0", b",f\0\0", b",ifsbhdtrmTFN[]\0"]),
        st.integers(-(2**31), 2**31 - 1).map(lambda number: struct.pack(">i", number)),
        st.integers(0, 64).map(lambda number: struct.pack(">i", number)),
        st.binary(max_size=12),
    ),
    max_size=24,
).map(b"".join)


@given(packet=osc_like)
def test_no_bytes_raise_anything_else(packet: bytes) -> None:
    read = Numbers(actual_addresses(NAMES)).read(packet)
    assert read is None or len(read[1]) == len(NAMES)
    with contextlib.suppress(PeerError):
        assert isinstance(decode(packet), tuple)


@given(data=st.data())
def test_no_damaged_bundle_raises_anything_else(data: st.DataObject) -> None:
    packet = bytearray(Numbers(actual_addresses(NAMES)).pack(TAG, [1.0] * len(NAMES)))
    for _ in range(data.draw(st.integers(1, 4))):
        packet[data.draw(st.integers(0, len(packet) - 1))] = data.draw(st.integers(0, 255))
    cut = bytes(packet[: data.draw(st.integers(0, len(packet)))])
    Numbers(actual_addresses(NAMES)).read(cut)
    with contextlib.suppress(PeerError):
        decode(cut)


@pytest.mark.parametrize("name", ["pan*", "p[a]n", "schwenk\u00e4", "a#b", "a\tb"])
def test_an_address_that_osc_cannot_carry_is_refused(name: str) -> None:
    """Source: OSC 1.0, "OSC Address Spaces": printable ASCII without space # * , ? [ ] { }."""
    with pytest.raises(ValueError, match="cannot be an OSC address"):
        Numbers(setpoint_addresses((name,)))


def test_as_many_values_as_addresses() -> None:
    with pytest.raises(ValueError, match="size"):
        Numbers(setpoint_addresses(("pan",))).pack(TAG, [1.0])


@contextlib.contextmanager
def oscdump() -> Iterator[tuple[subprocess.Popen[str], int]]:
    needs("oscdump")
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    process = subprocess.Popen(["oscdump", "-L", str(port)], stdout=subprocess.PIPE, text=True, bufsize=1)
    try:
        yield process, port
    finally:
        process.terminate()
        process.communicate(timeout=5)


@pytest.mark.real_time
@pytest.mark.parametrize(
    ("packet", "lines"),
    [
        (
            Numbers(setpoint_addresses(("pan", "tilt"))).pack(TAG, [1.5, -2.0, 3.0, 0.25]),
            [
                f"{1_700_000_000 + UNIX_EPOCH_S:08x}.40000000 /rig/pan/position f 1.500000",
                f"{1_700_000_000 + UNIX_EPOCH_S:08x}.40000000 /rig/tilt/position f -2.000000",
                f"{1_700_000_000 + UNIX_EPOCH_S:08x}.40000000 /rig/pan/speed f 3.000000",
                f"{1_700_000_000 + UNIX_EPOCH_S:08x}.40000000 /rig/tilt/speed f 0.250000",
            ],
        ),
        (
            Numbers(("/rig/pan/actual",), "d").pack(TAG, [0.1]),
            [f"{1_700_000_000 + UNIX_EPOCH_S:08x}.40000000 /rig/pan/actual d 0.100000"],
        ),
        (command("/stop"), ["/stop"]),
    ],
)
def test_liblo_reads_what_we_pack(packet: bytes, lines: list[str]) -> None:
    """Source: OSC 1.0 as liblo reads it. For "at once" liblo prints its own clock, so only the address is compared."""
    with oscdump() as (process, port), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        assert process.stdout is not None
        deadline = time.monotonic() + 10
        # it does not say when it listens: send until it has heard
        while not select.select([process.stdout], [], [], 0.1)[0]:
            assert time.monotonic() < deadline, "oscdump printed nothing within 10 s"
            sender.sendto(packet, ("127.0.0.1", port))
        printed = [process.stdout.readline().strip() for _ in lines]
        assert [line[-len(wanted) :] for line, wanted in zip(printed, lines, strict=True)] == lines


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["/rig/pan/actual", "f", "1.5"], Message(IMMEDIATELY, "/rig/pan/actual", (1.5,))),
        (["/rig/pan/actual", "d", "0.1"], Message(IMMEDIATELY, "/rig/pan/actual", (0.1,))),
        (["/run/locate", "s", "10:00:05:12"], Message(IMMEDIATELY, "/run/locate", ("10:00:05:12",))),
        (
            ["/mark/go", "sihTFN", "quay", "3", "-9"],
            Message(IMMEDIATELY, "/mark/go", ("quay", 3, -9, True, False, None)),
        ),
        (["/stop"], Message(IMMEDIATELY, "/stop", ())),
    ],
)
def test_we_read_what_liblo_sends(arguments: list[str], message: Message) -> None:
    needs("oscsend")
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as port:
        port.bind(("127.0.0.1", 0))
        port.settimeout(5)
        subprocess.run(["oscsend", "127.0.0.1", str(port.getsockname()[1]), *arguments], check=True, timeout=5)
        assert decode(port.recv(65_535)) == (message,)
