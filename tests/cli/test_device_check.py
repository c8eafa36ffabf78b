"""`twintake device check` on real devices: MicroPython over UDP and over a serial line, and the simulated rig."""

import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path

import pytest
from typer.testing import CliRunner

from sequencer.cli.app import app
from sequencer.shell import conformance, shoot
from tests.needs import needs

UNIX = Path(__file__).parents[2] / "docs" / "device" / "unix.py"
HARBOUR = Path(__file__).parents[2] / "projects" / "harbour-lanterns"
AXES = ("--axes", "pan:60:120,tilt:40:80:-30:60")
BRIEF = tuple(word for name in ("time", "rate", "due", "ran out", "stop") for word in ("--only", name))


@contextmanager
def reference(*options: str) -> Iterator[None]:
    """Run the reference device until the block ends."""
    needs("micropython")
    with subprocess.Popen(["micropython", str(UNIX), *AXES, *options], stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None
            assert "boot_us" in json.loads(process.stdout.readline())
            yield
        finally:
            process.kill()


def free_port() -> str:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as port:
        port.bind(("127.0.0.1", 0))
        return str(port.getsockname()[1])


def check(*words: str) -> tuple[int, dict[str, object]]:
    """Run the command with --json and --arm; return its exit status and its document."""
    done = CliRunner().invoke(app, ["device", "check", *words, "--arm", "--json"])
    assert done.exception is None or isinstance(done.exception, SystemExit)
    return done.exit_code, json.loads(done.stdout) if done.stdout.strip() else {}


def kept(document: dict[str, object]) -> dict[str, bool | None]:
    clauses = document["clauses"]
    assert isinstance(clauses, list)
    return {one["name"]: one["kept"] for one in clauses}


@pytest.mark.real_time
def test_the_reference_device_over_udp_keeps_its_clauses_and_logs_what_it_played(tmp_path: Path) -> None:
    port, log = free_port(), tmp_path / "played"
    with reference("--udp", port, "--switch", "pan:low:-5", "--log", str(log)):
        more = ("actual", "switch", "order", "from", "nonsense")
        status, document = check(
            f"device://127.0.0.1:{port}", *BRIEF, *(word for name in more for word in ("--only", name))
        )
    assert set(kept(document).values()) == {True}, document
    assert (status, document["ok"], document["left_aside"]) == (0, True, 0)
    rows = [[int(word) for word in line.split()] for line in log.read_text().splitlines()]
    assert len(rows) > 300
    # no set is played before it is due
    assert all(late >= 0 and played - due == late for _, due, played, late in rows)


@pytest.mark.real_time
def test_the_reference_device_over_a_serial_line_keeps_what_a_line_lets_it(tmp_path: Path) -> None:
    needs("socat")
    ends = [tmp_path / "ours", tmp_path / "theirs"]
    with subprocess.Popen(["socat", *(f"pty,raw,echo=0,link={end}" for end in ends)]) as wire:
        try:
            until_s = time.monotonic() + 5
            while not all(end.exists() for end in ends) and time.monotonic() < until_s:
                time.sleep(0.01)
            with reference("--serial", str(ends[1])):
                status, document = check(f"device+serial:{ends[0]}?baud=115200", *BRIEF)
        finally:
            wire.kill()
    assert kept(document) == dict.fromkeys(("hello", "time", "rate", "due", "ran out", "stop"), True), document
    assert status == 0


@pytest.mark.real_time
def test_the_simulated_rig_is_tried_as_a_device_and_as_a_rig_that_acts_on_receipt() -> None:
    with shoot.simulated_rig(HARBOUR / "rig.json", 1) as (_, address):
        status, document = check(address.replace("osc:", "device:"), *BRIEF)
        assert (status, set(kept(document).values())) == (0, {True}), document
        device = document["device"]
        assert isinstance(device, dict)
        assert device["axes"] == ["pan", "tilt", "roll", "slide", "focus"]
        status, document = check(address, "--axis", "slide", "--by", "20", "--only", "at once", "--only", "stop")
        assert (status, kept(document)) == (0, {"at once": True, "stop": True}), document


@pytest.mark.real_time
def test_a_clause_that_is_broken_ends_with_1_and_says_which() -> None:
    with shoot.simulated_rig(HARBOUR / "rig.json", 1, 0, "--reboot-at", "1") as (_, address):
        done = CliRunner().invoke(
            app, ["device", "check", address.replace("osc:", "device:"), "--arm", "--only", "due", "--only", "reset"]
        )
    assert done.exit_code == 1
    assert "broken: due, reset" in done.stdout
    assert "its boot number has changed" in done.stdout


@pytest.mark.real_time
def test_nobody_at_the_address_is_a_fault_of_the_link() -> None:
    done = CliRunner().invoke(app, ["device", "check", f"device://127.0.0.1:{free_port()}", "--arm"])
    assert done.exit_code == 3
    assert "nothing answers at 127.0.0.1:" in " ".join(done.stderr.split())
    done = CliRunner().invoke(app, ["device", "check", f"osc://127.0.0.1:{free_port()}", "--arm"])
    assert done.exit_code == 3
    assert "did not say in /rig/AXIS/actual" in " ".join(done.stderr.split())


@pytest.mark.real_time
def test_ctrl_c_stops_the_rig() -> None:
    """The rig is a socket of this test, which hears what the command says at its end."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as rig:
        rig.bind(("127.0.0.1", 0))
        rig.settimeout(10)
        address = f"device://127.0.0.1:{rig.getsockname()[1]}"
        with subprocess.Popen(
            [sys.executable, "-m", "sequencer", "device", "check", address, "--arm"],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        ) as process:
            assert b"/device/hello" in rig.recv(2048)
            process.send_signal(signal.SIGINT)
            assert process.wait(10) == 130
        heard: list[bytes] = []
        rig.settimeout(1)
        while not heard or b"/stop" not in heard[-1]:
            heard.append(rig.recv(2048))


def test_nothing_moves_unless_somebody_says_yes() -> None:
    done = CliRunner().invoke(app, ["device", "check", "device://127.0.0.1:9"], input="no\n")
    assert done.exit_code == 0
    assert "not a safety device" in " ".join(done.stdout.split())
    assert "kept" not in done.stdout


@pytest.mark.parametrize(
    ("words", "status", "told"),
    [
        (["sacn://1"], 3, "is no address of a device"),
        (["device://127.0.0.1"], 3, "names no host and port"),
        (["device://127.0.0.1:9?form=d"], 3, "has the option form"),
        (["device://127.0.0.1:9", "--by", "0"], 2, "--by"),
        (["device://127.0.0.1:9", "--only", "nothing"], 2, "there is no clause 'nothing'"),
        (["device://127.0.0.1:9", "--json"], 2, "add --arm"),
    ],
)
def test_what_cannot_be_meant_is_refused_before_anything_is_opened(words: list[str], status: int, told: str) -> None:
    done = CliRunner().invoke(app, ["device", "check", *words])
    assert done.exit_code == status
    assert told in " ".join(done.stderr.split())


def test_both_parts_of_the_command_are_there() -> None:
    done = CliRunner().invoke(app, ["device", "--help"], env={**os.environ, "COLUMNS": "120"})
    assert done.exit_code == 0
    assert "simulate" in done.stdout
    assert "check" in done.stdout


class Stalled:
    """A link that takes nothing and brings nothing."""

    where, times, dropped, garbage, waiting = "the line", 1, 0, 0, 80

    def __init__(self) -> None:
        self.urgent: list[bytes] = []

    def fileno(self) -> None:
        return None

    def put(self, packet: bytes) -> bool:
        return False

    def put_urgent(self, packet: bytes, *, clears: bool = False) -> bool:
        self.urgent.append(packet)
        return True

    def packets(self) -> list[bytes]:
        return []

    def go_on(self) -> None:
        pass

    def trouble(self) -> str:
        return ""


def test_a_link_that_takes_nothing_is_given_up_with_a_stop(monkeypatch: pytest.MonkeyPatch) -> None:
    link = Stalled()
    monkeypatch.setattr(conformance, "open_link", lambda place: nullcontext(link))
    monkeypatch.setattr(conformance, "_STALLED_NS", 10_000_000)
    done = CliRunner().invoke(app, ["device", "check", "device+serial:/dev/none", "--arm"])
    assert done.exit_code == 3
    assert "the line takes nothing any more, 80 bytes wait" in " ".join(done.stderr.split())
    assert b"/stop" in link.urgent[0]
