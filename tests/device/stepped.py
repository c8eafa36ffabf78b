"""Runs under MicroPython: the reference device in simulated time. A line in is an instant and the packets that come
then, in hex; a line out is the packets that leave then. It ends with its input.
"""

import sys

sys.path.append(sys.argv[1])

import axis  # type: ignore[import-not-found]  # of the reference device, found at run time
import device  # type: ignore[import-not-found]  # as above

axes = [axis.Axis("pan", 60.0, 120.0), axis.Axis("tilt", 40.0, 80.0, -30.0, 60.0)]
one = device.Device("stepped", axes, 4711, 200, 40)
one.switch = lambda place: int(axes[0].raw() < -5) if place == 0 else None
while True:
    line = sys.stdin.readline()
    if not line:
        break
    now, *packets = line.split()
    now = int(now)
    for packet in packets:
        one.hear(b"" if packet == "-" else bytes.fromhex(packet), "host", now)
    while one.wakes() <= now:
        one.advance(one.wakes())
    print(" ".join(packet.hex() for packet, _ in one.packets(now)))
