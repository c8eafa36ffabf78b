"""The simulated rig: its device in simulated time, and its process over loopback with the OSC output."""

import json
import select
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest

from sequencer.adapters.contract import Output
from sequencer.rig.axis import Axis, Rig, Simulated
from sequencer.rig.signals import Feedback, Setpoint
from sequencer.shell.kinds import open_output
from sequencer.shell.simulated_options import Faults
from sequencer.shell.simulated_rig import ANSWER_NS, WAKE_NS, Device
from sequencer.takes.conformance.speech import bundle, device_tag, message, setpoints
from sequencer.wire.osc import Numbers, actual_addresses, command, setpoint_addresses
from sequencer.wire.timetag import IMMEDIATELY, WallOffset, instant, timetag

MS_NS = 1_000_000
SECOND_NS = 1_000 * MS_NS
TICK_NS = 4 * MS_NS
OFFSET_NS = 1_700_000_000 * SECOND_NS
HOST = ("127.0.0.1", 50_000)
OTHER = ("127.0.0.1", 50_001)
RIG = Rig(
    name="quay",
    axes=tuple(
        Axis(
            name=name,
            kind="pan",
            unit="deg",
            travel=(-170, 170),
            speed=60,
            acceleration=120,
            jerk=600,
            home=home,
            simulated=Simulated(lag_s=0.02, transport_s=0.005, noise=0.001),
        )
        for name, home in (("pan", 0.0), ("tilt", 10.0))
    ),
)
SETPOINTS = Numbers(setpoint_addresses(RIG.names))
ACTUALS = Numbers(actual_addresses(RIG.names))


class Wire:
    """A device and the host's end of its cable, on a clock that this class moves."""

    def __init__(self, seed: int = 1, asked: bool = True, **faults: float) -> None:
        self.device = Device(RIG, seed, Faults(**faults), WallOffset(0, OFFSET_NS))  # type: ignore[arg-type]  # bools too
        self.now_ns = 0
        # more than once, since one may get lost
        for _ in range(10 if asked else 0):
            self.say(command("/rig/ask"))
        self.heard: list[tuple[int, tuple[str, int], Feedback]] = []

    def wait(self, for_ns: int) -> None:
        """Let time pass, as the process's own wakes do."""
        until_ns = self.now_ns + for_ns
        while self.now_ns < until_ns:
            self.now_ns += WAKE_NS
            for packet, to in self.device.answers(self.now_ns):
                read = ACTUALS.read(packet)
                if read is None:
                    assert b"/device/held" in packet
                    continue
                at_ns = instant(read[0], OFFSET_NS, self.now_ns)
                self.heard.append((self.now_ns, to, Feedback(at_ns, np.array(read[1]), self.now_ns)))

    def say(self, packet: bytes, sender: tuple[str, int] = HOST) -> None:
        self.device.hear(packet, sender, self.now_ns)

    def ramp(self, for_ns: int, speed: float = 20.0, lead_ns: int = 10 * MS_NS) -> None:
        """Send a pan at constant speed, each setpoint `lead_ns` before it is due."""
        until_ns = self.now_ns + for_ns
        while self.now_ns < until_ns:
            due_ns = self.now_ns + lead_ns
            self.say(SETPOINTS.pack(timetag(due_ns, OFFSET_NS), [speed * due_ns / 1e9, 10.0, speed, 0.0]))
            self.wait(TICK_NS)


def test_it_says_where_it_stands_for_two_seconds_after_a_question() -> None:
    wire = Wire(asked=False)
    wire.wait(SECOND_NS)
    assert wire.heard == []
    wire.say(command("/rig/ask"))
    wire.wait(3 * SECOND_NS)
    assert {to for _, to, _ in wire.heard} == {HOST}
    assert len(wire.heard) == pytest.approx(2 * SECOND_NS // ANSWER_NS, abs=1)
    last_ns, _, feedback = wire.heard[-1]
    assert last_ns <= 3 * SECOND_NS
    assert feedback.position == pytest.approx([0.0, 10.0], abs=0.01)


def test_it_follows_setpoints_at_their_due_time_plus_transport() -> None:
    wire = Wire()
    wire.ramp(2 * SECOND_NS)
    for _, _, feedback in wire.heard[-50:]:
        due = 20.0 * (feedback.at_ns / 1e9 - 0.005)
        # five times the noise
        assert feedback.position == pytest.approx([due, 10.0], abs=0.005)


@pytest.mark.parametrize("tag", [IMMEDIATELY, timetag(-3_600 * SECOND_NS, OFFSET_NS), timetag(10**15, OFFSET_NS)])
def test_a_timetag_that_cannot_be_meant_counts_from_receipt(tag: int) -> None:
    wire = Wire()
    for _ in range(250):
        wire.say(SETPOINTS.pack(tag, [3.0, 10.0, 0.0, 0.0]))
        wire.wait(TICK_NS)
    assert wire.heard[-1][2].position == pytest.approx([3.0, 10.0], abs=0.01)


def test_a_rig_that_cannot_read_timetags_runs_ahead_of_them() -> None:
    wire = Wire(on_receipt=True)
    wire.ramp(2 * SECOND_NS, lead_ns=100 * MS_NS)
    _, _, feedback = wire.heard[-1]
    assert feedback.position[0] == pytest.approx(20.0 * (feedback.at_ns / 1e9 - 0.005 + 0.1), abs=0.005)


def test_single_messages_do_as_well_as_bundles() -> None:
    """A rig obeys whoever sends OSC 1.0, with integers and doubles too."""
    wire = Wire()
    for _ in range(250):
        wire.say(b"/rig/pan/position\0\0\0,i\0\0\0\0\0\3")
        wire.wait(TICK_NS)
    assert wire.heard[-1][2].position == pytest.approx([3.0, 10.0], abs=0.01)


def test_a_stop_holds_until_it_is_asked_again() -> None:
    wire = Wire()
    wire.ramp(SECOND_NS)
    wire.say(command("/stop"))
    wire.ramp(SECOND_NS)
    stood = wire.heard[-1][2].position[0]
    # 20 deg/s are gone after 20^2 / (2 * 120) deg
    assert stood == pytest.approx(20.0 * (1.0 - 0.005) + 20.0**2 / 240, abs=0.1)
    wire.ramp(SECOND_NS)
    assert wire.heard[-1][2].position[0] == pytest.approx(stood, abs=0.01)
    wire.say(command("/rig/ask"))
    wire.ramp(2 * SECOND_NS)
    assert wire.heard[-1][2].position[0] == pytest.approx(20.0 * wire.now_ns / 1e9, abs=0.5)


def test_a_question_while_it_brakes_does_not_undo_the_stop() -> None:
    wire = Wire()
    wire.ramp(SECOND_NS)
    wire.say(command("/stop"))
    wire.say(command("/rig/ask"))
    wire.ramp(SECOND_NS)
    assert wire.heard[-1][2].position[0] < 25.0


def test_it_answers_to_the_sender_of_the_newest_setpoint() -> None:
    wire = Wire()
    wire.say(command("/rig/ask"))
    wire.wait(20 * MS_NS)
    wire.say(SETPOINTS.pack(IMMEDIATELY, [0.0, 10.0, 0.0, 0.0]), OTHER)
    wire.say(command("/stop"), HOST)
    wire.wait(20 * MS_NS)
    assert wire.heard[0][1] == HOST
    assert wire.heard[-1][1] == OTHER


@pytest.mark.parametrize("packet", [b"", b"garbage", b"#bundle\0", command("/unknown"), b"\xff" * 9000])
def test_what_it_does_not_understand_is_left_aside(packet: bytes) -> None:
    wire = Wire(asked=False)
    wire.say(packet)
    wire.wait(20 * MS_NS)
    assert wire.device.left_aside == 1
    assert wire.heard == []


def test_after_power_up_it_ignores_setpoints_until_it_is_asked() -> None:
    wire = Wire(asked=False)
    wire.ramp(SECOND_NS)
    assert wire.heard[-1][2].position == pytest.approx([0.0, 10.0], abs=0.01)
    wire.say(command("/rig/ask"))
    wire.ramp(2 * SECOND_NS)
    assert wire.heard[-1][2].position[0] == pytest.approx(20.0 * wire.now_ns / 1e9, abs=0.5)


def test_a_reset_in_mid_move_stops_it_and_it_counts_from_home_and_ignores_setpoints() -> None:
    wire = Wire(reboot_at_s=1.0)
    wire.ramp(2 * SECOND_NS)
    before = [feedback for now_ns, _, feedback in wire.heard if now_ns < SECOND_NS]
    after = [feedback for now_ns, _, feedback in wire.heard if now_ns > SECOND_NS + 100 * MS_NS]
    assert before[-1].position[0] == pytest.approx(20.0, abs=0.3)
    assert after[0].at_ns >= SECOND_NS + 300 * MS_NS, "it was away while it began"
    for feedback in after:
        assert feedback.position == pytest.approx([0.0, 10.0], abs=0.01)
    assert wire.device.motors.motors[0].load == pytest.approx(20.0, abs=0.3), "where it truly stands"
    wire.say(command("/rig/ask"))
    for _ in range(250):
        wire.say(SETPOINTS.pack(IMMEDIATELY, [3.0, 10.0, 0.0, 0.0]))
        wire.wait(TICK_NS)
    assert wire.heard[-1][2].position == pytest.approx([3.0, 10.0], abs=0.01)
    assert wire.device.motors.motors[0].load == pytest.approx(23.0, abs=0.3)


def test_what_comes_without_a_plan_does_not_disturb_a_plan() -> None:
    wire = Wire()
    for number in range(50):
        sets = one_set(number, (100 + 20 * number) * MS_NS, number * 0.02)
        wire.say(sets)
    for _ in range(200):
        wire.say(SETPOINTS.pack(IMMEDIATELY, [-9.0, 10.0, 0.0, 0.0]), OTHER)
        wire.wait(TICK_NS)
    assert wire.device.left_aside > 190
    assert min(feedback.position[0] for _, _, feedback in wire.heard) > -0.01


def one_set(number: int, due_ns: int, pan: float) -> bytes:
    messages = [message("/plan/number", "i", number), *setpoints(RIG.names, [pan, 10.0], [1.0, 0.0])]
    return bundle(messages, device_tag(due_ns))


def test_the_same_seed_and_datagrams_give_the_same_answers() -> None:
    def said(seed: int) -> list[tuple[int, list[float]]]:
        wire = Wire(seed, drop=0.2)
        wire.ramp(SECOND_NS)
        return [(at_ns, feedback.position.tolist()) for at_ns, _, feedback in wire.heard]

    assert said(3) == said(3)
    assert said(3) != said(4)


def test_faults_do_what_they_say() -> None:
    mute = Wire(mute=True)
    mute.ramp(SECOND_NS)
    assert mute.heard == []

    late = Wire(answer_delay_s=0.3)
    late.ramp(SECOND_NS)
    assert {now_ns - feedback.at_ns for now_ns, _, feedback in late.heard} == {300 * MS_NS}

    gone = Wire(vanish_after_s=0.5)
    gone.ramp(2 * SECOND_NS)
    assert gone.heard[-1][0] == pytest.approx(500 * MS_NS, abs=ANSWER_NS)
    assert gone.device.motors.still

    lossy = Wire(drop=0.25)
    lossy.ramp(8 * SECOND_NS)
    # 2000 answers, each lost with probability 1/4: four standard deviations are 77
    assert len(lossy.heard) == pytest.approx(1500, abs=77)


RIG_FILE = {
    "format": "twintake/rig",
    "version": 1,
    "name": "quay",
    "axes": [
        {
            "name": axis.name,
            "kind": axis.kind,
            "unit": axis.unit,
            "travel": list(axis.travel or ()),
            "speed": axis.speed,
            "acceleration": axis.acceleration,
            "jerk": axis.jerk,
            "home": axis.home,
            "simulated": {"lag_s": 0.02, "transport_s": 0.005, "noise": 0.0},
        }
        for axis in RIG.axes
    ],
}


@pytest.fixture
def rig_file(tmp_path: Path) -> Path:
    path = tmp_path / "rig.json"
    path.write_text(json.dumps(RIG_FILE), encoding="utf-8")
    return path


@contextmanager
def started(rig_file: Path, *options: str) -> Iterator[tuple[subprocess.Popen[str], int]]:
    """Run the process as somebody would who starts it by a pipe; yield it and its port."""
    with subprocess.Popen(
        [sys.executable, "-m", "sequencer.shell.simulated_rig", "--rig", str(rig_file), *options],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        try:
            assert process.stdout is not None
            yield process, json.loads(process.stdout.readline())["port"]
        finally:
            process.kill()


def wait_for_answer(output: Output, at_most_s: float = 5.0) -> tuple[Feedback, ...]:
    """Return the next answers. They come from another process, so this waits on the machine's clock."""
    deadline = time.monotonic() + at_most_s
    descriptor = output.fileno()
    assert descriptor is not None
    while time.monotonic() < deadline:
        select.select([descriptor], [], [], 0.1)
        if heard := output.read(time.monotonic_ns()):
            return heard
    raise AssertionError(f"the rig said nothing for {at_most_s} s; {output.trouble()}")


@pytest.mark.real_time
def test_the_process_is_asked_follows_stops_and_ends_with_its_starter(rig_file: Path) -> None:
    with started(rig_file) as (process, port), open_output(f"osc://127.0.0.1:{port}", RIG) as output:
        output.ask()
        start = wait_for_answer(output)[-1]
        assert start.position.tolist() == [0.0, 10.0]

        began_ns = time.monotonic_ns()
        heard: list[Feedback] = []
        while (now_ns := time.monotonic_ns()) < began_ns + SECOND_NS:
            due_ns = now_ns + 5 * MS_NS
            pan = 15.0 * (due_ns - began_ns) / 1e9
            output.send(Setpoint(due_ns, np.array([pan, 10.0]), np.array([15.0, 0.0])))
            heard += wait_for_answer(output)
        moving = [one for one in heard if one.at_ns > began_ns + 500 * MS_NS]
        assert moving
        for feedback in moving:
            # a setpoint shows its transport after it was due, and a late one is carried on as the one before it
            expected = 15.0 * (feedback.at_ns - 5 * MS_NS - began_ns) / 1e9
            assert feedback.position == pytest.approx([expected, 10.0], abs=0.05)
        assert output.trouble() == ""

        stopped_ns = time.monotonic_ns()
        output.stop()
        heard = list(wait_for_answer(output))
        while heard[-1].at_ns < stopped_ns + SECOND_NS:
            heard += wait_for_answer(output)
        resting = {one.position[0] for one in heard if one.at_ns > stopped_ns + SECOND_NS // 2}
        assert len(resting) == 1
        # 15 deg/s are gone after 15^2 / (2 * 120) deg, and a late stop is felt as a third of a second at most
        assert resting.pop() < 15.0 * ((stopped_ns - began_ns) / 1e9 + 0.3) + 15.0**2 / 240

        assert process.stdin is not None
        process.stdin.close()
        assert process.wait(5) == 0


@pytest.mark.real_time
def test_the_process_ends_by_signal_and_refuses_what_it_cannot_use(rig_file: Path) -> None:
    with started(rig_file) as (process, _):
        process.send_signal(signal.SIGTERM)
        assert process.wait(5) == 0
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as taken:
        taken.bind(("127.0.0.1", 0))
        number = str(taken.getsockname()[1])
        there = subprocess.run(
            [sys.executable, "-m", "sequencer.shell.simulated_rig", "--rig", str(rig_file), "--port", number],
            capture_output=True,
            text=True,
            timeout=20,
            check=False,
        )
    assert there.returncode == 3
    assert number in there.stderr
    rig_file.write_text("{", encoding="utf-8")
    there = subprocess.run(
        [sys.executable, "-m", "sequencer.shell.simulated_rig", "--rig", str(rig_file)],
        capture_output=True,
        text=True,
        timeout=20,
        check=False,
    )
    assert there.returncode == 2
    assert there.stderr.startswith("rig.json")
    assert "Traceback" not in there.stderr
