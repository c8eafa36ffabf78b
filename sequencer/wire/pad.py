"""Game controllers as they travel from the process that reads them: all that a pad says at one instant, in one row.

Rows come a hundred times a second or more while the pad is here, and one more when it is gone. It maps nothing.
"""

import struct
from dataclasses import dataclass

# what a pad with two sticks has, by where it sits; sticks are positive to the right and up, triggers pulled
AXES = ("left x", "left y", "right x", "right y", "left trigger", "right trigger")
BUTTONS = (
    "lower",
    "right",
    "left",
    "upper",
    "back",
    "start",
    "left stick",
    "right stick",
    "left shoulder",
    "right shoulder",
    "pad up",
    "pad down",
    "pad left",
    "pad right",
)
FULL = 32767
MOST_AXES = 32
_HEAD = struct.Struct("<BBBBI")
_HERE, _KNOWN = 1, 2


@dataclass(frozen=True, slots=True)
class PadRow:
    """What one pad says.

    `pad` is its number here, from 0 in the order in which pads came; one that comes back has the number that it had.
    `known` says that axes and buttons are those of `AXES` and `BUTTONS`; else they have numbers only. `here` is False
    once, when the pad is gone. Shape: `axes` any, each -1 to 1; `buttons` the numbers of those held, each below 32.
    """

    pad: int
    name: str
    axes: tuple[float, ...] = ()
    buttons: frozenset[int] = frozenset()
    known: bool = True
    here: bool = True


def packed(row: PadRow) -> bytes:
    """Return the row as it travels. Error: ValueError for more than it has room for."""
    if len(row.axes) > MOST_AXES or any(not 0 <= one < 32 for one in row.buttons) or not 0 <= row.pad < 256:
        raise ValueError(f"pad {row.pad} with {len(row.axes)} axes and the buttons {sorted(row.buttons)} has no room")
    flags = (_HERE if row.here else 0) | (_KNOWN if row.known else 0)
    bits = sum(1 << one for one in row.buttons)
    steps = (round(min(max(one, -1.0), 1.0) * FULL) for one in row.axes)
    head = _HEAD.pack(row.pad, flags, len(row.axes), 0, bits)
    return head + struct.pack(f"<{len(row.axes)}h", *steps) + row.name.encode()


def unpacked(data: bytes) -> PadRow:
    """Return the row that `packed` wrote. Error: ValueError for what is none."""
    try:
        pad, flags, count, _, bits = _HEAD.unpack_from(data)
        steps = struct.unpack_from(f"<{count}h", data, _HEAD.size)
        name = data[_HEAD.size + 2 * count :].decode()
    except (struct.error, UnicodeDecodeError) as fault:
        raise ValueError(f"{len(data)} bytes are no row of a pad: {fault}") from fault
    return PadRow(
        pad=pad,
        name=name,
        axes=tuple(step / FULL for step in steps),
        buttons=frozenset(one for one in range(32) if bits >> one & 1),
        known=bool(flags & _KNOWN),
        here=bool(flags & _HERE),
    )
