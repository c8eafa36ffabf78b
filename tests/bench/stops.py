"""From the cause of a stop to the last setpoint of the move, to the first of the stop, and to standstill.

Real processes, and a rig at a socket that says when what came; each stop in a random phase of a move of two axes.
`python -m tests.bench.stops --stops 5` for fewer than the 60 of each cause, which take half an hour.
"""

import argparse
import importlib.util
import json
import os
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from rich.console import Console

from tests.bench import stop_causes
from tests.bench.stop_causes import CUT, KILLED, MIDI, MUTE, OSC, PAD, SILENT, WORD
from tests.bench.stopped import SPEED, STOPPING_S, TICK_HZ, Stopped, spread
from tests.bench.table import Table

STOPS = 60
SCREEN = "stop key in the editor's window"
HAS_QT = importlib.util.find_spec("PyQt6") is not None
TICK_MS = 1000 / TICK_HZ
_IN_PROCESS_MS = TICK_MS + 2.0


@dataclass(frozen=True, slots=True)
class Bar:
    """What 99 % of the stops by a cause may take to the first setpoint of the stop, and why that much."""

    cause: str
    most_ms: float
    why: str


BARS = (
    Bar(WORD, _IN_PROCESS_MS, "a tick and 2 ms"),
    Bar(SCREEN, _IN_PROCESS_MS + 1000 / 60, "a tick, 2 ms, and a picture at 60 a second that is being drawn"),
    Bar(PAD, _IN_PROCESS_MS + 10.0, "a tick, 2 ms, and the 10 ms in which a pad is read once"),
    Bar(OSC, 10.0, "10 ms from the packet"),
    Bar(MIDI, 10.0, "10 ms from the bytes"),
    Bar(MUTE, 500.0 + TICK_MS + _IN_PROCESS_MS, "the half second, a tick for the last answer, a tick and 2 ms"),
    Bar(CUT, 500.0 + TICK_MS + _IN_PROCESS_MS, "the same"),
    Bar(KILLED, 100.0 + 2 * 10.0, "the tenth of a second, and two looks of the watchdog"),
)
NOTE = (
    "From the cause, at 50 / 99 / 100 %. A setpoint is of the move where place and speed are the compiled move's at "
    "the instant for which it is due; arrivals are stamped by the kernel where it can. 0: none came after the cause. "
    "Where the rig is not heard, and where the engine is dead, no setpoint brakes: then the first of the stop is the "
    "order `/stop`, and the last setpoint is the last that came at all, with that half second, or that tenth, in it. "
    "A rig to which nothing comes brakes by itself after a quarter of a second; this one is the simulated rig, and it "
    f"stands below a thousandth of its speed. From full speed, {SPEED:g} deg/s, its limits let it stop in "
    f"{1e3 * STOPPING_S:.0f} ms, which is added to the bar where all stops are to have brought the setpoints to rest."
)


def screen(count: int) -> tuple[list[Stopped], list[str]]:
    """Return the stops from the editor's window, and why some were not counted."""
    environment = {**os.environ, "QT_QPA_PLATFORM": "offscreen"}
    command = [sys.executable, "-m", "tests.bench.stop_window", str(count)]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    if done.returncode:
        raise AssertionError(f"the window ended: {done.stderr[-2000:]}")
    found = json.loads(done.stdout.splitlines()[-1])
    return [Stopped(**one) for one in found["stops"]], [f"{SCREEN}: {why}" for why in found["left_out"]]


def tables(count: int = STOPS) -> list[Table]:
    """Measure, and return what to print."""
    counted = stop_causes.taken(count)
    dead = stop_causes.killed(count)
    stops = {**counted.stops, **dead.stops}
    left_out = [*counted.left_out, *dead.left_out]
    if HAS_QT:
        stops[SCREEN], more = screen(count)
        left_out += more
    columns = (
        "cause",
        "stops",
        "last setpoint of the move, ms",
        "first of the stop, ms",
        "99 % at most",
        "setpoints stand, ms",
        "all at most",
        "held",
        "the rig stands, ms",
    )
    agreed = f" The take's own word for which setpoint was the last agrees in {counted.agreeing} of {counted.takes}."
    again = f" Not counted and done again: {'; '.join(left_out)}." if left_out else ""
    bars = "; ".join(f"{bar.cause}: {bar.why}" for bar in BARS)
    note = f"{NOTE}{agreed}{again} Bars: {bars}."
    rows = [_row(bar, stops.get(bar.cause, [])) for bar in BARS]
    return [Table(f"From the cause of a stop, {TICK_HZ} ticks a second", columns, rows, note)]


def _row(bar: Bar, stops: Sequence[Stopped]) -> tuple[str, ...]:
    if not stops:
        return (bar.cause, "0", *["not measured here"] * 2, f"{bar.most_ms:.0f}", "", "", "", "")
    first, stand = ([getattr(one, name) for one in stops] for name in ("first_ms", "set_ms"))
    brakes = bar.cause not in (*SILENT, KILLED)
    stand_ms = bar.most_ms + 1e3 * STOPPING_S
    held = np.percentile(first, 99) <= bar.most_ms and not (brakes and max(stand) > stand_ms)
    return (
        bar.cause,
        str(len(stops)),
        spread([one.last_ms for one in stops]),
        spread(first),
        f"{bar.most_ms:.0f}",
        spread(stand) if brakes else "",
        f"{stand_ms:.0f}" if brakes else "",
        "yes" if held else "NO",
        spread([one.rest_ms for one in stops]),
    )


def main() -> None:
    from tests.bench.__main__ import show

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--stops", type=int, default=STOPS, help="of each cause")
    for table in tables(parser.parse_args().stops):
        show(Console(width=220), table)


if __name__ == "__main__":
    main()
