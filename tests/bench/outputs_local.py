"""What one tick of 16 axes costs through the outputs that stay on this machine: MIDI, and files."""

import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from sequencer.adapters.outputs.midi import MidiOutput, parse_address
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.signals import Setpoint
from sequencer.shell.kinds import open_output
from tests.bench.table import Table

AXES = 16
TICKS = 2000
TICK_S = 0.001
LIMIT_US = 100.0
RIG = Rig(
    name="bench",
    axes=tuple(
        Axis(name=f"axis{number}", kind="pan", unit="deg", travel=(-180, 180), speed=60, acceleration=120, jerk=600)
        for number in range(AXES)
    ),
)


class Nobody:
    """A port whose messages go nowhere."""

    ahead_ns = 0

    def send(self, data: bytes, due_ns: int) -> None:
        """Take a message."""

    def check(self, now_ns: int) -> None:
        """Be there."""


def setpoint(tick: int) -> Setpoint:
    position = 90 * np.sin(tick / 100 + np.arange(AXES))
    return Setpoint(tick * 4_000_000, position, position / 10, tick / 250)


def paced_us(send: Callable[[Setpoint], None]) -> tuple[float, float]:
    """Return the median and the 99th percentile of what the call takes, one a tick, as the engine makes it."""
    taken = []
    for tick in range(TICKS):
        one = setpoint(tick)
        begun_ns = time.perf_counter_ns()
        send(one)
        taken.append((time.perf_counter_ns() - begun_ns) / 1e3)
        time.sleep(TICK_S)
    return statistics.median(taken), float(np.percentile(taken, 99))


def row(name: str, send: Callable[[Setpoint], None]) -> tuple[str, ...]:
    median_us, high_us = paced_us(send)
    return (name, f"{median_us:.1f}", f"{high_us:.1f}", "yes" if median_us < LIMIT_US else "NO")


def midi(way: str) -> MidiOutput:
    ways = "&".join(f"{axis.name}={way.format(place)}" for place, axis in enumerate(RIG.axes))
    return MidiOutput(Nobody(), parse_address(f"midi:bench?{ways}&wire=program", RIG))


def tables() -> list[Table]:
    """Return the table; every axis moves in every tick."""
    rows = [
        row("midi, controller pairs", midi("cc{}").send),
        row("midi, parameters (NRPN)", midi("nrpn{}").send),
    ]
    with tempfile.TemporaryDirectory() as folder:
        for kind in ("csv", "mcap"):
            path = Path(folder) / f"bench.{kind}"
            with open_output(f"{kind}:{path}", RIG) as output:
                rows.append(row(f"{kind}, handed to its thread", output.send))
    return [
        Table(
            f"Outputs of this machine, one tick of {AXES} axes",
            ("output", "median, us", "99th percentile, us", f"under {LIMIT_US:.0f} us"),
            rows,
            "The time of the call that the tick makes, one a millisecond. MIDI without a port's own cost.",
        )
    ]
