"""The simulated rig as a process of its own: it listens to OSC on 127.0.0.1 as a real rig would, and answers.

`python -m sequencer.shell.simulated_rig --rig projects/NAME/rig.json --port 0 --seed 1` prints `{"port": N}` when it
listens and runs until its standard input closes, where that is a pipe, or until it is told to end. It refuses other
machines. What it hears and says is described in adapters/outputs/osc.py, how its motors behave in rig/servo.py.

It answers 250 times a second to the sender of the newest setpoint or question, for two seconds after it. A setpoint
counts from its timetag; without one, or with one that is over 0.25 s late or over a second ahead, from its receipt.
An axis that has `switch_at` says how its homing switch is, 25 times a second and whenever that changes.
Faults can be set for trying out what playback does then: see `--help`.
"""

import argparse
import contextlib
import json
import math
import os
import select
import signal
import socket
import stat
import sys
import time
from collections import deque
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from sequencer.adapters import wallclock
from sequencer.errors import PeerError, SequencerError
from sequencer.project.files import RIG
from sequencer.project.store import load_rig
from sequencer.rig import servo
from sequencer.rig.axis import Rig
from sequencer.rig.signals import Setpoint
from sequencer.wire.osc import Numbers, actual_addresses, command, decode, setpoint_addresses, switch_addresses
from sequencer.wire.timetag import WallOffset, instant, timetag

Sender = tuple[str, int]

WAKE_NS = 2_000_000
ANSWER_NS = 4_000_000
LISTENED_NS = 2_000_000_000
SWITCH_NS = 40_000_000
_LATEST_NS = servo.LOST_NS
_FURTHEST_NS = 1_000_000_000
_MEASURE_EVERY_NS = 1_000_000_000
_DATAGRAMS_PER_WAKE = 64
_LARGEST = 65_535
_MOST_WAITING = 10_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Faults:
    """What is wrong with this rig, on purpose.

    `drop` is the share of datagrams that get lost, each way. `vanish_after_s` counts from the first setpoint: then the
    rig neither hears nor answers, as when a cable is pulled. `away_s` is such a while, from and to, after which the
    cable is back. `on_receipt` is a rig that cannot read timetags, `no_echo` one that knows no ping. `count_off` is by
    how much axes, by their names, say more than where they truly stand, as after power was off.
    """

    mute: bool = False
    answer_delay_s: float = 0.0
    vanish_after_s: float | None = None
    away_s: tuple[float, float] | None = None
    drop: float = 0.0
    on_receipt: bool = False
    no_echo: bool = False
    count_off: tuple[tuple[str, float], ...] = ()


class Device:
    """The rig without its socket and clock: datagrams go in and come out, and time is an argument.

    `offset` makes the monotonic clock wall-clock time; `left_aside` counts datagrams that were not understood. `count`
    is what each axis says, less where it truly stands. Shape: (A,).
    Error: ValueError for a count of an axis that the rig has not.
    """

    def __init__(self, rig: Rig, seed: int, faults: Faults, offset: WallOffset) -> None:
        self.offset = offset
        self.left_aside = 0
        self.motors = servo.at_home(rig, offset.at_ns)
        noise, luck = np.random.SeedSequence(seed).spawn(2)
        self._noise = np.random.default_rng(noise)
        self._luck = np.random.default_rng(luck)
        self._faults = faults
        self._axes = len(rig.axes)
        self._rig = rig
        self.count = np.zeros(len(rig.axes))
        for name, off in faults.count_off:
            self.count[rig.index(name)] = off
        self._heres = {f"/rig/{name}/here": place for place, name in enumerate(rig.names)}
        self._switches: tuple[bool | None, ...] = ()
        self._switch_ns = offset.at_ns
        addresses = setpoint_addresses(rig.names)
        self._setpoints = Numbers(addresses)
        self._places = {address: place for place, address in enumerate(addresses)}
        self._actuals = Numbers(actual_addresses(rig.names))
        self._listener: Sender | None = None
        self._heard_ns = 0
        self._first_ns: int | None = None
        self._answer_ns = offset.at_ns
        self._waiting: deque[tuple[int, bytes, Sender]] = deque(maxlen=_MOST_WAITING)

    def hear(self, packet: bytes, sender: Sender, at_ns: int) -> None:
        """Take a datagram in that arrived at `at_ns`."""
        if self._vanished(at_ns) or self._lost():
            return
        read = self._setpoints.read(packet) or self._slow(packet, sender, at_ns)
        if read is not None:
            self._obey(*read, sender, at_ns)

    def answers(self, now_ns: int) -> list[tuple[bytes, Sender]]:
        """Let time pass until `now_ns`; return the datagrams to send now."""
        self.motors = servo.advance(self.motors, now_ns)
        if self.motors.at_ns >= self._answer_ns:
            self._answer_ns = max(self._answer_ns + ANSWER_NS, self.motors.at_ns)
            self._answer(now_ns)
        sent = []
        while self._waiting and self._waiting[0][0] <= now_ns:
            _, packet, listener = self._waiting.popleft()
            if not self._vanished(now_ns) and not self._lost():
                sent.append((packet, listener))
        return sent

    def _answer(self, now_ns: int) -> None:
        if self._listener is not None and now_ns - self._heard_ns <= LISTENED_NS and not self._faults.mute:
            self._say(self._actual(), self._listener, now_ns)
            self._say_switches(self._listener, now_ns)

    def _say_switches(self, listener: Sender, now_ns: int) -> None:
        switches = servo.closed(self.motors, self._rig)
        if switches == self._switches and now_ns < self._switch_ns:
            return
        self._switches, self._switch_ns = switches, now_ns + SWITCH_NS
        for address, closed in zip(switch_addresses(self._rig.names), switches, strict=True):
            if closed is not None:
                self._say(command(address, int(closed)), listener, now_ns)

    def _actual(self) -> bytes:
        actual = servo.measure(self.motors, self._noise) + self.count
        return self._actuals.pack(timetag(self.motors.at_ns, self.offset.offset_ns), actual.tolist())

    def _say(self, packet: bytes, listener: Sender, now_ns: int) -> None:
        self._waiting.append((now_ns + round(self._faults.answer_delay_s * 1e9), packet, listener))

    def _echo(self, number: int, sender: Sender, at_ns: int) -> None:
        """Bring a number back, with where the axes stand; that makes nobody the one whom the rig obeys."""
        if not self._faults.mute:
            self._say(command("/rig/pong", number), sender, at_ns)
            self._say(self._actual(), sender, at_ns)

    def _obey(self, tag: int, values: list[float], sender: Sender, at_ns: int) -> None:
        self._listener, self._heard_ns = sender, at_ns
        if self._first_ns is None:
            self._first_ns = at_ns
        due_ns = at_ns if self._faults.on_receipt else instant(tag, self.offset.offset_ns, at_ns)
        if not -_LATEST_NS <= due_ns - at_ns <= _FURTHEST_NS:
            due_ns = at_ns
        position, velocity = np.array(values[: self._axes]) - self.count, np.array(values[self._axes :])
        self.motors = servo.command(self.motors, Setpoint(due_ns, position, velocity))

    def _count(self, place: int, value: float) -> None:
        """Have an axis count so that it stands at `value`, where it stands and follows nothing."""
        motor = self.motors.motors[place]
        if motor.velocity == 0 and motor.order is None and not motor.pending and math.isfinite(value):
            self.count[place] = value - motor.load

    def _slow(self, packet: bytes, sender: Sender, at_ns: int) -> tuple[int, list[float]] | None:
        """Obey a packet that is not a plain setpoint set; return the setpoints in it, if there are any."""
        try:
            messages = decode(packet)
        except PeerError:
            self.left_aside += 1
            return None
        values = [np.nan] * len(self._places)
        tag: int | None = None
        for message in messages:
            place = self._places.get(message.address)
            match message.address, message.arguments:
                case "/stop", _:
                    self.motors = servo.stop(self.motors)
                case "/rig/ask", _:
                    self._listener, self._heard_ns = sender, at_ns
                    self.motors = servo.resume(self.motors)
                case "/rig/ping", (int(number),) if not self._faults.no_echo:
                    self._echo(number, sender, at_ns)
                case address, (float() | int() as value,) if address in self._heres:
                    self._count(self._heres[address], value)
                case _, (float() | int() as value,) if place is not None:
                    values[place], tag = float(value), message.tag
                case _:
                    self.left_aside += 1
        return None if tag is None else (tag, values)

    def _vanished(self, now_ns: int) -> bool:
        if self._first_ns is None:
            return False
        since_s, after_s, away_s = (now_ns - self._first_ns) * 1e-9, self._faults.vanish_after_s, self._faults.away_s
        return (after_s is not None and since_s > after_s) or (away_s is not None and away_s[0] < since_s < away_s[1])

    def _lost(self) -> bool:
        return self._faults.drop > 0 and self._luck.random() < self._faults.drop


def run(device: Device, port: socket.socket, starter: int | None, ending: list[int]) -> None:
    """Serve until `ending` holds a signal or the pipe `starter` closes."""
    watched: list[Any] = [port] if starter is None else [port, starter]
    deadline_ns = time.monotonic_ns()
    while not ending:
        wait_s = (deadline_ns - time.monotonic_ns()) / 1e9
        if wait_s > 0:
            ready, _, _ = select.select(watched, [], [], wait_s)
            if port in ready:
                _drain(device, port)
            if starter in ready and starter is not None and not os.read(starter, 4096):
                return
            continue
        for packet, listener in device.answers(deadline_ns):
            # the host may be gone or slow; a rig does not wait for it
            with contextlib.suppress(BlockingIOError, ConnectionError):
                port.sendto(packet, listener)
        if deadline_ns - device.offset.at_ns > _MEASURE_EVERY_NS:
            device.offset = device.offset.follow(*wallclock.measure())
        late_ns = time.monotonic_ns() - deadline_ns
        deadline_ns += (late_ns // WAKE_NS + 1) * WAKE_NS


def _drain(device: Device, port: socket.socket) -> None:
    with contextlib.suppress(BlockingIOError, ConnectionError):
        for _ in range(_DATAGRAMS_PER_WAKE):
            packet, sender = port.recvfrom(_LARGEST)
            device.hear(packet, sender, time.monotonic_ns())


def _pipe_of_starter() -> int | None:
    """Return standard input where it is a pipe, so that the rig ends with whoever started it."""
    if sys.stdin is None or sys.platform == "win32":
        return None
    mode = os.fstat(sys.stdin.fileno()).st_mode
    return sys.stdin.fileno() if stat.S_ISFIFO(mode) or stat.S_ISSOCK(mode) else None


def _seed(written: str) -> int:
    seed = int(written)
    if seed < 0:
        raise argparse.ArgumentTypeError(f"{written} is below zero")
    return seed


def _share(written: str) -> float:
    share = float(written)
    if not 0 <= share <= 1:
        raise argparse.ArgumentTypeError(f"{written} is not a share from 0 to 1")
    return share


def _while(written: str) -> tuple[float, float]:
    from_s, _, to_s = written.partition(",")
    if not 0 <= float(from_s) < float(to_s):
        raise argparse.ArgumentTypeError(f"{written} is no while; write it as 2,5: from 2 s to 5 s")
    return float(from_s), float(to_s)


def _off(written: str) -> tuple[str, float]:
    name, _, value = written.partition("=")
    if not (name and value and math.isfinite(float(value))):
        raise argparse.ArgumentTypeError(f"{written} is no axis and number; write it as slide=37.5")
    return name, float(value)


def _arguments(given: list[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="simulated_rig", description="A simulated rig that listens to OSC.")
    parser.add_argument("--rig", type=Path, required=True, metavar="FILE", help="the rig.json that describes it")
    parser.add_argument("--port", type=int, default=0, help="UDP port on this machine; 0 takes a free one")
    parser.add_argument("--seed", type=_seed, default=1, help="seed of noise and losses")
    parser.add_argument("--mute", action="store_true", help="never answer")
    parser.add_argument("--answer-delay-s", type=float, default=0.0, metavar="S", help="answer that much later")
    parser.add_argument(
        "--vanish-after-s", type=float, metavar="S", help="fall silent that long after the first setpoint"
    )
    parser.add_argument(
        "--away", type=_while, metavar="FROM_S,TO_S", help="fall silent for that while, from the first setpoint on"
    )
    parser.add_argument(
        "--drop", type=_share, default=0.0, metavar="SHARE", help="lose that share of datagrams each way"
    )
    parser.add_argument("--on-receipt", action="store_true", help="ignore timetags")
    parser.add_argument("--no-echo", action="store_true", help="know no ping, as a rig made before there was one")
    parser.add_argument(
        "--count-off",
        type=_off,
        action="append",
        default=[],
        metavar="AXIS=VALUE",
        help="say that much more than where the axis truly stands, until it is told or homed; may be repeated",
    )
    how = parser.parse_args(given)
    if how.rig.name != RIG:
        parser.error(f"--rig takes a project folder's {RIG}, not {how.rig}")
    return how


def main(given: list[str] | None = None) -> int:
    how = _arguments(given)
    faults = Faults(
        mute=how.mute,
        answer_delay_s=how.answer_delay_s,
        vanish_after_s=how.vanish_after_s,
        away_s=how.away,
        drop=how.drop,
        on_receipt=how.on_receipt,
        no_echo=how.no_echo,
        count_off=tuple(how.count_off),
    )
    ending: list[int] = []
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda caught, _: ending.append(caught))
    try:
        rig = load_rig(how.rig.parent)
        for name, _ in faults.count_off:
            rig.index(name)
    except (SequencerError, ValueError) as fault:
        print(fault, file=sys.stderr)
        return 2
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as port:
        try:
            port.bind(("127.0.0.1", how.port))
        except (OSError, OverflowError) as fault:
            print(f"UDP port {how.port} cannot be had: {fault}; name another, or 0 for any", file=sys.stderr)
            return 3
        port.setblocking(False)
        device = Device(rig, how.seed, faults, WallOffset(*wallclock.measure()))
        print(json.dumps({"port": port.getsockname()[1]}), flush=True)
        run(device, port, _pipe_of_starter(), ending)
    return 0


if __name__ == "__main__":
    sys.exit(main())
