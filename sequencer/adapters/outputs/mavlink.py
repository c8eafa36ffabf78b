"""A camera head that speaks MAVLink 2: common message set, gimbal protocol v2. It carries pan, tilt, roll in degrees.

Address: `mavlink://HOST:PORT` (UDP; adapters/outputs/mavlink_serial.py has the serial port), with the options
- `form=attitude` (GIMBAL_MANAGER_SET_ATTITUDE: a quaternion and rates; the default) or `form=pitchyaw`
  (GIMBAL_MANAGER_SET_PITCHYAW: tilt and pan only);
- `rates=no`: NaN instead of the axes' speeds, for a head that makes its own;
- `system=1`, `component=154`: the gimbal manager; `gimbal=0`: the device behind it, 0 for all; `camera=100`: the
  camera's component; `own=255`, `own_component=190`: who we are;
- `answers_hz=25`: how often the head is to say where it looks;
- `reverse=AXIS,AXIS`: axes that count the other way. Without it pan grows to the left, tilt upwards, roll clockwise
  seen from behind; MAVLink's yaw grows to the right.

What goes out: HEARTBEAT once a second, from the opening on, also while nothing moves. To a question (`ask`) the
commands MAV_CMD_DO_GIMBAL_MANAGER_CONFIGURE (we take primary control) and MAV_CMD_SET_MESSAGE_INTERVAL, until they are
acknowledged. For a setpoint one message with the flags of the frame: yaw counts from north where pan's `reference` is
`world` (YAW_LOCK, YAW_IN_EARTH_FRAME), else from the base (YAW_IN_VEHICLE_FRAME); roll and pitch are locked to the
horizon unless their `reference` is `base`. Rates are how fast roll, pitch and yaw themselves change: the definition
calls them components of the angular velocity and says no more. To stop: rates 0 with all angles NaN, three times over
UDP; setpoints are then left aside until the next question. For the camera MAV_CMD_IMAGE_START_CAPTURE,
MAV_CMD_VIDEO_START_CAPTURE and MAV_CMD_VIDEO_STOP_CAPTURE, sent again until acknowledged; one picture has one number,
so that none is taken twice. TIMESYNC five times a second, for the round trip.

What comes in: GIMBAL_DEVICE_ATTITUDE_STATUS as actuals, stamped on receipt, since the head's clock is not ours; in the
other frame it is turned by its `delta_yaw`, and where that is not known pan is not known. HEARTBEAT of the manager:
three seconds without it is a link that is gone. GIMBAL_MANAGER_STATUS: who is in control. COMMAND_ACK.

Quaternions have no whole turns: a pan that runs on past 180 degrees goes on smoothly, and what comes back is counted
on from where the head was sent last. A head cannot be told how it counts (`here` does nothing).
Source: MAVLink common message set (common.xml), gimbal protocol v2, heartbeat, command and time synchronisation
services.
"""

from sequencer.adapters.contract import OutputKind
from sequencer.adapters.mavlink_links.mavlink_output import STOP_ACTION, carries_mavlink, open_mavlink

KIND = OutputKind(
    schemes=("mavlink",),
    answers=True,
    stop_action=STOP_ACTION,
    carries=carries_mavlink,
    open=open_mavlink,
)
