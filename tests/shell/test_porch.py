"""Where the processes of a run report for duty: whoever else knocks gets nothing, holds little, and not for long."""

import socket
from collections.abc import Iterator

import msgspec
import pytest

from sequencer.shell.messages import Hello, Said, frame
from sequencer.shell.porch import LARGEST, MOST, PATIENCE_S, Porch

TOKEN = "0123456789abcdef"
ROLES = ("engine", "io")
SOON_S = 5.0


@pytest.fixture
def porch() -> Iterator[Porch]:
    opened = Porch(TOKEN, ROLES)
    yield opened
    opened.close()


@pytest.fixture
def knocked(porch: Porch) -> Iterator[list[socket.socket]]:
    there: list[socket.socket] = []
    yield there
    for one in there:
        one.close()


def knock(porch: Porch, knocked: list[socket.socket], says: bytes = b"") -> socket.socket:
    one = socket.create_connection(("127.0.0.1", porch.port), timeout=SOON_S)
    knocked.append(one)
    one.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    one.sendall(says)
    return one


def hello(role: str, token: str = TOKEN) -> bytes:
    return frame(Hello(role, token))


def is_out(one: socket.socket) -> bool:
    """Whether the porch has closed it, read or not."""
    try:
        return one.recv(1) == b""
    except ConnectionError:
        return True


def test_it_listens_to_this_machine_only(porch: Porch) -> None:
    assert porch._listener.getsockname()[0] == "127.0.0.1"


def test_a_process_with_the_token_comes_in_and_what_it_says_next_is_left_to_its_link(
    porch: Porch, knocked: list[socket.socket]
) -> None:
    more = frame(Said(0, "word", "x" * 40_000))
    knock(porch, knocked, hello("engine") + more)
    came = porch.look(1.0)
    assert list(came) == ["engine"]
    with came["engine"] as link:
        link.setblocking(True)
        link.settimeout(SOON_S)
        heard = b""
        while len(heard) < len(more):
            heard += link.recv(65_536)
    assert heard == more


def test_a_hello_in_pieces_is_waited_for(porch: Porch, knocked: list[socket.socket]) -> None:
    words = hello("io")
    one = knock(porch, knocked)
    for cut in range(0, len(words) - 1, 2):
        one.sendall(words[cut : min(cut + 2, len(words) - 1)])
        assert porch.look(1.0) == {}
    one.sendall(words[-1:])
    came: dict[str, socket.socket] = {}
    for _ in range(100_000):  # many small pieces take a moment, on loopback too
        came = porch.look(1.0)
        if came:
            break
    assert list(came) == ["io"]
    came["io"].close()


@pytest.mark.parametrize(
    "says",
    [
        hello("engine", "naïve"),
        hello("engine", ""),
        hello("engine", TOKEN[:-1]),
        hello("engine", TOKEN + "0"),
        hello("watchman"),
        hello("engine", "x" * LARGEST),
        frame(Said(0, TOKEN, TOKEN)),
        msgspec.msgpack.encode({"type": "hello"}),
        b"\x04\x00\x00\x00\xc1\xc1\xc1\xc1",
        b"\xfa\x00\x00\x00\x82\xa4type\xa5hello\xa4more" + b"\x91" * 300,
        b"\x01\x02\x00\x00",  # 513 bytes are to follow
        b"\xff\xff\xff\xff" + bytes(200_000),
        b"GET / HTTP/1.1\r\n\r\n",
    ],
)
def test_whoever_says_something_else_is_put_out_at_once(
    porch: Porch, knocked: list[socket.socket], says: bytes
) -> None:
    one = knock(porch, knocked, says)
    assert porch.look(1.0) == {}
    assert porch.standing == 0
    assert is_out(one)
    knock(porch, knocked, hello("engine"))
    came = porch.look(1.0)
    assert list(came) == ["engine"]
    came["engine"].close()


def test_a_second_of_one_role_is_put_out(porch: Porch, knocked: list[socket.socket]) -> None:
    knock(porch, knocked, hello("engine"))
    with porch.look(1.0)["engine"]:
        second = knock(porch, knocked, hello("engine"))
        assert porch.look(1.0) == {}
        assert is_out(second)


def test_who_says_nothing_is_put_out_after_a_while(porch: Porch, knocked: list[socket.socket]) -> None:
    silent, halting = knock(porch, knocked), knock(porch, knocked, hello("engine")[:9])
    assert porch.look(1.0) == {}
    porch.look(1.0 + PATIENCE_S - 0.01)
    assert porch.standing == 2
    porch.look(1.0 + PATIENCE_S)
    assert porch.standing == 0
    assert is_out(silent)
    assert is_out(halting)


def test_however_many_stand_there_ours_come_in(porch: Porch, knocked: list[socket.socket]) -> None:
    """A thousand knock while ours does: few are held at a time, and each not for long."""
    came: dict[str, socket.socket] = {}
    now_s = 0.0
    for number in range(1000):
        knocked.append(socket.socket())
        knocked[-1].setblocking(False)
        knocked[-1].connect_ex(("127.0.0.1", porch.port))
        if number % 100 == 50:
            porch.look(now_s)
            assert porch.standing <= MOST
    ours = socket.socket()
    knocked.append(ours)
    ours.setblocking(False)
    ours.connect_ex(("127.0.0.1", porch.port))
    for one in knocked[:-1]:
        one.close()
    ours.setblocking(True)
    ours.settimeout(SOON_S)
    while not came and now_s < 100:
        now_s += PATIENCE_S
        came = porch.look(now_s)
        assert porch.standing <= MOST
        if now_s == PATIENCE_S * 2:
            ours.sendall(hello("engine"))
    assert list(came) == ["engine"]
    came["engine"].close()


def test_once_all_are_in_nobody_listens_any_more(porch: Porch, knocked: list[socket.socket]) -> None:
    waiting = knock(porch, knocked)
    for role in ROLES:
        knock(porch, knocked, hello(role))
        for link in porch.look(1.0).values():
            link.close()
    assert is_out(waiting)
    with pytest.raises(ConnectionError):
        socket.create_connection(("127.0.0.1", porch.port), timeout=SOON_S)
    assert porch.look(2.0) == {}
