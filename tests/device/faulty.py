"""Devices with one fault each: the reference device, changed by a function that is named after what is wrong."""

from collections.abc import Callable
from typing import Any

from tests.device.bench import Reference, reference

packets, axis, plan, device = (reference(name) for name in ("packets", "axis", "plan", "device"))
Patch = Callable[[Any, str, Any], None]
Fault = Callable[[Reference, Patch], None]


def nameless(one: Reference, patch: Patch) -> None:
    def hello(self: Any, highest: int, sender: object) -> None:
        answer = packets.message("/device/able", "isiiii", 1, self.name, 2, 40, 200, 1)
        self._out.append((packets.bundle(1, [answer]), sender))

    patch(device.Device, "_hello", hello)


def answers_before_it_is_asked(one: Reference, patch: Patch) -> None:
    def sent(self: Any, now: int) -> Any:
        self._times = [(sender, number, came + 10_000_000) for sender, number, came in self._times]
        return plainly(self, now)

    plainly = device.Device.packets
    patch(device.Device, "packets", sent)


def microseconds_for_nanoseconds(one: Reference, patch: Patch) -> None:
    """Its second lasts 1.01 of ours, in what it says of the time alone."""

    def sent(self: Any, now: int) -> Any:
        said, self._times = self._times, []
        for sender, number, came in said:
            tag = packets.to_tag(came + came // 100)
            self._out.append((packets.bundle(1, [packets.message("/device/time", "itt", number, tag, tag)]), sender))
        return plainly(self, now)

    plainly = device.Device.packets
    # only while the clock is tried, since all else hangs on it
    real = device.Device.hear

    def hear(self: Any, packet: bytes, sender: object, now: int) -> None:
        tried = packet[16:].startswith(b"\0\0\0\x18/device/time") and 1000 <= packet[-1] + 256 * packet[-2] < 1100
        real(self, packet, sender, now)
        if not tried:
            for asker, number, came in self._times:
                tags = packets.to_tag(came), packets.to_tag(came)
                answer = packets.message("/device/time", "itt", number, *tags)
                self._out.append((packets.bundle(1, [answer]), asker))
            self._times = []

    patch(device.Device, "packets", sent)
    patch(device.Device, "hear", hear)


def seldom_says_where_it_stands(one: Reference, patch: Patch) -> None:
    patch(device, "ACTUAL_EVERY", 33_000_000)


def never_silent(one: Reference, patch: Patch) -> None:
    patch(device, "LISTENED", 60_000_000_000)


def another_pong(one: Reference, patch: Patch) -> None:
    plainly = packets.message

    def message(address: str, types: str = "", *values: Any) -> Any:
        return plainly(address, types, *([values[0] & 0xFFFF] if address == "/rig/pong" else values))

    patch(packets, "message", message)


def odd_switch(one: Reference, patch: Patch) -> None:
    one.device.switch = lambda place: 2


def seldom_acknowledges(one: Reference, patch: Patch) -> None:
    patch(device, "HELD_EVERY", 200_000_000)


def no_mask(one: Reference, patch: Patch) -> None:
    plainly = plan.Plan.held
    patch(plan.Plan, "held", lambda self: (*plainly(self)[:2], 0))


def takes_more_than_it_holds(one: Reference, patch: Patch) -> None:
    plainly = plan.Plan.take

    def take(self: Any, *what: Any) -> None:
        self.room, room = 1000, self.room
        plainly(self, *what)
        self.room = room

    patch(plan.Plan, "take", take)


def too_slow(one: Reference, patch: Patch) -> None:
    plainly = plan.Plan.take
    came: list[int] = []

    def take(self: Any, held: Any, from_ns: Any, now: int) -> None:
        came[:] = [*(at for at in came if at > now - 500_000_000), now]
        if len(came) <= 80 or len(came) % 3:
            plainly(self, held, from_ns, now)

    patch(plan.Plan, "take", take)


def late_by_35_ms(one: Reference, patch: Patch) -> None:
    plainly = plan.Plan.take

    def take(self: Any, held: Any, from_ns: Any, now: int) -> None:
        held.due += 35_000_000 * held.scheduled
        plainly(self, held, from_ns and from_ns + 35_000_000, now)

    patch(plan.Plan, "take", take)


def straight_between_sets(one: Reference, patch: Patch) -> None:
    def between(start: int, position: float, velocity: float, one: Any, place: int, axes: int, now: int) -> Any:
        return position + velocity * (now - start) * 1e-9, velocity

    patch(plan, "between", between)


def in_the_order_of_arrival(one: Reference, patch: Patch) -> None:
    def play(self: Any, now: int) -> Any:
        held = plainly(self, now)
        if held is not None:
            held.due = max(held.due, now)
        return held

    plainly = plan.Plan.play
    patch(plan.Plan, "play", play)
    patch(plan.Plan, "_place", lambda self, held: len(self.sets))


def takes_numbers_twice(one: Reference, patch: Patch) -> None:
    plainly = plan.Plan.take

    def take(self: Any, held: Any, *what: Any) -> None:
        if any(other.number == held.number for other in self.sets):
            self._seen.discard(held.number)
        plainly(self, held, *what)

    patch(plan.Plan, "take", take)


def counts_without_a_wrap(one: Reference, patch: Patch) -> None:
    patch(plan, "ahead", lambda number, other: number - other)


def takes_nothing_back(one: Reference, patch: Patch) -> None:
    plainly = plan.Plan.take
    patch(plan.Plan, "take", lambda self, held, from_ns, now: plainly(self, held, None, now))


def leaves_late_sets(one: Reference, patch: Patch) -> None:
    plainly = plan.Plan.take

    def take(self: Any, held: Any, from_ns: Any, now: int) -> None:
        if held.due >= now:
            plainly(self, held, from_ns, now)

    patch(plan.Plan, "take", take)


def goes_back_to_old_sets(one: Reference, patch: Patch) -> None:
    plainly = plan.Plan.take

    def take(self: Any, held: Any, from_ns: Any, now: int) -> None:
        # in a count that has begun alone: what was on its way before a stop is another clause's
        held.due = max(held.due, now) if self.played is not None else held.due
        plainly(self, held, from_ns, now)

    patch(plan.Plan, "take", take)


def plays_what_the_link_kept_back(one: Reference, patch: Patch) -> None:
    plainly = plan.Plan.begin

    def begin(self: Any, since: int = -1) -> None:
        plainly(self)
        # where it begins to listen; a hello leaves it
        self.floor = -1 if since >= 0 else self.floor

    patch(plan.Plan, "begin", begin)


def goes_back_after_a_hello(one: Reference, patch: Patch) -> None:
    plainly = device.Device._hello

    def hello(self: Any, *what: Any) -> None:
        plainly(self, *what)
        self.course.plan.floor = -1

    patch(device.Device, "_hello", hello)


def jumps(one: Reference, patch: Patch) -> None:
    def follow(self: Any, position: float, velocity: float, dt: float) -> None:
        self.position, self.velocity = position, velocity

    patch(axis.Axis, "follow", follow)


def says_once_that_it_ran_out(one: Reference, patch: Patch) -> None:
    patch(device, "RAN_OUT_EVERY", 60_000_000_000)


def listens_after_it_ran_out(one: Reference, patch: Patch) -> None:
    course = type(one.device.course)
    plainly = course._lead

    def lead(self: Any) -> None:
        plainly(self)
        if self.ran_out is not None and self.still():
            self.deaf = False

    def listen(self: Any) -> None:
        self.ran_out = None
        again(self)

    again = course.listen
    patch(course, "_lead", lead)
    patch(course, "listen", listen)


def runs_out_at_rest(one: Reference, patch: Patch) -> None:
    plainly = device.Device._reports

    def reports(self: Any, now: int) -> Any:
        held = self.course.plan
        more = held.played is not None and not held.sets and now % 200_000_000 == 0
        said = packets.message("/device/ran-out", "i", held.played.number) if more else b""
        return plainly(self, now) + ([packets.bundle(1, [said])] if more else [])

    patch(device.Device, "_reports", reports)


def deaf_to_plain_sets(one: Reference, patch: Patch) -> None:
    patch(type(one.device.course), "take_plain", lambda self, values, now: False)


def carries_on_for_ever(one: Reference, patch: Patch) -> None:
    patch(plan, "CARRY", 60_000_000_000)


def deaf_to_stop(one: Reference, patch: Patch) -> None:
    patch(device.Device, "_stop", lambda self: None)


def listens_after_a_stop(one: Reference, patch: Patch) -> None:
    plainly = device.Device._obey

    def obey(self: Any, address: bytes, *what: Any) -> None:
        plainly(self, address, *what)
        if address == b"/stop":
            self.course.deaf = False

    patch(device.Device, "_obey", obey)


def listens_after_a_ping(one: Reference, patch: Patch) -> None:
    plainly = device.Device._obey

    def obey(self: Any, address: bytes, *what: Any) -> None:
        plainly(self, address, *what)
        if address == b"/rig/ping" and self.course.ran_out is None:
            self.course.listen()

    patch(device.Device, "_obey", obey)


def counts_anew_in_mid_move(one: Reference, patch: Patch) -> None:
    def here(self: Any, place: int, value: float, now: int) -> None:
        self.axes[place].here(value)

    patch(device.Device, "_here", here)


def obeys_any_version(one: Reference, patch: Patch) -> None:
    plainly = device.Device._hello
    patch(device.Device, "_hello", lambda self, highest, sender: plainly(self, 1, sender))


def obeys_what_is_cut_short(one: Reference, patch: Patch) -> None:
    plainly = packets.split

    def split(packet: bytes, *what: Any) -> Any:
        for size in range(len(packet), 0, -4):
            try:
                return plainly(packet[:size], *what)
            except ValueError:
                continue
        raise ValueError

    patch(packets, "split", split)


def another_boot_number_each_time(one: Reference, patch: Patch) -> None:
    plainly = device.Device._hello

    def hello(self: Any, *what: Any) -> None:
        self.boot += 1
        plainly(self, *what)

    patch(device.Device, "_hello", hello)


FAULTS: tuple[tuple[str, Fault], ...] = (
    ("hello", nameless),
    ("time", answers_before_it_is_asked),
    ("time", microseconds_for_nanoseconds),
    ("actual", seldom_says_where_it_stands),
    ("silent", never_silent),
    ("ping", another_pong),
    ("switch", odd_switch),
    ("held", seldom_acknowledges),
    ("missing", no_mask),
    ("full", takes_more_than_it_holds),
    ("rate", too_slow),
    ("due", late_by_35_ms),
    ("between", straight_between_sets),
    ("order", in_the_order_of_arrival),
    ("twice", takes_numbers_twice),
    ("wrap", counts_without_a_wrap),
    ("from", takes_nothing_back),
    ("late", leaves_late_sets),
    ("late", goes_back_to_old_sets),
    ("late", goes_back_after_a_hello),
    ("limits", jumps),
    ("ran out", says_once_that_it_ran_out),
    ("ran out", listens_after_it_ran_out),
    ("rest", runs_out_at_rest),
    ("at once", deaf_to_plain_sets),
    ("end", carries_on_for_ever),
    ("stop", deaf_to_stop),
    ("stop", plays_what_the_link_kept_back),
    ("stop", listens_after_a_stop),
    ("stop", listens_after_a_ping),
    ("here", counts_anew_in_mid_move),
    ("version", obeys_any_version),
    ("nonsense", obeys_what_is_cut_short),
    ("reset", another_boot_number_each_time),
)
