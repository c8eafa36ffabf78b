"""A camera head as pymavlink speaks: it turns as it is told, at once, and keeps what it heard. Time is an argument."""

import math
import os
import socket
from collections.abc import Callable
from typing import Any

from pymavlink.dialects.v20 import common
from scipy.spatial.transform import Rotation

BEAT_NS = 1_000_000_000


class CameraHead:
    """The other end of the link. `turned` is yaw, pitch, roll in degrees, in the frame that the flags of a set name."""

    def __init__(self, receive: Callable[[], bytes], send: Callable[[bytes], object]) -> None:
        self._receive, self._send = receive, send
        self.mav = common.MAVLink(None, srcSystem=1, srcComponent=154)
        self.heard: list[Any] = []
        self.frames = b""
        self.q = [1.0, 0.0, 0.0, 0.0]
        self.flags = common.GIMBAL_DEVICE_FLAGS_YAW_IN_VEHICLE_FRAME
        self.interval_us = 0.0
        self.control = (0, 0)
        self.pictures: set[float] = set()
        self.recording = False
        self.deaf_to: set[int] = set()  # commands that are lost on their way
        self.result = 0
        self._beat_ns = -BEAT_NS
        self._told_ns = 0

    def say(self, message: Any) -> None:
        self._send(bytes(message.pack(self.mav)))
        self.mav.seq = (self.mav.seq + 1) % 256

    def beat(self) -> None:
        self.say(self.mav.heartbeat_encode(common.MAV_TYPE_GIMBAL, common.MAV_AUTOPILOT_INVALID, 0, 0, 4))

    def tell(self, **other: Any) -> None:
        """Say where it looks."""
        said = {
            "target_system": 0,
            "target_component": 0,
            "time_boot_ms": 1,
            "flags": self.flags,
            "q": self.q,
            "angular_velocity_x": math.nan,
            "angular_velocity_y": math.nan,
            "angular_velocity_z": math.nan,
            "failure_flags": 0,
            "delta_yaw": math.nan,
            "delta_yaw_velocity": math.nan,
        }
        self.say(self.mav.gimbal_device_attitude_status_encode(**(said | other)))

    def pump(self, now_ns: int) -> list[Any]:
        """Take in what has come, answer it, and say what is due; return the messages."""
        new: list[Any] = []
        while packet := self._receive():
            self.frames += packet
            new += self.mav.parse_buffer(packet) or []
        for message in new:
            self._obey(message)
        if now_ns - self._beat_ns >= BEAT_NS:
            self._beat_ns = now_ns
            self.beat()
        if self.interval_us > 0 and now_ns - self._told_ns >= self.interval_us * 1000:
            self._told_ns = now_ns
            self.tell()
        self.heard += new
        return new

    def of(self, kind: str) -> list[Any]:
        return [message for message in self.heard if message.get_type() == kind]

    def angles(self) -> list[float]:
        """Yaw, pitch and roll in degrees."""
        w, x, y, z = self.q
        return [float(one) for one in Rotation.from_quat([x, y, z, w]).as_euler("ZYX", degrees=True)]

    def _obey(self, message: Any) -> None:
        match message.get_type():
            case "GIMBAL_MANAGER_SET_ATTITUDE" if not math.isnan(message.q[0]):
                self.q = message.q
            case "GIMBAL_MANAGER_SET_PITCHYAW" if not math.isnan(message.pitch):
                x, y, z, w = Rotation.from_euler("ZYX", [message.yaw, message.pitch, 0]).as_quat()
                self.q = [w, x, y, z]
            case "TIMESYNC" if not message.tc1:
                self.say(self.mav.timesync_encode(123_456, message.ts1))
            case "COMMAND_LONG" if message.command not in self.deaf_to:
                self._command(message)

    def _command(self, message: Any) -> None:
        if not self.result:
            match message.command:
                case common.MAV_CMD_DO_GIMBAL_MANAGER_CONFIGURE:
                    self.control = (int(message.param1), int(message.param2))
                case common.MAV_CMD_SET_MESSAGE_INTERVAL if message.param1 == 285:
                    self.interval_us = message.param2
                case common.MAV_CMD_IMAGE_START_CAPTURE:
                    self.pictures.add(message.param4)
                case common.MAV_CMD_VIDEO_START_CAPTURE:
                    self.recording = True
                case common.MAV_CMD_VIDEO_STOP_CAPTURE:
                    self.recording = False
        # the components of one system share this end; each answers in its own name
        self.mav.srcComponent, own = message.target_component, self.mav.srcComponent
        self.say(self.mav.command_ack_encode(message.command, self.result))
        self.mav.srcComponent = own


def on_udp(port: socket.socket) -> CameraHead:
    """Return a head that answers whoever spoke to `port` last, which does not wait."""
    host: list[Any] = []

    def receive() -> bytes:
        try:
            packet, place = port.recvfrom(65_535)
        except BlockingIOError:
            return b""
        host[:] = [place]
        return packet

    return CameraHead(receive, lambda packet: port.sendto(packet, host[0]) if host else None)


def on_terminal(fd: int) -> CameraHead:
    """Return a head at the other end of a serial line, a descriptor that does not wait."""

    def receive() -> bytes:
        try:
            return os.read(fd, 65_535)
        except BlockingIOError:
            return b""

    return CameraHead(receive, lambda packet: os.write(fd, packet))
