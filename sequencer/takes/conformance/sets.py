"""Trials of how a device takes setpoint sets that are due later: when it plays them, and which."""

import math
from collections.abc import Callable, Generator
from dataclasses import dataclass, replace

import numpy as np

from sequencer.rig.signals import Floats
from sequencer.takes.conformance.bench import Bench, Waits
from sequencer.takes.conformance.judged import Fit, Hump, Judged, broken, fit, instants, kept
from sequencer.takes.conformance.speech import SECOND_NS, WRAP, Told

Trial = Generator[float, None, Judged]
Mangle = Callable[[list["Sent"]], list["Sent"]]

LEAD_S = 0.3
_HZ = 50.0
_TOLERANCE = 0.1  # of the amplitude
_ROUGH = 0.02  # of the amplitude: how much worse few sets may be followed than many
_WHEN_S = 0.03
_SILENT_S = 0.25
_LEAST_HELD_HZ = 20
_MOST_TRIED = 4096  # sets of a buffer that is filled to see it full


@dataclass(frozen=True, slots=True)
class Sent:
    """One setpoint set: when it goes out and when it is due, on this machine's clock, and its packet."""

    at_ns: int
    due_ns: int
    number: int
    packet: bytes


def hz_of(bench: Bench, wanted: float = _HZ) -> float:
    """Return the sets a second of a trial: what it wants, as far as device and link take them."""
    rate = bench.able.rate if bench.able is not None else wanted
    return min(wanted, rate, bench.most_hz or wanted)


def planned(bench: Bench, lasts_s: float, hz: float, lead_s: float = LEAD_S, until_s: float = np.inf) -> list[Sent]:
    """Return the numbered sets of a hump that begins once the first has its lead, as far as `until_s` of it."""
    hump, begins_ns = Hump(bench.by, lasts_s), bench.now_ns + round(lead_s * SECOND_NS)
    times = instants(min(lasts_s, until_s), hz)
    sets = []
    for t_s, off, speed in zip(times, hump.position(times), hump.speed(times), strict=True):
        due_ns, number = begins_ns + round(t_s * SECOND_NS), bench.next_number()
        packet = bench.scheduled(number, due_ns, float(off), float(speed))
        sets.append(Sent(due_ns - round(lead_s * SECOND_NS), due_ns, number, packet))
    return sets


def wave(bench: Bench, lasts_s: float, hz: float = _HZ, lead_s: float = LEAD_S, mangle: Mangle = list) -> Waits:
    """Send a hump as numbered sets, changed by `mangle`, and wait until it is over."""
    sets = planned(bench, lasts_s, hz_of(bench, hz), lead_s)
    yield from bench.at([(one.at_ns, one.packet) for one in mangle(sets)])
    yield from bench.rest(sets[-1].due_ns + SECOND_NS // 10)


def followed(
    bench: Bench, lasts_s: float, hz: float = _HZ, lead_s: float = LEAD_S, mangle: Mangle = list
) -> Generator[float, None, Fit]:
    """Play a hump on a device that is ready, and return how it was followed."""
    mark, begins_ns = bench.mark(), bench.now_ns + round(lead_s * SECOND_NS)
    yield from wave(bench, lasts_s, hz, lead_s, mangle)
    return measured(bench, mark, begins_ns, Hump(bench.by, lasts_s).position, lasts_s)


def measured(bench: Bench, mark: int, begins_ns: int, plan: Callable[[Floats], Floats], lasts_s: float) -> Fit:
    """Return how the moving axis followed a plan that began at `begins_ns`."""
    times, positions = bench.tracked(mark)
    return fit(times - begins_ns / SECOND_NS, positions - bench.start[bench.place], plan, lasts_s)


def told_of(bench: Bench, found: Fit, when_s: float = math.inf) -> str:
    """Say what is wrong with how a plan was followed, or nothing; later or earlier than `when_s` is wrong, too."""
    if found.gap_s > _SILENT_S:
        return f"it did not say where it stood for {found.gap_s:.2f} s of the move"
    if found.worst > _TOLERANCE * abs(bench.by):
        return f"it is up to {found.worst:.4g} away from the plan, with its delay of {found.delay_s * 1e3:.0f} ms apart"
    if abs(found.delay_s) > when_s:
        return f"it is {found.delay_s * 1e3:.0f} ms {'late' if found.delay_s > 0 else 'early'}"
    return ""


def when_due(bench: Bench) -> Trial:
    """It plays sets at their instant, not when they come."""
    yield from bench.ready()
    found = yield from followed(bench, 1.5)
    wrong = told_of(bench, found, _WHEN_S)
    if wrong:
        return broken(wrong)
    return kept(f"{found.delay_s * 1e3:+.0f} ms, within {found.worst:.2g}")


def between(bench: Bench) -> Trial:
    """Between sets that are far apart it goes smoothly, by their positions and speeds."""
    yield from bench.ready()
    many = yield from followed(bench, 1.5)
    yield from bench.ready()
    few = yield from followed(bench, 1.5, hz=8.0, lead_s=0.4)
    if few.worst > many.worst + _ROUGH * abs(bench.by):
        return broken(f"with 8 sets a second it is up to {few.worst:.3g} away from the plan, with 50 {many.worst:.3g}")
    return kept(f"within {few.worst:.2g} with 8 sets a second")


def out_of_order(bench: Bench) -> Trial:
    """Sets that overtake each other on the way are played in the order in which they are due."""

    def backward(sets: list[Sent]) -> list[Sent]:
        blocks = [sets[at : at + 8] for at in range(0, len(sets), 8)]
        # a block goes out once its last set could
        return [replace(one, at_ns=block[-1].at_ns) for block in blocks for one in reversed(block)]

    yield from bench.ready()
    wrong = told_of(bench, (yield from followed(bench, 1.5, hz=25.0, lead_s=0.8, mangle=backward)))
    return broken(wrong) if wrong else kept()


def twice(bench: Bench) -> Trial:
    """A number that has come is not taken again, whatever comes with it."""

    def doubled(sets: list[Sent]) -> list[Sent]:
        return [
            each
            for one in sets
            for each in (
                one,
                Sent(one.at_ns, one.due_ns, one.number, bench.scheduled(one.number, one.due_ns, bench.by / 2)),
            )
        ]

    yield from bench.ready()
    wrong = told_of(bench, (yield from followed(bench, 1.2, hz=20.0, mangle=doubled)))
    return broken(f"with every set sent a second time, other values in it, {wrong}") if wrong else kept()


def wraps(bench: Bench) -> Trial:
    """After the number 2147483647 comes 0."""
    yield from bench.ready()
    bench.number = WRAP - 20
    mark = bench.mark()
    wrong = told_of(bench, (yield from followed(bench, 1.0)))
    if wrong:
        return broken(wrong)
    first = [int(told.values[1]) for told in held(bench, mark)][-1:]
    return kept() if first == [bench.number + 1] else broken(f"after the set {bench.number} it waits for {first}")


def held(bench: Bench, mark: int) -> list[Told]:
    """Return what the device said of its buffer since a mark."""
    return [told for told in bench.said("/device/held", mark) if told.types == "iih"]


def acknowledged(bench: Bench) -> Trial:
    """While sets come it says, twenty times a second, which have come."""
    yield from bench.ready()
    mark, hz, begins_ns = bench.mark(), hz_of(bench), bench.now_ns + SECOND_NS // 4
    sets = [
        (bench.now_ns + round(place / hz * SECOND_NS), bench.scheduled(bench.next_number(), due_ns, 0.0))
        for place in range(round(hz))
        if (due_ns := begins_ns + round(place / hz * SECOND_NS))
    ]
    yield from bench.at(sets)
    told = held(bench, mark)
    yield 0.4
    if len(told) < 0.7 * _LEAST_HELD_HZ:
        return broken(f"/device/held came {len(told)} times in the second in which sets came")
    most = max(int(each.values[0]) for each in told)
    if not 1 <= most <= 2 * 0.25 * hz + 2:
        return broken(f"it says that it holds up to {most} sets, where {0.25 * hz:.0f} wait")
    last = held(bench, mark)[-1].values
    if last[:2] != (0, bench.number + 1):
        return broken(f"after the set {bench.number} was played it holds {last[0]} and waits for {last[1]}")
    return kept(f"{len(told)} times in a second")


def asked_again(bench: Bench) -> Trial:
    """It says which set is missing, and takes it later."""
    yield from bench.ready()
    due_ns = bench.now_ns + round(1.2 * SECOND_NS)
    numbers = [bench.next_number() for _ in range(10)]
    packets = [bench.scheduled(number, due_ns + place * SECOND_NS // 50, 0.0) for place, number in enumerate(numbers)]
    mark = bench.mark()
    yield from bench.at([(bench.now_ns, packet) for packet in packets[:4] + packets[5:]])
    yield 0.25
    told = held(bench, mark)
    if not told or told[-1].values != (9, numbers[4], 0b11111):
        said = told[-1].values if told else "nothing"
        return broken(f"with the set {numbers[4]} missing before five others it says {said}, not 9, {numbers[4]}, 31")
    bench.say(packets[4])
    yield from bench.sent()
    yield 0.2
    if held(bench, mark)[-1].values != (10, numbers[-1] + 1, 0):
        return broken(f"after the missing set had come it says {held(bench, mark)[-1].values}")
    yield from bench.rest(due_ns + SECOND_NS // 2)
    return kept()


def replaced(bench: Bench) -> Trial:
    """`/plan/from` takes back what is due from that instant on."""
    yield from bench.ready()
    mark, lead_ns = bench.mark(), round(0.6 * SECOND_NS)
    hump, begins_ns = Hump(bench.by, 2.0), bench.now_ns + lead_ns
    old = planned(bench, 2.0, hz_of(bench), 0.6)
    top_ns = begins_ns + SECOND_NS
    due = [(one.at_ns, one.packet) for one in old if one.at_ns < top_ns - lead_ns // 2]
    # at the top it shall stay for 0.8 s, with sets so far apart that old ones would be seen between them
    new: list[tuple[int, bytes]] = []
    times = np.array([1.4, 1.8, *np.arange(1.82, 2.81, max(0.02, 1 / hz_of(bench)))])
    for t_s in times:
        shifted = np.array([max(t_s - 0.8, 1.0)])
        off, speed = float(hump.position(shifted)[0]), float(hump.speed(shifted)[0])
        due_ns, from_ns = begins_ns + round(t_s * SECOND_NS), None if new else top_ns
        packet = bench.scheduled(bench.next_number(), due_ns, off, speed, from_ns)
        # the first goes out before the top is reached, for it takes back what is due from there on
        new.append((due_ns - round(LEAD_S * SECOND_NS) if new else top_ns - lead_ns // 2, packet))
    last_ns = begins_ns + round(2.85 * SECOND_NS)
    new.append((last_ns - SECOND_NS // 4, bench.scheduled(bench.next_number(), last_ns, 0.0)))
    yield from bench.at(due + new)
    yield from bench.rest(last_ns + SECOND_NS // 10)

    def plan(t_s: Floats) -> Floats:
        return np.where(t_s < 1.0, hump.position(t_s), hump.position(np.maximum(t_s - 0.8, 1.0)))

    wrong = told_of(bench, measured(bench, mark, begins_ns, plan, 2.85))
    return broken(f"after /plan/from {wrong}") if wrong else kept()


def late(bench: Bench) -> Trial:
    """A set that comes late is played at once if it is newer than what is played, else never."""
    yield from bench.ready()
    begins_ns, quarter = bench.now_ns + SECOND_NS // 10, bench.by / 4
    bench.say(bench.scheduled(bench.next_number(), begins_ns, 0.0))
    yield 0.4
    bench.say(bench.scheduled(bench.next_number(), begins_ns + SECOND_NS // 5, quarter))
    yield from bench.sent()
    yield 0.8
    stands = (bench.stands() or 0.0) - bench.start[bench.place]
    if abs(stands - quarter) > _TOLERANCE * abs(bench.by):
        return broken(f"a newer set that came 0.1 s late was not played: it stands {quarter - stands:.3g} from there")
    for behind in ("", ", as a hello had come"):
        if behind:
            yield from bench.hello()
        bench.say(bench.scheduled(bench.next_number(), begins_ns + SECOND_NS // 10, -quarter))
        yield from bench.sent()
        yield 0.6
        again = (bench.stands() or 0.0) - bench.start[bench.place]
        if abs(again - stands) > 0.02 * abs(bench.by):
            return broken(f"it went back to a set older than what it played{behind}")
    return kept()


def full(bench: Bench) -> Trial:
    """It refuses sets for which it has no room, and says so by not acknowledging them."""
    yield from bench.ready()
    assert bench.able is not None
    room = bench.able.room
    if room > _MOST_TRIED:
        return Judged(None, f"it holds {room} sets; up to {_MOST_TRIED} are tried")
    hz = hz_of(bench, bench.able.rate)
    due_ns = bench.now_ns + round((2.0 + 1.5 * room / hz) * SECOND_NS)
    mark, begins_ns = bench.mark(), bench.now_ns
    first = bench.number + 1
    sets = [
        (
            begins_ns + round(place / hz * SECOND_NS),
            bench.scheduled(bench.next_number(), due_ns + place * 5_000_000, 0.0),
        )
        for place in range(room + 20)
    ]
    yield from bench.at(sets)
    yield 0.3
    told = held(bench, mark)
    if not told or told[-1].values[0] != room or told[-1].values[1] != first + room:
        said = told[-1].values if told else "nothing"
        return broken(f"with {room + 20} sets sent to a buffer of {room} it says {said}, not {room}, {first + room}")
    bench.say(bench.scheduled(first + room, bench.now_ns + SECOND_NS // 5, 0.0, from_ns=bench.now_ns))
    bench.number = first + room
    yield from bench.sent()
    yield 0.5
    left = held(bench, mark)[-1].values[0]
    return broken(f"after /plan/from now it still holds {left} sets") if left else kept(f"{room} sets")


def rate(bench: Bench) -> Trial:
    """It takes as many sets a second as it says."""
    assert bench.able is not None
    yield from bench.ready()
    hz = hz_of(bench, bench.able.rate)
    # no more sets wait at once than there is room for
    lead_ns = round(min(0.25, 0.8 * bench.able.room / hz) * SECOND_NS)
    mark, begins_ns = bench.mark(), bench.now_ns
    sets: dict[int, int] = {}
    due = []
    for place in range(round(hz)):
        at_ns, number = begins_ns + round(place / hz * SECOND_NS), bench.next_number()
        sets[number] = at_ns
        due.append((at_ns, bench.scheduled(number, at_ns + lead_ns, 0.0)))
    yield from bench.at(due)
    yield 0.4
    missing = set()
    for told in held(bench, mark):
        first, mask = int(told.values[1]), int(told.values[2])
        for number, at_ns in sets.items():
            waits = at_ns + lead_ns * 2 // 3 < told.at_ns < at_ns + lead_ns
            if waits and first <= number and not (number > first and mask >> (number - first - 1) & 1):
                missing.add(number)
    if missing:
        return broken(f"at {hz:.0f} sets a second it did not take {len(missing)} of {len(sets)}")
    less = f"; the link holds no more, of {bench.able.rate}" if hz < bench.able.rate else ""
    return kept(f"{hz:.0f} sets a second{less}")
