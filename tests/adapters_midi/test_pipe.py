"""The byte pipe carries bytes as they are, from one peer at a time, and outlives its peers."""

import select
import socket
from collections.abc import Iterator
from contextlib import ExitStack
from typing import Never

import pytest

from sequencer.adapters.midi_ports.outs import open_out
from sequencer.adapters.midi_ports.systems import MidiOut
from sequencer.adapters.sources.pipe import KIND, PIECE, PipeIn, open_pipe
from sequencer.errors import LinkError

SOON_S = 5.0
SECOND_NS = 1_000_000_000


@pytest.fixture
def pipe() -> Iterator[PipeIn]:
    with open_pipe("pipe:0") as opened:
        yield opened


def connect(pipe: PipeIn) -> socket.socket:
    return socket.create_connection(("127.0.0.1", int(pipe.address.removeprefix("pipe:"))), timeout=SOON_S)


def hear(pipe: PipeIn, stamp_ns: int = 7) -> bytes:
    """Wait until the pipe has something to say, and return its bytes: empty where a peer came or went."""
    assert select.select([pipe.fileno()], [], [], SOON_S)[0], "nothing made the pipe readable"
    chunks = pipe.read(stamp_ns)
    assert all(chunk.stamp_ns == stamp_ns for chunk in chunks)
    return b"".join(chunk.data for chunk in chunks)


def welcome(pipe: PipeIn) -> socket.socket:
    peer = connect(pipe)
    assert hear(pipe) == b""
    assert pipe.notices() == ("timecode pipe: a sender is here",)
    return peer


def test_a_message_split_over_packets_arrives_whole_and_in_order(pipe: PipeIn) -> None:
    with welcome(pipe) as peer:
        peer.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        peer.sendall(b"\xf1")
        assert hear(pipe, 11) == b"\xf1"
        peer.sendall(b"\x25\xf1\x31")
        assert hear(pipe, 12) == b"\x25\xf1\x31"


def test_bytes_are_not_looked_into(pipe: PipeIn) -> None:
    garbage = bytes(range(256)) * 40
    with welcome(pipe) as peer:
        peer.sendall(garbage)
        heard = b""
        for second in range(1, len(garbage)):
            piece = hear(pipe, second * SECOND_NS)
            assert 0 < len(piece) <= PIECE
            heard += piece
            if len(heard) == len(garbage):
                break
    assert heard == garbage


def test_a_flood_comes_in_small_pieces_and_a_stop_behind_it_is_not_held_back(pipe: PipeIn) -> None:
    """The engine reads this source itself: a tick has room for one piece, and the next one is there at once."""
    stop = bytes.fromhex("f0 7f 7f 06 01 f7")
    flood = bytes(range(128)) * 200 + stop
    heard = b""
    with welcome(pipe) as peer:
        peer.sendall(flood)
        while len(heard) < len(flood):
            piece = hear(pipe, SECOND_NS)  # all at one instant: none waits for time to pass
            assert 0 < len(piece) <= PIECE
            heard += piece
    assert heard == flood


def test_who_knocks_without_end_is_told_of_in_few_words(pipe: PipeIn) -> None:
    with welcome(pipe):
        for _ in range(100):
            with connect(pipe):
                assert pipe.read(SECOND_NS) == ()
        assert len(pipe.notices()) < 12
        with connect(pipe):
            pipe.read(3 * SECOND_NS)
        assert len(pipe.notices()) == 1, "and again a while later"


def test_a_silent_pipe_has_nothing(pipe: PipeIn) -> None:
    assert pipe.read(1) == ()
    with welcome(pipe):
        assert pipe.read(2) == ()
        assert pipe.notices() == ()


def test_a_second_sender_is_turned_away_and_the_first_goes_on(pipe: PipeIn) -> None:
    with welcome(pipe) as first, connect(pipe) as second:
        assert pipe.read(1) == ()
        assert pipe.notices() == ("timecode pipe: a second sender was turned away; one is enough",)
        assert second.recv(1) == b""
        first.sendall(b"\xf1\x00")
        assert hear(pipe) == b"\xf1\x00"


def test_when_the_sender_goes_the_next_one_is_heard(pipe: PipeIn) -> None:
    for _ in range(3):
        peer = welcome(pipe)
        peer.sendall(b"\xf1\x07")
        assert hear(pipe) == b"\xf1\x07"
        peer.close()
        assert hear(pipe) == b""
        assert pipe.notices() == ("timecode pipe: the sender has gone; waiting for the next one",)


def test_a_successor_that_knocks_before_the_loss_is_noticed_is_let_in(pipe: PipeIn) -> None:
    first = welcome(pipe)
    first.sendall(b"\xf1\x10")
    first.close()
    with connect(pipe) as second:
        second.sendall(b"\xf1\x20")
        heard = b""
        while b"\x20" not in heard:
            heard += hear(pipe)
        assert heard == b"\xf1\x10\xf1\x20"
        assert not [notice for notice in pipe.notices() if "turned away" in notice]


def test_a_reset_connection_is_a_sender_that_has_gone(pipe: PipeIn) -> None:
    peer = welcome(pipe)
    # lingering for no time at all makes closing a reset
    peer.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\x01\x00\x00\x00\x00\x00\x00\x00")
    peer.close()
    assert hear(pipe) == b""
    assert pipe.notices() == ("timecode pipe: the sender has gone; waiting for the next one",)
    welcome(pipe).close()


def send_on(out: MidiOut) -> Never:
    """Send until the link fails; the system takes a few more bytes before it notices."""
    while True:
        out.send(b"\xf1\x00", 0)


def test_the_sending_end_says_so_when_the_listener_is_gone() -> None:
    with ExitStack() as listening:
        pipe = listening.enter_context(open_pipe("pipe:0"))
        with open_out(pipe.address) as out:
            out.send(b"\xf1\x00", 0)
            assert hear(pipe) == b""
            assert hear(pipe) == b"\xf1\x00"
            listening.close()
            with pytest.raises(LinkError, match="timecode pipe is gone"):
                send_on(out)


@pytest.mark.parametrize("address", ["pipe:", "pipe:x", "pipe:-1", "pipe:65536", "pipe:٣"])
def test_a_port_that_is_none_is_refused(address: str) -> None:
    with pytest.raises(LinkError, match="number from 0 to 65535"), KIND.open(address):
        pass


def test_a_port_in_use_is_refused_with_the_mend(pipe: PipeIn) -> None:
    with pytest.raises(LinkError, match="name another port, or pipe:0"), open_pipe(pipe.address):
        pass


def test_nobody_listening_is_said_with_the_mend() -> None:
    with open_pipe("pipe:0") as pipe:
        address = pipe.address
    with pytest.raises(LinkError, match="start the listener first"), open_out(address):
        pass
