"""Trials in simulated time: the bench, and a device in this process at the other end of its wire."""

import importlib
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Protocol

from sequencer.takes.conformance.bench import Bench
from sequencer.takes.conformance.clauses import Result, chosen, tried

REFERENCE = Path(__file__).parents[2] / "docs" / "device"
MS_NS = 1_000_000
BEGIN_NS = 5_000_000_000_000  # of the host's clock, when the device is begun


class Ends(Protocol):
    """A device without its port and clock, whose time begins with it."""

    def hear(self, packet: bytes, now_ns: int) -> None: ...

    def answers(self, now_ns: int) -> list[bytes]: ...


def reference(name: str) -> Any:
    """Return a module of the reference device; what MicroPython runs, Python runs too."""
    if str(REFERENCE) not in sys.path:
        sys.path.append(str(REFERENCE))
    return importlib.import_module(name)


class Reference:
    """The reference device: two axes, one of them with a travel. `kind` may be a broken one."""

    def __init__(self, kind: Callable[..., Any] | None = None, room: int = 40, rate: int = 200) -> None:
        axis = reference("axis")
        axes = [axis.Axis("pan", 60.0, 120.0), axis.Axis("tilt", 40.0, 80.0, -30.0, 60.0)]
        self.device = (kind or reference("device").Device)("on the bench", axes, 4711, rate, room)
        self.device.switch = lambda place: int(axes[0].raw() < -5) if place == 0 else None

    def hear(self, packet: bytes, now_ns: int) -> None:
        self.device.hear(packet, "host", now_ns)

    def answers(self, now_ns: int) -> list[bytes]:
        while (at := self.device.wakes()) <= now_ns:
            self.device.advance(at)
        return [packet for packet, _ in self.device.packets(now_ns)]


def run(bench: Bench, device: Ends, names: Sequence[str] = (), wire_ns: int = MS_NS) -> list[Result]:
    """Try a device, `wire_ns` away each way; return what it came to."""
    results: list[Result] = []
    bench.now_ns = BEGIN_NS
    steps = tried(bench, chosen(bench.schedules, names), results.append)
    there: list[tuple[int, bytes]] = []
    back: list[tuple[int, bytes]] = []
    for wait_s in steps:
        until_ns = bench.now_ns + max(round(wait_s * 1e9), MS_NS)
        while bench.now_ns < until_ns:
            while bench.out:
                there.append((bench.now_ns + wire_ns, bench.out.popleft()))
            bench.now_ns += MS_NS
            now_ns = bench.now_ns
            back += [(now_ns + wire_ns, packet) for packet in device.answers(now_ns - BEGIN_NS)]
            for _, packet in [one for one in there if one[0] <= now_ns]:
                device.hear(packet, now_ns - BEGIN_NS)
            there = [one for one in there if one[0] > now_ns]
            for _, packet in [one for one in back if one[0] <= now_ns]:
                bench.hear(packet, now_ns)
            back = [one for one in back if one[0] > now_ns]
    return results
