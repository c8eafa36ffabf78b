"""What a target of fuzzing is, and how its bytes become what a decoder is given piece by piece."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from types import FunctionType

MS_NS = 1_000_000
# how long after the one before a piece arrives, by four bits: as masters send, at once, late, and after a night
_GAPS_NS = tuple(
    round(gap_ms * MS_NS)
    for gap_ms in (0, 0.001, 1, 4, 8.3333, 10, 10.4166, 16.6833, 20, 33.3667, 40, 41.7083, 150, 600, 5_000, 36_000_000)
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """One decoder. `decode` gives it the bytes, and lets pass only the errors that the decoder's docstring promises.

    `seeds` makes valid inputs, by writers of ours or by independent libraries; `longest` bytes are tried. `needs` is a
    package without which there is no such decoder; `within` are the functions of it to be followed, where all of it
    would be too much.
    """

    name: str
    decode: Callable[[bytes], None]
    seeds: Callable[[], list[bytes]]
    longest: int = 512
    needs: str = ""
    within: Callable[[], tuple[FunctionType, ...]] = tuple


def pieces(data: bytes) -> Iterator[bytes]:
    """Cut a stream into pieces of two lengths in turn, which the first byte says."""
    if not data:
        return
    lengths = 1 + (data[0] & 15), 1 + (data[0] >> 4)
    at, turn = 1, 0
    while at < len(data):
        yield data[at : at + lengths[turn]]
        at += lengths[turn]
        turn = 1 - turn


def packets(data: bytes) -> Iterator[bytes]:
    """Cut bytes into packets, each behind a byte that says how long it is."""
    at = 0
    while at < len(data):
        yield data[at + 1 : at + 1 + data[at]]
        at += 1 + data[at]


def packed(parts: list[bytes]) -> bytes:
    """Return bytes that `packets` cuts into these. Error: ValueError for a part of more than 255 bytes."""
    return b"".join(bytes((len(part),)) + part for part in parts)


def timed(data: bytes) -> Iterator[tuple[int, bytes]]:
    """Yield packets with the instants at which they arrive: two bytes before each say when, and how long it is."""
    now_ns, at = 0, 0
    while at + 1 < len(data):
        now_ns += _GAPS_NS[data[at] & 15]
        end = at + 2 + data[at + 1]
        yield now_ns, data[at + 2 : end]
        at = end


def at_gap(gap_ms: float, part: bytes) -> bytes:
    """Return a part as `timed` reads it, about `gap_ms` after the one before."""
    code = min(range(len(_GAPS_NS)), key=lambda number: abs(_GAPS_NS[number] - gap_ms * MS_NS))
    return bytes((code, len(part))) + part


def demand_shown(fault: Exception) -> None:
    """Have words that fit a line of a terminal. Error: AssertionError."""
    assert str(fault).isprintable(), f"the words cannot be shown: {str(fault)!r}"
