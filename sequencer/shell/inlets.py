"""What comes in from outside on its way to the engine: chunks of several sources, told apart by their port."""

import struct
import time
from contextlib import AbstractContextManager, ExitStack, suppress
from pathlib import Path

from sequencer.adapters.contract import Chunk, Source
from sequencer.errors import LinkError
from sequencer.shell.kinds import source_kind
from sequencer.shell.memory import Ring
from sequencer.shell.words import Words, visible
from sequencer.sync.crowd import Crowd
from sequencer.sync.osc_orders import RUN_STOP, STOP

_HEAD = struct.Struct("<qB")
_FOR_STOPS = 1 / 32  # of the way to the engine, that only stops may fill
_OSC_STOPS = tuple(address.encode() + b"\0" for address in (STOP, RUN_STOP))


def pack_chunk(chunk: Chunk) -> bytes:
    return _HEAD.pack(chunk.stamp_ns, chunk.port) + chunk.data


def unpack_chunk(record: bytes) -> Chunk:
    stamp_ns, port = _HEAD.unpack_from(record)
    return Chunk(stamp_ns, record[_HEAD.size :], port)


def in_io(address: str) -> bool:
    """Whether the source at `address` may block, so that the io process reads it and not the tick."""
    return source_kind(address).blocks


class RingSource:
    """The sources that the io process reads for us, as the engine sees them."""

    def __init__(self, path: Path) -> None:
        self._ring = Ring(path)
        self.address = ""  # the io process says them

    def fileno(self) -> int | None:
        return None

    def notices(self) -> tuple[str, ...]:
        return ()

    def read(self, heard_ns: int) -> tuple[Chunk, ...]:
        return tuple(unpack_chunk(record) for record in self._ring.take())


class AtPort:
    """A source that the engine reads itself, as one of several."""

    def __init__(self, port: int, source: Source) -> None:
        self.port = port
        self._source = source

    @property
    def address(self) -> str:
        return self._source.address

    def fileno(self) -> int | None:
        return self._source.fileno()

    def notices(self) -> tuple[str, ...]:
        return self._source.notices()

    def read(self, heard_ns: int) -> tuple[Chunk, ...]:
        return tuple(Chunk(chunk.stamp_ns, chunk.data, self.port) for chunk in self._source.read(heard_ns))


class Inlet:
    """One open source at its port. A `vital` one takes the run with it when it goes; of another one that is told.

    `crowd`, where MIDI comes in, says which messages go on. `hands`: any of its chunks may hold a stop.
    """

    def __init__(
        self,
        port: int,
        opening: AbstractContextManager[Source],
        vital: bool,
        crowd: Crowd | None = None,
        *,
        hands: bool = False,
    ) -> None:
        self.port = port
        self._vital = vital
        self._crowd = crowd
        self._hands = hands
        self._open = ExitStack()
        self._source: Source | None = self._open.enter_context(opening)
        self.address = visible(self._source.address)
        self._crowded = False
        self._words = Words()

    def pass_on(self, ring: Ring) -> list[str]:
        """Move what the source has to the engine; return what to tell. Error: LinkError once a vital source is gone."""
        if self._source is None:
            return []
        try:
            now_ns = time.monotonic_ns()
            told = (self._words.fit(now_ns, "link", notice) for notice in self._moved(self._source, ring, now_ns))
            return [notice for notice in told if notice is not None]
        except LinkError as fault:
            if self._vital:
                raise
            self.close()
            return [visible(f"{fault}. The run goes on without it")]

    def _moved(self, source: Source, ring: Ring, now_ns: int) -> list[str]:
        notices = []
        for chunk in source.read(now_ns):
            # counted by when it came: what waited while this process was busy is no flood
            if self._crowd is not None and not self._crowd.lets(chunk.data, min(chunk.stamp_ns, now_ns)):
                continue
            was = self._crowded
            leaving = 0.0 if self._may_stop(chunk.data) else _FOR_STOPS
            self._crowded = not ring.put(pack_chunk(Chunk(chunk.stamp_ns, chunk.data, self.port)), leaving)
            if self._crowded and not was:
                notices.append(
                    "more comes in than the engine can take, and is lost; look for what else sends on this port"
                )
        crowd = () if self._crowd is None else self._crowd.notices(now_ns)
        return [*notices, *source.notices(), *crowd]

    def _may_stop(self, message: bytes) -> bool:
        if self._crowd is not None:
            return self._crowd.stop(message) is not None
        return self._hands or message.startswith(_OSC_STOPS)

    def close(self) -> None:
        """Close the source; one that is gone already was told of."""
        self._source = None
        with suppress(LinkError):
            self._open.close()
