"""What the program's own playback says of itself as it plays, and how that travels between processes.

It plays nothing and knows no timeline. Source: none; it is a definition.
"""

import struct
from typing import NamedTuple

_TRAVELS = struct.Struct("<qI?")


class Playing(NamedTuple):
    """Where playback is at one instant, which travels beside it: when its converter reaches `sample`.

    `sample` counts the recording's own samples from its first, `rate_hz` a second, whatever the card runs at. Where
    `running` is false playback stands there from that instant on.
    """

    sample: int
    rate_hz: int
    running: bool


def packed(playing: Playing) -> bytes:
    """Return how it travels."""
    return _TRAVELS.pack(*playing)


def unpacked(data: bytes) -> Playing:
    """Return what travelled. Error: ValueError for bytes that are no such record."""
    try:
        playing = Playing(*_TRAVELS.unpack(data))
    except struct.error as fault:
        raise ValueError(f"{len(data)} bytes do not say where playback is") from fault
    if playing.rate_hz == 0:
        raise ValueError("playback says that it has no sample rate")
    return playing
