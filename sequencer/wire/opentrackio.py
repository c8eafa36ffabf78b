"""Samples of OpenTrackIO, and the packets that carry them: where a camera is, what its lens does, and when.

It reads no clock and no rig: numbers come in the standard's own units. It refuses a payload that no packet can carry.
Source: OpenTrackIO 1.0.1 (SMPTE RIS-OSVP): the JSON schema with its descriptions; for UDP its page on transport
(addresses, port, header, checksum) with the changes listed for 1.0.1: the checksum modulo 256, sequence numbers from 0,
groups in 239.135.1. Which of the checksum's two sums comes first is that of the reference receiver, the second sum.
"""

import math
import struct
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

Form = Literal["json", "cbor"]
Tree = dict[str, object]
Triple = tuple[float, float, float]

PORT = 55_555
SOURCES = (1, 200)
VERSION = (1, 0, 1)
STATIC_NS = 1_000_000_000  # "approximately every 2 seconds" is what the standard asks for; half of it, since UDP loses
SEGMENT = 1500 - 28 - 16  # bytes of payload in one Ethernet frame, without the headers of IP and UDP and our own
_ENCODINGS: dict[Form, int] = {"json": 1, "cbor": 2}
_IDENTIFIER = b"OTrk"
_LAST = 0x8000
_BILLION = 1_000_000_000
_MOST = 1 << 32


def group(source: int) -> str:
    """Return the multicast address of a source's number. Source: OpenTrackIO 1.0.1, IP addressing; RFC 2365."""
    return f"239.135.1.{source}"


@dataclass(frozen=True, slots=True)
class Label:
    """A timecode with its rate, as `timing.timecode` has it."""

    hours: int
    minutes: int
    seconds: int
    frames: int
    rate: tuple[int, int]
    drop: bool = False

    def tree(self) -> Tree:
        """Return it as the standard writes it."""
        num, denom = self.rate
        return {
            "hours": self.hours,
            "minutes": self.minutes,
            "seconds": self.seconds,
            "frames": self.frames,
            "frameRate": {"num": num, "denom": denom},
            "dropFrame": self.drop,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """One sample. What is not known is None, or empty, and left out.

    Unit: `position_m` metres, `angles_deg` degrees (pan to the left, tilt up, roll clockwise from behind the camera,
    with all their turns), `focal_mm` millimetres, `focus_m` metres; `encoders` are 0 to 1 by focus, iris or zoom.
    `ptp_ns` is the instant of the pose since 1970, as the Precision Time Protocol counts it (International Atomic
    Time); where `clock` is None, what it counts from is said in `notes`. `rate` is samples a second. `static` is what
    seldom changes; samples may leave it out. `position_m` is None where nobody knows the pose.
    """

    sample_id: str
    source_id: str
    source: int
    number: int
    ptp_ns: int
    position_m: Triple | None
    angles_deg: Triple
    status: str
    clock: Literal["ntp"] | None = "ntp"
    notes: str | None = None
    rate: tuple[int, int] | None = None
    label: Label | None = None
    focal_mm: float | None = None
    focus_m: float | None = None
    f_number: float | None = None
    encoders: Mapping[str, float] = field(default_factory=dict)
    static: Tree | None = None


def tree(sample: Sample) -> Tree:
    """Return a sample as the standard writes it. Error: ValueError where the pose is no number."""
    seconds, nanoseconds = divmod(sample.ptp_ns, _BILLION)
    timing: Tree = {
        "mode": "internal",
        "sampleTimestamp": {"seconds": seconds, "nanoseconds": nanoseconds},
        "sequenceNumber": sample.number % _MOST,
    }
    if sample.clock is not None:
        # this program cannot know whether anything holds the machine's clock to a server
        timing["synchronization"] = {"locked": False, "source": sample.clock}
    if sample.rate is not None:
        timing["sampleRate"] = {"num": sample.rate[0], "denom": sample.rate[1]}
    if sample.label is not None:
        timing["timecode"] = sample.label.tree()
    written: Tree = {} if sample.static is None else {"static": sample.static}
    written["tracker"] = {"status": sample.status} | ({} if sample.notes is None else {"notes": sample.notes})
    written["timing"] = timing
    written["lens"] = _lens(sample)
    written |= {
        "protocol": {"name": "OpenTrackIO", "version": list(VERSION)},
        "sampleId": sample.sample_id,
        "sourceId": sample.source_id,
        "sourceNumber": sample.source,
    }
    if sample.position_m is not None:
        written["transforms"] = [_pose(sample.position_m, sample.angles_deg)]
    return written


def packets(payload: bytes, form: Form, sequence: int, segment: int = SEGMENT) -> list[bytes]:
    """Return the packets that carry a payload, the first with the sequence number `sequence`, which wraps at 65536.

    `segment` is the most bytes of payload in one packet. Error: ValueError for an empty payload.
    """
    if not payload:
        raise ValueError("there is nothing to send")
    made = []
    for number, begin in enumerate(range(0, len(payload), segment)):
        part = payload[begin : begin + segment]
        last = _LAST if begin + segment >= len(payload) else 0
        head = struct.pack(
            ">4sBBHIH", _IDENTIFIER, 0, _ENCODINGS[form], sequence + number & 0xFFFF, begin, last | len(part)
        )
        made.append(head + struct.pack(">H", checksum(head + part)) + part)
    return made


def checksum(data: bytes) -> int:
    """Return Fletcher's checksum modulo 256 of a packet without its checksum; the second sum is the high byte.

    Source: RFC 1146, appendix I (the two sums); OpenTrackIO 1.0.1 for their modulus.
    """
    numbers = np.frombuffer(data, np.uint8)
    # the second sum takes each byte as often as there are bytes from it on
    weights = np.arange(len(numbers), 0, -1)
    first, second = int(numbers.sum()), int(numbers.astype(np.int64).dot(weights))
    return (second & 0xFF) << 8 | first & 0xFF


def _pose(position_m: Triple, angles_deg: Triple) -> Tree:
    if not all(map(math.isfinite, (*position_m, *angles_deg))):
        raise ValueError(f"the camera shall be at {position_m}, turned {angles_deg}, which is no pose")
    (x, y, z), (pan, tilt, roll) = position_m, angles_deg
    return {
        "translation": {"x": x, "y": y, "z": z},
        "rotation": {"pan": pan, "tilt": tilt, "roll": roll},
        "id": "Camera",
    }


def _lens(sample: Sample) -> Tree:
    """Return what is known of the lens; the pose is that of its entrance pupil, so that lies at no distance."""
    lens: Tree = {"entrancePupilOffset": 0.0}
    if sample.encoders:
        lens["encoders"] = dict(sample.encoders)
    if sample.focal_mm is not None:
        lens["pinholeFocalLength"] = sample.focal_mm
    if sample.focus_m is not None:
        lens["focusDistance"] = sample.focus_m
    if sample.f_number is not None:
        lens["fStop"] = sample.f_number
    return lens
