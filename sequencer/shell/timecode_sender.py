"""Plays the master: a process that sends MIDI timecode, told over standard input what to run and when.

`python -m sequencer.shell.timecode_sender --to pipe:4711 --rate 25` serves many runs, one after the other. A line in is
`{"run": {"from": "10:00:02:00", "until": "10:00:17:00", "speed": 1.0, "start_in_s": 0.1}}` or `{"stop": true}`; a run
that comes during another one takes its place. Lines out are `ready`, `running` (with `from_ns`, the monotonic instant
at which the position is `from`: at t it is `from` plus `speed` times the time since then), `done` and `error`. It
follows nobody and decides nothing about a rig.
"""

import argparse
import contextlib
import json
import math
import os
import queue
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import numpy as np

from sequencer.adapters.midi_ports.outs import SCHEMES, open_out
from sequencer.adapters.midi_ports.systems import MidiOut
from sequencer.errors import LinkError
from sequencer.shell.realtime import be_punctual
from sequencer.shell.waiting import wait_until
from sequencer.sync.address import mtc_rate, running, standing
from sequencer.timebase.rate import RATES, parse_rate
from sequencer.timebase.timecode import Counting, count, label, parse

_LOCATE_AHEAD_NS = 100_000_000
_STALL_NS = 1_000_000
_SLOWEST, _FASTEST = 0.001, 1000.0
_LATEST_S = 86_400.0

QUIT = '{"quit": true}'
Lines = queue.SimpleQueue[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One stretch of timecode. Unit: `start`, `end` whole frames from midnight; backward, `end` lies before `start`."""

    start: int
    end: int
    speed: float
    start_in_s: float = 0.1

    def __post_init__(self) -> None:
        if not _SLOWEST <= abs(self.speed) <= _FASTEST:
            raise ValueError(
                f"speed is {self.speed}; timecode runs forward at {_SLOWEST:g} to {_FASTEST:g}, or backward at as "
                "much below zero"
            )
        if (self.end - self.start) * self.speed < 0:
            raise ValueError("`until` lies on the wrong side of `from`; exchange them, or turn the speed round")
        if not 0 <= self.start_in_s <= _LATEST_S:
            raise ValueError(f"start_in_s is {self.start_in_s}; it must be from 0 to {_LATEST_S:.0f}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Faults:
    """What goes wrong on purpose. Unit: `jitter_s` one standard deviation; `lose` the part of quarter frames lost."""

    jitter_s: float = 0.0
    lose: float = 0.0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.jitter_s) and self.jitter_s >= 0):
            raise ValueError(f"jitter is {self.jitter_s} s; it must be zero or more")
        if not 0 <= self.lose <= 1:
            raise ValueError(f"the part that is lost is {self.lose}; it lies between 0 and 1")


def read_run(asked: dict[str, Any], counting: Counting) -> Run:
    """Return the run that a line asks for; labels more than half a day apart lie on two sides of midnight.

    Error: ValueError, TypeError, KeyError or OverflowError that say what is wrong.
    """
    start = int(count(parse(asked["from"], counting), counting))
    end = int(count(parse(asked["until"], counting), counting))
    day = counting.day
    return Run(
        start=start,
        end=end + day * round((start - end) / day),
        speed=float(asked.get("speed", 1.0)),
        start_in_s=float(asked.get("start_in_s", 0.1)),
    )


class Sender:
    """Sends runs at absolute instants, listening for the next line while it waits."""

    def __init__(self, out: MidiOut, counting: Counting, faults: Faults, seed: int, lines: Lines) -> None:
        self._out = out
        self._counting = counting
        self._faults = faults
        self._chance = np.random.default_rng(seed)
        self._lines = lines

    def serve(self) -> None:
        """Do what the lines say until the one that quits. Error: LinkError once the link is gone."""
        line = self._lines.get()
        while line != QUIT:
            cut_short: str | None = None
            try:
                asked = json.loads(line)
                if "run" in asked:
                    cut_short = self._play(read_run(asked["run"], self._counting))
                elif "stop" not in asked:
                    raise ValueError('write {"run": {"from": "10:00:00:00", "until": ...}} or {"stop": true}')
            except (ValueError, TypeError, KeyError, OverflowError) as fault:
                say({"error": f"{type(fault).__name__}: {fault}"})
            line = self._lines.get() if cut_short is None else cut_short

    def _play(self, run: Run) -> str | None:
        """Send one run; return the line that cut it short, if one did."""
        from_ns = time.monotonic_ns() + max(round(run.start_in_s * 1e9), _LOCATE_AHEAD_NS)
        told = {"from": str(label(run.start, self._counting)), "speed": run.speed, "from_ns": from_ns}
        say({"running": told})
        locate_ns = from_ns - _LOCATE_AHEAD_NS
        cut_short = self._wait(locate_ns - self._out.ahead_ns)
        sent = lost = stalls = 0
        latest_ns = 0
        if cut_short is None:
            self._out.send(standing(self._counting, run.start), locate_ns)
            for at_ns, message in self._quarters(run, from_ns):
                cut_short = self._wait(at_ns - self._out.ahead_ns)
                if cut_short is not None:
                    break
                if self._chance.random() < self._faults.lose:
                    lost += 1
                    continue
                late_ns = time.monotonic_ns() - (at_ns - self._out.ahead_ns)
                self._out.send(message, at_ns)
                sent += 1
                stalls += late_ns > _STALL_NS
                latest_ns = max(latest_ns, late_ns)
        say({"done": {**told, "sent": sent, "lost": lost, "stalls": stalls, "latest_ms": latest_ns / 1e6}})
        return cut_short

    def _quarters(self, run: Run, from_ns: int) -> Iterator[tuple[int, bytes]]:
        """Yield each quarter frame with the instant to send it at."""
        gap_ns = Fraction(1_000_000_000) / (4 * self._counting.rate.fraction * Fraction(run.speed))
        at_ns = from_ns
        for quarter, message in running(self._counting, run.start, backward=run.speed < 0):
            if (quarter - 4 * run.end) * run.speed > 0:
                return
            due_ns = from_ns + round((quarter - 4 * run.start) * gap_ns)
            # a late message holds back those behind it: a wire keeps their order
            at_ns = max(at_ns, due_ns + round(1e9 * self._faults.jitter_s * self._chance.standard_normal()))
            yield at_ns, message

    def _wait(self, until_ns: int) -> str | None:
        """Wait for an instant; return a line that comes before, as soon as it comes."""
        return wait_until(until_ns, self._listen)

    def _listen(self, for_s: float) -> str | None:
        try:
            return self._lines.get(timeout=for_s)
        except queue.Empty:
            return None


def say(message: dict[str, object]) -> None:
    """Print one line of JSON; whoever has stopped listening misses it."""
    with contextlib.suppress(BrokenPipeError):
        print(json.dumps(message), flush=True)


def hear_lines(descriptor: int, lines: Lines) -> None:
    """Put each line that comes in into `lines`, and the one that quits when no more can come."""
    # the descriptor itself, since a buffered stream that a thread waits on cannot be closed when the program ends
    rest = b""
    while piece := os.read(descriptor, 65_536):
        *whole, rest = (rest + piece).split(b"\n")
        for line in whole:
            if line.strip():
                lines.put(line.decode("utf-8", "replace"))
    lines.put(QUIT)


def main(arguments: list[str] | None = None) -> int:
    """Serve until standard input closes; return the exit status of the command's convention."""
    parser = argparse.ArgumentParser(
        prog="timecode_sender", description="Send MIDI timecode as told on standard input."
    )
    parser.add_argument("--to", required=True, help="where to: " + ", ".join(f"{scheme}:..." for scheme in SCHEMES))
    parser.add_argument("--rate", required=True, choices=list(RATES), help="frames a second")
    parser.add_argument("--drop", action="store_true", help="drop-frame counting")
    parser.add_argument("--jitter-ms", type=float, default=0.0, help="spread the sending instants: standard deviation")
    parser.add_argument("--lose", type=float, default=0.0, help="the part of quarter frames that is lost, 0 to 1")
    parser.add_argument("--seed", type=int, default=1, help="of jitter and losses")
    asked = parser.parse_args(arguments)
    lines: Lines = queue.SimpleQueue()
    try:
        faults = Faults(jitter_s=asked.jitter_ms / 1e3, lose=asked.lose)
        counting = Counting(parse_rate(asked.rate), asked.drop)
        mtc_rate(counting)
        with open_out(asked.to) as out:
            threading.Thread(target=hear_lines, args=(sys.stdin.fileno(), lines), daemon=True).start()
            say({"ready": {"to": asked.to, "timing": be_punctual()}})
            Sender(out, counting, faults, asked.seed, lines).serve()
    except ValueError as fault:
        say({"error": str(fault)})
        return 2
    except LinkError as fault:
        say({"error": str(fault)})
        return 3
    except KeyboardInterrupt:
        return 130
    return 0


if __name__ == "__main__":
    sys.exit(main())
