"""What streaming ACN and tracking data cost in one tick of 16 axes, the former beside the library `sacn`."""

import socket
from dataclasses import replace
from itertools import count, cycle

import numpy as np
from sacn.messages.data_packet import DataPacket

from sequencer.rig.axis import Axis, AxisKind, Camera, Rig, Unit
from sequencer.rig.signals import Setpoint
from sequencer.shell.kinds import open_output
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, parse
from sequencer.wire.sacn import Look, Place
from tests.bench.encode import AXES, cost_us, row
from tests.bench.encode import RIG as PANS
from tests.bench.table import Table
from tests.motion.aim_oracles import ZOOMS

MOST_US = 100.0
CID = bytes(range(16))
PLACES = tuple(Place(1 + 3 * number, 24, -170.0, 170.0) for number in range(AXES))
COUNTING = Counting(Rate(25))
TIMEBASE = Timebase(COUNTING, parse("10:00:00:00", COUNTING))
HEAD: tuple[tuple[AxisKind, Unit], ...] = (
    ("pan", "deg"),
    ("tilt", "deg"),
    ("roll", "deg"),
    ("slide", "mm"),
    ("lift", "mm"),
    ("focus", "mm"),
    ("zoom", "mm"),
    ("iris", "part"),
)
# two of each, since two axes of one kind add up
RIG = Rig(
    name="bench",
    axes=tuple(
        Axis(name=f"{kind}{n}", kind=kind, unit=unit, travel=None, speed=60, acceleration=120, jerk=600)
        for n in range(AXES // len(HEAD))
        for kind, unit in HEAD
    ),
    camera=Camera(sensor_mm=(24.9, 14.0), pixels=(3840, 2160), focal_mm=35.0, subject_m=3.5),
)

# one zoom and one focus, by tables; the second ones are irises here
TABLED = replace(
    RIG,
    axes=tuple(replace(one, kind="iris", unit="part") if one.name in ("focus1", "zoom1") else one for one in RIG.axes),
    camera=ZOOMS,
)


def encodings() -> Table:
    """Measure a tick from positions to the packet's bytes, both sides anew each time."""
    looks = (np.linspace(-90, 90, AXES), np.linspace(-80, 100, AXES))  # in turn, so that every tick is a change
    ours = Look(CID, "twintake bench", 1, PLACES)
    theirs = DataPacket(tuple(CID), "twintake bench", 1)
    mine, other = cycle(looks), cycle(looks)
    numbers = count()

    def encode() -> bytes:
        ours.fill(next(mine))
        return ours.packet(next(numbers))

    def encode_by_sacn() -> bytes:
        slots: list[int] = []
        for value in next(other).tolist():
            slots += round((value + 170.0) / 340.0 * 0xFFFFFF).to_bytes(3, "big")
        theirs.dmxData = tuple(slots)
        written = bytes(theirs.getBytes())
        theirs.sequence_increase()
        return written

    if encode() != encode_by_sacn():
        raise AssertionError("the two encodings differ, so their cost cannot be compared")
    return Table(
        f"Streaming ACN for {AXES} axes",
        ("work", "here, us", "sacn, us", "share", "at most 0.20"),
        [row(f"encode a tick: {AXES} axes of 24 bits, {len(encode())} bytes", *cost_us(encode, encode_by_sacn))],
        "Processor time, median of rounds in which both take turns; the encodings are the same bytes.",
    )


def send_us(address: str, rig: Rig) -> float:
    """Return what `send` and `look` cost when nobody reads: a full buffer drops datagrams, as a network would."""
    looks = cycle((np.linspace(-90, 90, AXES), np.linspace(-80, 100, AXES)))
    velocity = np.zeros(AXES)
    ticks = count(0, 4_000_000)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as peer:
        peer.bind(("127.0.0.1", 0))
        with open_output(address.format(port=peer.getsockname()[1]), rig, TIMEBASE) as output:

            def tick() -> None:
                now_ns = next(ticks)
                output.look(now_ns)
                output.send(Setpoint(now_ns, next(looks), velocity, now_ns / 1e9))

            return cost_us(tick)[0]


def tables() -> list[Table]:
    """Return the cost of encoding and of the whole call."""
    slots = "&".join(f"axis{number}={1 + 3 * number}.24:-170..170" for number in range(AXES))
    works = (
        ("sacn", f"sacn://127.0.0.1:{{port}}/1?{slots}", PANS),
        ("sacn, with synchronisation", f"sacn://127.0.0.1:{{port}}/1?{slots}&sync=2", PANS),
        ("opentrackio, JSON", "opentrackio://127.0.0.1:{port}?form=json", RIG),
        ("opentrackio, CBOR", "opentrackio://127.0.0.1:{port}?form=cbor", RIG),
        ("opentrackio, CBOR, lens and pupil by tables", "opentrackio://127.0.0.1:{port}?form=cbor", TABLED),
    )
    costs = [(work, send_us(address, rig)) for work, address, rig in works]
    return [
        encodings(),
        Table(
            f"Outputs over UDP, one tick of {AXES} axes",
            ("output", "us", f"at most {MOST_US:.0f}"),
            [(work, f"{cost:.1f}", "yes" if cost <= MOST_US else "NO") for work, cost in costs],
            "The calls that the tick makes, with the system's own cost of a datagram to a loopback socket.",
        ),
    ]
