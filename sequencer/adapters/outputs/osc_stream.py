"""A rig that takes the same OSC as adapters/outputs/osc.py over a stream: a TCP connection, or a serial line.

Address: `osc+tcp://HOST:PORT` or `osc+serial:PORT?baud=115200`, with the options `form=f|d` and `timetag=due|now`.

What goes out and comes in is the same, each packet a SLIP frame with END before and after. A stop goes out once, next
after what has begun: a stream loses nothing. The serial line has eight bits, no parity, one stop bit, no flow control.
Never more is written than the line carries, so that nothing old waits in it: a set that has no room is dropped, and the
next is newer. How many sets a second get through is said before arming.

One program at a time has the port, and a small rig takes one connection, so nobody shares them.
Source: OSC 1.1 (SLIP on streams), RFC 1055.
"""

from sequencer.adapters.contract import OutputKind
from sequencer.adapters.osc_links.osc_output import carries_osc, open_osc
from sequencer.adapters.osc_links.place import serial_addresses


def names() -> tuple[str, ...]:
    """Return an address for each serial port of this machine, whatever is behind it."""
    return serial_addresses("osc+serial")


KIND = OutputKind(
    schemes=("osc+tcp", "osc+serial"),
    answers=True,
    carries=carries_osc,
    stop_action="the rig's own doing; it should brake and hold 0.25 s after the last setpoint",
    open=open_osc,
    shared=False,
    names=names,
)
