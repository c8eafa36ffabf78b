"""Every output that there is keeps the contract, also where its other end takes nothing in: a peer that stalls."""

import socket
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from unittest.mock import patch

import pytest

from sequencer.adapters.outputs import gpio
from sequencer.rig.axis import Axis, Rig
from sequencer.shell import kinds
from sequencer.testing.outputs import check_output
from tests.adapters.hearing import hearing
from tests.adapters.pins import Board, package
from tests.adapters.terminal import terminal
from tests.jack import jack_server
from tests.needs import needs, needs_module

RIG = Rig(
    name="quay",
    axes=tuple(
        Axis(name=name, kind=name, unit="deg", travel=(-90, 90), speed=60, acceleration=120, jerk=600)
        for name in ("pan", "tilt")
    ),
)
REFERENCE = Path(__file__).parents[2] / "docs" / "device" / "unix.py"
Peer = Callable[[Path], AbstractContextManager[str]]


def by_udp(form: str) -> Peer:
    """Return a socket that is bound and read by nobody; `form` has its port."""

    @contextmanager
    def there(_: Path) -> Iterator[str]:
        with hearing() as port:
            yield form.format(port=port.getsockname()[1])

    return there


def by_tcp(form: str) -> Peer:
    """Return a listener that takes connections and reads nothing."""

    @contextmanager
    def there(_: Path) -> Iterator[str]:
        with socket.socket() as listener:
            listener.bind(("127.0.0.1", 0))
            listener.listen()
            yield form.format(port=listener.getsockname()[1])

    return there


def by_serial(form: str) -> Peer:
    """Return a terminal that is read by nobody, so that its buffer fills."""

    @contextmanager
    def there(_: Path) -> Iterator[str]:
        with terminal() as far:
            yield form.format(port=far.path)

    return there


def by_file(form: str) -> Peer:
    @contextmanager
    def there(folder: Path) -> Iterator[str]:
        yield form.format(folder=folder)

    return there


@contextmanager
def by_midi(_: Path) -> Iterator[str]:
    needs("jackd")
    needs_module("jack")
    with jack_server(frames=1024):
        yield "virtual:rig?pan=cc16&tilt=cc17&shutter=note60&record=cc80&cut=cc81&stop=note0&sensing=on"


@contextmanager
def to_midi_port(_: Path) -> Iterator[str]:
    from sequencer.adapters.sources.midi import KIND

    needs("jackd")
    needs_module("jack")
    with jack_server(frames=1024), KIND.open("virtual:lantern"):
        yield "midi:lantern?pan=nrpn1000&tilt=bend&wire=usb"


@contextmanager
def by_acknowledgement(_: Path) -> Iterator[str]:
    """Return a board that acknowledges each line at once, which the output needs to be opened at all."""

    def acknowledge() -> None:
        while not over.is_set():
            lines = far.hear(patience_s=0.01).count(b"\n")
            if lines:
                far.say(b"ok\n" * lines)

    over = threading.Event()
    with terminal() as far:
        board = threading.Thread(target=acknowledge)
        board.start()
        try:
            yield f"gcode:{far.path}?baud=115200&pan=A&tilt=B&shutter=M7"
        finally:
            over.set()
            board.join()


@contextmanager
def by_pins(_: Path) -> Iterator[str]:
    """Return lines of a stand-in for a chip: this is no trial on a real pin."""
    with patch.object(gpio, "binding", lambda: package(Board(names=("",) * 28))):
        yield "gpio:/dev/gpiochip0?shutter=17&record=27&cut=22&pulse=0.01"


@contextmanager
def reference(*where: str) -> Iterator[None]:
    """Run the reference device, which must answer before its output opens, on MicroPython; `where` is its port."""
    needs("micropython")
    words = ["micropython", str(REFERENCE), *where, "--axes", "pan:60:120:-90:90,tilt:60:120:-90:90"]
    with subprocess.Popen(words, stdout=subprocess.PIPE, cwd=REFERENCE.parent) as device:
        try:
            assert device.stdout is not None
            assert device.stdout.readline(), "it says when it listens"
            yield
        finally:
            device.terminate()


@contextmanager
def device_by_udp(_: Path) -> Iterator[str]:
    with hearing() as port:
        number = port.getsockname()[1]
    with reference("--udp", str(number)):
        yield f"device://127.0.0.1:{number}"


@contextmanager
def joined(folder: Path, other: str) -> Iterator[str]:
    """Join a terminal to what `other` names; yield the terminal's name."""
    needs("socat")
    link = folder / "board"
    with subprocess.Popen(["socat", f"PTY,raw,echo=0,link={link}", other]) as cable:
        try:
            while not link.exists():
                assert cable.poll() is None, "socat ended"
                time.sleep(0.01)
            yield str(link)
        finally:
            cable.terminate()


@contextmanager
def device_by_serial(folder: Path) -> Iterator[str]:
    host = folder / "host"
    with joined(folder, f"PTY,raw,echo=0,link={host}") as board, reference("--serial", board, "--baud", "115200"):
        yield f"device+serial:{host}?baud=115200"


@contextmanager
def device_by_tcp(folder: Path) -> Iterator[str]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        number = free.getsockname()[1]
    with (
        joined(folder, f"TCP-LISTEN:{number},bind=127.0.0.1,reuseaddr,fork") as board,
        reference("--serial", board, "--baud", "115200"),
    ):
        yield f"device+tcp://127.0.0.1:{number}"


PEERS: dict[str, Peer] = {
    "csv": by_file("csv:{folder}/move.csv"),
    "device": device_by_udp,
    "device+serial": device_by_serial,
    "device+tcp": device_by_tcp,
    "gcode": by_acknowledgement,
    "gpio": by_pins,
    "mcap": by_file("mcap:{folder}/move.mcap"),
    "mavlink": by_udp("mavlink://127.0.0.1:{port}"),
    "mavlink+serial": by_serial("mavlink+serial:{port}"),
    "midi": to_midi_port,
    "opentrackio": by_udp("opentrackio://127.0.0.1:{port}"),
    "osc": by_udp("osc://127.0.0.1:{port}"),
    "osc+serial": by_serial("osc+serial:{port}?baud=115200"),
    "osc+tcp": by_tcp("osc+tcp://127.0.0.1:{port}"),
    "sacn": by_udp("sacn://127.0.0.1:{port}/1?pan=1&tilt=3.24"),
    "serial": by_serial("serial:{port}?shutter=text:SHOT&record=text:REC&cut=text:STOP"),
    "virtual": by_midi,
}
SCHEMES = sorted(scheme for kind in kinds.output_kinds() for scheme in kind.schemes)


# each waits on the machine's clock for what it must not: a call that blocks
@pytest.mark.real_time
@pytest.mark.parametrize("scheme", SCHEMES)
def test_an_output_keeps_the_contract(scheme: str, tmp_path: Path) -> None:
    assert scheme in PEERS, "an output of the house has another end here"
    with PEERS[scheme](tmp_path) as address:
        check_output(kinds.output_kind(address), address, RIG)


def test_no_output_of_the_house_is_left_out() -> None:
    assert kinds.outputs_left_out() == {}
