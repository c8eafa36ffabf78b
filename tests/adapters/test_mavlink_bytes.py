"""The bytes on the wire, built here from the published message definitions alone: common.xml, as pymavlink has it.

Source of the framing: MAVLink 2 packet serialisation (field order, CRC_EXTRA, empty-byte truncation), from memory.
"""

import math
import socket
import struct
from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from sequencer.adapters.contract import Output
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.signals import Setpoint, Trigger
from sequencer.shell.kinds import open_output

pymavlink = pytest.importorskip("pymavlink")

SIZES = {"uint8_t": "B", "uint16_t": "H", "uint32_t": "I", "int64_t": "q", "float": "f", "uint8_t_mavlink_version": "B"}
RIG = Rig(
    name="quay",
    axes=tuple(
        Axis(name=kind, kind=kind, unit="deg", travel=None, speed=60, acceleration=120, jerk=600)
        for kind in ("roll", "tilt", "pan")
    ),
)


def crc(data: bytes, value: int = 0xFFFF) -> int:
    """CRC-16/MCRF4XX, bit by bit."""
    for byte in data:
        value ^= byte
        for _ in range(8):
            value = value >> 1 ^ (0x8408 if value & 1 else 0)
    return value


def definitions() -> Iterator[ElementTree.Element]:
    folder = Path(pymavlink.__file__).parent / "dialects" / "v20"
    for name in ("minimal.xml", "standard.xml", "common.xml"):
        yield from ElementTree.parse(folder / name).iter("message")


def frame(name: str, values: dict[str, object], sequence: int) -> bytes:
    """Return the frame of a message from system 255, component 190, as the guide lays it out."""
    message = next(one for one in definitions() if one.get("name") == name)
    plain: list[tuple[str, str]] = []
    more: list[tuple[str, str]] = []
    for part in message:
        if part.tag == "extensions":
            plain, more = more, plain  # what follows is neither sorted nor in the checksum's seed
        elif part.tag == "field":
            plain.append((part.attrib["type"], part.attrib["name"]))
    first, extensions = (more, plain) if more else (plain, more)
    first.sort(key=lambda field: -struct.calcsize(SIZES[field[0].partition("[")[0]]))
    seed = (name + " ").encode()
    payload = b""
    for kind, field in first + extensions:
        base, _, count = kind.partition("[")
        shown = "uint8_t" if base.endswith("mavlink_version") else base
        if (kind, field) in first:
            seed += f"{shown} {field} ".encode() + (bytes([int(count[:-1])]) if count else b"")
        value = values.get(field, 0)
        payload += struct.pack(
            f"<{(count or ' ')[:-1]}{SIZES[base]}", *(value if isinstance(value, tuple) else (value,))
        )
    payload = payload.rstrip(b"\0") or b"\0"
    extra = crc(seed)
    number = int(message.attrib["id"])
    header = struct.pack("<BBBBBBHB", len(payload), 0, 0, sequence, 255, 190, number & 0xFFFF, number >> 16)
    return b"\xfd" + header + payload + struct.pack("<H", crc(header + payload + bytes([extra & 0xFF ^ extra >> 8])))


@pytest.fixture(params=[""])
def wire(request: pytest.FixtureRequest) -> Iterator[tuple[Output, socket.socket]]:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as head:
        head.bind(("127.0.0.1", 0))
        head.settimeout(5)
        rig = RIG if "pitchyaw" not in request.param else Rig(name="two", axes=RIG.axes[1:])
        with open_output(f"mavlink://127.0.0.1:{head.getsockname()[1]}{request.param}", rig) as output:
            yield output, head


def test_the_checksum_is_that_of_the_catalogue() -> None:
    # CRC-16/MCRF4XX, check value of "123456789" in the catalogue of parametrised CRC algorithms (from memory)
    assert crc(b"123456789") == 0x6F91


def test_an_attitude_is_the_frame_of_the_definition(wire: tuple[Output, socket.socket]) -> None:
    output, head = wire
    output.send(Setpoint(0, np.array([0.0, 90.0, 0.0]), np.array([1.0, 2.0, 3.0])))
    half = math.sqrt(0.5)
    values: dict[str, object] = {
        "target_system": 1,
        "target_component": 154,
        "flags": 4 + 8 + 32,
        "q": (half, 0.0, half, 0.0),
        "angular_velocity_x": math.radians(1),
        "angular_velocity_y": math.radians(2),
        "angular_velocity_z": math.radians(-3),
    }
    assert head.recv(300) == frame("GIMBAL_MANAGER_SET_ATTITUDE", values, 0)


@pytest.mark.parametrize("wire", ["?form=pitchyaw&gimbal=171"], indirect=True)
def test_pitch_and_yaw_are_the_frame_of_the_definition(wire: tuple[Output, socket.socket]) -> None:
    output, head = wire
    output.send(Setpoint(0, np.array([-10.0, 20.0]), np.array([1.0, 2.0])))
    values: dict[str, object] = {
        "target_system": 1,
        "target_component": 154,
        "flags": 4 + 8 + 32,
        "gimbal_device_id": 171,
        "pitch": math.radians(-10),
        "yaw": math.radians(-20),
        "pitch_rate": math.radians(1),
        "yaw_rate": math.radians(-2),
    }
    assert head.recv(300) == frame("GIMBAL_MANAGER_SET_PITCHYAW", values, 0)


def test_heartbeat_time_and_commands_are_the_frames_of_their_definitions(wire: tuple[Output, socket.socket]) -> None:
    output, head = wire
    output.look(0)
    # MAV_TYPE_GCS 6, MAV_AUTOPILOT_INVALID 8, MAV_STATE_ACTIVE 4
    beat: dict[str, object] = {"type": 6, "autopilot": 8, "system_status": 4, "mavlink_version": 3}
    assert head.recv(300) == frame("HEARTBEAT", beat, 0)
    assert head.recv(300) == frame("TIMESYNC", {"ts1": 1}, 1)
    output.ask()
    control: dict[str, object] = {"target_system": 1, "target_component": 154, "command": 1001}
    control |= {"param1": 255.0, "param2": 190.0, "param3": -1.0, "param4": -1.0}
    assert head.recv(300) == frame("COMMAND_LONG", control, 2)
    status: dict[str, object] = {"target_system": 1, "target_component": 154, "command": 511}
    status |= {"param1": 285.0, "param2": 40_000.0, "param7": 1.0}
    assert head.recv(300) == frame("COMMAND_LONG", status, 3)
    output.fire(Trigger(0, "shutter"))
    shutter: dict[str, object] = {"target_system": 1, "target_component": 100, "command": 2000}
    shutter |= {"param3": 1.0, "param4": 1.0, "param7": math.nan}
    assert head.recv(300) == frame("COMMAND_LONG", shutter, 4)
