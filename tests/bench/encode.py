"""What OSC costs in one tick of 16 axes, beside python-osc in the same run."""

import socket
import statistics
import time
import timeit
from collections.abc import Callable

import numpy as np
from pythonosc.osc_bundle import OscBundle
from pythonosc.osc_bundle_builder import OscBundleBuilder
from pythonosc.osc_message_builder import OscMessageBuilder

from sequencer.rig.axis import Axis, Rig
from sequencer.rig.signals import Setpoint
from sequencer.shell.kinds import open_output
from sequencer.wire.osc import Numbers, actual_addresses, setpoint_addresses
from sequencer.wire.timetag import timetag
from tests.bench.table import Table

AXES = 16
ROUNDS = 15
WORTH_S = 0.02
WALL_OFFSET_NS = 1_700_000_000_250_000_000
ENOUGH = 1 / 5
RIG = Rig(
    name="bench",
    axes=tuple(
        Axis(name=f"axis{number}", kind="pan", unit="deg", travel=None, speed=60, acceleration=120, jerk=600)
        for number in range(AXES)
    ),
)


def cost_us(*works: Callable[[], object]) -> list[float]:
    """Return the median processor time of each work in microseconds, all taking turns so that noise meets all alike."""
    timers = [timeit.Timer(work, timer=time.process_time) for work in works]
    calls = [max(1, round(WORTH_S / (timer.timeit(20) / 20))) for timer in timers]
    rounds = [
        [timer.timeit(number) / number for timer, number in zip(timers, calls, strict=True)] for _ in range(ROUNDS)
    ]
    return [statistics.median(taken) * 1e6 for taken in zip(*rounds, strict=True)]


def by_python_osc(addresses: tuple[str, ...], values: list[float], unix_s: float) -> bytes:
    bundle = OscBundleBuilder(unix_s)  # type: ignore[arg-type]  # takes floats, says int
    for address, value in zip(addresses, values, strict=True):
        message = OscMessageBuilder(address)
        message.add_arg(value, "f")
        bundle.add_content(message.build())
    return bytes(bundle.build().dgram)


def read_by_python_osc(packet: bytes) -> tuple[float, list[float]]:
    bundle = OscBundle(packet)
    return bundle.timestamp, [message.params[0] for message in bundle]


def tables() -> list[Table]:
    position, velocity = np.linspace(-90, 90, AXES), np.linspace(-30, 30, AXES)
    setpoints, actuals = setpoint_addresses(RIG.names), actual_addresses(RIG.names)
    ours = Numbers(setpoints)
    answers = Numbers(actuals)
    answer = answers.pack(timetag(0, WALL_OFFSET_NS), position.tolist())

    def encode() -> bytes:
        return ours.pack(timetag(0, WALL_OFFSET_NS), position.tolist() + velocity.tolist())

    def encode_by_python_osc() -> bytes:
        return by_python_osc(setpoints, position.tolist() + velocity.tolist(), WALL_OFFSET_NS / 1e9)

    if encode() != encode_by_python_osc():
        raise AssertionError("the two encodings differ, so their cost cannot be compared")
    written_us, theirs_us = cost_us(encode, encode_by_python_osc)
    read_us, read_theirs_us = cost_us(lambda: answers.read(answer), lambda: read_by_python_osc(answer))
    return [
        Table(
            f"OSC for {AXES} axes",
            ("work", "here, us", "python-osc, us", "share", f"at most {ENOUGH:.2f}"),
            [
                row(f"encode a tick: {len(setpoints)} messages, {len(encode())} bytes", written_us, theirs_us),
                row(f"decode an answer: {len(actuals)} messages", read_us, read_theirs_us),
            ],
            "Processor time, median of rounds in which both take turns; the encodings are the same bytes.",
        ),
        Table(
            "OSC output, one tick",
            ("work", "us"),
            [("encode and send to a loopback socket", f"{send_us(position, velocity):.2f}")],
            "The call that the tick makes, with the system's own cost of a datagram.",
        ),
    ]


def row(work: str, ours_us: float, theirs_us: float) -> tuple[str, ...]:
    share = ours_us / theirs_us
    return (work, f"{ours_us:.2f}", f"{theirs_us:.2f}", f"{share:.3f}", "yes" if share <= ENOUGH else "NO")


def send_us(position: np.ndarray, velocity: np.ndarray) -> float:
    """Return what `send` costs when the rig does not read: its full buffer drops datagrams, as a network would."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as rig:
        rig.bind(("127.0.0.1", 0))
        with open_output(f"osc://127.0.0.1:{rig.getsockname()[1]}", RIG) as output:
            setpoint = Setpoint(0, position, velocity)
            return cost_us(lambda: output.send(setpoint))[0]
