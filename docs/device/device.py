"""A device of the protocol in docs/device.md: packets in, packets out, axes that move; time is an argument.

It touches no machine: `unix.py` and `board.py` bring packets, the clock and the motors. All instants are whole
nanoseconds since this device began to run, which never step.
"""

import course
import packets
import plan

VERSION = 1
LISTENED = 2_000_000_000
HELD_EVERY = 50_000_000
HELD_FOR = 500_000_000
ACTUAL_EVERY = 20_000_000
SWITCH_EVERY = 200_000_000
RAN_OUT_EVERY = 200_000_000
FURTHEST_VALUE = 1e9
CAMERA_FURTHEST = 60_000_000_000
MOST_CAMERA = 32
CAMERA = ("shutter", "record", "cut")


class Device:
    """The device. `rate`: the most sets a second that it takes. `boot` is another number after each reset.

    The end sets what it can: `move(place, raw, speed)`, called for every axis after each step of motion;
    `switch(place)`, which returns 0 or 1, or None for an axis without a homing switch; `camera(name)`.
    """

    def __init__(self, name, axes, boot, rate=250, room=512, step=2_000_000):
        self.name = name
        self.axes = axes
        self.boot = boot
        self.rate = rate
        self.course = course.Course(axes, room, step)
        self.move = lambda place, raw, speed: None
        self.switch = lambda place: None
        self.camera = lambda name: None
        self.left_aside = 0
        self._understood = True
        self._cameras = []
        self._fired = []
        self._listener = None
        self._heard = self._numbered = self._plain = -LISTENED
        self._out = []
        self._times = []
        self._next = {"held": 0, "actual": 0, "switch": 0, "ran out": 0}
        self._switches = None
        self._values = {}
        self._heres = {}
        for place, axis in enumerate(axes):
            self._values[packets.text("/rig/" + axis.name + "/position")] = place
            self._values[packets.text("/rig/" + axis.name + "/speed")] = len(axes) + place
            self._heres[("/rig/" + axis.name + "/here").encode()] = place

    def hear(self, packet, sender, now):
        """Obey a packet that arrived at `now`; what is not understood is counted and left aside."""
        try:
            found = packets.split(packet)
            if any(one.startswith(b"/stop\0") for _, one in found):
                # whatever else is in the packet, and however spoilt
                self._stop()
            if found and (found[0][1][:6] == b"/plan/" or self._place(found[0][1]) is not None):
                self._take_set(found, sender, now)
                return
            for tag, one in found:
                address, values = packets.read(one)
                self._obey(address, values, tag, sender, now)
        except (ValueError, IndexError):
            self.left_aside += 1

    def advance(self, now):
        """Let time pass until `now`: play what is due, and move."""
        while self._cameras and self._cameras[0][0] <= now:
            due, name = self._cameras.pop(0)
            self._fired.append((due, name))
            self._fired = self._fired[-MOST_CAMERA:]
            self.camera(name)
        self.course.advance(now)
        for place, axis in enumerate(self.axes):
            self.move(place, axis.raw(), axis.velocity)

    def wakes(self):
        """Return the instant at which `advance` is wanted next."""
        at = self.course.wakes()
        return min(at, self._cameras[0][0]) if self._cameras else at

    def packets(self, now):
        """Return what is to be sent, each with its receiver; they go out at once, at `now`."""
        out, self._out = self._out, []
        for sender, number, came in self._times:
            answer = packets.message("/device/time", "itt", number, packets.to_tag(came), packets.to_tag(now))
            out.append((packets.bundle(packets.IMMEDIATELY, [answer]), sender))
        self._times = []
        if self._listener is not None and now - self._heard <= LISTENED:
            for packet in self._reports(now):
                out.append((packet, self._listener))
        return out

    def _place(self, one):
        comma = one.find(b",")
        return self._values.get(one[:comma]) if comma > 0 else None

    def _take_set(self, found, sender, now):
        """Take a packet as one setpoint set. Error: ValueError where it holds anything else."""
        number = from_ns = None
        values = [None] * (2 * len(self.axes))
        for _, one in found:
            place = self._place(one)
            address, said = packets.read(one)
            if len(said) != 1 or isinstance(said[0], bytes):
                raise ValueError("one number was expected")
            if place is not None:
                # this leaves out what is no number, too
                if not -FURTHEST_VALUE < said[0] < FURTHEST_VALUE:
                    raise ValueError("no axis can stand there")
                values[place] = float(said[0])
            elif address == b"/plan/number" and isinstance(said[0], int) and 0 <= said[0] < plan.WRAP:
                number = said[0]
            elif address == b"/plan/from" and isinstance(said[0], int):
                from_ns = packets.from_tag(said[0])
            else:
                raise ValueError("not of a setpoint set")
        self._listener, self._heard = sender, now
        if self.course.deaf or not self._understood:
            return
        axes = len(self.axes)
        for place, axis in enumerate(self.axes):
            # an axis that is left out stays where it is
            values[place] = axis.position if values[place] is None else values[place]
            values[axes + place] = values[axes + place] or 0.0
        tag = found[0][0]
        if number is None:
            self._plain = now
            self.left_aside += not self.course.take_plain(values, now)
        else:
            self._numbered = now
            at_once = tag == packets.IMMEDIATELY
            one = plan.Set(number, now if at_once else packets.from_tag(tag), values, not at_once)
            self.course.take(one, from_ns, now)

    def _obey(self, address, values, tag, sender, now):
        # what has no room in an answer is not meant
        whole = len(values) == 1 and isinstance(values[0], int) and -plan.WRAP <= values[0] < plan.WRAP
        if address == b"/stop":
            self._stop()
        elif address == b"/rig/ask":
            self._listener, self._heard = sender, now
            self.course.listen()
        elif address == b"/rig/ping" and whole:
            pong = packets.message("/rig/pong", "i", values[0])
            self._out += [(packets.bundle(packets.IMMEDIATELY, [pong]), sender), (self._actual(), sender)]
        elif address == b"/device/hello" and whole:
            self._listener, self._heard = sender, now
            self._hello(values[0], sender)
        elif address == b"/device/time" and whole:
            self._listener, self._heard = sender, now
            self._times.append((sender, values[0], now))
        elif address in self._heres and (whole or (len(values) == 1 and isinstance(values[0], float))):
            self._here(self._heres[address], float(values[0]), now)
        elif address[:8] == b"/camera/" and address[8:].decode() in CAMERA:
            self._take_camera(address[8:].decode(), tag, now)
        else:
            self.left_aside += 1

    def _stop(self):
        self.course.stop()
        self._cameras = []

    def _hello(self, highest, sender):
        self._understood = highest >= VERSION
        if not self.course.plan.sets:
            self.course.plan.begin()
        names = [axis.name for axis in self.axes]
        able = [VERSION, self.name, len(names), self.course.plan.room, self.rate, self.boot]
        able.extend(names)
        answer = packets.message("/device/able", "isiiii" + "s" * len(names), *able)
        self._out.append((packets.bundle(packets.IMMEDIATELY, [answer]), sender))

    def _here(self, place, value, now):
        busy = self.course.plan.sets or now - max(self._numbered, self._plain) < plan.CARRY
        if not busy and self.course.still() and -FURTHEST_VALUE < value < FURTHEST_VALUE:
            self.axes[place].here(value)
            self.course.rest()

    def _take_camera(self, name, tag, now):
        at_once = tag == packets.IMMEDIATELY
        one = (now if at_once else packets.from_tag(tag), name)
        if one[0] - now > CAMERA_FURTHEST or len(self._cameras) == MOST_CAMERA:
            self.left_aside += 1
        # a trigger with an instant may be sent twice against losses, and is done once
        elif at_once or (one not in self._cameras and one not in self._fired):
            self._cameras.append(one)
            self._cameras.sort()

    def _due(self, what, every, now):
        if now < self._next[what]:
            return False
        self._next[what] = max(self._next[what] + every, now + every // 2)
        return True

    def _reports(self, now):
        reports = []
        plan_ = self.course.plan
        if now - self._numbered <= HELD_FOR and plan_.first is not None and self._due("held", HELD_EVERY, now):
            held, first, mask = plan_.held()
            mask -= (mask >> 63) << 64
            reports.append(packets.bundle(1, [packets.message("/device/held", "iih", held, first, mask)]))
        if self.course.ran_out is not None and self._due("ran out", RAN_OUT_EVERY, now):
            reports.append(packets.bundle(1, [packets.message("/device/ran-out", "i", self.course.ran_out)]))
        if self._due("actual", ACTUAL_EVERY, now):
            reports.append(self._actual())
        switches = [self.switch(place) for place in range(len(self.axes))]
        if switches != self._switches or self._due("switch", SWITCH_EVERY, now):
            self._switches = switches
            for axis, closed in zip(self.axes, switches):  # noqa: B905  # MicroPython's zip knows no `strict`
                if closed is not None:
                    reports.append(packets.bundle(1, [packets.message("/rig/" + axis.name + "/switch", "i", closed)]))
        return reports

    def _actual(self):
        said = [packets.message("/rig/" + axis.name + "/actual", "f", axis.position) for axis in self.axes]
        return packets.bundle(packets.to_tag(self.course.now), said)
