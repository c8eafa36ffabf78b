"""A device that plays setpoints on its own clock, over UDP: a radio link may jitter as much as it is sent ahead.

Address: `device://HOST:PORT`, with the options
- `ahead=0.3`: sets go out that many seconds before they are due; the link may delay, lose and repeat them that long;
- `commit=0.1`: what is due within that time is not replaced any more when the plan changes;
- `form=d`: numbers of 64 bits instead of 32.

The protocol is our own: docs/device.md. What goes out: `/device/hello` once a second, `/device/time` 50 times a second
until the device's clock is known within 0.1 ms and 10 times from then on, numbered sets in bundles whose timetag is the
device's time at which they are due, those again that the device has not named as received (at most once a round trip,
never past their time), `/plan/from` with the first set of a changed plan, and `/rig/ask`, `/stop`, `/rig/AXIS/here` and
the camera's as adapters/outputs/osc.py has them. A camera's trigger goes out three times with one instant.
What comes in: `/device/able`, `/device/time`, `/device/held`, `/device/ran-out`, and `/rig/AXIS/actual` and
`/rig/AXIS/switch` as there, with timetags in the device's time.

No set goes out before the device's clock is known to 5 ms. That bound holds where the link is equally long both ways;
else half of what the ways differ comes to it, at most half the least round trip. A device of another version or without
an axis, one that was reset, whose clock jumped or that ran out of sets is a LinkError.
Over TCP and serial lines the same goes: adapters/outputs/device_stream.py.
"""

from sequencer.adapters.contract import OutputKind
from sequencer.adapters.device_host.manner import carries_device
from sequencer.adapters.device_host.opening import open_device

KIND = OutputKind(
    schemes=("device",),
    answers=True,
    carries=carries_device,
    stop_action="it brakes at its own limits and holds; where setpoints end in mid-move it does the same, and says so",
    open=open_device,
    at_end="decelerate",
)
