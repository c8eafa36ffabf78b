"""The reference device behind a bad link, both as processes, with a host that ticks and a spy that sees the truth.

The device is the one in docs/device, on MicroPython's Unix port. Its clock counts from an instant of this machine's
monotonic clock that it prints, so that every error is known and not estimated. The spy asks it where it stands past the
link, with pings, which make nobody the one whom the device answers.
"""

import json
import math
import os
import select
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from sequencer.adapters.contract import Output
from sequencer.adapters.device_host.host import DeviceOutput
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.signals import Floats, Setpoint
from sequencer.wire.device import device_ns
from sequencer.wire.osc import Numbers, actual_addresses, command

HZ = 250
AMPLITUDE, PERIOD_S = 20.0, 8.0
SPEED, ACCELERATION = 60.0, 120.0
TICK_NS = 1_000_000_000 // HZ
SPY_NS = 10_000_000
REST_NS = 2_000_000_000
SILENT_S = 0.5  # without an answer, after which the engine sends no setpoints any more
ROOT = Path(__file__).parents[2]
REFERENCE = ROOT / "docs" / "device"
NAMES = ("pan", "tilt", "roll")
RIG = Rig(
    name="bench",
    axes=tuple(
        Axis(name=name, kind="pan", unit="deg", travel=None, speed=SPEED, acceleration=ACCELERATION, jerk=600)
        for name in NAMES
    ),
)


def plan(t_s: float) -> tuple[Floats, Floats]:
    """Return where the move is at `t_s`, and how fast; it begins at rest, and rests before."""
    turn, t_s = 2 * math.pi / PERIOD_S, max(t_s, 0.0)
    position, speed = AMPLITUDE * (1 - math.cos(turn * t_s)), AMPLITUDE * turn * math.sin(turn * t_s)
    return np.array([position, -position, position]), np.array([speed, -speed, speed])


class Spy:
    """Where the device stood: `seen` are instants of this machine's clock, in nanoseconds, and the first axis."""

    def __init__(self, port: socket.socket, boot_ns: int) -> None:
        self._port, self._boot_ns = port, boot_ns
        self._actuals = Numbers(actual_addresses(NAMES))
        self._asked_ns = 0
        self.seen: list[tuple[int, float]] = []

    def look(self, now_ns: int) -> None:
        if now_ns - self._asked_ns >= SPY_NS:
            self._asked_ns = now_ns
            self._port.send(command("/rig/ping", 1))
        while True:
            try:
                read = self._actuals.read(self._port.recv(4096))
            except BlockingIOError:
                return
            if read is not None:
                self.seen.append((device_ns(read[0]) + self._boot_ns, read[1][0]))


@dataclass(frozen=True)
class Ends:
    """What was started. `real_time`: whether device, link and host run before all else here."""

    link: subprocess.Popen[str]
    host_port: int
    boot_ns: int
    log: Path
    spy: Spy
    real_time: bool

    def tell(self, state: str) -> None:
        """Make the link good, bad, or out."""
        assert self.link.stdin is not None
        assert self.link.stdout is not None
        self.link.stdin.write(state + "\n")
        self.link.stdin.flush()
        self.link.stdout.readline()


@contextmanager
def ends(folder: Path, seed: int) -> Iterator[Ends]:
    """Start a device and a bad link to it. When the block ends, the device has written its log."""
    log = folder / f"played{seed}"
    axes = ",".join(f"{name}:{SPEED:g}:{ACCELERATION:g}" for name in NAMES)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with ExitStack() as stack:
        device, said = started(
            stack,
            ["micropython", "unix.py", "--udp", str(port), "--axes", axes, "--log", str(log)],
            REFERENCE,
        )
        link, link_said = started(stack, [sys.executable, "-m", "tests.bench.bad_link", str(port), str(seed)], ROOT)
        watching = stack.enter_context(socket.socket(socket.AF_INET, socket.SOCK_DGRAM))
        watching.connect(("127.0.0.1", port))
        watching.setblocking(False)
        boot_ns = said["boot_us"] * 1000
        # on a set each has a processor of its own, and the engine asks for the same
        real_time = urgent(device.pid, 20) and urgent(link.pid, 21) and urgent(0, 19)
        stack.callback(usual)
        yield Ends(link, link_said["port"], boot_ns, log, Spy(watching, boot_ns), real_time)
        device.send_signal(2)
        device.wait(5)


def started(stack: ExitStack, words: list[str], folder: Path) -> tuple[subprocess.Popen[str], dict[str, int]]:
    """Start a process that ends with the stack; return it, and the line of JSON that it begins with."""
    process = stack.enter_context(
        subprocess.Popen(words, cwd=folder, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    )
    stack.callback(process.terminate)
    assert process.stdout is not None
    return process, json.loads(process.stdout.readline())


def urgent(pid: int, priority: int) -> bool:
    """Give a process real-time priority, where that is granted; return whether it was."""
    try:
        os.sched_setscheduler(pid, os.SCHED_RR, os.sched_param(priority))
    except (AttributeError, PermissionError):
        return False
    return True


def usual() -> None:
    """Give this process the priority of anything else again."""
    with suppress(AttributeError, PermissionError):
        os.sched_setscheduler(0, os.SCHED_OTHER, os.sched_param(0))


@dataclass
class Run:
    """One drive. `dues`: when each set is due, by its number; `known`: when, how far off the clock is, what is said."""

    begun_ns: int
    dues: dict[int, int] = field(default_factory=dict)
    known: list[tuple[float, float, float]] = field(default_factory=list)
    last_ns: int = 0
    heard_ns: int = 0
    again: int = 0

    def at_s(self, at_ns: int) -> float:
        return (at_ns - self.begun_ns) * 1e-9


def drive(output: Output, run: Run, seconds: float, lead_s: float, ends: Ends, sends: bool = True) -> None:
    """Tick the output for a while, as the engine does. Error: LinkError as the output raises it."""
    tick_ns = time.monotonic_ns()
    until_ns = tick_ns + round(seconds * 1e9)
    run.heard_ns = max(run.heard_ns, tick_ns)
    while tick_ns < until_ns:
        while (left_ns := tick_ns - time.monotonic_ns()) > 0:
            port = output.fileno()
            assert port is not None
            if select.select([port], [], [], left_ns * 1e-9)[0]:
                hear(output, run)
        now_ns = time.monotonic_ns()
        hear(output, run)
        output.look(now_ns)
        ends.spy.look(now_ns)
        if sends and now_ns - run.heard_ns < SILENT_S * 1e9:
            run.last_ns = tick_ns + round(lead_s * 1e9)
            if isinstance(output, DeviceOutput):
                run.dues[output.number] = run.last_ns
            output.send(Setpoint(run.last_ns, *plan(run.at_s(run.last_ns))))
        if isinstance(output, DeviceOutput) and output.ready:
            run.again = output.unheard.again
            if not run.known or run.at_s(now_ns) - run.known[-1][0] >= 0.5:
                off_ns = output.clock.device_ns(now_ns) - (now_ns - ends.boot_ns)
                run.known.append((run.at_s(now_ns), off_ns * 1e-9, output.clock.error_s(now_ns)))
        # what is late is skipped, as the engine does
        tick_ns = max(tick_ns + TICK_NS, time.monotonic_ns() - TICK_NS)


def hear(output: Output, run: Run) -> None:
    """Take in what has come."""
    now_ns = time.monotonic_ns()
    if output.read(now_ns):
        run.heard_ns = now_ns


def listens(output: Output, run: Run, ends: Ends) -> None:
    """Have the device listen, five times as after a reset. The move begins a while later, after sets at rest."""
    for _ in range(5):
        output.ask()
        drive(output, run, 0.1, 0.0, ends, sends=False)
    run.begun_ns = time.monotonic_ns() + REST_NS
