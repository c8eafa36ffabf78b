"""How rows of a take travel from the engine to the process that writes them: a byte for the type, then MessagePack."""

from dataclasses import dataclass

import msgspec

from sequencer.takes.rows import ActualRow, EventRow, Heading, Row, SetpointRow, TimecodeRow


@dataclass(frozen=True, slots=True)
class OpenTake:
    """Begin the take file `path`; the rows that follow belong to it."""

    path: str
    heading: Heading
    rows_per_s: float
    expected_s: float


@dataclass(frozen=True, slots=True)
class CloseTake:
    """Finish the open take file. `missing` rows found no room on the way to it."""

    missing: int = 0


Record = Row | OpenTake | CloseTake
_KINDS: tuple[type[Record], ...] = (SetpointRow, ActualRow, TimecodeRow, EventRow, OpenTake, CloseTake)
_BYTE = {kind: bytes([number]) for number, kind in enumerate(_KINDS)}
_DECODERS = tuple(msgspec.msgpack.Decoder(kind) for kind in _KINDS)
_encode = msgspec.msgpack.Encoder().encode


def pack(record: Record) -> bytes:
    return _BYTE[type(record)] + _encode(record)


def unpack(data: bytes) -> Record:
    """Return what was packed. Error: ValueError for what never was."""
    try:
        record: Record = _DECODERS[data[0]].decode(data[1:])
    except (IndexError, msgspec.MsgspecError, RecursionError) as fault:
        raise ValueError(f"no row of a take: {fault}") from fault
    return record
