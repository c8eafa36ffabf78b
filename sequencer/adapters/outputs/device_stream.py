"""A device that plays setpoints on its own clock, over a TCP connection or a serial line.

Address: `device+tcp://HOST:PORT` or `device+serial:PORT?baud=115200`, with the options `ahead`, `commit` and `form` of
adapters/outputs/device.py. What goes out and comes in is the same, each packet a SLIP frame with END before and after.
On a slow line the questions about the time take a twentieth of it at most. A frame that is not OSC is left aside.

One program at a time has the port, and a small device takes one connection, so nobody shares them.
Source: OSC 1.1 (SLIP on streams), RFC 1055.
"""

from sequencer.adapters.contract import OutputKind
from sequencer.adapters.device_host.manner import carries_device
from sequencer.adapters.device_host.opening import open_device
from sequencer.adapters.osc_links.place import serial_addresses


def names() -> tuple[str, ...]:
    """Return an address for each serial port of this machine, whatever is behind it."""
    return serial_addresses("device+serial")


KIND = OutputKind(
    schemes=("device+tcp", "device+serial"),
    answers=True,
    carries=carries_device,
    stop_action="it brakes at its own limits and holds; where setpoints end in mid-move it does the same, and says so",
    open=open_device,
    at_end="decelerate",
    shared=False,
    names=names,
)
