"""What one tick of a motor board's lines and of a MAVLink head costs; they take six axes and three at most."""

import math
import socket
import statistics
import time

import numpy as np

from sequencer.adapters.gcode_boards.board import read_board
from sequencer.adapters.outputs.gcode import GcodeOutput
from sequencer.rig.axis import Axis, AxisKind, Rig
from sequencer.rig.signals import Setpoint
from sequencer.shell.kinds import open_output
from tests.bench.encode import cost_us
from tests.bench.table import Table

MOST_US = 100.0
TICK_NS = 4_000_000
TICKS = 1_000
ROUNDS = 9
LETTERS = "XYZABC"


def rig(*kinds: AxisKind) -> Rig:
    return Rig(
        name="bench",
        axes=tuple(
            Axis(name=f"axis{number}", kind=kind, unit="deg", travel=None, speed=600, acceleration=120, jerk=600)
            for number, kind in enumerate(kinds)
        ),
    )


class Taken:
    """A line whose board acknowledges at once."""

    def __init__(self) -> None:
        self._answers = b""

    def fileno(self) -> None:
        return None

    def write(self, _: bytes) -> bool:
        self._answers += b"ok\n"
        return True

    def urgent(self, _: bytes) -> None:
        pass

    def go_on(self) -> None:
        pass

    def read(self) -> bytes:
        answers, self._answers = self._answers, b""
        return answers


def gcode_us(hz: int) -> tuple[float, float]:
    """Return what a tick costs in the mean, and at the 99th percentile, while all six axes move."""
    axes = rig(*("pan",) * 6)
    letters = "&".join(f"axis{number}={letter}" for number, letter in enumerate(LETTERS))
    board = read_board(f"gcode:/dev/bench?baud=4000000&hz={hz}&window=1024&lines=64&{letters}", axes)
    output = GcodeOutput(Taken(), board, axes)
    ahead_ns = round((board.held_s + 0.28) * 1e9)
    phases = np.arange(6.0)
    taken = []
    now_ns = 0
    for tick in range(TICKS + 200):
        now_ns += TICK_NS
        setpoint = Setpoint(now_ns + ahead_ns, 90 * np.sin(tick * 0.01 + phases), np.zeros(6))
        begun = time.thread_time_ns()
        output.read(now_ns)
        output.look(now_ns)
        output.send(setpoint)
        taken.append((time.thread_time_ns() - begun) / 1e3)
    if output.trouble():
        raise AssertionError(f"the board was not kept fed, so the cost says nothing: {output.trouble()}")
    counted = sorted(taken[200:])
    return statistics.fmean(counted), counted[int(0.99 * len(counted))]


def mavlink_us(form: str) -> float:
    """Return what `send` costs when the head does not read: its full buffer drops datagrams, as a network would."""
    kinds: tuple[AxisKind, ...] = ("pan", "tilt", "roll") if form == "attitude" else ("pan", "tilt")
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as head:
        head.bind(("127.0.0.1", 0))
        with open_output(f"mavlink://127.0.0.1:{head.getsockname()[1]}?form={form}", rig(*kinds)) as output:
            setpoint = Setpoint(0, np.linspace(-40, 40, len(kinds)), np.linspace(-5, 5, len(kinds)))
            return cost_us(lambda: output.send(setpoint))[0]


def answer_us() -> float:
    """Return what reading one answer of a head costs, with the system's own cost of a datagram."""
    from pymavlink.dialects.v20 import common

    mav = common.MAVLink(None, srcSystem=1, srcComponent=154)
    status = mav.gimbal_device_attitude_status_encode(0, 0, 1, 32, [1, 0, 0, 0], 0, 0, 0, 0, math.nan, math.nan)
    packet = bytes(status.pack(mav))
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as head:
        head.bind(("127.0.0.1", 0))
        with open_output(f"mavlink://127.0.0.1:{head.getsockname()[1]}", rig("pan", "tilt", "roll")) as output:
            output.look(0)
            _, place = head.recvfrom(300)

            def answered() -> None:
                head.sendto(packet, place)
                if len(output.read(1)) != 1:
                    raise AssertionError("the answer was not understood, so its cost says nothing")

            return cost_us(answered)[0]


def tables() -> list[Table]:
    rounds = [[gcode_us(hz) for hz in (50, 250)] for _ in range(ROUNDS)]
    rows: list[tuple[str, float, float | None]] = []
    for place, hz in enumerate((50, 250)):
        mean_us, most_us = (statistics.median(one[place][which] for one in rounds) for which in (0, 1))
        rows.append((f"gcode, 6 axes that move, hz={hz}: read, look and send", mean_us, most_us))
    rows += [(f"mavlink, form={form}: encode and send", mavlink_us(form), None) for form in ("attitude", "pitchyaw")]
    rows.append(("mavlink: send and read an answer", answer_us(), None))
    return [
        Table(
            "Outputs to motor boards and heads, one tick",
            ("work", "us", "99 of 100 ticks below, us", f"at most {MOST_US:.0f}"),
            [row(*one) for one in rows],
            "Processor time. gcode: against a board that acknowledges at once, median of rounds; a piece is cut in one "
            "tick of five at hz=50, in each at hz=250. mavlink: to a loopback socket, by pymavlink.",
        )
    ]


def row(work: str, cost: float, most: float | None) -> tuple[str, ...]:
    worst = cost if most is None else most
    return (work, f"{cost:.1f}", "" if most is None else f"{most:.1f}", "yes" if worst <= MOST_US else "NO")
