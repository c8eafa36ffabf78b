"""What is TCP's own in the OSC output: connecting without waiting, what the system holds, and leaving.

Source of each check beside it; RFC 9293 is TCP.
"""

import fcntl
import os
import select
import socket
import struct
import sys
from collections.abc import Iterator

import pytest
from pythonosc import slip

from sequencer.adapters.contract import LinkState
from sequencer.adapters.osc_links import tcp
from sequencer.adapters.osc_links.osc_output import OscOutput
from sequencer.errors import LinkError
from sequencer.rig.signals import Trigger
from sequencer.shell.kinds import open_output
from sequencer.wire.osc import Numbers, setpoint_addresses
from tests.adapters.terminal import arrived
from tests.adapters.test_osc import RIG, SECOND_NS
from tests.adapters.test_osc_stream import FIRST, HOST, STOP, TcpEnd, address_of, by_tcp, setpoint


@pytest.fixture
def listener() -> Iterator[socket.socket]:
    with socket.create_server((HOST, 0)) as port:
        port.settimeout(5)
        yield port


def test_leaving_does_not_make_the_rig_forget_what_it_has_not_read(listener: socket.socket) -> None:
    """Source: RFC 2525, section 2.17: a close over unread data sends a reset, and the peer may lose what it has."""
    with open_output(address_of(listener), RIG) as output:
        rig = listener.accept()[0]
        rig.sendall(slip.encode(b"?" * 5000))
        arrived(output.fileno())
        output.stop()
    with rig:
        assert rig.recv(1000, socket.MSG_WAITALL) == FIRST + STOP
        assert rig.getsockopt(socket.SOL_SOCKET, socket.SO_ERROR) == 0


@pytest.mark.skipif(sys.platform != "linux", reason="other systems do not say what they hold")
def test_a_peer_that_stops_reading_leaves_one_set_at_most_unsent_here(listener: socket.socket) -> None:
    with by_tcp(listener) as (_, output):
        assert isinstance(output, OscOutput)
        while output.dropped < 100:
            output.send(setpoint())
        # linux/sockios.h: SIOCOUTQNSD, the bytes that are not sent yet
        unsent = struct.unpack("i", fcntl.ioctl(output.fileno() or 0, 0x894B, bytes(4)))[0]
        assert 0 < unsent <= len(setpoint_frame())


def setpoint_frame() -> bytes:
    return slip.encode(Numbers(setpoint_addresses(RIG.names)).pack(0, struct.unpack(">4f", b"\xc0" * 16))) + bytes(8)


def test_a_connection_sends_each_set_at_once(listener: socket.socket) -> None:
    """Source: RFC 9293, section 3.7.4: Nagle's algorithm would keep a set until the one before is acknowledged."""
    with by_tcp(listener) as (_, output), socket.socket(fileno=os.dup(output.fileno() or 0)) as port:
        assert port.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)


class FullPort(socket.socket):
    """A socket whose system has no room."""

    def send(self, data: object, flags: int = 0, /) -> int:
        raise BlockingIOError


def test_of_a_set_that_found_no_room_at_all_nothing_is_kept_but_a_stop_is() -> None:
    with FullPort() as port:
        link = tcp.TcpLink(port, "the quay")
        assert not link.put(b"old")
        assert (link.dropped, link.waiting) == (1, 0)
        assert link.put_urgent(b"stop")
        assert link.waiting == len(slip.encode(b"stop"))


def test_nobody_who_takes_connections_is_an_error_with_the_mend() -> None:
    with socket.socket() as closed:
        closed.bind((HOST, 0))
        port = closed.getsockname()[1]
    with (
        pytest.raises(LinkError, match=rf"no rig takes a connection at {HOST}:{port}: .*refused; start the rig"),
        open_output(f"osc+tcp://{HOST}:{port}", RIG),
    ):
        pass


def test_opening_again_does_not_wait_and_takes_up_the_attempt(
    listener: socket.socket, monkeypatch: pytest.MonkeyPatch
) -> None:
    waited: list[float] = []
    choose = select.select

    def never_yet(read: object, write: object, failed: object, patience_s: float) -> object:
        waited.append(patience_s)
        return [], [], []

    address = address_of(listener)
    monkeypatch.setattr(select, "select", never_yet)
    for _ in range(3):
        with pytest.raises(LinkError, match="it does not answer; start the rig"), open_output(address, RIG):
            pass
    assert waited[0] == tcp._FIRST_S
    assert max(waited[1:]) <= 0.001
    monkeypatch.setattr(select, "select", choose)
    with open_output(address, RIG) as output:
        end = TcpEnd(listener.accept()[0])
        output.stop()
        assert end.hear(len(FIRST + STOP)) == FIRST + STOP
        end.unplug()
    # all four openings were one connection
    listener.settimeout(0.05)
    with pytest.raises(TimeoutError):
        listener.accept()


def test_an_attempt_that_is_old_is_begun_anew(listener: socket.socket, monkeypatch: pytest.MonkeyPatch) -> None:
    with monkeypatch.context() as patched:
        patched.setattr(select, "select", lambda *_: ([], [], []))
        with pytest.raises(LinkError), open_output(address_of(listener), RIG):
            pass
    monkeypatch.setattr(tcp, "_STALE_NS", 0)
    with open_output(address_of(listener), RIG):
        first, second = listener.accept()[0], listener.accept()[0]
        assert first.recv(1) == b""
        assert second.recv(len(FIRST), socket.MSG_WAITALL) == FIRST
        first.close()
        second.close()


def test_a_stop_takes_the_place_of_the_orders_that_wait() -> None:
    with FullPort() as port:
        link = tcp.TcpLink(port, "the quay")
        output = OscOutput(link, RIG)
        output.ask()
        assert output.fire(Trigger(0, "record"))
        output.here("pan", 1.0)
        orders = link.waiting
        output.stop()
        # what was begun before the stop stays whole
        assert orders > link.waiting == len(link._out.tail) + len(STOP)


def test_a_rig_that_closes_the_connection_is_gone_though_nothing_is_sent(listener: socket.socket) -> None:
    with by_tcp(listener) as (end, output):
        end.unplug()
        arrived(output.fileno())
        with pytest.raises(LinkError, match=r"127\.0\.0\.1:\d+ is gone: the rig closed it; check"):
            output.read(0)


def test_a_link_that_stalls_is_asked_nothing_more() -> None:
    with FullPort() as port:
        link = tcp.TcpLink(port, "the quay")
        output = OscOutput(link, RIG)
        output.ask()
        waiting = link.waiting
        for second in range(10):
            output.look(second * SECOND_NS)
        assert link.waiting == waiting
        # and what was not asked counts as no loss
        assert output.link(10 * SECOND_NS) == LinkState(None, None)
