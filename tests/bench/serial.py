"""A serial peer that stalls while ticks go on, beside pyserial's own blocking write; and what SLIP costs a tick.

The line is a pair of terminals of this machine. At its other end a process reads as fast as the baud would carry, and
nothing at all for two seconds. How old a setpoint is when it is whole at the peer shows what waited on the way.
"""

import os
import pty
import select
import socket
import statistics
import time
import tty
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from multiprocessing import get_context
from multiprocessing.connection import Connection

import numpy as np
import serial
from pythonosc import slip

from sequencer.adapters.contract import Output
from sequencer.rig.axis import Rig
from sequencer.rig.signals import Setpoint
from sequencer.shell.kinds import open_output, output_kind
from sequencer.shell.realtime import be_punctual
from sequencer.wire.osc import Numbers, setpoint_addresses
from sequencer.wire.slip import Frames, frame
from sequencer.wire.timetag import IMMEDIATELY, timetag
from tests.bench.encode import AXES, ENOUGH, RIG, WALL_OFFSET_NS, by_python_osc, cost_us
from tests.bench.table import Table

BAUD = 115_200
TICK_NS = 4_000_000
RUN_S, STALL_S = 6.0, (1.5, 3.5)
MOST_MISSED = 0.01
MOST_US = 100.0
SMALL = Rig(name="bench", axes=RIG.axes[:4])
ADDRESSES = setpoint_addresses(SMALL.names)


@dataclass
class Heard:
    """What the peer got: sets with their age, and what was none."""

    ages_ms: list[float] = field(default_factory=list)
    malformed: int = 0


@dataclass
class Run:
    """How the ticks went."""

    done: int = 0
    lateness_ms: list[float] = field(default_factory=list)
    longest_ms: float = 0.0


def peer(far: int, near: int, begun_ns: int, said: Connection) -> None:
    """Read as fast as the baud carries, but in the stall; the first position of a set is its tick's number."""
    os.close(near)
    os.set_blocking(far, False)
    frames, numbers, heard = Frames(), Numbers(ADDRESSES), Heard()
    read, ends_s = 0.0, RUN_S + 1.0
    while (now_s := (time.monotonic_ns() - begun_ns) * 1e-9) < ends_s:
        time.sleep(0.001)
        stalled = STALL_S[0] <= now_s < STALL_S[1]
        room = int((now_s - max(0.0, min(now_s, STALL_S[1]) - STALL_S[0])) * BAUD / 10 - read)
        if stalled or room <= 0 or not select.select([far], [], [], 0)[0]:
            # a wire that rested carries no more afterwards
            read += max(0, room - 64) if not stalled else 0
            continue
        data = os.read(far, room)
        read += len(data)
        for packet in frames.feed(data):
            found = numbers.read(packet)
            if found is None:
                heard.malformed += 1
            else:
                heard.ages_ms.append((time.monotonic_ns() - begun_ns - found[1][0] * TICK_NS) * 1e-6)
    heard.malformed += frames.garbage
    said.send(heard)


def ticks(begun_ns: int, send: Callable[[int], object]) -> Run:
    """Run as the engine does: to the absolute deadline, whole periods left out where one is late."""
    run, number = Run(), 0
    while number * TICK_NS < RUN_S * 1e9:
        deadline_ns = begun_ns + number * TICK_NS
        left_ns = deadline_ns - time.monotonic_ns()
        if left_ns > 0:
            time.sleep(left_ns * 1e-9)
        woken_ns = time.monotonic_ns()
        send(number)
        after_ns = time.monotonic_ns()
        run.done += 1
        run.lateness_ms.append((woken_ns - deadline_ns) * 1e-6)
        run.longest_ms = max(run.longest_ms, (after_ns - woken_ns) * 1e-6)
        number = max(number + 1, -(-(after_ns - begun_ns) // TICK_NS))
    return run


def measured(writer: str) -> tuple[Run, Heard]:
    """Return how a run to a peer of its own went. It asks for what the engine asks for, so give it its own process."""
    be_punctual()
    far, near = pty.openpty()
    tty.setraw(near)
    path = os.ttyname(near)
    here, there = get_context("fork").Pipe()
    begun_ns = time.monotonic_ns() + 200_000_000
    process = get_context("fork").Process(target=peer, args=(far, near, begun_ns, there))
    process.start()
    os.close(far)
    there.close()
    try:
        with contextmanager(WRITERS[writer])(path) as send:
            run = ticks(begun_ns, send)
            # leaving the block would drop what the peer has not read
            heard = here.recv()
        return run, heard
    finally:
        process.join()
        os.close(near)


def setpoint(number: int) -> tuple[np.ndarray, np.ndarray]:
    position = np.full(len(SMALL.axes), 0.25)
    position[0] = number
    return position, np.full(len(SMALL.axes), -6.0)


def here(path: str) -> Iterator[Callable[[int], object]]:
    with open_output(f"osc+serial:{path}?baud={BAUD}&timetag=now", SMALL) as output:

        def send(number: int) -> None:
            output.read(time.monotonic_ns())
            output.send(Setpoint(0, *setpoint(number)))

        yield send


def by_pyserial(path: str) -> Iterator[Callable[[int], object]]:
    numbers = Numbers(ADDRESSES)
    with serial.Serial(path, BAUD) as port:

        def send(number: int) -> None:
            position, velocity = setpoint(number)
            port.write(slip.encode(numbers.pack(IMMEDIATELY, position.tolist() + velocity.tolist())))

        yield send


def nothing(_: str) -> Iterator[Callable[[int], object]]:
    yield lambda number: None


WRITERS = {"osc+serial": here, "pyserial, blocking": by_pyserial, "nothing, for comparison": nothing}


def stall() -> Table:
    wanted = int(RUN_S * 1e9) // TICK_NS
    rows = []
    for name in WRITERS:
        with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
            run, heard = pool.submit(measured, name).result()
        good = run.done >= (1 - MOST_MISSED) * wanted and not heard.malformed
        ages = np.array(heard.ages_ms or [np.nan])
        rows.append(
            (
                name,
                f"{run.done} of {wanted}",
                f"{np.percentile(run.lateness_ms, 99):.2f}",
                f"{run.longest_ms:.2f}",
                str(len(heard.ages_ms)),
                str(heard.malformed),
                f"{np.median(ages):.0f}" if heard.ages_ms else "-",
                f"{ages.max():.0f}" if heard.ages_ms else "-",
                "yes" if good else "NO",
            )
        )
    return Table(
        f"A serial peer that stalls for {STALL_S[1] - STALL_S[0]:g} s, {BAUD} baud, {1e9 / TICK_NS:.0f} ticks a second",
        (
            "writer",
            "ticks done",
            "lateness p99, ms",
            "longest write, ms",
            "sets heard",
            "malformed",
            "age median, ms",
            "age most, ms",
            "99 percent, none malformed",
        ),
        rows,
        f"{len(SMALL.axes)} axes, {carried()} The terminal tells nobody what it holds, so what was written before the "
        f"stall was noticed, its buffer full, is old when the peer reads on; a driver that tells is not written to.",
    )


def carried() -> str:
    why = output_kind("osc+serial:x").carries(f"osc+serial:x?baud={BAUD}&timetag=now", SMALL).why
    return f"{why}."


def framing() -> Table:
    position, velocity = np.linspace(-90, 90, AXES).tolist(), np.linspace(-30, 30, AXES).tolist()
    addresses = setpoint_addresses(RIG.names)
    ours = Numbers(addresses)
    tag = timetag(0, WALL_OFFSET_NS)

    def encode() -> bytes:
        return frame(ours.pack(tag, position + velocity))

    def encode_by_python_osc() -> bytes:
        return slip.encode(by_python_osc(addresses, position + velocity, WALL_OFFSET_NS / 1e9))

    if encode() != encode_by_python_osc():
        raise AssertionError("the two frames differ, so their cost cannot be compared")
    frames, packet = Frames(), encode()
    if frames.feed(packet) != [slip.decode(packet)]:
        raise AssertionError("the two readings differ, so their cost cannot be compared")
    written_us, theirs_us = cost_us(encode, encode_by_python_osc)
    read_us, read_theirs_us = cost_us(lambda: frames.feed(packet), lambda: slip.decode(packet))
    share = written_us / theirs_us
    enough = "yes" if share <= ENOUGH else "NO"
    read = ("read a frame", f"{read_us:.2f}", f"{read_theirs_us:.2f}", f"{read_us / read_theirs_us:.3f}", "no limit")
    rows = [("encode a tick and frame it", f"{written_us:.2f}", f"{theirs_us:.2f}", f"{share:.3f}", enough), read]
    return Table(
        f"OSC for {AXES} axes in SLIP frames, {len(packet)} bytes",
        ("work", "here, us", "python-osc, us", "share", f"at most {ENOUGH:.2f}"),
        rows,
        "Processor time, median of rounds in which both take turns; the frames are the same bytes.",
    )


def per_tick() -> Table:
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        rows = pool.submit(tick_rows).result()
    return Table(
        f"OSC outputs over streams, one tick of {AXES} axes",
        ("output", "a tick, us", "sets that went out", f"at most {MOST_US:.0f} us"),
        rows,
        "Look, read and send as the tick calls them, every 4 ms, so that nothing is warm; processor time, median. What "
        "the system does to hand the bytes to the other end, on this machine too, is in it.",
    )


def tick_rows() -> list[tuple[str, ...]]:
    be_punctual()
    rows = []
    moved = Setpoint(0, np.linspace(-90, 90, AXES), np.linspace(-30, 30, AXES))
    with (
        socket.create_server(("127.0.0.1", 0)) as server,
        open_output(f"osc+tcp://127.0.0.1:{server.getsockname()[1]}", RIG) as output,
    ):
        rig, _ = server.accept()
        rows.append(tick_row("osc+tcp", output, moved, lambda: rig.recv(1 << 20)))
        rig.close()
    far, near = pty.openpty()
    tty.setraw(near)
    with open_output(f"osc+serial:{os.ttyname(near)}?baud=4000000&timetag=now", RIG) as output:
        rows.append(tick_row("osc+serial", output, moved, lambda: os.read(far, 1 << 20)))
    os.close(far)
    os.close(near)
    return rows


def tick_row(name: str, output: Output, moved: Setpoint, drain: Callable[[], object]) -> tuple[str, ...]:
    costs = []
    for _ in range(300):
        began_ns = time.thread_time_ns()
        output.look(time.monotonic_ns())
        output.read(time.monotonic_ns())
        output.send(moved)
        costs.append((time.thread_time_ns() - began_ns) * 1e-3)
        time.sleep(TICK_NS * 1e-9)
        drain()
    cost = statistics.median(costs)
    went = 300 - getattr(output, "dropped", 300)
    return (name, f"{cost:.1f}", f"{went} of 300", "yes" if cost <= MOST_US else "NO")


def tables() -> list[Table]:
    return [stall(), framing(), per_tick()]
