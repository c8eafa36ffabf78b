"""The open link to a camera head that speaks MAVLink; adapters/outputs/mavlink.py says what goes out and comes in."""

import math
from collections.abc import Iterator
from contextlib import contextmanager
from types import ModuleType
from typing import Any

import numpy as np

from sequencer.adapters.contract import Carries, LinkState, Output
from sequencer.adapters.mavlink_links.head import IN_EARTH, IN_VEHICLE, YAW_LOCK, Head, read_head
from sequencer.adapters.mavlink_links.stream import open_stream
from sequencer.adapters.osc_links.link import PacketLink
from sequencer.adapters.serial_ports.line import BITS_PER_BYTE
from sequencer.errors import LinkError
from sequencer.rig.axis import Rig
from sequencer.rig.signals import TRIGGER_NAMES, Feedback, Setpoint, Trigger
from sequencer.timebase.timecode import Timebase
from sequencer.wire import echo
from sequencer.wire.commands import Order, Orders
from sequencer.wire.gimbal import NO_ATTITUDE, Attitude, attitude, half_turns, quaternion

_BEAT_NS = 1_000_000_000
_SILENT_NS = 3_000_000_000
_SECOND_US = 1e6
_SET_BYTES = 47  # GIMBAL_MANAGER_SET_ATTITUDE in a frame, unsigned: 35 of payload, 10 of header, 2 of checksum
_ASIDE = 400  # bytes a second for heartbeats, time synchronisation and commands

STOP_ACTION = "rates of zero to the head, which then holds; what it does without setpoints is its maker's choice"


class MavlinkOutput:
    """The open link to one head.

    `dropped` counts the setpoints that had no room, `left_aside` the messages that say nothing here.
    """

    def __init__(self, link: PacketLink, head: Head, rig: Rig, words: ModuleType) -> None:
        self._link, self._head, self._words = link, head, words
        self._count = len(rig.axes)
        self._mav = words.MAVLink(None, srcSystem=head.own[0], srcComponent=head.own[1])
        self._ears = self._new_ears()
        self._orders = Orders()
        self._echo = echo.Echo()
        self._near = Attitude(0.0, 0.0, 0.0)
        self._now_ns = 0
        self._beat_ns: int | None = None
        self._heard_ns: int | None = None
        self._stopped = False
        self._controlled_by: tuple[int, int] | None = None
        self._faults = ""
        self._pictures = 0
        self.left_aside = 0

    @property
    def dropped(self) -> int:
        return self._link.dropped

    def fileno(self) -> int | None:
        return self._link.fileno()

    def send(self, setpoint: Setpoint) -> None:
        if self._stopped:
            return
        self._near = self._head.attitude(setpoint.position.tolist())
        rates = self._head.attitude(setpoint.velocity.tolist()) if self._head.rates else None
        self._link.put(self._frame(self._set(self._near, rates)))

    def replace(self, from_ns: int) -> None:
        raise AssertionError("it schedules nothing, so there is nothing to replace")

    def fire(self, trigger: Trigger) -> bool:
        words, camera = self._words, self._head.camera
        match trigger.name:
            case "shutter":
                self._pictures += 1
                params = (0.0, 0.0, 1.0, float(self._pictures), 0.0, 0.0, math.nan)
                self._order(Order(words.MAV_CMD_IMAGE_START_CAPTURE, camera, params, "the camera's shutter"))
            case "record":
                params = (0.0, 0.0, 0.0, math.nan, 0.0, 0.0, math.nan)
                self._order(Order(words.MAV_CMD_VIDEO_START_CAPTURE, camera, params, "the start of recording"))
            case "cut":
                params = (0.0, 0.0, math.nan, math.nan, 0.0, 0.0, math.nan)
                self._order(Order(words.MAV_CMD_VIDEO_STOP_CAPTURE, camera, params, "the end of recording"))
        return True

    def ask(self) -> None:
        self._stopped = False
        words, head = self._words, self._head
        number = words.MAV_CMD_DO_GIMBAL_MANAGER_CONFIGURE
        params = (*map(float, head.own), -1.0, -1.0, 0.0, 0.0, float(head.gimbal))
        if self._controlled_by not in (None, head.own):
            self._orders.accepted.discard((number, head.manager[1]))
        self._order_until_accepted(Order(number, head.manager[1], params, "taking control of the head"))
        device = head.gimbal if head.gimbal > 6 else head.manager[1]  # 1 to 6 are behind the manager itself
        status = words.MAVLINK_MSG_ID_GIMBAL_DEVICE_ATTITUDE_STATUS
        params = (float(status), _SECOND_US / head.answers_hz, 0.0, 0.0, 0.0, 0.0, 1.0)
        what = "the question where the head looks"
        self._order_until_accepted(Order(words.MAV_CMD_SET_MESSAGE_INTERVAL, device, params, what))

    def stop(self) -> None:
        self._stopped = True
        still = self._set(None, Attitude(0.0, 0.0, 0.0))
        for _ in range(self._link.times):
            self._link.put_urgent(self._frame(still), clears=True)

    def here(self, axis: str, value: float) -> None:
        pass  # the protocol has no word for it

    def look(self, now_ns: int) -> None:
        self._now_ns = now_ns
        self._link.go_on()
        # a link that stalls is told nothing more of itself: it would only fill what waits
        stalls = self._link.waiting > 0
        if not stalls and (self._beat_ns is None or now_ns - self._beat_ns >= _BEAT_NS):
            self._beat_ns = now_ns
            words = self._words
            beat = (words.MAV_TYPE_GCS, words.MAV_AUTOPILOT_INVALID, 0, 0, words.MAV_STATE_ACTIVE)
            self._link.put_urgent(self._frame(self._mav.heartbeat_encode(*beat)))
        if not stalls and echo.due(self._echo, now_ns):
            self._echo = echo.call(self._echo, now_ns)
            # any number serves as our time, since it is only mirrored; 0 would be none
            self._link.put_urgent(self._frame(self._mav.timesync_encode(0, self._echo.number + 1)))
        for order, times in self._orders.due(now_ns):
            self._command(order, times)
        if self._heard_ns is not None and now_ns - self._heard_ns > _SILENT_NS:
            raise LinkError(
                f"the head at {self._link.where} has sent no heartbeat for {_SILENT_NS / 1e9:g} s; check its power, "
                f"its cable and the network"
            )

    def link(self, now_ns: int) -> LinkState:
        return LinkState(echo.round_trip_s(self._echo, now_ns), echo.lost(self._echo, now_ns))

    def read(self, heard_ns: int) -> tuple[Feedback, ...]:
        told = []
        for packet in self._link.packets():
            for message in self._ears.parse_buffer(packet) or ():
                feedback = self._hear(message, heard_ns)
                if feedback is not None:
                    told.append(feedback)
            if self._head.place.transport == "udp" and self._ears.buf_len():
                self._ears = self._new_ears()  # what a datagram leaves unfinished has no end in the next one
        return tuple(told)

    def trouble(self) -> str:
        if self._heard_ns is None:
            there = f"system={self._head.manager[0]}, component={self._head.manager[1]}"
            return self._link.trouble() or (
                f"no heartbeat has come from {self._link.where} ({there}); start the head, or correct the address"
            )
        if self._controlled_by not in (None, (0, 0), self._head.own):
            return "the head is controlled by system {}, component {}; have that one let go".format(
                *self._controlled_by
            )
        return self._faults or (f"{self._orders.refused}; look at the head's settings" if self._orders.refused else "")

    def _new_ears(self) -> Any:
        ears = self._words.MAVLink(None)
        ears.robust_parsing = True
        return ears

    def _frame(self, message: Any) -> bytes:
        frame = bytes(message.pack(self._mav))
        self._mav.seq = (self._mav.seq + 1) % 256
        return frame

    def _set(self, to: Attitude | None, rates: Attitude | None) -> Any:
        """Return a setpoint; without an attitude only the rates count, and without rates only the attitude."""
        head = self._head
        turning = (math.nan, math.nan, math.nan)
        if rates is not None:
            turning = (math.radians(rates.roll), math.radians(rates.pitch), math.radians(rates.yaw))
        where = (*head.manager, head.flags, head.gimbal)
        if head.form == "attitude":
            q = NO_ATTITUDE if to is None else quaternion(to)
            return self._mav.gimbal_manager_set_attitude_encode(*where, q, *turning)
        pitch, yaw = math.nan, math.nan
        if to is not None:
            pitch, yaw = math.radians(to.pitch), math.radians(half_turns(to.yaw))
        return self._mav.gimbal_manager_set_pitchyaw_encode(*where, pitch, yaw, *turning[1:])

    def _order(self, order: Order) -> None:
        self._orders.begin(order, self._now_ns)
        self._command(order, 0)

    def _order_until_accepted(self, order: Order) -> None:
        key = (order.number, order.component)
        if key not in self._orders.accepted and not self._orders.waits(*key):
            self._order(order)

    def _command(self, order: Order, times: int) -> None:
        message = self._mav.command_long_encode(
            self._head.manager[0], order.component, order.number, times, *order.params
        )
        self._link.put_urgent(self._frame(message))

    def _hear(self, message: Any, heard_ns: int) -> Feedback | None:
        kind = message.get_type()
        if kind == "BAD_DATA" or message.get_srcSystem() != self._head.manager[0]:
            self.left_aside += 1
            return None
        match kind:
            case "HEARTBEAT" if message.get_srcComponent() == self._head.manager[1]:
                self._heard_ns = heard_ns
            case "GIMBAL_DEVICE_ATTITUDE_STATUS" if self._is_ours(message):
                return self._feedback(message, heard_ns)
            case "GIMBAL_MANAGER_STATUS" if self._head.gimbal in (0, message.gimbal_device_id):
                self._controlled_by = (message.primary_control_sysid, message.primary_control_compid)
            case "COMMAND_ACK":
                self._orders.hear(message.command, message.get_srcComponent(), message.result, heard_ns)
            case "TIMESYNC" if message.tc1:
                self._echo = echo.hear(self._echo, message.ts1 - 1, heard_ns)
            case _:
                self.left_aside += 1
        return None

    def _is_ours(self, status: Any) -> bool:
        return self._head.gimbal in (0, status.gimbal_device_id or status.get_srcComponent())

    def _feedback(self, status: Any, heard_ns: int) -> Feedback | None:
        self._faults = self._named_faults(status.failure_flags)
        in_earth = bool(status.flags & (IN_EARTH if status.flags & (IN_EARTH | IN_VEHICLE) else YAW_LOCK))
        turn = 0.0
        if in_earth != self._head.in_earth:
            # q_earth = q_delta_yaw * q_vehicle, as the status's definition has it; older heads do not say delta_yaw
            turn = math.degrees(status.delta_yaw) if status.flags & (IN_EARTH | IN_VEHICLE) else math.nan
            turn = -turn if in_earth else turn
        near = self._near
        seen = attitude(
            tuple(status.q), Attitude(near.roll, near.pitch, near.yaw - (0.0 if math.isnan(turn) else turn))
        )
        if seen is None:
            self.left_aside += 1
            return None
        position = np.array(self._head.values(Attitude(seen.roll, seen.pitch, seen.yaw + turn), self._count))
        return Feedback(heard_ns, position, heard_ns)

    def _named_faults(self, flags: int) -> str:
        if not flags:
            return ""
        names = self._words.enums["GIMBAL_DEVICE_ERROR_FLAGS"]
        said = [
            names[1 << bit].description for bit in range(flags.bit_length()) if flags >> bit & 1 and 1 << bit in names
        ]
        return f"the head says: {' '.join(said) or f'fault {flags:#x}'} Look at it before it is moved"


def _library() -> ModuleType:
    """Return the message set, which is loaded only where it is used. Error: LinkError that names what to install."""
    try:
        from pymavlink.dialects.v20 import common
    except ImportError as fault:
        raise LinkError("MAVLink heads need a library that is not here; run pip install 'twintake[mavlink]'") from fault
    words: ModuleType = common
    return words


@contextmanager
def open_mavlink(address: str, rig: Rig, _: Timebase) -> Iterator[Output]:
    """Open the link to the head at `address`. Error: LinkError that says why not, and the mend."""
    head, words = read_head(address, rig), _library()
    with open_stream(head.place) as link:
        yield MavlinkOutput(link, head, rig, words)


def carries_mavlink(address: str, rig: Rig) -> Carries:
    """Return what goes through; a serial port's speed sets an end to it. Error: LinkError."""
    place = read_head(address, rig).place
    if place.transport != "serial":
        return Carries(most_axes=3, triggers=TRIGGER_NAMES)
    carried = place.baud / BITS_PER_BYTE
    most = max(carried - _ASIDE, 0.0) / _SET_BYTES
    why = (
        f"{place.baud} baud carry {carried:.0f} bytes a second, {_ASIDE} of them for what is no setpoint; a set takes "
        f"{_SET_BYTES} bytes: {most:.1f} sets a second"
    )
    return Carries(most_axes=3, most_hz=most, why=why, triggers=TRIGGER_NAMES)
