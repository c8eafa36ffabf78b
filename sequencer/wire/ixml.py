"""What the iXML chunk of a recording says of its time: the rate of its timecode, and what its time stamp is counted in.

It opens no file and reads nothing else of the chunk. Entities and document types are refused: nobody needs them here.

Source: the iXML specification 3.0, SPEED: TIMECODE_RATE as a fraction, TIMECODE_FLAG DF or NDF,
TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI and _LO, and TIMESTAMP_SAMPLE_RATE, which differs from the file's where the
recording is to be pulled down.
"""

from typing import NamedTuple
from xml.parsers import expat

MAX_BYTES = 2**20
_DEEPEST = 32
_SPEED = ("BWFXML", "SPEED")
_LONGEST = 64  # characters of a value


class Ixml(NamedTuple):
    """The time of a recording as iXML says it; None where it does not. Unit: `since_midnight` samples."""

    timecode_rate: str | None = None
    drop: bool | None = None
    since_midnight: int | None = None
    samples_a_second: int | None = None


def ixml(content: bytes) -> Ixml:
    """Return the time that the content of an iXML chunk says. Error: ValueError with the line."""
    if len(content) > MAX_BYTES:
        raise ValueError(f"iXML of {len(content)} bytes is larger than any; {MAX_BYTES} are the most")
    said = _speed(content.rstrip(b"\0 \r\n\t"))
    flag = said.get("TIMECODE_FLAG", "").upper()
    high, low = (_whole(said, f"TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_{half}") for half in ("HI", "LO"))
    return Ixml(
        said.get("TIMECODE_RATE") or None,
        {"DF": True, "NDF": False}.get(flag),
        None if low is None else (high or 0) << 32 | low,
        _whole(said, "TIMESTAMP_SAMPLE_RATE"),
    )


def _whole(said: dict[str, str], name: str) -> int | None:
    text = said.get(name, "")
    if not text:
        return None
    if not (text.isascii() and text.isdecimal()):
        raise ValueError(f"iXML says {name} {text!r}, which is no whole number")
    return int(text)


def _speed(content: bytes) -> dict[str, str]:
    """Return the fields of SPEED by name, the first of each."""
    said: dict[str, str] = {}
    place: list[str] = []
    reader = expat.ParserCreate()

    def refuse(*_told: object) -> None:
        raise ValueError("iXML that declares a document type or an entity is refused")

    def begin(name: str, _attributes: dict[str, str]) -> None:
        if len(place) >= _DEEPEST:
            raise ValueError(f"iXML is nested deeper than {_DEEPEST} elements")
        place.append(name)
        if tuple(place[:-1]) == _SPEED:
            said.setdefault(name, "")

    def end(_name: str) -> None:
        place.pop()

    def text(part: str) -> None:
        if tuple(place[:-1]) == _SPEED and len(said[place[-1]]) < _LONGEST:
            said[place[-1]] += part

    reader.StartDoctypeDeclHandler = refuse  # entities are declared inside of one
    reader.StartElementHandler = begin
    reader.EndElementHandler = end
    reader.CharacterDataHandler = text
    try:
        reader.Parse(content, True)
    except (expat.ExpatError, LookupError) as fault:  # the latter for an encoding that nobody knows
        raise ValueError(f"iXML cannot be read: {fault}") from fault
    return {name: value.strip() for name, value in said.items()}
