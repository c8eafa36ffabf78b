"""What OpenTrackIO's samples are checked against: its published schema, and a reading of its packets of our own.

Source: OpenTrackIO (SMPTE RIS-OSVP), schema.json and the description of the UDP packet header. The schema belongs to
SMPTE; it lies with its licence (BSD-3-Clause) in tests/standards/opentrackio.
"""

import json
import struct
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from jsonschema import Draft202012Validator

SCHEMA = Path(__file__).parent / "standards" / "opentrackio" / "schema.json"


def check_schema(sample: object) -> None:
    """Check a sample by the published schema."""
    validator = _validator()
    faults = [f"{fault.json_path}: {fault.message}" for fault in validator.iter_errors(sample)]
    # the schema lets unknown names pass at the top level
    unknown = set(sample) - set(validator.schema["properties"]) if isinstance(sample, dict) else {"no object"}
    assert not faults
    assert not unknown


@cache
def _validator() -> Draft202012Validator:
    schema = json.loads(SCHEMA.read_text(encoding="utf-8"))
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema)


@dataclass(frozen=True)
class Packet:
    """The fields of a packet."""

    encoding: int
    sequence: int
    offset: int
    last: bool
    payload: bytes


def unpacked(data: bytes) -> Packet:
    """Read a packet by the table of its header, byte by byte, and refuse one that does not follow it."""
    identifier, reserved, encoding, sequence, offset, length, check = struct.unpack(">4sBBHIHH", data[:16])
    assert (identifier, reserved) == (b"OTrk", 0)
    first = second = 0
    for byte in data[:14] + data[16:]:
        first = (first + byte) % 256
        second = (second + first) % 256
    assert check == second * 256 + first
    assert length & 0x7FFF == len(data) - 16
    return Packet(encoding, sequence, offset, bool(length >> 15), data[16:])
