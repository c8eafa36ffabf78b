"""The MAVLink output against a head on 127.0.0.1 that pymavlink speaks for; bytes in a socket need no waiting.

Every outside check is against the MAVLink common message set: common.xml, as pymavlink brings it.
"""

import math
import random
import socket
import sys
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pytest

from sequencer.adapters.mavlink_links.mavlink_output import MavlinkOutput, carries_mavlink
from sequencer.adapters.outputs import mavlink, mavlink_serial
from sequencer.errors import LinkError
from sequencer.rig.axis import Axis, AxisKind, Reference, Rig
from sequencer.rig.signals import Feedback, Setpoint, Trigger, TriggerName
from sequencer.shell.kinds import open_output

pytest.importorskip("pymavlink")
from tests.adapters.camera_head import CameraHead, on_udp

MS = 1_000_000
SECOND = 1_000 * MS


def axis(kind: AxisKind, reference: Reference | None = None) -> Axis:
    return Axis(
        name=kind, kind=kind, unit="deg", travel=None, speed=60, acceleration=120, jerk=600, reference=reference
    )


HEAD = Rig(name="quay", axes=(axis("pan"), axis("tilt"), axis("roll")))


@dataclass
class Ends:
    output: MavlinkOutput
    head: CameraHead
    now_ns: int = 0

    def send(self, *position: float, velocity: tuple[float, ...] | None = None) -> None:
        speed = np.zeros(len(position)) if velocity is None else np.array(velocity)
        self.output.send(Setpoint(self.now_ns, np.array(position), speed))

    def run(self, seconds: float, step_ns: int = 20 * MS) -> list[Feedback]:
        """Let both ends look after the link for a while."""
        told: list[Feedback] = []
        for _ in range(round(seconds * SECOND / step_ns)):
            self.now_ns += step_ns
            self.output.look(self.now_ns)
            self.head.pump(self.now_ns)
            told += self.output.read(self.now_ns)
        return told


@pytest.fixture
def port() -> Iterator[socket.socket]:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as port:
        port.bind(("127.0.0.1", 0))
        port.setblocking(False)
        yield port


@pytest.fixture
def ends(port: socket.socket, request: pytest.FixtureRequest) -> Iterator[Ends]:
    options, rig = getattr(request, "param", ("", HEAD))
    with open_output(f"mavlink://127.0.0.1:{port.getsockname()[1]}{options}", rig) as output:
        assert isinstance(output, MavlinkOutput)
        yield Ends(output, on_udp(port))


def with_options(options: str = "", rig: Rig = HEAD) -> pytest.MarkDecorator:
    return pytest.mark.parametrize("ends", [(options, rig)], indirect=True)


def test_a_setpoint_turns_the_head_as_the_axes_say(ends: Ends) -> None:
    ends.send(20, -30, 10, velocity=(5, -6, 7))
    (message,) = ends.head.pump(0)
    # fields angular_velocity_*: "positive is rolling to the right", "... pitching up", "... yawing to the right"
    assert ends.head.angles() == pytest.approx([-20, -30, 10], abs=1e-4)
    assert np.degrees([message.angular_velocity_x, message.angular_velocity_y, message.angular_velocity_z]) == (
        pytest.approx([7, -6, -5], abs=1e-5)
    )
    assert (message.target_system, message.target_component, message.gimbal_device_id) == (1, 154, 0)
    assert (message.get_srcSystem(), message.get_srcComponent()) == (255, 190)


@with_options("?form=pitchyaw&reverse=pan&rates=no", Rig(name="two", axes=(axis("tilt"), axis("pan"))))
def test_pitch_and_yaw_alone_without_rates_and_with_pan_the_other_way(ends: Ends) -> None:
    ends.send(-30, 200, velocity=(1, 1))
    (message,) = ends.head.pump(0)
    assert np.degrees([message.pitch, message.yaw]) == pytest.approx([-30, -160], abs=1e-5)
    assert math.isnan(message.pitch_rate)
    assert math.isnan(message.yaw_rate)


@pytest.mark.parametrize(
    ("rig", "names"),
    [
        (HEAD, {"ROLL_LOCK", "PITCH_LOCK", "YAW_IN_VEHICLE_FRAME"}),
        (
            Rig(name="w", axes=(axis("pan", reference="world"), axis("tilt", reference="world"))),
            {"ROLL_LOCK", "PITCH_LOCK", "YAW_LOCK", "YAW_IN_EARTH_FRAME"},
        ),
        (
            Rig(name="b", axes=(axis("pan", "base"), axis("tilt", "base"), axis("roll", "base"))),
            {"YAW_IN_VEHICLE_FRAME"},
        ),
    ],
)
def test_flags_say_against_what_each_axis_counts(port: socket.socket, rig: Rig, names: set[str]) -> None:
    from pymavlink.dialects.v20 import common

    with open_output(f"mavlink://127.0.0.1:{port.getsockname()[1]}", rig) as output:
        output.send(Setpoint(0, np.zeros(len(rig.axes)), np.zeros(len(rig.axes))))
        (message,) = on_udp(port).pump(0)
    assert message.flags == sum(getattr(common, f"GIMBAL_MANAGER_FLAGS_{name}") for name in names)


def test_an_endless_pan_goes_on_and_is_counted_on(ends: Ends) -> None:
    ends.output.ask()
    ends.run(0.1)
    for pan in range(0, 1085, 5):
        ends.send(pan, 5, 0)
        before = ends.head.q
        told = ends.run(0.04)
        turned = abs(sum(a * b for a, b in zip(before, ends.head.q, strict=True)))
        assert 2 * math.degrees(math.acos(min(1, turned))) < 5.1  # never a leap to the other way round
        assert told[-1].position == pytest.approx([pan, 5, 0], abs=1e-3)


def test_a_question_takes_control_and_has_the_head_say_where_it_looks(ends: Ends) -> None:
    assert ends.run(1) == []
    ends.output.ask()
    told = ends.run(1)
    assert ends.head.control == (255, 190)
    assert ends.head.interval_us == 40_000
    assert 23 <= len(told) <= 26
    assert told[-1].at_ns == told[-1].heard_ns > ends.now_ns - 41 * MS
    ends.output.ask()
    ends.run(1)
    assert len(ends.head.of("COMMAND_LONG")) == 2  # what was accepted is not asked again


def test_commands_that_are_lost_are_sent_again_and_one_picture_is_taken_once(ends: Ends) -> None:
    ends.head.deaf_to = {2000}  # MAV_CMD_IMAGE_START_CAPTURE
    ends.run(0.02)
    assert ends.output.fire(Trigger(0, "shutter"))
    ends.run(0.5)
    ends.head.deaf_to = set()
    ends.run(2)
    sent = ends.head.of("COMMAND_LONG")
    assert [message.confirmation for message in sent] == [0, 1, 2]
    assert ends.head.pictures == {1}
    ends.output.fire(Trigger(0, "shutter"))
    ends.run(0.5)
    assert ends.head.pictures == {1, 2}
    assert {message.target_component for message in sent} == {100}


@pytest.mark.parametrize(("names", "recording"), [(("record",), True), (("record", "cut"), False)])
def test_recording_starts_and_stops(ends: Ends, names: tuple[TriggerName, ...], recording: bool) -> None:
    for name in names:
        ends.output.fire(Trigger(0, name))
    ends.run(0.1)
    assert ends.head.recording is recording


def test_a_refused_command_is_told(ends: Ends) -> None:
    ends.head.result = 3  # MAV_RESULT_UNSUPPORTED
    ends.output.fire(Trigger(0, "record"))
    ends.run(0.1)
    assert "the start of recording was refused (result 3)" in ends.output.trouble()


def test_stop_is_rates_of_zero_without_angles_and_setpoints_wait_for_the_next_question(ends: Ends) -> None:
    ends.send(20, 0, 0)
    ends.output.stop()
    ends.send(40, 0, 0)
    ends.head.pump(0)
    _, *stops = ends.head.of("GIMBAL_MANAGER_SET_ATTITUDE")
    assert len(stops) == 3
    for stop in stops:
        assert all(math.isnan(part) for part in stop.q)
        assert (stop.angular_velocity_x, stop.angular_velocity_y, stop.angular_velocity_z) == (0, 0, 0)
    assert ends.head.angles()[0] == pytest.approx(-20, abs=1e-4)
    ends.output.ask()
    ends.send(40, 0, 0)
    ends.head.pump(0)
    assert ends.head.angles()[0] == pytest.approx(-40, abs=1e-4)
    assert ends.run(1.2) is not None
    assert len(ends.head.of("HEARTBEAT")) == 2  # it goes on


def test_heartbeats_go_out_once_a_second_and_three_seconds_without_one_are_a_link_that_is_gone(ends: Ends) -> None:
    # MAVLink heartbeat service: "generally 1Hz"; a component is away after missing several of them
    assert "no heartbeat" in ends.output.trouble()
    ends.run(10)
    assert 10 <= len(ends.head.of("HEARTBEAT")) <= 11
    assert ends.output.trouble() == ""
    last_ns = ends.now_ns
    ends.output.look(last_ns + 2 * SECOND)
    with pytest.raises(LinkError, match="no heartbeat for 3 s"):
        ends.output.look(last_ns + 5 * SECOND)


def test_the_round_trip_and_the_loss_are_known(ends: Ends) -> None:
    ends.run(5)
    link = ends.output.link(ends.now_ns)
    assert link.lost == 0
    assert link.round_trip_s == 0  # both ends look at one instant here


def test_somebody_else_in_control_is_told_and_control_is_taken_again(ends: Ends) -> None:
    ends.output.ask()
    ends.run(0.1)
    ends.head.say(ends.head.mav.gimbal_manager_status_encode(0, 0, 1, 42, 7, 0, 0))
    ends.run(0.1)
    assert "controlled by system 42, component 7" in ends.output.trouble()
    ends.head.control = (42, 7)
    ends.output.ask()
    ends.run(0.1)
    assert ends.head.control == (255, 190)


@with_options("", Rig(name="w", axes=(axis("pan", reference="world"), axis("tilt"))))
def test_a_status_in_the_other_frame_is_turned_and_without_the_turn_pan_is_not_known(ends: Ends) -> None:
    # common.xml, GIMBAL_DEVICE_ATTITUDE_STATUS: q_earth = q_delta_yaw * q_vehicle
    ends.send(30, 10)
    ends.run(0.02)
    ends.head.q = [math.cos(math.radians(-25)), 0, 0, math.sin(math.radians(-25))]  # yaw -50 against the base
    ends.head.tell(delta_yaw=math.radians(20))
    ends.head.tell(delta_yaw=math.nan)
    ends.head.tell(flags=0, delta_yaw=math.radians(20))  # "the data in the delta_yaw ... fields are to be ignored"
    ends.head.tell(flags=16)  # YAW_LOCK alone: north, as before the frames had flags of their own
    turned, unknown, old, north = ends.output.read(1)
    assert turned.position == pytest.approx([30, 0], abs=1e-4)
    for one in (unknown, old):
        assert math.isnan(one.position[0])
        assert one.position[1] == pytest.approx(0, abs=1e-4)
    assert north.position == pytest.approx([50, 0], abs=1e-4)


def test_a_status_from_north_is_turned_back_to_the_base(ends: Ends) -> None:
    ends.send(50, 0, 0)
    ends.run(0.02)
    ends.head.q = [math.cos(math.radians(-15)), 0, 0, math.sin(math.radians(-15))]  # yaw -30 from north
    ends.head.tell(flags=64, delta_yaw=math.radians(20))  # YAW_IN_EARTH_FRAME
    (told,) = ends.output.read(1)
    assert told.position == pytest.approx([50, 0, 0], abs=1e-4)


def test_faults_of_the_head_are_told(ends: Ends) -> None:
    ends.run(0.04)
    ends.head.tell(failure_flags=4 | 32)
    ends.output.read(1)
    assert "yaw limit" in ends.output.trouble()
    assert "motors" in ends.output.trouble()
    ends.head.tell()
    ends.output.read(2)
    assert ends.output.trouble() == ""


def test_garbage_strangers_and_broken_frames_are_left_aside(ends: Ends, port: socket.socket) -> None:
    ends.run(0.02)
    chance = random.Random(7)
    good: list[bytes] = []
    send, ends.head._send = ends.head._send, good.append
    ends.head.tell()
    ends.head.mav.srcSystem = 9
    ends.head.tell()
    status, stranger = good
    broken = bytes([*status[:20], status[20] ^ 1, *status[21:]])
    ends.output.left_aside = 0
    for packet in (
        stranger,
        broken,
        status[:30],
        b"\xfd",
        *(chance.randbytes(chance.randint(1, 300)) for _ in range(60)),
    ):
        send(packet)
    assert ends.output.read(1) == ()
    for cut in range(1, len(status)):
        send(status[:cut])
        ends.output.read(2)
        send(status)
        assert len(ends.output.read(3)) == 1
    assert ends.output.left_aside > 2


def test_a_status_without_a_rotation_says_nothing(ends: Ends) -> None:
    ends.run(0.02)
    ends.head.tell(q=[math.nan] * 4)
    ends.head.tell(q=[0.0] * 4)
    assert ends.output.read(1) == ()


@pytest.mark.parametrize(
    ("rig", "said"),
    [
        (
            Rig(
                name="s",
                axes=(Axis(name="cart", kind="slide", unit="mm", travel=None, speed=1, acceleration=1, jerk=1),),
            ),
            "cart",
        ),
        (
            Rig(
                name="p",
                axes=(Axis(name="pan", kind="pan", unit="part", travel=None, speed=1, acceleration=1, jerk=1),),
            ),
            "part",
        ),
        (
            Rig(
                name="2",
                axes=(
                    axis("pan"),
                    Axis(name="p2", kind="pan", unit="deg", travel=None, speed=1, acceleration=1, jerk=1),
                ),
            ),
            "one pan only",
        ),
    ],
)
def test_axes_that_no_head_has_are_refused_before_anything_is_opened(rig: Rig, said: str) -> None:
    with pytest.raises(LinkError, match=said):
        carries_mavlink("mavlink://127.0.0.1:14550", rig)


@pytest.mark.parametrize(
    ("address", "said"),
    [
        ("mavlink://127.0.0.1", "no host and port"),
        ("mavlink://127.0.0.1:9?form=euler", "form=euler"),
        ("mavlink://127.0.0.1:9?form=pitchyaw", "nothing of roll"),
        ("mavlink://127.0.0.1:9?system=0", "system=0"),
        ("mavlink://127.0.0.1:9?reverse=lift", "reverse=lift"),
        ("mavlink://127.0.0.1:9?speed=3", "option speed"),
        ("mavlink+serial:?baud=57600", "no serial port"),
        ("mavlink+serial:/dev/ttyX?baud=1", "baud=1"),
    ],
)
def test_a_wrong_address_says_what_is_wrong(address: str, said: str) -> None:
    with pytest.raises(LinkError, match=said):
        carries_mavlink(address, HEAD)


def test_a_serial_line_says_how_many_sets_it_carries() -> None:
    slow = carries_mavlink("mavlink+serial:/dev/ttyACM0?baud=9600", HEAD)
    assert slow.most_hz == pytest.approx((960 - 400) / 47)
    assert "9600 baud" in slow.why
    assert carries_mavlink("mavlink://127.0.0.1:9", HEAD).most_hz is None


def test_without_the_library_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pymavlink.dialects.v20", None)
    with (
        pytest.raises(LinkError, match=r"pip install 'twintake\[mavlink\]'"),
        open_output("mavlink://127.0.0.1:9", HEAD),
    ):
        pass


def test_nothing_that_listens_is_told_and_is_no_link_that_is_gone(port: socket.socket) -> None:
    number = port.getsockname()[1]
    port.close()
    with open_output(f"mavlink://127.0.0.1:{number}", HEAD) as output:
        for now_ns in range(0, 10 * SECOND, SECOND):
            output.look(now_ns)
            output.read(now_ns)
        assert "nothing listens at" in output.trouble()


def test_it_is_found_by_its_schemes() -> None:
    assert mavlink.KIND.schemes == ("mavlink",)
    assert mavlink_serial.KIND.schemes == ("mavlink+serial",)
    assert mavlink.KIND.shared
    assert not mavlink_serial.KIND.shared  # one program at a time has a serial port
