"""The takes of a folder as a list: what each is of, how it went, how large it is, and what the crew says of it.

A take that is taken out of the list goes into the folder `removed` beside the others, under its own name, and comes
back from there. It refuses to leave out a file that cannot be read, to write over one, and to delete any.
"""

import errno
import os
import shutil
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from fractions import Fraction
from pathlib import Path
from typing import Literal, get_args

from sequencer.errors import TakeError
from sequencer.project import inside, takelog
from sequencer.project.flushed import flush_folder, make_folder
from sequencer.project.take_heading import Meant
from sequencer.project.take_summary import Summary, summary
from sequencer.rig.axis import Rig
from sequencer.takes.rows import Heading
from sequencer.takes.take import Happening

FOLDER = "takes"  # in a project's folder
SUFFIX = ".mcap"
REMOVED = "removed"
Order = Literal["newest", "oldest", "largest", "longest", "name"]
ORDERS: tuple[Order, ...] = get_args(Order)
_STOPS = ("stopping", "stopped")
_TROUBLES = ("freewheel", "link", "take", "not fired")


@dataclass(frozen=True, slots=True, kw_only=True)
class Filed:
    """One take as the library has it. `fault` says why it cannot be used (`usable` False) or what is missing.

    `number` is that of the take within its cue and pass, 0 where its name has none. `stops` are the causes for which
    it ended early, `troubles` what else did not go as it should, in words. `state` tells when the file was changed.
    `rig` has the limits that it was shot with, None where the take does not say them; `told` is the heading as values.
    Unit: `lasts_s` of what was recorded; `bytes` on the disk.
    """

    path: Path
    state: tuple[int, int] = (0, 0)
    heading: Heading | None = None
    told: Meant | None = field(default=None, hash=False)
    lasts_s: float = 0.0
    happenings: tuple[Happening, ...] = ()
    fault: str = ""
    said: takelog.Entry = takelog.NOTHING

    @property
    def name(self) -> str:
        return self.path.stem

    @property
    def bytes(self) -> int:
        return self.state[1]

    @property
    def usable(self) -> bool:
        return self.heading is not None

    @property
    def complete(self) -> bool:
        """Whether the file is whole."""
        return self.usable and not self.fault

    @property
    def cue(self) -> str:
        return self.heading.cue if self.heading else ""

    @property
    def run(self) -> str:
        return self.heading.run if self.heading else ""

    @property
    def speed(self) -> Fraction:
        return Fraction(self.heading.speed) if self.heading else Fraction(1)

    @property
    def started(self) -> str:
        return self.heading.started if self.heading else ""

    @property
    def by_hand(self) -> tuple[str, ...]:
        return self.heading.by_hand if self.heading else ()

    @property
    def rig(self) -> Rig | None:
        return self.told.rig if self.told else None

    @property
    def remarks(self) -> tuple[str, ...]:
        """What of its heading could not be kept, or not be read, in words."""
        return self.told.remarks if self.told else ()

    @property
    def number(self) -> int:
        return numbered(self.name.rpartition("_")[2])

    @property
    def circled(self) -> bool:
        return self.said.circled

    @property
    def note(self) -> str:
        return self.said.note

    @property
    def stops(self) -> tuple[str, ...]:
        """Why it ended early, in words."""
        stops = [one for one in self.happenings if one.code in _STOPS]
        # a rig that had to brake says so first, and then that it stands
        braked = [one for one in stops if one.code == "stopping"]
        return tuple(one.text for one in braked or stops)

    @property
    def troubles(self) -> tuple[str, ...]:
        """What else did not go as it should, in words."""
        return tuple(one.text for one in self.happenings if one.code in _TROUBLES)

    @property
    def standing(self) -> str:
        """How it went, in a word or two: whole, stopped, broken off, or cannot be used."""
        if not self.usable:
            return "cannot be used"
        if self.fault:
            return "broken off"
        return "stopped" if self.stops else "whole"

    @property
    def words(self) -> str:
        """All that a search looks at, in small letters."""
        marks = ["circled"] if self.circled else []
        hands = ["by hand", *self.by_hand] if self.by_hand else []
        parts = (self.name, self.cue, self.run, self.note, self.standing, when(self.started), *marks, *hands)
        return " ".join(parts).casefold()


@dataclass(frozen=True, slots=True, kw_only=True)
class Library:
    """The takes of a folder, the newest first, those that were removed, and why notes cannot be read, if they cannot.

    Unit: `free` bytes on the disk, None where the system does not say.
    """

    folder: Path
    takes: tuple[Filed, ...] = ()
    removed: tuple[Filed, ...] = ()
    free: int | None = None
    fault: str = ""

    @property
    def bytes(self) -> int:
        """What all takes take on the disk, without those that were removed."""
        return sum(one.bytes for one in self.takes)


def _all(_: float) -> bool:
    return True


def library(
    folder: Path, known: Iterable[Filed] = (), go_on: Callable[[float], bool] = _all, *, removed: bool = True
) -> Library:
    """Return the takes in `folder`; a file that is as it was in `known` is not read again.

    `go_on` is told how far it is, and says whether to go on. Error: TakeError for a folder that cannot be read.
    """
    before = {one.path: one for one in known}
    fault = ""
    try:
        said = takelog.read(folder)
    except TakeError as wrong:
        said, fault = {}, str(wrong)
    here, aside = _files(folder), _files(folder / REMOVED) if removed else []
    takes: list[Filed] = []
    for number, path in enumerate(here + aside):
        if not go_on(number / (len(here) + len(aside))):
            break
        takes.append(_filed(path, before.get(path), said.get(path.name, takelog.NOTHING)))
    kept = [one for one in takes if one.path.parent == folder]
    return Library(
        folder=folder,
        takes=ordered(kept),
        removed=ordered(one for one in takes if one.path.parent != folder),
        free=_free(folder),
        fault=fault,
    )


def found(takes: Iterable[Filed], words: Sequence[str] | str = (), *, circled: bool = False) -> tuple[Filed, ...]:
    """Return the takes of which every word is said: in name, cue, pass, note, date, or how it went.

    `circled`, `whole`, `stopped`, `broken` and the names of axes by hand are such words. Capitals do not matter.
    """
    wanted = [one.casefold() for one in (words.split() if isinstance(words, str) else words)]
    return tuple(one for one in takes if (one.circled or not circled) and all(word in one.words for word in wanted))


def ordered(takes: Iterable[Filed], order: Order = "newest") -> tuple[Filed, ...]:
    """Return the takes in another order. Error: ValueError that lists the orders there are."""
    match order:
        case "newest" | "oldest":
            return tuple(sorted(takes, key=lambda one: (one.started, one.name), reverse=order == "newest"))
        case "largest":
            return tuple(sorted(takes, key=lambda one: (-one.bytes, one.name)))
        case "longest":
            return tuple(sorted(takes, key=lambda one: (-one.lasts_s, one.name)))
        case "name":
            return tuple(sorted(takes, key=lambda one: one.name))
    raise ValueError(f"there is no order {order!r}; there are {', '.join(ORDERS)}")


def chosen(takes: Sequence[Filed], named: str) -> Filed:
    """Return the take that `named` means: its name, its file's name, or its number where that is of one take alone.

    Error: TakeError that says which there are.
    """
    wanted = Path(named).name.removesuffix(SUFFIX)
    by_name = [one for one in takes if one.name == wanted]
    if by_name:
        return by_name[0]
    number = numbered(wanted)
    by_number = [one for one in takes if one.number == number > 0]
    if len(by_number) == 1:
        return by_number[0]
    if by_number:
        names = " and ".join(sorted(one.name for one in by_number))
        raise TakeError(f"take {named} is there more than once: {names}; give the whole name, or more words")
    there = ", ".join(sorted(one.name for one in takes)) or "none"
    raise TakeError(f"there is no take {named!r} here; there are: {there}")


def numbered(text: str) -> int:
    """Return the number of a take that is written so, or 0."""
    return int(text) if text.isascii() and text.isdecimal() and len(text) <= 9 else 0


def remove(take: Filed) -> Path:
    """Take a file out of the list, into the folder beside the others; return where it is. Error: TakeError."""
    folder = take.path.parent / REMOVED
    try:
        make_folder(folder)
        inside.demand_inside(folder, folder.parent)
        return _move(take.path, folder / take.path.name)
    except OSError as fault:
        what = f"{take.path.name}: cannot be moved to {folder}: {fault.strerror or fault}"
        raise TakeError(f"{what}; it is where it was") from fault


def restore(take: Filed) -> Path:
    """Bring a file back from the folder of those that were removed; return where it is. Error: TakeError."""
    folder = take.path.parent.parent
    try:
        return _move(take.path, folder / take.path.name)
    except OSError as fault:
        what = f"{take.path.name}: cannot be brought back to {folder}: {fault.strerror or fault}"
        raise TakeError(f"{what}; it is where it was") from fault


def when(started: str) -> str:
    """Return when a take was started, on the clock of this machine."""
    try:
        return datetime.fromisoformat(started).astimezone().strftime("%Y-%m-%d %H:%M:%S")
    except (ValueError, OverflowError, OSError):
        return started


def size_words(size: int) -> str:
    """Return a number of bytes for people: 812 kB, 3.4 MB, 1.2 GB."""
    for unit, scale in (("GB", 10**9), ("MB", 10**6)):
        if size >= scale:
            return f"{size / scale:.1f} {unit}"
    return f"{size / 1000:.0f} kB" if size >= 1000 else f"{size} B"


def _files(folder: Path) -> list[Path]:
    """Error: TakeError, for a folder that a link leads elsewhere too."""
    try:
        inside.demand_inside(folder, folder.parent)
        return sorted(Path(one.path) for one in os.scandir(folder) if one.name.endswith(SUFFIX))
    except FileNotFoundError:
        return []
    except OSError as fault:
        if fault.errno == errno.EXDEV:
            mend = "make it a folder, and no link; to shoot on another disk, copy the whole project there"
            raise TakeError(f"the takes folder {folder} {inside.LEADS_OUT}; {mend}") from fault
        raise TakeError(f"the takes folder {folder} cannot be read: {fault.strerror}; check it") from fault


def _filed(path: Path, before: Filed | None, said: takelog.Entry) -> Filed:
    state = (0, 0)
    try:
        if path.is_symlink():
            inside.demand_inside(path, path.parent)
        there = path.stat()
        state = (there.st_mtime_ns, there.st_size)
        if before is not None and before.state == state:
            return before if before.said == said else replace(before, said=said)
        if not path.is_file():
            raise TakeError("not a file; put take files there")
        told = summary(path)
    except OSError as fault:
        return Filed(path=path, state=state, fault=fault.strerror or str(fault), said=said)
    except TakeError as fault:
        return Filed(path=path, state=state, fault=str(fault).removeprefix(f"{path.name}: "), said=said)
    return _of(path, state, told, said)


def _of(path: Path, state: tuple[int, int], told: Summary, said: takelog.Entry) -> Filed:
    return Filed(
        path=path,
        state=state,
        heading=told.heading,
        told=told.told,
        lasts_s=told.lasts_s,
        happenings=told.happenings,
        fault=told.fault,
        said=said,
    )


def _move(path: Path, to: Path) -> Path:
    """Give the file another name, never one that is there already; return it. Error: OSError."""
    try:
        os.link(path, to, follow_symlinks=False)
    except FileExistsError:
        if not os.path.samefile(path, to):
            raise
        path.unlink()  # a crash left it both names
    except (OSError, NotImplementedError):
        # a file system, or a system, without links
        if os.path.lexists(to):
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST)) from None
        path.rename(to)
    else:
        flush_folder(to.parent)  # before it loses the one it had
        path.unlink()
    flush_folder(to.parent)
    return to


def _free(folder: Path) -> int | None:
    """Return how much the disk of a folder has left, also of one that is not made yet."""
    for place in (folder, *folder.absolute().parents):
        try:
            return shutil.disk_usage(place).free
        except FileNotFoundError:
            continue
        except OSError:
            return None
    return None
