"""The OSC source on networks of its own: two cards, machines that may speak and machines that may not.

A network namespace of Linux (ip-netns(8)) holds our machine, another one the network's other machines. The sender is
liblo's oscsend. Addresses for documentation: RFC 5737; link-local ones: RFC 4291.
"""

import json
import os
import queue
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator

import pytest

from tests.needs import needs

OURS, THEIRS = f"twintake-a{os.getpid()}", f"twintake-b{os.getpid()}"
NAMED, STRANGER, OTHER_CARD = "192.0.2.20", "192.0.2.66", "198.51.100.20"
SOON_S = 60.0
pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="networks of one's own are Linux's")


PIER_OURS, PIER_NEXT, PIER_THEIRS = "203.0.113.7", "203.0.113.8", "203.0.113.20"


def run(*words: str) -> str:
    return subprocess.run(words, check=True, capture_output=True, text=True, timeout=SOON_S).stdout


def plug_in(card: str, ours: str, *theirs: str) -> None:
    """Give both machines a card of that name, joined by a cable, with addresses of IPv4."""
    run("ip", "link", "add", card, "netns", OURS, "type", "veth", "peer", "name", card, "netns", THEIRS)
    for name, addresses in ((OURS, (ours,)), (THEIRS, theirs)):
        for one in addresses:
            run("ip", "-n", name, "address", "add", f"{one}/24", "dev", card)
        run("ip", "-n", name, "link", "set", card, "addrgenmode", "none")
        run("ip", "-n", name, "link", "set", card, "up")


@pytest.fixture(scope="module")
def networks() -> Iterator[None]:
    needs("ip")
    needs("oscsend")
    try:
        run("ip", "netns", "add", OURS)
    except subprocess.CalledProcessError as fault:
        if os.environ.get("CI") == "true":
            pytest.fail(f"no network of one's own can be made: {fault.stderr}")
        pytest.skip(f"no network of one's own can be made: {fault.stderr}")
    try:
        run("ip", "netns", "add", THEIRS)
        for card, ours, theirs in (
            ("quay0", "192.0.2.7", (NAMED, STRANGER)),
            ("deck0", "198.51.100.7", (OTHER_CARD,)),
        ):
            plug_in(card, ours, *theirs)
            for name, end in ((OURS, "::7"), (THEIRS, "::20")):
                run("ip", "-n", name, "address", "add", f"fe80{end}/64", "dev", card, "nodad")
        plug_in("pier0", PIER_OURS, PIER_THEIRS)
        for name in (OURS, THEIRS):
            run("ip", "-n", name, "link", "set", "lo", "up")
            # so that a machine that is named may also come by the card that is not meant
            run("ip", "netns", "exec", name, "sysctl", "-qw", "net.ipv4.conf.all.rp_filter=0")
            for card in ("quay0", "deck0"):
                run("ip", "netns", "exec", name, "sysctl", "-qw", f"net.ipv4.conf.{card}.rp_filter=0")
        yield
    finally:
        for name in (OURS, THEIRS):
            subprocess.run(("ip", "netns", "del", name), check=False, capture_output=True, timeout=SOON_S)


class Watch:
    """The command in our machine's network, listening at one address; its lines as they come."""

    def __init__(self, address: str) -> None:
        command = (sys.executable, "-u", "-m", "sequencer", "ports", "--watch", address, "--json")
        self.process = subprocess.Popen(
            ("ip", "netns", "exec", OURS, *command), stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
        )
        self.lines: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._reading = threading.Thread(target=self._read, daemon=True)
        self._reading.start()

    def opened(self) -> str:
        """Return the address at which it listens."""
        return str(self.next()["port"])

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.lines.put(line)

    def next(self) -> dict[str, object]:
        """Return the next line. Error: queue.Empty where none comes."""
        line = self.lines.get(timeout=SOON_S)
        assert line.startswith("{"), line + "".join(self._rest())
        said: dict[str, object] = json.loads(line)
        return said

    def _rest(self) -> list[str]:
        """Return what the command said when it ended by itself."""
        self._reading.join(SOON_S)
        return [self.lines.get() for _ in range(self.lines.qsize())]

    def until(self, words: str) -> list[dict[str, object]]:
        """Return the lines up to the one with `words` in it."""
        said = [self.next()]
        while words not in json.dumps(said[-1]):
            said.append(self.next())
        return said

    def end(self) -> None:
        assert self.process.stdout is not None
        self.process.kill()
        self.process.wait(SOON_S)
        self._reading.join(SOON_S)
        self.process.stdout.close()


Watching = Callable[[str], tuple[Watch, str, int]]


@pytest.fixture
def watching(networks: None) -> Iterator[Watching]:
    """Start the command; return it with the address and the port at which it listens."""
    begun: list[Watch] = []

    def begin(address: str) -> tuple[Watch, str, int]:
        begun.append(Watch(address))
        opened = begun[-1].opened()
        return begun[-1], opened, int(opened.partition("?")[0].rpartition(":")[2])

    yield begin
    for one in begun:
        one.end()


SEND = """
import socket, sys
by, sender, to, port, packet = sys.argv[1:]
with socket.socket(socket.AF_INET6 if ":" in to else socket.AF_INET, socket.SOCK_DGRAM) as out:
    if by:
        out.setsockopt(socket.SOL_SOCKET, socket.SO_BINDTODEVICE, by.encode())
    out.bind((sender, 0))
    for _ in range(3):
        out.sendto(bytes.fromhex(packet), socket.getaddrinfo(to, int(port))[0][4])
"""


def send(sender: str, to: str, port: int, address: str, *, by: str = "") -> None:
    """Send an order three times from one of the other machines' addresses, by one of their cards."""
    packet = address.encode() + bytes(4 - len(address) % 4) + b",\0\0\0"
    words = (sys.executable, "-c", SEND, by, sender, to, str(port), packet.hex())
    run("ip", "netns", "exec", THEIRS, *words)


@pytest.mark.real_time
def test_who_is_named_is_heard_and_a_stranger_is_told_of(watching: Watching) -> None:
    watch, watch_address, watch_port = watching(f"osc:quay0:0?from={NAMED}")
    assert watch_address == f"osc:quay0:{watch_port}?from={NAMED}"
    send(STRANGER, "192.0.2.7", watch_port, "/stop")
    told = watch.until("nobody said that it may speak")
    assert f"what {STRANGER} sends" in str(told[-1]["notice"])
    assert str(told[-1]["notice"]).endswith(f"add it: {watch_address},{STRANGER}")
    # another program, whose address the system chooses: the first one of its card
    run("ip", "netns", "exec", THEIRS, "oscsend", "192.0.2.7", str(watch_port), "/run/locate", "s", "10:00:02:00")
    heard = watch.until("/run/locate")
    assert heard[-1]["count"] == 1
    send(NAMED, "192.0.2.7", watch_port, "/stop")
    # of several at once one passes; the stranger's are not among them
    assert "/stop" not in json.dumps([*told[:-1], *heard])
    assert "/stop" in json.dumps(watch.until("/stop")[-1])


@pytest.mark.real_time
def test_what_comes_by_another_card_is_not_heard_even_from_who_is_named(watching: Watching) -> None:
    """Linux takes a packet for any of its addresses at any of its cards (RFC 1122, section 3.3.4.2, weak hosts)."""
    watch, _, watch_port = watching(f"osc:quay0:0?from={NAMED},{OTHER_CARD}")
    run("ip", "-n", THEIRS, "route", "add", "192.0.2.7/32", "via", "198.51.100.7", "dev", "deck0", "table", "77")
    run("ip", "-n", THEIRS, "rule", "add", "from", OTHER_CARD, "table", "77")
    send(OTHER_CARD, "192.0.2.7", watch_port, "/mark/go", by="deck0")
    send(NAMED, "192.0.2.7", watch_port, "/run/start", by="quay0")
    assert "/mark/go" not in json.dumps(watch.until("/run/start"))
    # it does come that way: a port that is bound to the other card's address hears it there
    other, _, other_port = watching(f"osc:deck0:0?from={OTHER_CARD}")
    send(OTHER_CARD, "198.51.100.7", other_port, "/mark/go", by="deck0")
    other.until("/mark/go")


@pytest.mark.real_time
def test_a_port_follows_its_card_to_another_address_and_back_after_it_was_unplugged(watching: Watching) -> None:
    """A lease that ran out, and an adapter that was pulled out and put in again: to the system it is another card."""
    watch, address, port = watching(f"osc:pier0:0?from={PIER_THEIRS}")
    ours = ("ip", "-n", OURS)
    run(*ours, "address", "del", f"{PIER_OURS}/24", "dev", "pier0")
    run(*ours, "address", "add", f"{PIER_NEXT}/24", "dev", "pier0")
    watch.until(f"{address} is heard at {PIER_NEXT} now")
    send(PIER_THEIRS, PIER_NEXT, port, "/mark/go")
    watch.until("/mark/go")
    run(*ours, "link", "del", "pier0")
    watch.until(f"nobody is heard at {address} now, not even a stop: ")
    plug_in("pier0", PIER_OURS, PIER_THEIRS)
    watch.until(f"{address} is heard at {PIER_OURS} now")
    send(PIER_THEIRS, PIER_OURS, port, "/run/start")
    watch.until("/run/start")


@pytest.mark.real_time
def test_link_local_addresses_are_heard_by_their_card(watching: Watching) -> None:
    """Source: RFC 4007: both cards have the same address here, which only its zone tells apart."""
    watch, _, watch_port = watching("osc:quay0:0?from=fe80::20")
    send("fe80::20%deck0", "fe80::7%deck0", watch_port, "/mark/go", by="deck0")
    send("fe80::20%quay0", "fe80::7%quay0", watch_port, "/run/start", by="quay0")
    assert "/mark/go" not in json.dumps(watch.until("/run/start"))


@pytest.mark.real_time
@pytest.mark.parametrize(
    ("address", "mend"),
    [
        ("osc:quay0:9001", "say which ones may speak: osc:quay0:9001?from=ADDRESS"),
        ("osc:0.0.0.0:9001", "quay0 (192.0.2.7, fe80::7); deck0 (198.51.100.7, fe80::7)"),
        ("osc:quay0:9001?from=0.0.0.0/0", "name the machines that may speak"),
    ],
)
def test_what_nobody_is_named_for_is_refused_by_the_command(networks: None, address: str, mend: str) -> None:
    command = (sys.executable, "-m", "sequencer", "ports", "--watch", address)
    done = subprocess.run(
        ("ip", "netns", "exec", OURS, *command), check=False, capture_output=True, text=True, timeout=SOON_S
    )
    assert done.returncode == 3
    assert "".join(mend.split()) in "".join(done.stderr.split())


@pytest.mark.real_time
def test_the_command_lists_the_interfaces_with_the_option_to_type(networks: None) -> None:
    listed = run("ip", "netns", "exec", OURS, sys.executable, "-m", "sequencer", "ports")
    assert '--trigger "osc:quay0:9001?from=ADDRESS"' in listed
    assert "192.0.2.7" in listed
