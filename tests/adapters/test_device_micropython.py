"""The device output and the reference device as a program of its own, on MicroPython, over UDP on 127.0.0.1."""

import json
import select
import socket
import subprocess
import time
from pathlib import Path

import numpy as np
import pytest

from sequencer.adapters.device_host.host import DeviceOutput
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.signals import Feedback, Setpoint
from sequencer.shell.kinds import open_output
from tests.needs import needs

REFERENCE = Path(__file__).parents[2] / "docs" / "device"
TICK_NS = 10_000_000
AHEAD_NS = 300_000_000
RIG = Rig(
    name="quay",
    axes=tuple(
        Axis(name=name, kind=name, unit="deg", travel=None, speed=60, acceleration=120, jerk=600)
        for name in ("tilt", "pan")
    ),
)


def go(output: DeviceOutput, seconds: float, heard: list[Feedback], dues: dict[int, int] | None = None) -> None:
    """Tick for a while; with `dues`, send a slow move and keep when each set is due."""
    tick_ns = begun_ns = time.monotonic_ns()
    while tick_ns < begun_ns + seconds * 1e9:
        port = output.fileno()
        assert port is not None
        select.select([port], [], [], max(0, tick_ns - time.monotonic_ns()) * 1e-9)
        if (now_ns := time.monotonic_ns()) < tick_ns:
            heard += output.read(now_ns)
            continue
        heard += output.read(now_ns)
        output.look(now_ns)
        if dues is not None:
            t_s = (tick_ns - begun_ns) * 1e-9
            dues[output.number] = tick_ns + AHEAD_NS
            output.send(
                Setpoint(dues[output.number], np.array([-2.5 * t_s**2, 2.5 * t_s**2]), np.array([-5.0, 5.0]) * t_s)
            )
        tick_ns += TICK_NS


@pytest.mark.real_time
def test_a_device_of_its_own_plays_what_is_sent_when_it_is_due_and_stops_when_told(tmp_path: Path) -> None:
    needs("micropython")
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    log = tmp_path / "played"
    words = ["micropython", "unix.py", "--udp", str(port), "--axes", "pan:60:120,tilt:60:120", "--log", str(log)]
    heard: list[Feedback] = []
    dues: dict[int, int] = {}
    with subprocess.Popen(words, cwd=REFERENCE, stdout=subprocess.PIPE, text=True) as device:
        try:
            assert device.stdout is not None
            boot_ns = json.loads(device.stdout.readline())["boot_us"] * 1000
            with open_output(f"device://127.0.0.1:{port}", RIG) as output:
                assert isinstance(output, DeviceOutput)
                assert output.ready
                off_ns = output.clock.device_ns(boot_ns)
                # MicroPython counts in microseconds, and this machine may be busy
                assert abs(off_ns) <= output.clock.error_s(boot_ns) * 1e9 + 5_000_000
                output.ask()
                go(output, 0.2, heard)
                go(output, 1.5, heard, dues)
                output.stop()
                go(output, 0.5, heard)
                stood = heard[-1].position
                go(output, 0.2, heard, {})
                # what is sent after a stop moves nothing, and tilt and pan are the other way round there
                assert heard[-1].position.tolist() == stood.tolist()
                assert stood[0] == -stood[1] < 0
        finally:
            device.send_signal(2)
    rows = [[int(word) for word in line.split()] for line in log.read_text().splitlines()]
    played = {number: at + boot_ns for number, _, at, _ in rows}
    due = [number for number in dues if dues[number] < max(played.values())]
    assert len(due) > 100
    assert set(due) <= set(played)
    assert all(played[number] - dues[number] > -5_000_000 for number in due)
