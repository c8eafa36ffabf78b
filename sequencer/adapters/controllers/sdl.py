"""Game controllers through SDL: all that are here, whenever they come and go.

Each says all that it says two hundred times a second, all at the same instant. It is passed on as it is: no dead band,
no curve. A pad whose link dies without a word says its last for as long as the system holds it to be there, which
cannot be told from a stick that is held; once it is gone, a row says so at once.
"""

import ctypes
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sequencer.adapters.contract import Chunk, ControllerKind
from sequencer.adapters.pad_ports.device import Pad
from sequencer.adapters.pad_ports.kernel import shut_out
from sequencer.adapters.pad_ports.library import started, text
from sequencer.adapters.pad_ports.seats import MOST, Seats
from sequencer.errors import LinkError
from sequencer.wire.pad import PadRow, packed

SCHEME = "pads"
EVERY_NS = 5_000_000
_SHUT_OUT_EVERY_NS = 2_000_000_000  # the system gives a new pad to its user a moment after it is there

_MEND = (
    "end the program that holds it for itself alone; on Linux, let this user into the group `input` and log in again; "
    "then plug it in again"
)


class Pads:
    """The pads of this machine. Call `read` from one thread, often: rows come when they are due."""

    address = f"{SCHEME}:"

    def __init__(self, sdl: Any) -> None:
        self._sdl = sdl
        self._event = sdl.SDL_Event()
        self._seats = Seats()
        self._pads: dict[int, Pad] = {}  # by number
        self._refused: set[int] = set()  # SDL's numbers of those that cannot be opened
        self._notices: list[str] = []
        self._due_ns: int | None = None
        self._shut_out_due_ns: int | None = None
        self._shut_out: dict[str, int] = {}  # how often each was found so

    def fileno(self) -> int | None:
        """Return None: SDL has no one descriptor to wait for."""
        return None

    def notices(self) -> tuple[str, ...]:
        """Return which pads came and went since the last call, and which cannot be read."""
        told, self._notices = tuple(self._notices), []
        return told

    def read(self, heard_ns: int) -> tuple[Chunk, ...]:
        """Return a row of each pad where one is due, and one for each pad that has gone."""
        self._hear()
        if self._due_ns is not None and heard_ns < self._due_ns:
            return ()
        # on the same beat while we are in time, so that their number a second is kept
        late = self._due_ns is None or heard_ns - self._due_ns >= EVERY_NS
        self._due_ns = EVERY_NS + (heard_ns if late or self._due_ns is None else self._due_ns)
        rows = self._look()
        rows += [pad.row(number) for number, pad in self._pads.items()]
        self._look_for_shut_out(heard_ns)
        return tuple(Chunk(heard_ns, packed(row)) for row in rows)

    def close(self) -> None:
        """Close all pads."""
        for pad in self._pads.values():
            pad.close()
        self._pads.clear()

    def _hear(self) -> None:
        """Have SDL take in what has come, and hand each press to its pad, so that none is too short."""
        sdl, event = self._sdl, self._event
        by_id = {pad.id: pad for pad in self._pads.values()}
        while sdl.SDL_PollEvent(ctypes.byref(event)):
            # all kinds of events of pads have the pad at the same place
            pad = by_id.get(event.jdevice.which)
            if pad is not None:
                pad.hear(event)

    def _look(self) -> list[PadRow]:
        """Take in who has come, and return the rows of those that have gone."""
        sdl = self._sdl
        there = {sdl.SDL_JoystickGetDeviceInstanceID(index): index for index in range(sdl.SDL_NumJoysticks())}
        gone = [number for number, pad in self._pads.items() if pad.id not in there]
        rows = [self._left(number) for number in gone]
        open_now = {pad.id for pad in self._pads.values()}
        for one, index in there.items():
            if one not in open_now and one not in self._refused:
                self._arrived(one, index)
        return rows

    def _arrived(self, one: int, index: int) -> None:
        try:
            pad = Pad(self._sdl, index)
        except LinkError as fault:
            self._refused.add(one)
            name = text(self._sdl.SDL_JoystickNameForIndex(index)) or "without a name"
            self._notices.append(f"the game controller {name} cannot be opened ({fault}); {_MEND}")
            return
        seat = self._seats.take(pad.identity())
        if seat is None:
            pad.close()
            self._refused.add(one)
            self._notices.append(f"the game controller {pad.name} is one too many; {MOST} can be here")
            return
        number, is_back = seat
        self._pads[number] = pad
        words = f"pad {number + 1}, {pad.name}, is {'back' if is_back else 'here'}"
        if not pad.known:
            words += "; its axes and buttons have only numbers: `twintake ports --watch` shows which is which"
        self._notices.append(words)

    def _left(self, number: int) -> PadRow:
        pad = self._pads.pop(number)
        pad.close()
        self._seats.leave(number)
        self._notices.append(f"pad {number + 1}, {pad.name}, is gone and counts as let go; plug it in or charge it")
        return PadRow(number, pad.name, known=pad.known, here=False)

    def _look_for_shut_out(self, now_ns: int) -> None:
        """Tell once of each pad that this user may not read: SDL does not even say that it is there."""
        if self._shut_out_due_ns is not None and now_ns < self._shut_out_due_ns:
            return
        self._shut_out_due_ns = now_ns + _SHUT_OUT_EVERY_NS
        self._shut_out = {name: self._shut_out.get(name, 0) + 1 for name in shut_out()}
        for name, times in self._shut_out.items():
            if times == 2:
                self._notices.append(f"the game controller {name} is here but may not be read; {_MEND}")


@contextmanager
def open_pads(address: str) -> Iterator[Pads]:
    """Open all pads: `pads:`. Error: LinkError where SDL is missing or does not start."""
    if address not in (SCHEME, Pads.address):
        raise LinkError(f"{address!r} means no game controllers; write {Pads.address} for all that are here")
    with started() as sdl:
        pads = Pads(sdl)
        try:
            yield pads
        finally:
            pads.close()


def names() -> tuple[str, ...]:
    """Return the names of the pads that are here now. Error: LinkError where SDL is missing or does not start."""
    with started() as sdl:
        here = [text(sdl.SDL_JoystickNameForIndex(index)) for index in range(sdl.SDL_NumJoysticks())]
    return tuple(name or "a pad without a name" for name in here)


KIND = ControllerKind(scheme=SCHEME, open=open_pads, names=names)
