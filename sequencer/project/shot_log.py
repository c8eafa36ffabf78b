"""The log of a timelapse: a line for each thing that happened to a frame, on the disk before anything else is done.

It is only ever added to. A line that a crash tore is taken off the end; one that is damaged in the middle is refused,
since a frame would be guessed. Each line is a JSON object, for people and other programs too.
"""

import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from io import FileIO
from pathlib import Path
from types import TracebackType
from typing import Annotated, BinaryIO, Final, Literal

import msgspec
from msgspec import Meta, Struct

from sequencer.errors import TakeError
from sequencer.project import inside
from sequencer.project.flushed import flush_folder, make_folder
from sequencer.project.lock import Lock

FORMAT: Final = "twintake/shot-log"
VERSION: Final = 1
_LARGEST = 1 << 28


class Begun(Struct, frozen=True, tag="begun", tag_field="what", kw_only=True):
    """The first line. `begins`: when frame 0 is exposed, seconds of the system's clock since 1970. `of`: which cue.

    `sha256` is of all that makes the frames what they are: another move, rig or plan is another timelapse.
    """

    format: Literal["twintake/shot-log"] = FORMAT
    version: int = VERSION
    of: str
    frames: Annotated[int, Meta(ge=1)]
    begins: float
    sha256: str


class Firing(Struct, frozen=True, tag="firing", tag_field="what", kw_only=True):
    """The camera is ordered next. Where this is the last line, nobody knows whether it was."""

    frame: Annotated[int, Meta(ge=0)]
    at: float


class Exposed(Struct, frozen=True, tag="exposed", tag_field="what", kw_only=True):
    """The order went out at `at`, `late_s` after its time, with the axes at `actual` (null: not said)."""

    frame: Annotated[int, Meta(ge=0)]
    at: float
    late_s: float = 0.0
    actual: tuple[float | None, ...] = ()


class Moved(Struct, frozen=True, tag="moved", tag_field="what", kw_only=True):
    """From this frame on everything is `by_s` later: a gap was not made up for."""

    frame: Annotated[int, Meta(ge=0)]
    by_s: float


class Doubt(Struct, frozen=True, tag="doubt", tag_field="what", kw_only=True):
    """A frame of which nobody knew whether it was exposed, and what the operator said, or the rule: whether it was."""

    frame: Annotated[int, Meta(ge=0)]
    taken: bool
    asked: bool


Line = Begun | Firing | Exposed | Moved | Doubt
_LINE: msgspec.json.Decoder[Line] = msgspec.json.Decoder(Line)


@dataclass(frozen=True, slots=True)
class Shot:
    """What a log says: how it began, and which frame comes next.

    `begins`: when frame 0 is, or would have been, with all that was moved since. `doubtful`: the frame that comes next
    was perhaps exposed already. `free_at`: when the last order went out. `again`: frames that may be on the card twice.
    """

    begun: Begun
    begins: float
    next: int
    doubtful: bool
    free_at: float
    exposed: tuple[Exposed, ...] = ()
    again: tuple[int, ...] = ()

    @property
    def done(self) -> bool:
        return self.next >= self.begun.frames


@dataclass(slots=True)
class _Reading:
    begun: Begun | None = None
    by_s: float = 0.0
    next: int = 0
    doubtful: bool = False
    exposed: list[Exposed] = field(default_factory=list)
    again: list[int] = field(default_factory=list)
    free_at: float = float("-inf")

    def take(self, line: Line) -> None:
        """Take in one line. Error: ValueError for one that does not follow from those before."""
        if (self.begun is None) != isinstance(line, Begun):
            raise ValueError("a log begins with one line that says what it is of")
        if isinstance(line, Begun):
            self.begun = line
            return
        if line.frame != self.next:
            raise ValueError(f"frame {line.frame} is told where frame {self.next} comes next")
        match line:
            case Firing():
                self.doubtful = True
            case Exposed():
                self._exposed(line)
            case Moved(by_s=by_s):
                self.by_s += by_s
            case Doubt(taken=True):
                self._exposed(Exposed(frame=line.frame, at=self.free_at))
            case Doubt(taken=False, asked=asked):
                self.doubtful = False
                if not asked:
                    self.again.append(line.frame)
        if isinstance(line, Firing | Exposed):
            self.free_at = line.at

    def _exposed(self, line: Exposed) -> None:
        self.exposed.append(line)
        self.next, self.doubtful = self.next + 1, False

    def whole(self) -> Shot:
        assert self.begun is not None
        begins = self.begun.begins + self.by_s
        done = tuple(self.exposed), tuple(self.again)
        return Shot(self.begun, begins, self.next, self.doubtful, self.free_at, *done)


def read(path: Path) -> Shot:
    """Return what the log says; a torn last line counts as not written. Error: TakeError with the mend."""
    return _read(path)[0]


def _read(path: Path) -> tuple[Shot, int]:
    """Return what the log says, and how many bytes of it are whole lines."""
    try:
        with _opened(path) as file:
            data = file.read(_LARGEST + 1)
    except FileNotFoundError as fault:
        raise TakeError(f"{path}: there is no log of a timelapse; begin it anew") from fault
    except OSError as fault:
        raise TakeError(f"{path}: cannot be read: {fault.strerror}; check the folder") from fault
    if len(data) > _LARGEST:
        raise TakeError(f"{path}: larger than this program ever wrote; move it away")
    reading, whole = _Reading(), 0
    for number, (line, end) in enumerate(_lines(data), 1):
        try:
            decoded = _LINE.decode(line)
        except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as fault:
            if data.find(b"\n", end) < 0 and reading.begun is not None:
                break  # the last one, whose bytes a power cut kept from the disk
            raise _damaged(path, number, fault) from fault
        try:
            reading.take(decoded)
        except ValueError as fault:
            raise _damaged(path, number, fault) from fault
        whole = end
    if reading.begun is None:
        raise TakeError(f"{path}: holds no whole line: it ended before it began; begin anew, without --resume")
    if reading.begun.version != VERSION:
        raise TakeError(f"{path}: written by another version of this program; update the program")
    return reading.whole(), whole


def _damaged(path: Path, number: int, fault: Exception) -> TakeError:
    return TakeError(f"{path}: line {number} is damaged: {fault}; correct it by hand, or begin anew")


def _lines(data: bytes) -> Iterator[tuple[bytes, int]]:
    """Yield each line that ends, and where."""
    at = 0
    while (end := data.find(b"\n", at)) >= 0:
        yield data[at:end], end + 1
        at = end + 1


def _opened(path: Path) -> BinaryIO:
    inside.demand_inside(path.parent, path.parent.parent)
    return inside.opened(path, path.parent)


def demand_none(path: Path) -> None:
    """Have no log there, or one that a crash left without a whole line. Error: TakeError, OSError."""
    try:
        with _opened(path) as file:
            there = b"\n" in file.read(_LARGEST)
    except FileNotFoundError:
        return
    if there:
        raise TakeError(f"{path}: there is a log already; resume it with --resume, or move it away")


class Log:
    """An open log, held by one process. Use it as a context."""

    def __init__(self, path: Path, file: FileIO, lock: Lock) -> None:
        self.path, self._file, self._lock = path, file, lock

    @classmethod
    def begin(cls, path: Path, begun: Begun) -> "Log":
        """Begin a log anew; one that holds no whole line was never begun.

        Error: TakeError where there is one already, or it cannot be written.
        """
        try:
            make_folder(path.parent)
            lock = _locked(path)
            try:
                demand_none(path)
                file = inside.own(path)
                file.truncate(0)
                log = cls(path, file, lock)
            except BaseException:
                lock.release()
                raise
        except OSError as fault:
            raise TakeError(f"{path}: cannot be written: {fault.strerror}; check the folder and the disk") from fault
        try:
            log.add(begun)
            flush_folder(path.parent)
        except BaseException:
            log.close()
            raise
        return log

    @classmethod
    def resume(cls, path: Path) -> tuple["Log", Shot]:
        """Open a log to go on; a torn last line is taken off. Error: TakeError."""
        lock = _locked(path)
        try:
            shot, whole = _read(path)
            file = inside.own(path)
            file.truncate(whole)
            file.seek(whole)
        except OSError as fault:
            lock.release()
            raise TakeError(f"{path}: cannot be written: {fault.strerror}; check the folder and the disk") from fault
        except BaseException:
            lock.release()
            raise
        return cls(path, file, lock), shot

    def add(self, line: Line) -> None:
        """Add a line; it is on the disk when this returns. Error: TakeError."""
        left = memoryview(msgspec.json.encode(line) + b"\n")
        try:
            while left:
                left = left[self._file.write(left) :]
            os.fsync(self._file.fileno())
        except OSError as fault:
            raise TakeError(f"{self.path}: cannot be written: {fault.strerror}; free the disk, then resume") from fault

    def close(self) -> None:
        """Let go of it."""
        self._file.close()
        self._lock.release()

    def __enter__(self) -> "Log":
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, at: TracebackType | None) -> None:
        self.close()


def _locked(path: Path) -> Lock:
    try:
        lock = Lock.take(path.with_name(f".{path.name}.lock"))
    except OSError as fault:
        raise TakeError(f"{path}: cannot be locked: {fault.strerror}; check the folder") from fault
    if lock is None:
        raise TakeError(f"{path}: another process shoots this timelapse; end it first")
    return lock
