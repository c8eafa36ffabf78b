"""How the program's own clock is started and stopped, be it a mere clock or the playback of the project's music.

The playback is in the io process; the engine reaches it by a ring of records, which nobody waits for.
"""

from typing import Protocol

import msgspec

from sequencer.shell.memory import Ring


class Desk(Protocol):
    """A clock of ours. Unit: `at_ns` monotonic; `position_s` from the project's start."""

    def start(self, at_ns: int) -> None:
        """Run from where it stands, so as to leave there at `at_ns`; never asked while it runs."""
        ...

    def halt(self, at_ns: int | None = None) -> None:
        """Stand where it was at `at_ns`, or where it is: music cannot be called back."""
        ...

    def locate(self, position_s: float) -> None:
        """Stand at `position_s`."""
        ...


class Play(msgspec.Struct, frozen=True, tag="play"):
    """Let the music be at `position_s` at `at_ns`; None for where it stands."""

    at_ns: int
    position_s: float | None


class Halt(msgspec.Struct, frozen=True, tag="halt"):
    """Let the music stand."""


class Place(msgspec.Struct, frozen=True, tag="place"):
    """Let the music stand at `position_s`."""

    position_s: float


Wish = Play | Halt | Place
_encode = msgspec.msgpack.Encoder().encode
_DECODER: msgspec.msgpack.Decoder[Wish] = msgspec.msgpack.Decoder(Wish)


class PlaybackDesk:
    """The engine's end. Where the io process hangs, so that the ring is full, the follower soon loses the music.

    It remembers where the music was placed: what the card says of that comes a block later, and a start may be sooner.
    """

    def __init__(self, ring: Ring) -> None:
        self._ring = ring
        self._placed_s: float | None = None

    def start(self, at_ns: int) -> None:
        self._ring.put(_encode(Play(at_ns, self._placed_s)))
        self._placed_s = None

    def halt(self, at_ns: int | None = None) -> None:
        self._ring.put(_encode(Halt()))

    def locate(self, position_s: float) -> None:
        self._ring.put(_encode(Place(position_s)))
        self._placed_s = position_s


def wishes(ring: Ring) -> list[Wish]:
    """Return what the engine has wished since the last call."""
    return [_DECODER.decode(record) for record in ring.take()]
