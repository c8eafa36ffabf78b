"""`twintake ports`: the list, the watch and the loop, as an operator or a program reads them."""

import json
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, nullcontext
from types import SimpleNamespace
from typing import Any

import pytest
from rich.console import Console
from typer.testing import CliRunner, Result

from sequencer.adapters.audio_ports import devices
from sequencer.adapters.contract import Chunk
from sequencer.adapters.midi_ports.outs import open_out
from sequencer.cli import ports
from sequencer.cli.app import app
from sequencer.cli.exits import console
from sequencer.cli.ports import table
from sequencer.errors import LinkError
from sequencer.shell import listen
from sequencer.shell.listen import Group, Heard, Port
from sequencer.shell.loopback import Loop
from sequencer.sync.address import running
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting
from tests.jack import jack_server
from tests.needs import needs

SOON_S = 20.0
NAME = "Quay Interface:Quay Interface MIDI 1 24:0"
GROUPS = (
    Group("MIDI in", (Port(NAME, "follow MTC or MIDI clock", (f'--midi-in "{NAME}"',)),)),
    Group("audio in", missing="audio needs the PortAudio library, which is not here; install it"),
)
LOOP = Loop(
    source="mtc",
    frame_ms=40.0,
    sent=500,
    lost=3,
    strange=0,
    held_up=0,
    mean_ms=1.2345,
    sd_ms=0.4,
    p99_ms=2.5,
    latest_ms=4.0,
)


def run(*options: str) -> Result:
    return CliRunner().invoke(app, ["ports", *options])


@pytest.fixture
def there(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(listen, "machine", lambda: GROUPS)


@pytest.mark.parametrize("width", [40, 80, 160])
def test_the_list_fits_the_terminal_and_breaks_no_option(
    there: None, monkeypatch: pytest.MonkeyPatch, width: int
) -> None:
    monkeypatch.setattr(console, "_width", width)
    result = run()
    assert result.exit_code == 0
    lines = result.output.splitlines()
    assert f'    --midi-in "{NAME}"' in lines
    assert all(len(line.rstrip()) <= width for line in lines if "--midi-in" not in line)
    assert "PortAudio library" in " ".join(result.output.split())


def test_the_list_is_one_json_document(there: None) -> None:
    document = json.loads(run("--json").output)
    assert document["groups"][0]["ports"][0]["options"] == [f'--midi-in "{NAME}"']
    assert document["groups"][1]["missing"].startswith("audio needs the PortAudio library")


def test_a_machine_with_nothing_is_no_error(monkeypatch: pytest.MonkeyPatch) -> None:
    def none() -> tuple[devices.AudioDevice, ...]:
        raise LinkError("there is none")

    monkeypatch.setattr(listen, "systems", none)
    monkeypatch.setattr(devices, "inputs", none)
    monkeypatch.setattr(devices, "outputs", none)
    result = run()
    assert result.exit_code == 0
    assert result.output.count("there is none") == 4
    assert "--midi-in pipe:4711" in result.output


@pytest.mark.parametrize(
    ("options", "status"),
    [
        (("quay",), 2),
        (("--for", "3"), 2),
        (("--watch", "--loop-back", "pipe:1", "pipe:1"), 2),
        (("--loop-back", "pipe:1", "pipe:1", "--rate", "26"), 2),
        (("--loop-back", "pipe:1", "pipe:1", "--rate", "50"), 2),
        (("--loop-back", "pipe:1"), 2),
        (("--loop-back", "deck:1", "pipe:0"), 3),
        (("--watch", "midi:no such port"), 3),
        (("--watch", "pipe:x"), 3),
    ],
)
def test_wrong_usage_and_ports_that_are_not_there_have_their_status(options: tuple[str, ...], status: int) -> None:
    assert run(*options).exit_code == status


def test_a_loop_is_told_in_words_and_in_json(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ports, "measure", lambda *asked: LOOP)
    monkeypatch.setattr(console, "_width", 200)
    words = run("--loop-back", "pipe:1", "pipe:1").output
    assert "delay 1.23 ms (0.031 frames), spread 0.40 ms" in words
    assert "3 of 500 lost" in words
    assert '"sync": [{"source": "mtc", "delay_ms": 1.23}]' in words
    assert "Half of it (0.62 ms) is only a guess" in words
    document = json.loads(run("--loop-back", "pipe:1", "pipe:1", "--json").stdout)
    assert document["sync"] == {"source": "mtc", "delay_ms": 1.23}
    assert document["lost"] == 3


@pytest.mark.parametrize("width", [40, 60, 120])
def test_the_living_table_fits_the_terminal(width: int) -> None:
    port = Heard(NAME)
    port.trouble = "the MIDI port 'Quay' is gone; plug its device in or start its program again"
    shown = Console(width=width)
    with shown.capture() as captured:
        shown.print(table((port,), time.monotonic_ns(), width))
    lines = captured.get().splitlines()
    assert all(len(line) <= width for line in lines)
    # nothing is cut off, only broken
    assert set(port.trouble.split()) <= set(" ".join(lines).split())


@pytest.mark.parametrize("is_terminal", [False, True])
def test_a_watch_ends_once_its_last_input_is_gone(is_terminal: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    unplugged = threading.Event()

    class Unplugged:
        """An input that opens, and is gone once the watch has looked at it."""

        def __init__(self, name: str) -> None:
            self.address = name

        def read(self, heard_ns: int) -> tuple[Chunk, ...]:
            if unplugged.is_set():
                raise LinkError(f"{self.address} is gone; plug its device in")
            return ()

        def notices(self) -> tuple[str, ...]:
            return ()

        def fileno(self) -> None:
            return None

    monkeypatch.setattr(listen, "open_source", lambda name: nullcontext(Unplugged(name)))

    def unplug(_: float) -> None:
        unplugged.set()
        time.sleep(0.01)

    clock = SimpleNamespace(monotonic=time.monotonic, monotonic_ns=time.monotonic_ns, sleep=unplug)
    monkeypatch.setattr(ports, "time", clock)
    monkeypatch.setattr(console, "_force_terminal", is_terminal)
    monkeypatch.setattr(console, "_width", 200)
    done = run("--watch", "pipe:1", "pipe:2", "--for", str(SOON_S))
    assert done.exit_code == 3, done.output
    words = " ".join(done.output.split())
    assert "pipe:1 is gone; plug its device in" in words
    assert "pipe:2 is gone; plug its device in" in words
    assert done.stderr == "twintake: no input is left to listen to; plug one in and begin again\n"


@contextmanager
def watch(*names: str) -> Iterator[subprocess.Popen[str]]:
    """Run the watch in a process of its own, as lines of JSON; it ends by itself where a line never comes."""
    process = subprocess.Popen(
        [sys.executable, "-m", "sequencer", "ports", "--watch", "--json", "--for", "30", *names],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        yield process
    finally:
        process.kill()
        process.communicate()


def line(process: subprocess.Popen[str], *keys: str, **values: str) -> dict[str, Any]:
    """Read lines until one has these keys and values."""
    assert process.stdout is not None
    for text in process.stdout:
        document: dict[str, Any] = json.loads(text)
        if all(key in document for key in keys) and values.items() <= document.items():
            return document
    raise AssertionError(f"no line has {keys} {values}")


@pytest.mark.real_time
def test_the_watch_tells_what_comes_until_ctrl_c() -> None:
    with watch("midi:no such port", "pipe:0") as process:
        assert "trouble" in line(process, "trouble")
        address = line(process, "silence")["port"]
        number = int(address.removeprefix("pipe:"))
        with socket.create_connection(("127.0.0.1", number), timeout=SOON_S) as peer:
            peer.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            for _, (_, data) in zip(range(150), running(Counting(Rate(25)), 900_000), strict=False):
                peer.sendall(data)
                time.sleep(0.01)
            fact = line(process, "timecode", what="MTC")
            assert fact["port"] == address
            assert fact["timecode"].startswith("10:00:0")
        process.send_signal(signal.SIGINT)
        assert process.wait(SOON_S) == 0


@pytest.mark.real_time
def test_a_watch_with_no_port_left_ends_with_the_status_of_a_lost_link() -> None:
    needs("jackd")
    pytest.importorskip("jack")
    with jack_server(frames=1024), ExitStack() as sender:
        sender.enter_context(open_out("virtual:playback"))
        with watch("midi:playback") as process:
            line(process, "silence")
            sender.close()
            assert "is gone" in line(process, "trouble")["trouble"]
            assert process.wait(SOON_S) == 3
