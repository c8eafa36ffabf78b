"""What somebody who adds an output or a source implements: a Protocol, and a frozen record `KIND` beside it.

There are no base classes. An adapter's `open` is a context manager that owns the port; what it yields has only the
methods below. No method may block: the tick calls them.
"""

from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, Protocol

from sequencer.rig.axis import Rig
from sequencer.rig.outlet import AtEnd
from sequencer.rig.signals import Feedback, Setpoint, Trigger, TriggerName
from sequencer.timebase.timecode import Timebase


@dataclass(frozen=True, slots=True, kw_only=True)
class Carries:
    """What an output can carry of the axes that it is given, as it is addressed.

    `most_hz`: the setpoint sets a second that its link holds, with `why` in words (its speed and the size of a set).
    Shape: `resolution` A, the least step that it can say, 0 where that is finer than matters; `span` A, the least and
    the greatest value, None where there is no end; both in the axis's unit, in the order of the axes given, or empty.
    `ahead_s`: it schedules; setpoints are handed to it so long before they are due, and it sees to it that the rig has
    them by then. 0: it acts on receipt. `committed_s`: what is due within that time cannot be replaced any more.
    """

    most_axes: int | None = None
    most_hz: float | None = None
    why: str = ""
    resolution: tuple[float, ...] = ()
    span: tuple[tuple[float, float] | None, ...] = ()
    ahead_s: float = 0.0
    committed_s: float = 0.0
    triggers: tuple[TriggerName, ...] = ()


@dataclass(frozen=True, slots=True)
class LinkState:
    """How the link to a rig is. What cannot be known, since the rig does not echo, is None.

    `round_trip_s`: from here to the rig and back, the median of the last second. `lost`: of what was sent for that in
    the last four seconds, the part that did not come back. `left`: the places of axes without which the run goes on,
    since their link was lost and the others were to go on; no single output says so.
    """

    round_trip_s: float | None = None
    lost: float | None = None
    left: tuple[int, ...] = ()


class Output(Protocol):
    """A rig, as seen from here. Error: LinkError from any method once the link is gone."""

    def fileno(self) -> int | None:
        """Return the descriptor that becomes readable when the rig has spoken, or None where there is none."""
        ...

    def send(self, setpoint: Setpoint) -> None:
        """Send one setpoint set; a full buffer drops it, since the next is newer.

        To an output that schedules it comes `ahead_s` before it is due, else when it is due.
        """
        ...

    def replace(self, from_ns: int) -> None:
        """Forget what was sent that is due at `from_ns` or later: other setpoints for then follow at once.

        Only an output that schedules is ever told so; it tells its rig with the next setpoint set at the latest.
        """
        ...

    def fire(self, trigger: Trigger) -> bool:
        """Have the camera do something, at the trigger's instant where the output schedules, else at once.

        Return whether it went out: an output that carries no such trigger does nothing.
        """
        ...

    def read(self, heard_ns: int) -> tuple[Feedback, ...]:
        """Return what the rig has said since the last call, stamped as received at `heard_ns`."""
        ...

    def ask(self) -> None:
        """Ask the rig to say where it stands for the next while, before the first setpoint; call it twice a second.

        It also tells a rig that was stopped to listen to setpoints again. So while a stop is latched, call it only
        where no setpoints are sent and `stop` follows at once: that makes a rig speak that does not echo.
        """
        ...

    def look(self, now_ns: int) -> None:
        """Look after the link; called at every tick, whether or not a setpoint is sent.

        An output that can measure its link sends for that here, at its own pace; nothing sent here may move a rig, or
        make a stopped one listen again. Where `look` raises nothing, the link is open.
        """
        ...

    def link(self, now_ns: int) -> LinkState:
        """Return how the link is."""
        ...

    def stop(self) -> None:
        """Tell the rig to stop by its own means and stay where it is; sent more than once where a link may lose it."""
        ...

    def here(self, axis: str, value: float) -> None:
        """Tell the rig that `axis` stands at `value`, and shall count from there on; moves nothing.

        A rig obeys at rest, where no setpoints come any more: nobody may send any before it counts so.
        """
        ...

    def trouble(self) -> str:
        """Return in plain words what is wrong on the link although it is not gone, with the mend; empty for nothing."""
        ...


def anything(name: str) -> None:
    """Let every name pass: only its opening shows what is wrong."""


def no_names() -> tuple[str, ...]:
    """Return no address: there is nothing to look for."""
    return ()


@dataclass(frozen=True, slots=True, kw_only=True)
class OutputKind:
    """The record that an output's file exports as `KIND`.

    `schemes` begin the addresses that it opens (`osc` for `osc://127.0.0.1:9000`). `answers` says whether a rig behind
    it can tell where it stands. `at_end` is what a device does when setpoints end, as far as the standard says;
    `stop_action` says it, and what a stop is to it, in plain words.
    `carries` reads an address without opening anything. `open` is called again between two ticks once a link is gone,
    so that only its first call may take long. Both are given the axes that this output shall have, as a rig of their
    own. Error: LinkError from both, for an address that cannot be read.
    `drives`: whether a rig is behind it. One that only tells others of the move (a file, tracking data), or only has
    the camera, has all axes and claims none. `camera`: whether a camera takes its triggers, and not a file that notes
    them. `shared`: another process may hold the same address open at the same time (not so a serial port).
    `names` are the addresses that are found on this machine now. `writes`: which file an address has it write.
    """

    schemes: tuple[str, ...]
    answers: bool
    stop_action: str
    carries: Callable[[str, Rig], Carries]
    open: Callable[[str, Rig, Timebase], AbstractContextManager[Output]]
    at_end: AtEnd = "unknown"
    drives: bool = True
    camera: bool = True
    shared: bool = True
    names: Callable[[], tuple[str, ...]] = no_names
    writes: Callable[[str], Path] | None = None


@dataclass(frozen=True, slots=True)
class Chunk:
    """Bytes as they arrived, with the monotonic instant of their arrival; `port` tells several sources apart."""

    stamp_ns: int
    data: bytes
    port: int = 0


Carried = Literal["midi", "ltc", "osc"]


class Source(Protocol):
    """Something that carries time in. Error: LinkError once it is gone."""

    def fileno(self) -> int | None:
        """Return the descriptor that becomes readable when there is something, or None: then it is polled."""
        ...

    @property
    def address(self) -> str:
        """The address by which a sender reaches it: `pipe:4711` where `pipe:0` was opened."""
        ...

    def notices(self) -> tuple[str, ...]:
        """Return what happened to the link since the last call, in words for the operator."""
        ...

    def read(self, heard_ns: int) -> tuple[Chunk, ...]:
        """Return what has arrived, each chunk with the best stamp that there is (`heard_ns` at the worst)."""
        ...


@dataclass(frozen=True, slots=True)
class SourceKind:
    """The record that a source's file exports as `KIND`.

    `schemes` begin the names that it opens (`pipe:4711`, `midi:Name`, `virtual:Name`). `blocks` says that opening or
    reading may block, so that it belongs in the io process and not beside the tick. `carries` says what its chunks
    hold: MIDI bytes, words of linear timecode as `wire.ltc.packed` writes them, or an OSC message each. `judge` reads a
    name without opening anything. Error: LinkError from it where it could not be opened.
    """

    schemes: tuple[str, ...]
    blocks: bool
    open: Callable[[str], AbstractContextManager[Source]]
    names: Callable[[], tuple[str, ...]]
    carries: Carried = "midi"
    judge: Callable[[str], object] = anything


@dataclass(frozen=True, slots=True)
class ControllerKind:
    """The record that a file of game controllers exports as `KIND`.

    `scheme` begins the addresses that it opens (`pads:` for all that are here, whenever they come).
    What is opened is a source whose chunks are rows as `wire.pad.packed` writes them, and whose notices tell of pads
    that come and go. It may block, so the io process reads it. `names` are the pads that are here now.
    """

    scheme: str
    open: Callable[[str], AbstractContextManager[Source]]
    names: Callable[[], tuple[str, ...]]
