"""A rig that listens to OSC over UDP. It decides nothing: what goes out was guarded before, what comes in is passed on.

Address: `osc://HOST:PORT`, with options `?form=d` (numbers of 64 bits instead of 32) and `&timetag=now` (for a rig
that acts on receipt or has no clock; otherwise the timetag is the instant at which the values are due).

What goes out, each as one datagram with one bundle:
- a setpoint set: `/rig/AXIS/position` and `/rig/AXIS/speed` of every axis, in the axis's unit and that a second;
- `/rig/ask`, without arguments, before the first setpoint: the rig answers to its sender for two seconds. A rig that
  was stopped listens to setpoints again from then on, if it stands still;
- `/stop`, without arguments, three times, to be obeyed at once and always: the rig brakes by its own means, stays where
  it is and ignores setpoints until it is asked again;
- `/rig/ping` with a whole number, five times a second: the rig answers its sender at once, and a rig that was stopped
  stays so;
- `/camera/shutter`, `/camera/record` and `/camera/cut`, without arguments: expose one frame, start and stop recording;
- `/rig/AXIS/here` with one number: the axis stands there, and counts from there on. A rig obeys at rest only, while no
  setpoints come.

What comes in: `/rig/AXIS/actual` with one number, to the sender of the newest setpoint set or question, alone or in a
bundle whose timetag is the instant of measuring; and for each ping `/rig/pong` with its number, with one such bundle. A
rig that knows no ping works too; then the round trip and the loss are not known. And `/rig/AXIS/switch` with 0 or 1,
twice a second at least: whether the axis's homing switch is closed. Anything else is left aside and counted. A timetag
further than a second from its receipt is from a clock that is not set, so the receipt counts instead.

Over TCP and serial lines the same goes: adapters/outputs/osc_stream.py.
Source: OSC 1.0; the addresses are our own.
"""

from sequencer.adapters.contract import OutputKind
from sequencer.adapters.osc_links.osc_output import carries_osc, open_osc

KIND = OutputKind(
    schemes=("osc",),
    answers=True,
    carries=carries_osc,
    stop_action="the rig's own doing; it should brake and hold 0.25 s after the last setpoint",
    open=open_osc,
)
