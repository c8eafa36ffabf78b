"""A port whose interface loses its address, gets another one, or is plugged in anew; interfaces are made up here."""

import socket
import sys
from collections.abc import Iterator
from dataclasses import replace
from ipaddress import ip_address, ip_network

import pytest

from sequencer.adapters import udp_door
from sequencer.adapters.listening import Address, Door
from sequencer.adapters.listening import read as asked
from sequencer.adapters.sources import osc as sources_osc
from sequencer.adapters.sources.osc import OscIn
from sequencer.adapters.udp_door import LOOK_NS, UdpDoor
from sequencer.errors import LinkError
from tests.adapters.test_osc_source import START, osc

Cards = dict[str, tuple[Address, ...]]
pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="elsewhere 127.0.0.1 alone is this machine's")


@pytest.fixture
def cards(monkeypatch: pytest.MonkeyPatch) -> Cards:
    """The interfaces that the machine has, to be changed; addresses of this machine stand for a network's."""
    there: Cards = {"quay0": (ip_address("127.0.0.1"),)}

    def bind(port: socket.socket, door: Door, number: int) -> None:
        port.bind((str(door.host), number))

    def placed(wanted: object, found: Cards) -> Door:
        if not found.get("quay0"):
            raise LinkError("quay0 has no address")
        return Door(WANTED, found["quay0"][0], "quay0")

    monkeypatch.setattr(udp_door, "cards", lambda: there)
    monkeypatch.setattr(udp_door, "_bind", bind)
    monkeypatch.setattr(udp_door, "placed", placed)
    return there


WANTED = replace(asked("osc:quay0:0?from=192.0.2.20"), speakers=(ip_network("127.0.0.0/8"),))


@pytest.fixture
def source(cards: Cards) -> Iterator[OscIn]:
    port = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    port.bind(("127.0.0.1", 0))
    port.setblocking(False)
    door = UdpDoor(port, Door(WANTED, ip_address("127.0.0.1"), "quay0"), False, 0)
    yield OscIn(door)
    door.close()


def send(source: OscIn, host: str, packet: bytes = START) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:
        out.sendto(packet, (host, int(source.address.partition("?")[0].rpartition(":")[2])))


def test_a_port_follows_its_interface_to_another_address(source: OscIn, cards: Cards) -> None:
    address = source.address
    send(source, "127.0.0.1")
    assert len(source.read(LOOK_NS)) == 1
    assert source.notices() == ()
    cards["quay0"] = (ip_address("127.0.0.9"),)
    send(source, "127.0.0.1")
    assert len(source.read(2 * LOOK_NS - 1)) == 1, "it looks now and then"
    assert source.read(2 * LOOK_NS) == ()
    assert source.notices() == (f"{address} is heard at 127.0.0.9 now; have those who may speak send there",)
    send(source, "127.0.0.1")
    send(source, "127.0.0.9", osc("/stop"))
    assert [chunk.data for chunk in source.read(2 * LOOK_NS + 1)] == [osc("/stop")]
    assert source.address == address


def test_what_came_before_the_address_went_is_heard_and_a_flood_of_it_too(
    source: OscIn, cards: Cards, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A stop may be the last that came, and behind all that is read at once."""
    monkeypatch.setattr(sources_osc, "_MESSAGES_PER_READ", 6)
    for _ in range(4):
        send(source, "127.0.0.1")
    send(source, "127.0.0.1", osc("/stop"))
    cards["quay0"] = (ip_address("127.0.0.9"),)
    heard = [chunk.data for number in range(3) for chunk in source.read(LOOK_NS + number)]
    assert heard == [*[START] * 4, osc("/stop")]
    assert source.notices() == (), "all was read, but not before it was looked"
    send(source, "127.0.0.1", osc("/run/stop"))
    assert [chunk.data for chunk in source.read(2 * LOOK_NS)] == [osc("/run/stop")]
    assert source.notices() == (f"{source.address} is heard at 127.0.0.9 now; have those who may speak send there",)


def test_while_there_is_no_address_that_is_told_once_and_the_old_one_is_taken_again(
    source: OscIn, cards: Cards
) -> None:
    del cards["quay0"]
    assert source.read(LOOK_NS) == ()
    assert source.notices() == (f"nobody is heard at {source.address} now, not even a stop: quay0 has no address",)
    assert source.fileno() is None
    for number in (2, 3):
        assert source.read(number * LOOK_NS) == ()
    assert source.notices() == ()
    cards["quay0"] = (ip_address("127.0.0.1"),)
    assert source.read(4 * LOOK_NS) == ()
    (told,) = source.notices()
    assert told.startswith(f"{source.address} is heard at 127.0.0.1 now")
    send(source, "127.0.0.1", osc("/stop"))
    assert [chunk.data for chunk in source.read(4 * LOOK_NS + 1)] == [osc("/stop")]


def test_an_interface_that_was_plugged_in_anew_is_taken_anew(
    source: OscIn, cards: Cards, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It has its address as before, but the system ties a socket to its number, which is another."""
    assert source.read(LOOK_NS) == ()
    before = source.port.socket
    monkeypatch.setattr(udp_door, "_index", lambda card: 77)
    assert source.read(2 * LOOK_NS) == ()
    assert source.port.socket is not before
    assert len(source.notices()) == 1
    assert source.read(3 * LOOK_NS) == ()
    assert source.notices() == (), "once"
    send(source, "127.0.0.1", osc("/stop"))
    assert [chunk.data for chunk in source.read(3 * LOOK_NS + 1)] == [osc("/stop")]


def test_a_new_address_whose_port_is_taken_is_tried_again(source: OscIn, cards: Cards) -> None:
    number = int(source.address.partition("?")[0].rpartition(":")[2])
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as other:
        other.bind(("127.0.0.9", number))
        cards["quay0"] = (ip_address("127.0.0.9"),)
        assert source.read(LOOK_NS) == ()
        (told,) = source.notices()
        assert told.startswith(f"nobody is heard at {source.address} now, not even a stop: port {number} is in use")
    assert source.read(2 * LOOK_NS) == ()
    assert source.notices() == (f"{source.address} is heard at 127.0.0.9 now; have those who may speak send there",)


def test_where_interfaces_cannot_be_listed_a_port_that_works_is_kept(
    source: OscIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    def unlisted() -> Cards:
        raise LinkError("the network interfaces cannot be listed: too many open files; name an address")

    monkeypatch.setattr(udp_door, "cards", unlisted)
    send(source, "127.0.0.1", osc("/stop"))
    assert [chunk.data for chunk in source.read(LOOK_NS)] == [osc("/stop")]
    assert source.notices() == ()


def test_a_port_of_this_machine_alone_looks_after_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    def unlisted() -> Cards:
        raise AssertionError

    monkeypatch.setattr(udp_door, "cards", unlisted)
    with udp_door.open_door("osc:0") as door:
        assert [door.strayed(number * LOOK_NS) for number in (1, 2**40)] == [None, None]
