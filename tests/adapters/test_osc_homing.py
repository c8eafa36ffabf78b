"""The OSC output and homing: switches that come in, and "here" that goes out, over a socket of our own on 127.0.0.1."""

import socket
import struct
from collections.abc import Iterator

import pytest

from sequencer.adapters.osc_links.osc_output import OscOutput
from sequencer.shell.kinds import open_output
from sequencer.wire.osc import Message, Numbers, actual_addresses, command, decode
from sequencer.wire.timetag import IMMEDIATELY
from tests.adapters.test_osc import MS_NS, RIG, SECOND_NS, Peer


@pytest.fixture(params=[""])
def peer(request: pytest.FixtureRequest) -> Iterator[Peer]:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as port:
        port.bind(("127.0.0.1", 0))
        port.settimeout(5)
        with open_output(f"osc://127.0.0.1:{port.getsockname()[1]}{request.param}", RIG) as output:
            yield Peer(port, output)


def test_here_goes_out_once_in_the_form_that_the_rig_likes(peer: Peer) -> None:
    peer.output.here("tilt", -2.5)
    # OSC 1.0: address and type tag padded to four bytes, then a big-endian number of 32 bits
    assert peer.hear()[20:] == b"/rig/tilt/here\0\0,f\0\0" + struct.pack(">f", -2.5)


@pytest.mark.parametrize("peer", ["?form=d"], indirect=True)
def test_here_is_a_double_where_the_rig_wants_doubles(peer: Peer) -> None:
    peer.output.here("tilt", 0.1)
    assert decode(peer.hear()) == (Message(IMMEDIATELY, "/rig/tilt/here", (0.1,)),)


ACTUAL = Numbers(actual_addresses(RIG.names)).pack(IMMEDIATELY, [4.0, 5.0])


def test_switches_come_beside_where_the_axes_stand(peer: Peer) -> None:
    peer.output.ask()
    peer.hear()
    peer.say(ACTUAL)
    (before,) = peer.output.read(SECOND_NS)
    assert before.switches == (), "a rig that never spoke of switches"
    peer.say(command("/rig/tilt/switch", 1))
    peer.say(ACTUAL)
    (closed,) = peer.output.read(2 * SECOND_NS)
    assert closed.switches == (None, True)
    assert closed.position.tolist() == [4.0, 5.0]
    # both in one packet, and the switch open again
    both = b"#bundle\0" + struct.pack(">Q", IMMEDIATELY)
    for message in (
        b"/rig/tilt/actual\0\0\0\0,f\0\0" + struct.pack(">f", 6.0),
        b"/rig/tilt/switch\0\0\0\0,i\0\0" + struct.pack(">i", 0),
    ):
        both += struct.pack(">i", len(message)) + message
    peer.say(both)
    (opened,) = peer.output.read(2 * SECOND_NS + 1)
    assert opened.switches == (None, False)
    assert opened.position[1] == 6.0


def test_what_was_said_of_a_switch_does_not_hold_for_long(peer: Peer) -> None:
    peer.output.ask()
    peer.hear()
    peer.say(command("/rig/pan/switch", 0))
    assert peer.output.read(SECOND_NS) == ()
    peer.say(ACTUAL)
    assert peer.output.read(SECOND_NS + 500 * MS_NS)[0].switches == (False, None)
    peer.say(ACTUAL)
    assert peer.output.read(SECOND_NS + 501 * MS_NS)[0].switches == (None, None)


@pytest.mark.parametrize("packet", [command("/rig/lift/switch", 1), command("/rig/pan/switch", 2)])
def test_a_switch_that_is_none_is_left_aside_and_counted(peer: Peer, packet: bytes) -> None:
    assert isinstance(peer.output, OscOutput)
    peer.output.ask()
    peer.hear()
    peer.say(packet)
    peer.say(command("/rig/pan/switch", 1))
    assert peer.output.read(SECOND_NS) == ()
    assert peer.output.left_aside == 1
