"""Who may not speak to the OSC port is not heard, its stop neither, and takes nothing from those who may."""

import socket
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from ipaddress import ip_address, ip_network
from typing import cast

import pytest

from sequencer.adapters import udp_door
from sequencer.adapters.listening import Door
from sequencer.adapters.listening import read as asked
from sequencer.adapters.sources.osc import AT_ONCE, KIND, OscIn
from sequencer.adapters.udp_door import UdpDoor
from sequencer.errors import LinkError
from tests.adapters.test_osc_source import SECOND_NS, START, osc


@pytest.fixture
def closed() -> Iterator[OscIn]:
    """A port to which one machine of the network 127.0.0.0/8 may speak, which is one machine here."""
    wanted = asked("osc:quay0:0?from=192.0.2.20,192.0.2.21")
    networks = (ip_network("127.0.0.20"), ip_network("127.0.1.0/24"))
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as port:
        port.bind(("127.0.0.1", 0))
        port.setblocking(False)
        yield OscIn(UdpDoor(port, Door(replace(wanted, speakers=networks), ip_address("127.0.0.1"), "quay0"), False, 0))


@contextmanager
def speaking(source: OscIn, address: str) -> Iterator[socket.socket]:
    port = int(source.address.partition("?")[0].rpartition(":")[2])
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as opened:
        opened.bind((address, 0))
        opened.connect(("127.0.0.1", port))
        yield opened


only_linux = pytest.mark.skipif(sys.platform != "linux", reason="elsewhere 127.0.0.1 alone is this machine's")


@only_linux
def test_who_was_not_named_is_not_heard_and_its_stop_neither(closed: OscIn) -> None:
    with speaking(closed, "127.0.0.21") as stranger, speaking(closed, "127.0.0.20") as known:
        for _ in range(3):
            for packet in (START, osc("/stop"), b"\x93garbage", b""):
                stranger.send(packet)
        assert closed.read(SECOND_NS) == ()
        assert (closed.strangers, closed.malformed, closed.left_aside) == (12, 0, 0)
        (told, again) = closed.notices()
        assert told.startswith(f"what 127.0.0.21 sends to {closed.address} is left aside")
        assert told.endswith(f"add it: {closed.address},127.0.0.21")
        assert again == f"{told} (10 such messages so far)"
        known.send(START)
        stranger.send(START)
        known.send(osc("/stop"))
        assert [chunk.data for chunk in closed.read(SECOND_NS)] == [START, osc("/stop")]
    with speaking(closed, "127.0.1.77") as one_of_the_network:
        one_of_the_network.send(osc("/stop"))
        assert [chunk.data for chunk in closed.read(SECOND_NS)] == [osc("/stop")]


@only_linux
def test_the_address_says_who_may_speak(closed: OscIn) -> None:
    where, _, who = closed.address.partition("?")
    assert where.startswith("osc:quay0:")
    assert who == "from=127.0.0.20,127.0.1.0/24"


@only_linux
def test_strangers_use_up_nothing(closed: OscIn) -> None:
    with speaking(closed, "127.0.0.21") as stranger, speaking(closed, "127.0.0.20") as known:
        for _ in range(10):
            for _ in range(200):
                stranger.send(START)
            closed.read(SECOND_NS)
        for _ in range(AT_ONCE):
            known.send(START)
        known.send(osc("/stop"))
        assert [chunk.data for chunk in closed.read(SECOND_NS)] == [*[START] * AT_ONCE, osc("/stop")]
    assert (closed.strangers, closed.left_aside) == (2000, 0)
    assert len(closed.notices()) == 4, "at 1, 10, 100 and 1000 of them"


def test_what_is_read_at_once_is_bounded_whoever_sends() -> None:
    came = [START] * 2000

    class Port:
        """A socket that is never empty."""

        def getsockname(self) -> tuple[str, int]:
            return "192.0.2.7", 9001

        def recvfrom(self, _: int) -> tuple[bytes, tuple[str, int]]:
            return came.pop(), ("192.0.2.66", 9)

    wanted = asked("osc:quay0:9001?from=192.0.2.20")
    source = OscIn(UdpDoor(cast(socket.socket, Port()), Door(wanted, ip_address("192.0.2.7"), "quay0"), False, 0))
    assert source.read(SECOND_NS) == ()
    assert (source.strangers, len(came)) == (512, 1488)


def test_a_stranger_by_a_link_local_address_is_told_so_that_it_can_be_added() -> None:
    came = [START]

    class Port:
        def getsockname(self) -> tuple[str, int]:
            return "fe80::7", 9001

        def recvfrom(self, _: int) -> tuple[bytes, tuple[str, int, int, int]]:
            if not came:
                raise BlockingIOError
            return came.pop(), ("fe80::66%quay0", 9, 0, 2)

    wanted = asked("osc:quay0:9001?from=fe80::20")
    source = OscIn(UdpDoor(cast(socket.socket, Port()), Door(wanted, ip_address("fe80::7"), "quay0"), False, 0))
    assert source.read(SECOND_NS) == ()
    (told,) = source.notices()
    assert told.startswith("what fe80::66 sends to ")
    assert [str(one.network_address) for one in asked(told.rpartition(" ")[2]).speakers] == ["fe80::20", "fe80::66"]


@only_linux
def test_many_strangers_are_told_of_in_few_words(closed: OscIn) -> None:
    for last in range(100):
        with speaking(closed, f"127.0.2.{last}") as stranger:
            for _ in range(20):
                stranger.send(START)
        closed.read(SECOND_NS)
    assert closed.strangers == 2000
    assert len(closed.notices()) <= 40


@only_linux
@pytest.mark.parametrize(("host", "card"), [("192.0.2.7", "gone0"), ("fe80::7", "gone0"), ("192.0.2.7", "")])
def test_what_went_away_before_it_was_opened_is_told_with_the_mend(
    monkeypatch: pytest.MonkeyPatch, host: str, card: str
) -> None:
    """Source: RFC 5737: 192.0.2.0/24 belongs to no machine."""
    wanted = asked("osc:gone0:0?from=192.0.2.20")
    monkeypatch.setattr(udp_door, "judge", lambda address: Door(wanted, ip_address(host), card))
    with pytest.raises(LinkError, match="has that address or interface no more; look at twintake ports"):
        KIND.open("osc:gone0:0?from=192.0.2.20").__enter__()
