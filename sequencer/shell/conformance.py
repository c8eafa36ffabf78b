"""Tries a device in real time: opens its link, runs the clauses, and stops the rig whatever happens.

Addresses: `device://HOST:PORT`, `device+tcp://HOST:PORT` and `device+serial:PORT?baud=115200` for a device that
schedules; `osc` in place of `device` for one that acts on receipt.
"""

import select
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from sequencer.adapters.asked import Asked
from sequencer.adapters.osc_links.link import PacketLink
from sequencer.adapters.osc_links.links import open_link
from sequencer.adapters.osc_links.place import Place, most_hz, read_place
from sequencer.errors import LinkError
from sequencer.takes.conformance.bench import Bench, NoAnswer, Waits
from sequencer.takes.conformance.clauses import Result, tried
from sequencer.takes.conformance.judged import Clause
from sequencer.takes.conformance.speech import one

_SCHEMES = tuple(f"{kind}{ending}" for kind in ("device", "osc") for ending in ("", "+tcp", "+serial"))
_EXAMPLE = "device://127.0.0.1:9100, or device+serial:/dev/ttyACM0?baud=115200"
_POLLED_S = 0.002  # between two looks at a link that cannot be waited for
_STALLED_NS = 5_000_000_000  # after which a link that takes nothing is given up


@dataclass(frozen=True, slots=True)
class Address:
    """Where a device is, and whether it speaks the device protocol."""

    text: str
    place: Place
    schedules: bool


def read_address(text: str) -> Address:
    """Read the address of a device to be tried. Error: LinkError that says what is wrong."""
    asked = Asked(text, _EXAMPLE)
    if asked.scheme not in _SCHEMES:
        raise asked.fault("is no address of a device")
    place = read_place(asked)
    asked.done()
    return Address(text, place, asked.scheme.startswith("device"))


def conform(address: Address, bench: Bench, clauses: Sequence[Clause], tell: Callable[[Result], None]) -> None:
    """Try the clauses in real time, and tell of each. Error: LinkError where the link goes or nobody answers."""
    with open_link(address.place) as link:
        steps = tried(bench, clauses, tell)
        try:
            _drive(bench, link, steps, address.place)
        except NoAnswer as fault:
            raise LinkError(f"{link.where}: {fault}; {link.trouble() or 'is it the right address?'}") from fault
        except BaseException:
            # whatever ends the trials, Ctrl-C first of all: the rig must not go on
            for _ in range(link.times):
                link.put_urgent(one("/stop"), clears=True)
            raise
        if not bench.told:
            trouble = link.trouble() or "is it on, and is this its address, and its baud where it is serial?"
            raise LinkError(f"nothing answers at {link.where}; {trouble}")


def _drive(bench: Bench, link: PacketLink, steps: Waits, place: Place) -> None:
    bench.now_ns = taken_ns = time.monotonic_ns()
    for wait_s in steps:
        until_ns = time.monotonic_ns() + round(wait_s * 1e9)
        if bench.most_hz is None and place.transport == "serial" and bench.start:
            packet = bench.scheduled(0, bench.now_ns, 0.0, from_ns=bench.now_ns)
            # a number of four bytes, two timetags, and four bytes for each position and speed may have any value
            bench.most_hz = most_hz(place, packet, 20 + 8 * len(bench.axes))[0]
        while True:
            if _pass_on(bench, link):
                taken_ns = bench.now_ns
            elif bench.now_ns - taken_ns > _STALLED_NS:
                mend = "is the device reading, and is its baud right?"
                raise LinkError(f"{link.where} takes nothing any more, {link.waiting} bytes wait; {mend}")
            left_s = (until_ns - time.monotonic_ns()) * 1e-9
            if left_s <= 0:
                break
            _wait(link, min(left_s, _POLLED_S if bench.out else left_s))


def _pass_on(bench: Bench, link: PacketLink) -> bool:
    """Send what waits, as far as the link takes it, and take in what came; return whether any went, or none waits."""
    link.go_on()
    taken = not bench.out
    while bench.out and link.put(bench.out[0]):
        bench.out.popleft()
        taken = True
    heard_ns = time.monotonic_ns()
    for packet in link.packets():
        bench.hear(packet, heard_ns)
    bench.now_ns = time.monotonic_ns()
    return taken


def _wait(link: PacketLink, for_s: float) -> None:
    descriptor = link.fileno()
    if descriptor is None:
        time.sleep(min(for_s, _POLLED_S))
    else:
        select.select([descriptor], [], [], for_s)
