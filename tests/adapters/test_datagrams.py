"""How an output sends datagrams: it never waits, drops what there is no room for, and says when the network is gone."""

import errno
import socket
from typing import cast

import pytest

from sequencer.adapters.datagrams import Datagrams, to_groups, to_machine
from sequencer.adapters.identity import identity
from sequencer.errors import LinkError
from tests.adapters.hearing import LOOPBACK, hearing, waiting


class Failing:
    """A socket that fails in the same way each time."""

    def __init__(self, number: int) -> None:
        self.number = number

    def send(self, packet: bytes) -> int:
        raise OSError(self.number, "so it is")

    def sendto(self, packet: bytes, to: tuple[str, int]) -> int:
        return self.send(packet)


def failing(number: int) -> Datagrams:
    return Datagrams(cast(socket.socket, Failing(number)), "the quay")


@pytest.mark.parametrize("number", [errno.EAGAIN, errno.ENOBUFS])
def test_a_full_buffer_drops_and_counts(number: int) -> None:
    port = failing(number)
    port.put(b"one")
    port.put(b"two", ("239.255.0.1", 5568))
    assert port.dropped == 2
    assert not port.gone


@pytest.mark.parametrize("number", [errno.ENETUNREACH, errno.ENETDOWN, errno.EPERM])
def test_a_network_that_is_gone_is_a_fault_with_a_mend(number: int) -> None:
    port = failing(number)
    with pytest.raises(LinkError, match=r"the quay any more: so it is; check cable"):
        port.put(b"one")
    assert port.gone


def test_nobody_there_is_said_and_ends_nothing() -> None:
    with hearing() as port:
        number = port.getsockname()[1]
    with to_machine(LOOPBACK, number) as gone:
        assert gone.trouble() == ""
        gone.put(b"one")
        gone.put(b"two")
        assert gone.trouble() == f"nothing listens at {LOOPBACK}:{number}; start it, or correct the address"
        with hearing(number) as port:
            gone.put(b"three")  # after a refusal that belongs to an earlier one
            assert waiting(port) == [b"three"]


def test_the_first_datagram_after_one_that_was_refused_arrives() -> None:
    with hearing() as port:
        number = port.getsockname()[1]
    with to_machine(LOOPBACK, number) as opened:
        opened.put(b"one")
        with hearing(number) as port:
            opened.put(b"two")
            assert waiting(port) == [b"two"]


def test_a_machine_that_no_name_server_knows_is_a_fault() -> None:
    with pytest.raises(LinkError, match="cannot be reached"), to_machine("no-such-host.invalid", 5568):
        pass


@pytest.mark.parametrize("by", ["192.0.2.77", "lo", "::1"])
def test_a_card_that_is_not_here_is_a_fault_that_names_it(by: str) -> None:
    with pytest.raises(LinkError, match=f"by={by} is the IPv4 address of no network card"), to_groups(by, "all"):
        pass


def test_a_stream_is_the_same_at_each_start_and_no_other() -> None:
    """Source: RFC 9562, section 5.5 and 4.1: version 5, variant 10."""
    assert identity("quay", "sacn") == identity("quay", "sacn")
    assert len({identity("quay", "sacn"), identity("quay", "sacn", ""), identity("quaysacn"), identity("pier")}) == 4
    assert (identity("quay").version, identity("quay").bytes[8] >> 6) == (5, 0b10)


def test_two_machines_with_one_project_are_two_sources(monkeypatch: pytest.MonkeyPatch) -> None:
    here = identity("quay")
    monkeypatch.setattr(socket, "gethostname", lambda: "the-other-laptop")
    assert identity("quay") != here
