"""Programs that are not ours take OSC over TCP and a serial line: liblo's oscdump, python-osc's server, socat."""

import queue
import select
import socket
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import numpy as np
import pytest
from pythonosc.dispatcher import Dispatcher
from pythonosc.osc_tcp_server import ThreadingOSCTCPServer

from sequencer.adapters.osc_links import tcp
from sequencer.adapters.osc_links.osc_output import OscOutput
from sequencer.errors import LinkError
from sequencer.rig.signals import Setpoint
from sequencer.shell.kinds import open_output
from tests.adapters.test_osc import RIG
from tests.needs import needs

pytestmark = pytest.mark.real_time

HOST = "127.0.0.1"
# -6 is C0 C0 00 00 and -6.875 is C0 DC 00 00, so escapes are needed
SETPOINT = (np.array([-6.0, -6.875]), np.array([3.0, 0.25]))
PATIENCE_S = 10.0


def free_port() -> int:
    with socket.socket() as port:
        port.bind((HOST, 0))
        return int(port.getsockname()[1])


@contextmanager
def running(*command: str) -> Iterator[subprocess.Popen[bytes]]:
    needs(command[0])
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, bufsize=0) as process:
        try:
            yield process
        finally:
            process.terminate()


def listening(port: int) -> None:
    """Wait until something takes connections there, without making one."""
    deadline = time.monotonic() + PATIENCE_S
    wanted = f":{port:04X} "
    while not any(wanted in line and " 0A " in line for line in Path("/proc/net/tcp").read_text().splitlines()) and (
        not any(wanted in line and " 0A " in line for line in Path("/proc/net/tcp6").read_text().splitlines())
    ):
        assert time.monotonic() < deadline, "nothing takes connections"
        time.sleep(0.01)


def printed(process: subprocess.Popen[bytes], count: int) -> list[str]:
    """Return the next lines that oscdump prints, without their timetags."""
    assert process.stdout is not None
    lines: list[str] = []
    for _ in range(count):
        assert select.select([process.stdout], [], [], PATIENCE_S)[0], f"only {lines} were printed"
        lines.append(process.stdout.readline().decode().split(" ", 1)[1].strip())
    return lines


SEEN = [
    "/rig/pan/position f -6.000000",
    "/rig/tilt/position f -6.875000",
    "/rig/pan/speed f 3.000000",
    "/rig/tilt/speed f 0.250000",
]


def test_oscdump_reads_what_goes_out_over_tcp() -> None:
    port = free_port()
    with running("oscdump", "-L", f"osc.tcp://:{port}") as process:
        listening(port)
        with open_output(f"osc+tcp://{HOST}:{port}?timetag=now", RIG) as output:
            assert printed(process, 1) == ["/rig/ping i -1"]
            for _ in range(3):
                output.send(Setpoint(0, *SETPOINT))
                assert printed(process, 4) == SEEN


def test_oscdump_reads_what_goes_out_over_a_serial_line(tmp_path: Path) -> None:
    port, plug = free_port(), tmp_path / "quay"
    with running("oscdump", "-L", f"osc.tcp://:{port}") as process:
        listening(port)
        with running("socat", f"pty,rawer,link={plug}", f"tcp:{HOST}:{port}") as cable:
            deadline = time.monotonic() + PATIENCE_S
            while not plug.exists():
                assert time.monotonic() < deadline, "socat made no terminal"
                time.sleep(0.01)
            with open_output(f"osc+serial:{plug}?baud=921600&timetag=now", RIG) as output:
                # oscdump knows SLIP by a stream whose first packet is a message in no bundle
                assert isinstance(output, OscOutput)
                output._link.put_urgent(tcp.FIRST)
                assert printed(process, 1) == ["/rig/ping i -1"]
                for _ in range(3):
                    output.send(Setpoint(0, *SETPOINT))
                    assert printed(process, 4) == SEEN
                cable.kill()
                cable.wait()
                with pytest.raises(LinkError, match=r"is gone .*plug it in again"):
                    output.send(Setpoint(0, *SETPOINT))


def test_python_osc_takes_what_goes_out_over_tcp() -> None:
    heard: queue.Queue[tuple[object, ...]] = queue.Queue()
    answers = Dispatcher()
    answers.set_default_handler(lambda address, *numbers: heard.put((address, *numbers)))
    server = ThreadingOSCTCPServer((HOST, 0), answers, mode="1.1")
    server.daemon_threads = True
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        with open_output(f"osc+tcp://{HOST}:{server.server_address[1]}?timetag=now&form=d", RIG) as output:
            assert heard.get(timeout=PATIENCE_S) == ("/rig/ping", -1)
            output.send(Setpoint(0, *SETPOINT))
            said = [heard.get(timeout=PATIENCE_S) for _ in range(4)]
            output.stop()
            assert heard.get(timeout=PATIENCE_S) == ("/stop",)
        assert said == [
            ("/rig/pan/position", -6.0),
            ("/rig/tilt/position", -6.875),
            ("/rig/pan/speed", 3.0),
            ("/rig/tilt/speed", 0.25),
        ]
        with suppress(queue.Empty):
            pytest.fail(f"more was heard: {heard.get(timeout=0.05)}")
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
