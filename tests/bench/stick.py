"""How long it takes from a stick to the rig: a virtual pad of SDL's, the real processes, and a socket as the rig.

A push counts from just before the stick moves to the arrival of the first setpoints in which the axis moves. Limit: one
tick and the 10 ms in which a pad is read once.
"""

import importlib.util
import os
import socket
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import numpy as np

from sequencer.shell.crew import Crew, crew
from sequencer.shell.messages import Setup, TakeHands
from sequencer.wire.osc import Numbers, setpoint_addresses
from tests.bench.stick_pad import MOVED
from tests.bench.table import Table
from tests.shell.small import small_project

PUSHES = 150
TICK_HZ = 250
READ_MS = 10.0
HAS_SDL = importlib.util.find_spec("sdl2") is not None


@contextmanager
def found(folder: Path, kind: str = "moving = tests.bench.stick_pad:KIND") -> Iterator[None]:
    """Have processes that are started meanwhile find a pad from outside, the moving one if no other is named."""
    named = folder / "pad_from_outside-1.0.dist-info"
    named.mkdir()
    (named / "METADATA").write_text("Metadata-Version: 2.1\nName: pad-from-outside\nVersion: 1.0\n")
    (named / "entry_points.txt").write_text(f"[twintake.controllers]\n{kind}\n")
    before = os.environ.get("PYTHONPATH")
    here = str(Path(__file__).parents[2])
    os.environ["PYTHONPATH"] = os.pathsep.join(one for one in (str(folder), here, before) if one)
    try:
        yield
    finally:
        if before is None:
            del os.environ["PYTHONPATH"]
        else:
            os.environ["PYTHONPATH"] = before


def delays_ms() -> list[float]:
    """Push and let go again and again; return how long each push took to arrive."""
    with tempfile.TemporaryDirectory() as name, _port() as rig, _port() as told:
        folder = Path(name)
        setup = Setup(
            project=str(small_project(folder / "small")),
            run=None,
            output=f"osc://127.0.0.1:{rig.getsockname()[1]}?form=d",
            sync="internal",
            controllers=f"moving:{told.getsockname()[1]}",
            tick_hz=TICK_HZ,
            answers_needed=False,
        )
        with found(folder), crew(setup) as running:
            running.wait_opened()
            running.tell(TakeHands(on=True))
            return _measured(running, rig, told)


def _measured(running: Crew, rig: socket.socket, told: socket.socket) -> list[float]:
    numbers = Numbers(setpoint_addresses(("pan", "tilt")))
    delays: list[float] = []
    pushed_ns: int | None = None
    until_s = time.monotonic() + PUSHES * 0.8 + 20
    beat_s = 0.0
    while len(delays) < PUSHES:
        if time.monotonic() > until_s:
            raise AssertionError(f"only {len(delays)} pushes arrived")
        if time.monotonic() - beat_s > 0.1:
            beat_s = time.monotonic()
            running.hear(0.0)
        try:
            packet, heard_ns = rig.recv(65_535), time.monotonic_ns()
        except TimeoutError:
            continue
        told.setblocking(False)
        with suppress(BlockingIOError):
            (pushed_ns,) = MOVED.unpack(told.recv(64))
        read = numbers.read(packet)
        if read is None or pushed_ns is None or not read[1][2]:
            continue
        delays.append((heard_ns - pushed_ns) * 1e-6)
        pushed_ns = None
    return delays


@contextmanager
def _port() -> Iterator[socket.socket]:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as port:
        port.bind(("127.0.0.1", 0))
        port.settimeout(0.05)
        yield port


def tables() -> list[Table]:
    """Measure, and return what to print."""
    if not HAS_SDL:
        return [Table("From the stick to the rig", ("",), [("not measured: SDL is not there",)])]
    found_ms = np.array(delays_ms())
    bar_ms = 1000 / TICK_HZ + READ_MS
    percent = np.percentile(found_ms, [50, 99])
    row = (f"{len(found_ms)}", f"{percent[0]:.1f}", f"{percent[1]:.1f}", f"{found_ms.max():.1f}", f"{bar_ms:g}")
    columns = ("pushes", "median, ms", "99 %, ms", "most, ms", "bar for 99 %, ms")
    note = f"{TICK_HZ} ticks a second. From just before the virtual stick moves to the setpoints' arrival at the rig."
    return [Table("From the stick to the rig", columns, [row], note)]
