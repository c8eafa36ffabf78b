"""A camera head that takes the same MAVLink as adapters/outputs/mavlink.py over a serial port.

Address: `mavlink+serial:PORT?baud=57600`, with the options of adapters/outputs/mavlink.py. A stop goes out once, next
after what has begun. Never more is written than the line carries: a setpoint without room is dropped, and the next is
newer. How many sets a second get through is said before arming. One program at a time has the port.
Source: MAVLink common message set (common.xml), gimbal protocol v2.
"""

from sequencer.adapters.contract import OutputKind
from sequencer.adapters.mavlink_links.mavlink_output import STOP_ACTION, carries_mavlink, open_mavlink
from sequencer.adapters.osc_links.place import serial_addresses


def names() -> tuple[str, ...]:
    """Return an address for each serial port of this machine, whatever is behind it."""
    return serial_addresses("mavlink+serial")


KIND = OutputKind(
    schemes=("mavlink+serial",),
    answers=True,
    stop_action=STOP_ACTION,
    carries=carries_mavlink,
    open=open_mavlink,
    shared=False,
    names=names,
)
