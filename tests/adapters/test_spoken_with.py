"""Outputs take packets only from whom they speak with, and only so many at a time that a tick goes on soon."""

import socket
import sys
from collections.abc import Iterator

import pytest

from sequencer.adapters.osc_links.udp import BYTES_PER_READ, LARGEST, UdpLink, open_udp
from sequencer.rig.axis import Axis, Rig
from sequencer.shell.kinds import open_output
from sequencer.wire.osc import Numbers, actual_addresses
from tests.adapters.hearing import LOOPBACK, hearing

PAN = Rig(
    name="quay",
    axes=(Axis(name="pan", kind="pan", unit="deg", travel=(-170, 170), speed=60, acceleration=120, jerk=600),),
)


@pytest.fixture
def rig() -> Iterator[socket.socket]:
    with hearing() as port:
        yield port


def number(port: socket.socket) -> int:
    return int(port.getsockname()[1])


@pytest.fixture
def link(rig: socket.socket) -> Iterator[UdpLink]:
    with open_udp(LOOPBACK, number(rig)) as opened:
        yield opened


def ours(link: UdpLink, rig: socket.socket) -> tuple[str, int]:
    """Return where the link is spoken to."""
    link.put(b"here")
    _, host = rig.recvfrom(100)
    return str(host[0]), int(host[1])


def test_what_another_program_of_the_rig_s_machine_sends_does_not_arrive(link: UdpLink, rig: socket.socket) -> None:
    """Source: POSIX.1-2017, `connect`: a datagram socket receives from its peer alone, its port included."""
    where = ours(link, rig)
    with hearing() as stranger:
        stranger.sendto(b"stranger", where)
        assert link.packets() == []
        rig.sendto(b"rig", where)
        stranger.sendto(b"stranger", where)
        assert link.packets() == [b"rig"]


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere 127.0.0.1 alone is this machine's")
def test_nor_what_another_machine_sends_from_the_rig_s_port(link: UdpLink, rig: socket.socket) -> None:
    where = ours(link, rig)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as stranger:
        stranger.bind(("127.0.0.77", number(rig)))
        stranger.sendto(b"stranger", where)
    rig.sendto(b"rig", where)
    assert link.packets() == [b"rig"]


def test_no_rig_s_answers_come_from_a_stranger(rig: socket.socket) -> None:
    actual = Numbers(actual_addresses(PAN.names)).pack(1, [12.5])
    with open_output(f"osc://{LOOPBACK}:{number(rig)}", PAN) as output, hearing() as stranger:
        output.ask()
        _, where = rig.recvfrom(1000)
        stranger.sendto(actual, where)
        assert output.read(1) == ()
        rig.sendto(actual, where)
        (told,) = output.read(1)
        assert told.position.tolist() == [12.5]


def test_a_rig_that_floods_is_read_so_much_at_a_time(link: UdpLink, rig: socket.socket) -> None:
    where = ours(link, rig)
    for size in (4, 1000, LARGEST):
        count = 8 if size == LARGEST else 70  # as much as a system's usual buffer has room for
        for _ in range(count):
            rig.sendto(bytes(size), where)
        reads = [link.packets() for _ in range(200)]
        assert sum(map(len, reads)) == count, "nothing of it is lost"
        for packets in reads:
            assert len(packets) <= 64
            assert sum(map(len, packets)) < BYTES_PER_READ + size


def test_a_datagram_that_is_no_rig_s_is_left_aside(link: UdpLink, rig: socket.socket) -> None:
    where = ours(link, rig)
    rig.sendto(bytes(LARGEST + 1), where)
    rig.sendto(bytes(60_000), where)
    rig.sendto(bytes(LARGEST), where)
    packets = [packet for _ in range(4) for packet in link.packets()]
    assert packets == [bytes(LARGEST)]
    assert link.garbage == 2
