"""The device on a microcontroller board with MicroPython: over a UART, or over Wi-Fi.

Copy it and the files beside it onto the board, fill in what is yours, and call it from `main.py`: `import board`, then
`board.run()`. Yours are AXES, LINK and the four functions below them. Step pulses are made by your driver, not here:
`move` says every few milliseconds where an axis shall be and how fast it goes there, and your driver's pulses lead it
there at that speed. They must end by themselves where `move` falls silent.
Nothing here is an emergency stop: that one cuts the motors' supply, by wire.
"""

import os
import time

import axis
import device
import packets

# name, top speed, acceleration, and the travel where there is one; a tenth above the limits of the rig file
AXES = (axis.Axis("pan", 66.0, 132.0, -170.0, 170.0), axis.Axis("tilt", 44.0, 88.0, -30.0, 60.0))
NAME = "my-head"
LINK = ("uart", 1, 115_200)  # or ("wifi", "network's name", "its password", 9100)
RATE = 50  # sets a second that this board truly takes: `twintake device check` tells
ROOM = 64  # sets that it holds; each takes about 200 bytes of memory
STEP = 5_000_000  # ns: how often `move` is called
WATCHDOG_MS = 500  # the board is reset where the loop below stands still for so long


def move(place, raw, speed):
    """Have the driver of this axis be at `raw` now, going at `speed`. Counted from where it stood at power-up."""


def switch(place):
    """Return 1 while the axis's homing switch is closed, 0 while it is open, None where it has none."""
    return None  # noqa: RET501  # what it answers is shown to whoever fills it in


def camera(name):
    """Do what the camera is told: shutter, record, cut."""


def enable():
    """Switch the drivers on, once all is ready. Until here they are off by their own pull-ups or pull-downs."""


class Uart:
    """A serial line with SLIP frames; what it has no room for is dropped, but never in the middle of a frame."""

    def __init__(self, number, baud):
        from machine import UART

        self._port = UART(number, baudrate=baud, rxbuf=2048, txbuf=2048, timeout=0)
        self._frames = packets.Frames()
        self._left = b""

    def read(self):
        """Return the packets that have come, each with its sender."""
        return [(packet, 0) for packet in self._frames.feed(self._port.read() or b"")]

    def write(self, packet, sender):
        """Begin to send one packet, or drop it while much still waits."""
        if len(self._left) < packets.LARGEST:
            self._left += packets.framed(packet)
        self.go_on()

    def go_on(self):
        """Send what the port takes without waiting."""
        if self._left:
            self._left = self._left[self._port.write(self._left) or 0 :]


class Wifi:
    """UDP over Wi-Fi. It waits for the network once, before anything can move."""

    def __init__(self, name, password, port):
        import socket

        import network

        station = network.WLAN(network.STA_IF)
        station.active(True)
        station.connect(name, password)
        while not station.isconnected():
            time.sleep_ms(100)
        print("this device is at", station.ifconfig()[0], port)
        self._port = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._port.bind(("0.0.0.0", port))
        self._port.setblocking(False)

    def read(self):
        """Return the packets that have come, each with its sender."""
        found = []
        try:
            while len(found) < 16:
                found.append(self._port.recvfrom(packets.LARGEST))
        except OSError:
            pass
        return found

    def write(self, packet, sender):
        """Send one packet; there may be no room, and then the next is newer."""
        try:  # noqa: SIM105  # MicroPython has no contextlib
            self._port.sendto(packet, sender)
        except OSError:
            pass

    def go_on(self):
        """Nothing is ever left to send."""


class Clock:
    """Device time in nanoseconds, from a counter of microseconds that wraps every few minutes."""

    def __init__(self):
        self._last = time.ticks_us()
        self._us = 0

    def now(self):
        """Return the nanoseconds since the device began to run."""
        ticks = time.ticks_us()
        self._us += time.ticks_diff(ticks, self._last)
        self._last = ticks
        return self._us * 1000


def build():
    """Return the device that is described above."""
    boot = int.from_bytes(os.urandom(4), "big") >> 1
    one = device.Device(NAME, AXES, boot, RATE, ROOM, STEP)
    one.move, one.switch, one.camera = move, switch, camera
    return one


def turn(one, port, clock):
    """Do once what there is to do: hear, move, speak."""
    for packet, sender in port.read():
        one.hear(packet, sender, clock.now())
    now = clock.now()
    if now >= one.wakes():
        one.advance(now)
    for packet, sender in one.packets(clock.now()):
        port.write(packet, sender)
    port.go_on()


def run():
    """Run the device for ever. Where the loop stands still, the watchdog resets the board, which is deaf then."""
    from machine import WDT

    kind, *how = LINK
    port = Uart(*how) if kind == "uart" else Wifi(*how)
    one, clock = build(), Clock()
    enable()
    watchdog = WDT(timeout=WATCHDOG_MS)
    while True:
        turn(one, port, clock)
        watchdog.feed()
