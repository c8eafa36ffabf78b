"""The simulated rig as a process of its own: it listens to OSC on 127.0.0.1 as a real rig would, and answers.

It takes setpoints at once and, as a device of docs/device.md, ahead of time. After power-up it ignores them until
`/rig/ask`.

`python -m sequencer.shell.simulated_rig --rig projects/NAME/rig.json --port 0 --seed 1` prints `{"port": N}` when it
listens and runs until its standard input closes, where that is a pipe, or until it is told to end. It refuses other
machines. What it hears and says is described in adapters/outputs/osc.py, how its motors behave in rig/servo.py.

It answers 250 times a second to the sender of the newest setpoint or question, for two seconds after it. A setpoint
counts from its timetag; without one, or with one that is over 0.25 s late or over a second ahead, from its receipt.
What its camera was told is printed when it is done: `{"camera": "shutter", "at_s": 12.345}`, `at_s` since it began.
An axis that has `switch_at` says how its homing switch is, 25 times a second and whenever that changes.
Faults can be set for trying out what playback does then: see `--help`.
"""

import contextlib
import json
import math
import os
import select
import signal
import socket
import sys
import time
from collections import deque
from dataclasses import replace
from typing import Any

import numpy as np

from sequencer.adapters import wallclock
from sequencer.errors import PeerError, SequencerError
from sequencer.project.store import load_rig
from sequencer.rig import servo
from sequencer.rig.axis import Rig
from sequencer.rig.signals import Setpoint
from sequencer.shell.simulated_camera import NAMES, Camera
from sequencer.shell.simulated_options import Faults, arguments, faults_of, pipe_of_starter
from sequencer.shell.simulated_plan import STEP_NS, Numbered, Plan, read_set
from sequencer.takes.conformance.speech import Told, device_ns, heard
from sequencer.wire.osc import Numbers, actual_addresses, command, setpoint_addresses, switch_addresses
from sequencer.wire.timetag import IMMEDIATELY, WallOffset, instant, timetag

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
_BOOT_NS = 300_000_000


class Device:
    """The rig without its socket and clock: datagrams go in and come out, and time is an argument.

    `offset` makes the monotonic clock wall-clock time; `left_aside` counts datagrams that were not understood. `count`
    is what each axis says, less where it truly stands. Shape: (A,).
    Error: ValueError for a count of an axis that the rig has not.
    """

    def __init__(self, rig: Rig, seed: int, faults: Faults, offset: WallOffset) -> None:
        self.offset = offset
        self.left_aside = 0
        self.motors = servo.stop(servo.at_home(rig, offset.at_ns))
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
        self._speeds = np.array([axis.speed for axis in rig.axes])
        self._boots = np.random.default_rng([seed, offset.at_ns % (1 << 63)])
        self.plan = self._booted(offset.at_ns)
        self._plan_ns = offset.at_ns
        self._away_until_ns = offset.at_ns
        self._ahead: set[Sender] = set()  # who speaks the device protocol
        self._questions: list[tuple[int, int, int, Sender]] = []
        self.camera = Camera()
        self.begun_ns = offset.at_ns
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
        self._reset(now_ns)
        self._play(now_ns)
        self.camera.play(now_ns)
        self.motors = servo.advance(self.motors, now_ns)
        if self.motors.at_ns >= self._answer_ns:
            self._answer_ns = max(self._answer_ns + ANSWER_NS, self.motors.at_ns)
            self._answer(now_ns)
        sent = self.times(now_ns)
        while self._waiting and self._waiting[0][0] <= now_ns:
            _, packet, listener = self._waiting.popleft()
            if not self._vanished(now_ns) and not self._lost():
                sent.append((packet, listener))
        return sent

    def times(self, now_ns: int) -> list[tuple[bytes, Sender]]:
        """Return the answers to questions for the time that leave at `now_ns`."""
        due = [one for one in self._questions if one[0] <= now_ns]
        self._questions = [one for one in self._questions if one[0] > now_ns]
        answers = [(self.plan.time_answer(number, at_ns, now_ns), sender) for _, number, at_ns, sender in due]
        return [one for one in answers if not self._lost()]

    def _booted(self, at_ns: int) -> Plan:
        self._boot_ns = at_ns
        return Plan(self._rig.name, self._rig.names, self._speeds, at_ns, int(self._boots.integers(1, 1 << 31)))

    def _reset(self, now_ns: int) -> None:
        """Be reset, where that is wanted and its time has come: the motors stand at once, and count from home."""
        at_s = self._faults.reboot_at_s
        if at_s is None or self._first_ns is None or now_ns - self._first_ns < at_s * 1e9:
            return
        self._faults = replace(self._faults, reboot_at_s=None)
        self._away_until_ns = now_ns + _BOOT_NS
        standing = tuple(replace(one, velocity=0.0) for one in self.motors.motors)
        self.motors = servo.stop(replace(self.motors, motors=standing))
        self.count = np.array([axis.home - one.load for axis, one in zip(self._rig.axes, standing, strict=True)])
        self.plan = self._booted(now_ns)
        self._listener = None
        self._ahead.clear()
        self._waiting.clear()
        self._questions = []

    def _play(self, now_ns: int) -> None:
        """Have the motors follow the plan up to now."""
        while self._plan_ns + STEP_NS <= now_ns:
            self._plan_ns += STEP_NS
            setpoint = self.plan.play(self._plan_ns)
            if setpoint is not None:
                position = setpoint.position - self.count
                self.motors = servo.command(self.motors, replace(setpoint, position=position))
            elif self.plan.ran_out is not None and not self.motors.stopped:
                self.motors = servo.stop(self.motors)

    def _answer(self, now_ns: int) -> None:
        if self._listener is not None and now_ns - self._heard_ns <= LISTENED_NS and not self._faults.mute:
            self._say(self._actual(self._listener), self._listener, now_ns)
            for report in self.plan.reports(now_ns):
                self._say(report, self._listener, now_ns)
            self._say_switches(self._listener, now_ns)

    def _say_switches(self, listener: Sender, now_ns: int) -> None:
        switches = servo.closed(self.motors, self._rig)
        if switches == self._switches and now_ns < self._switch_ns:
            return
        self._switches, self._switch_ns = switches, now_ns + SWITCH_NS
        for address, closed in zip(switch_addresses(self._rig.names), switches, strict=True):
            if closed is not None:
                self._say(command(address, int(closed)), listener, now_ns)

    def _actual(self, to: Sender) -> bytes:
        actual = servo.measure(self.motors, self._noise) + self.count
        at_ns = self.motors.at_ns
        tag = self.plan.time(at_ns) if to in self._ahead else timetag(at_ns, self.offset.offset_ns)
        return self._actuals.pack(tag, actual.tolist())

    def _say(self, packet: bytes, listener: Sender, now_ns: int) -> None:
        self._waiting.append((now_ns + round(self._faults.answer_delay_s * 1e9), packet, listener))

    def _echo(self, number: int, sender: Sender, at_ns: int) -> None:
        """Bring a number back, with where the axes stand; that makes nobody the one whom the rig obeys."""
        if not self._faults.mute:
            self._say(command("/rig/pong", number), sender, at_ns)
            self._say(self._actual(sender), sender, at_ns)

    def _obey(self, tag: int, values: list[float], sender: Sender, at_ns: int) -> None:
        self._hear_set(sender, at_ns)
        if self.plan.buffer:
            # what is planned ahead goes before what comes without a plan
            self.left_aside += 1
            return
        due_ns = at_ns if self._faults.on_receipt else instant(tag, self.offset.offset_ns, at_ns)
        if not -_LATEST_NS <= due_ns - at_ns <= _FURTHEST_NS:
            due_ns = at_ns
        position, velocity = np.array(values[: self._axes]) - self.count, np.array(values[self._axes :])
        self.motors = servo.command(self.motors, Setpoint(due_ns, position, velocity))

    def _hear_set(self, sender: Sender, at_ns: int) -> None:
        self._listener, self._heard_ns = sender, at_ns
        if self._first_ns is None:
            self._first_ns = at_ns

    def _take(self, numbered: Numbered, sender: Sender, at_ns: int) -> None:
        """Take a set of the plan in, where the rig listens."""
        self._hear_set(sender, at_ns)
        if not self.motors.stopped:
            stands = np.array([motor.load for motor in self.motors.motors]) + self.count
            self.plan.take(numbered, stands, at_ns)

    def _ask(self, sender: Sender, at_ns: int) -> None:
        self._listener, self._heard_ns = sender, at_ns
        was_deaf = self.motors.stopped
        self.motors = servo.resume(self.motors)
        if not self.motors.stopped:
            self.plan.ran_out = None
        self.plan.listen(at_ns if was_deaf and not self.motors.stopped else None)

    def _count(self, place: int, value: float) -> None:
        """Have an axis count so that it stands at `value`, where it stands and follows nothing."""
        motor = self.motors.motors[place]
        if (
            not self.plan.buffer
            and motor.velocity == 0
            and motor.order is None
            and not motor.pending
            and math.isfinite(value)
        ):
            self.count[place] = value - motor.load

    def _ordered(self, told: Told, sender: Sender, at_ns: int) -> bool:
        """Obey what is no setpoint and has no numbers; return whether it was that."""
        match told.address:
            case "/stop":
                self.motors = servo.stop(self.motors)
                self.plan.stop()
                self.camera.forget()
            case "/rig/ask":
                self._ask(sender, at_ns)
            case address if address in NAMES:
                due_ns, tag = at_ns, told.tag
                if tag != IMMEDIATELY and sender in self._ahead:
                    due_ns = self._boot_ns + device_ns(tag)
                self.camera.order(NAMES[address], due_ns, None if tag == IMMEDIATELY else tag)
            case _:
                return False
        return True

    def _slow(self, packet: bytes, sender: Sender, at_ns: int) -> tuple[int, list[float]] | None:
        """Obey a packet that is not a plain setpoint set; return the setpoints in it, if there are any."""
        try:
            messages = heard(packet, at_ns)
        except PeerError:
            self.left_aside += 1
            return None
        numbered = read_set(messages, self._places)
        if numbered is not None:
            self._take(numbered, sender, at_ns)
            return None
        values = [np.nan] * len(self._places)
        tag: int | None = None
        spoilt = False
        for told in messages:
            if self._ordered(told, sender, at_ns):
                continue
            place = self._places.get(told.address)
            match told.address, told.values:
                case "/rig/ping", (int(number),) if told.types == "i" and not self._faults.no_echo:
                    self._echo(number, sender, at_ns)
                case "/device/hello", (int(version),):
                    self._ahead.add(sender)
                    self._listener, self._heard_ns = sender, at_ns
                    self._say(self.plan.hello(version), sender, at_ns)
                case "/device/time", (int(number),) if told.types == "i":
                    self._listener, self._heard_ns = sender, at_ns
                    self._questions.append((at_ns + round(self._faults.answer_delay_s * 1e9), number, at_ns, sender))
                case address, (float() | int() as value,) if address in self._heres:
                    self._count(self._heres[address], value)
                case "/plan/number" | "/plan/from", _:
                    # a set of the plan that is spoilt is no setpoint at all, but a stop behind it is one
                    self.left_aside += 1
                    spoilt = True
                case _, (float() | int() as value,) if place is not None:
                    values[place], tag = float(value), told.tag
                case _:
                    self.left_aside += 1
        return None if tag is None or spoilt else (tag, values)

    def _vanished(self, now_ns: int) -> bool:
        if now_ns < self._away_until_ns:
            return True
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
                # a question for the time is answered at once, since its way back is measured
                _send(port, device.times(time.monotonic_ns()))
            if starter in ready and starter is not None and not os.read(starter, 4096):
                return
            continue
        _send(port, device.answers(deadline_ns))
        for due_ns, name in device.camera.taken():
            print(json.dumps({"camera": name, "at_s": round((due_ns - device.begun_ns) * 1e-9, 3)}), flush=True)
        if deadline_ns - device.offset.at_ns > _MEASURE_EVERY_NS:
            device.offset = device.offset.follow(*wallclock.measure())
        late_ns = time.monotonic_ns() - deadline_ns
        deadline_ns += (late_ns // WAKE_NS + 1) * WAKE_NS


def _send(port: socket.socket, packets: list[tuple[bytes, Sender]]) -> None:
    for packet, listener in packets:
        # the host may be gone or slow; a rig does not wait for it
        with contextlib.suppress(BlockingIOError, ConnectionError):
            port.sendto(packet, listener)


def _drain(device: Device, port: socket.socket) -> None:
    with contextlib.suppress(BlockingIOError, ConnectionError):
        for _ in range(_DATAGRAMS_PER_WAKE):
            packet, sender = port.recvfrom(_LARGEST)
            device.hear(packet, sender, time.monotonic_ns())


def main(given: list[str] | None = None) -> int:
    how = arguments(given)
    faults = faults_of(how)
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
        run(device, port, pipe_of_starter(), ending)
    return 0


if __name__ == "__main__":
    sys.exit(main())
