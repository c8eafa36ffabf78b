"""The device on MicroPython's Unix port, without motors: to try a host with, and to begin one's own from.

    micropython unix.py --udp 9100 --axes pan:60:120,tilt:40:80:-30:60
    micropython unix.py --serial /dev/ttyUSB0 --baud 115200 --axes pan:60:120

An axis is NAME:SPEED:ACCELERATION, with its travel behind it where it has one, :LOW:HIGH. --host 0.0.0.0 lets other
machines reach it; --name, --room (sets that it holds) and --rate (sets a second) are what it says of itself;
--switch pan:low:-12 is a homing switch that is closed up to there (high: from there on), by what the motor counts from
power-up; --log FILE keeps a line for each set that is played: number, due, played (both ns of device time), how late.
It prints one line of JSON when it listens: `boot_us` is where its time begins on this machine's monotonic clock.
"""

import gc
import json
import os
import select
import socket
import sys
import time

import axis
import device
import packets

USAGE = "micropython unix.py --udp 9100 --axes pan:60:120,tilt:40:80:-30:60 (more in the first lines of unix.py)"
SLICE_US = 50  # between two looks at the port while something is due soon
SPIN_US = 250  # what is due within this is waited for awake: sleep is no more exact
TIDY_US = 3000  # room that the garbage collector is given
WRITE = 64  # bytes that a serial port takes without waiting, once it takes any


class Clock:
    """Device time in nanoseconds, from a counter of microseconds that may wrap. Look at it every few minutes."""

    def __init__(self):
        self.began = self._last = time.ticks_us()
        self._us = 0

    def now(self):
        """Return the nanoseconds since the device began to run."""
        ticks = time.ticks_us()
        self._us += time.ticks_diff(ticks, self._last)
        self._last = ticks
        return self._us * 1000


class Udp:
    """A UDP port. A packet that the machine has no room for is dropped, since the next is newer."""

    def __init__(self, host, port):
        self.stream = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.stream.bind(socket.getaddrinfo(host, port)[0][-1])
        self.stream.setblocking(False)

    def read(self):
        """Return the packets that have come, each with its sender."""
        found = []
        try:
            while len(found) < 64:
                found.append(self.stream.recvfrom(packets.LARGEST))
        except OSError:
            pass
        return found

    def write(self, packet, sender):
        """Send one packet."""
        try:  # noqa: SIM105  # MicroPython has no contextlib
            self.stream.sendto(packet, sender)
        except OSError:
            pass

    def go_on(self):
        """Nothing is ever left to send."""


class Serial:
    """A serial port with SLIP frames. What it has no room for is dropped, but never in the middle of a frame."""

    def __init__(self, path, baud):
        import termios

        self.stream = open(path, "r+b", buffering=0)  # noqa: SIM115  # open as long as the device runs
        port = self.stream.fileno()
        termios.setraw(port)
        how = termios.tcgetattr(port)
        how[4] = how[5] = getattr(termios, "B" + str(baud))
        how[6][5] = how[6][6] = 0  # VTIME and VMIN: reading never waits
        termios.tcsetattr(port, termios.TCSANOW, how)
        self._frames = packets.Frames()
        self._left = b""
        self._room = select.poll()
        self._room.register(self.stream, select.POLLOUT)

    def read(self):
        """Return the packets that have come; they are all from the same sender."""
        return [(packet, 0) for packet in self._frames.feed(self.stream.read(1024) or b"")]

    def write(self, packet, sender):
        """Begin to send one packet, or drop it while an earlier one has not gone out."""
        if len(self._left) < 4 * packets.LARGEST:
            self._left += packets.framed(packet)
        self.go_on()

    def go_on(self):
        """Send what the port takes without waiting."""
        while self._left and self._room.poll(0):
            sent = self.stream.write(self._left[:WRITE])
            self._left = self._left[sent:]


def wrong():
    """End with how it is started."""
    print(USAGE)
    sys.exit(2)


def options(words):
    """Return the options of the command line by their names. Error: SystemExit, behind how they are written."""
    given = {"host": "127.0.0.1", "name": "reference", "room": "512", "rate": "250", "baud": "115200"}
    known = ["udp", "serial", "axes", "switch", "log"]
    known.extend(given)
    while words:
        name = words[0][2:]
        if words[0][:2] != "--" or name not in known or len(words) < 2:
            wrong()
        given[name] = words[1]
        words = words[2:]
    if "axes" not in given or ("udp" in given) == ("serial" in given):
        wrong()
    return given


def axis_of(words):
    """Return the axis that NAME:SPEED:ACCELERATION or NAME:SPEED:ACCELERATION:LOW:HIGH describes."""
    name, *numbers = words.split(":")
    if len(numbers) not in (2, 4):
        sys.exit(words + " is no axis; write it as pan:60:120 or pan:60:120:-170:170")
    return axis.Axis(name, *[float(one) for one in numbers])


def build(given, kind=device.Device):
    """Return the device that the options describe."""
    axes = [axis_of(words) for words in given["axes"].split(",")]
    boot = int.from_bytes(os.urandom(4), "big") >> 1
    one = kind(given["name"], axes, boot, int(given["rate"]), int(given["room"]))
    if "switch" in given:
        name, end, at = given["switch"].split(":")
        sign = {"low": -1, "high": 1}[end]

        def closed(place):
            if axes[place].name != name:
                return None
            return int(sign * axes[place].raw() >= sign * float(at))

        one.switch = closed
    if "log" in given:
        log = open(given["log"], "w")  # noqa: SIM115  # open as long as the device runs

        def played(what, now):
            log.write(f"{what.number} {what.due} {now} {now - what.due}\n")

        one.course.played = played
    return one


def serve(one, port, clock):
    """Run the device until the program is ended."""
    poll = select.poll()
    poll.register(port.stream, select.POLLIN)
    gc.collect()
    gc.threshold(-1)
    free = gc.mem_free()
    while True:
        for packet, sender in port.read():
            one.hear(packet, sender, clock.now())
        now = clock.now()
        if now >= one.wakes():
            one.advance(now)
        for packet, sender in one.packets(clock.now()):
            port.write(packet, sender)
        port.go_on()
        left_us = (one.wakes() - clock.now()) // 1000
        if left_us > TIDY_US // 2 and gc.mem_free() < free // 2:
            gc.collect()
        elif left_us > 1500:
            poll.poll((left_us - 500) // 1000)
        elif left_us > SPIN_US:
            time.sleep_us(SLICE_US)
        elif left_us > 0:
            until = one.wakes()
            while clock.now() < until:
                pass


def main(kind=device.Device):
    """Open the port and run."""
    given = options(sys.argv[1:])
    one = build(given, kind)
    port = Udp(given["host"], int(given["udp"])) if "udp" in given else Serial(given["serial"], int(given["baud"]))
    clock = Clock()
    print(json.dumps({"port": given.get("udp", given.get("serial")), "boot_us": clock.began}))
    try:  # noqa: SIM105  # MicroPython has no contextlib
        serve(one, port, clock)
    except KeyboardInterrupt:
        pass


if __name__ == "__main__":
    main()
