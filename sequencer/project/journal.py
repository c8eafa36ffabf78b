"""What one step changed in a project, as a short record with a checksum, and the project again from such records.

It holds only what differs from the value before: keys by splices of their tracks, all else in the form of the files.
It refuses to guess: a record that is torn or does not fit ends the reading, and says so.
"""

import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, fields, replace
from fractions import Fraction
from operator import is_
from typing import Any, Final, Literal

import msgspec
from msgspec import Struct, to_builtins

from sequencer.errors import ProjectError
from sequencer.project import files, rig_file, text
from sequencer.project.build import build, check, plain
from sequencer.project.document import Project
from sequencer.score.easing import Laws
from sequencer.score.move import Ease, Key, Passing, Track, Turn

FORMAT: Final = "twintake/journal"
VERSION: Final = 1
_LONGEST = 64 * 2**20  # bytes of one record
_FRAME = 8  # bytes before a record: its length, and its checksum
_WORD = 2**63


class Header(Struct, frozen=True, array_like=True):
    """The first record: which saved files the others begin at (their SHA-256; empty: none), and of which folder."""

    format: Literal["twintake/journal"]
    version: int
    folder: str
    project_sha256: str
    rig_sha256: str
    begun_s: float


class Keys(Struct, frozen=True, array_like=True):
    """Keys as columns; `odd` are those that choose something: passing, turn, pin."""

    num: list[int | str]
    den: list[int | str]
    value: list[float]
    ease: list[int]
    odd: dict[int, tuple[Passing, Turn | None, bool]]


class Splice(Struct, frozen=True, array_like=True):
    """In the track of `axis`, the keys from `begin` up to `end` become `keys`."""

    axis: str
    begin: int
    end: int
    keys: Keys


class Record(Struct, frozen=True, array_like=True):
    """One step: when it was written (s, system clock), the axes of all tracks in order, and what changed.

    `rest` is all of the project but its tracks, as both files have it; None where it is as before.
    """

    at_s: float
    axes: list[str]
    eases: list[tuple[str, Any]]
    splices: list[Splice]
    rest: tuple[dict[str, Any], dict[str, Any]] | None


_DECODE = msgspec.msgpack.Decoder(Record)
_DECODE_HEADER = msgspec.msgpack.Decoder(Header)
_NO_KEYS: tuple[Key, ...] = ()
# what a record that no program of ours wrote can run into
_NO_STEP = (ValueError, TypeError, LookupError, ArithmeticError, RecursionError)


def framed(what: Header | Record) -> bytes:
    """Return the record as it stands in the file."""
    data = msgspec.msgpack.encode(what)
    return len(data).to_bytes(4, "little") + zlib.crc32(data).to_bytes(4, "little") + data


def unframed(data: bytes) -> Iterator[bytes]:
    """Yield each whole record; a torn or damaged one ends them, which shows by what is left (`whole_bytes`)."""
    at = 0
    while (found := _at(data, at)) is not None:
        yield found
        at += _FRAME + len(found)


def whole_bytes(data: bytes) -> int:
    """Return how many bytes from the start are whole records."""
    return sum(_FRAME + len(one) for one in unframed(data))


def _at(data: bytes, at: int) -> bytes | None:
    if len(data) - at < _FRAME:
        return None
    length = int.from_bytes(data[at : at + 4], "little")
    found = data[at + _FRAME : at + _FRAME + length]
    checksum = int.from_bytes(data[at + 4 : at + _FRAME], "little")
    return found if length <= _LONGEST and len(found) == length and zlib.crc32(found) == checksum else None


def header(data: bytes) -> Header:
    """Return the header. Error: ProjectError for what is no journal, or one of a newer version."""
    first = next(unframed(data), None)
    try:
        found = _DECODE_HEADER.decode(first or b"")
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as fault:
        what = "is no record of unsaved edits, or damaged from its start"
        raise ProjectError("", what, "go on from what is saved", "journal") from fault
    if found.version != VERSION:
        what = f"written by another version of this program ({found.version}; this one reads {VERSION})"
        raise ProjectError("version", what, "update the program", "journal")
    return found


def step(before: Project | None, now: Project, at_s: float) -> Record | None:
    """Return what leads from `before` to `now`, None where nothing does."""
    rest = None
    if before is None or _rest(before) != _rest(now):
        rest = plain(replace(now, move=replace(now.move, tracks=())))
    tracks: dict[str, Track] = {} if before is None else {one.axis: one for one in before.move.tracks}
    axes = [one.axis for one in now.move.tracks]
    eases: dict[int, tuple[int, Ease]] = {}
    splices = []
    for track in now.move.tracks:
        old = tracks.get(track.axis)
        if old is track:
            continue
        begin, end, keys = _middle(old.keys if old else _NO_KEYS, track.keys)
        if keys or begin != end or old is None:
            splices.append(Splice(track.axis, begin, end, _columns(keys, eases)))
    if rest is None and not splices and axes == list(tracks):
        return None
    written = [(ease.law, None if ease.how is None else to_builtins(ease.how)) for _, ease in eases.values()]
    return Record(at_s, axes, written, splices, rest)


def _rest(project: Project) -> tuple[object, ...]:
    move = project.move
    others = (getattr(project, one.name) for one in fields(project) if one.name != "move")
    return (*others, *(getattr(move, one.name) for one in fields(move) if one.name != "tracks"))


def _middle(before: tuple[Key, ...], now: tuple[Key, ...]) -> tuple[int, int, tuple[Key, ...]]:
    """Return which keys of `before` are replaced, and by what: all but the same ones at both ends."""
    shorter = min(len(before), len(now))
    begin = _alike(before, now, shorter)
    tail = _alike(before[begin:][::-1], now[begin:][::-1], shorter - begin)
    return begin, len(before) - tail, now[begin : len(now) - tail]


def _alike(one: Sequence[Key], other: Sequence[Key], most: int) -> int:
    same = list(map(is_, one, other))  # as columns: a track has thousands of keys, and all but a few are the same
    return same.index(False) if False in same else most


def _columns(keys: tuple[Key, ...], eases: dict[int, tuple[int, Ease]]) -> Keys:
    for key in keys:
        if id(key.ease) not in eases:
            eases[id(key.ease)] = (len(eases), key.ease)
    return Keys(
        _whole([key.at.numerator for key in keys]),
        _whole([key.at.denominator for key in keys]),
        [float(key.value) for key in keys],
        [eases[id(key.ease)][0] for key in keys],
        {
            number: (key.passing, key.turn, key.pin)
            for number, key in enumerate(keys)
            if key.pin or key.turn is not None or key.passing != "pass"
        },
    )


def _whole(numbers: list[int]) -> list[int | str]:
    """Return whole numbers as a record can hold them: those beyond 64 bits as text."""
    if numbers and not (min(numbers) >= -_WORD and max(numbers) < _WORD):
        return [str(one) for one in numbers]
    return [*numbers]


@dataclass(slots=True)
class Reading:
    """Follows the records from a saved project on. `states` are its values, one for each record that fits.

    `troubles` say what could not be used, in plain words.
    """

    laws: Laws
    now: Project | None
    states: list[Project] = field(default_factory=list)
    troubles: list[str] = field(default_factory=list)
    at_s: float = 0.0

    def feed(self, data: bytes) -> bool:
        """Take in one record; return whether the reading can go on."""
        try:
            record = _DECODE.decode(data)
            self._take(record)
        except (msgspec.DecodeError, ProjectError, *_NO_STEP) as fault:
            self.troubles.append(f"a step does not fit, and ends what can be read: {text.printable(str(fault))}")
            return False
        self.at_s = record.at_s
        return True

    def _take(self, record: Record) -> None:
        eases = [self._ease(law, how) for law, how in record.eases]
        tracks = {} if self.now is None else {one.axis: one for one in self.now.move.tracks}
        for splice in record.splices:
            old = tracks[splice.axis].keys if splice.axis in tracks else _NO_KEYS
            if not 0 <= splice.begin <= splice.end <= len(old):
                raise ValueError(f"{splice.axis} has {len(old)} keys, and not {splice.end}")
            keys = (*old[: splice.begin], *_keys(splice.keys, eases), *old[splice.end :])
            tracks[splice.axis] = Track(splice.axis, keys)
        whole = tuple(tracks[axis] for axis in record.axes)
        rest = self.now
        if record.rest is not None:
            try:
                rest = _built(record.rest, self.laws)
            except ProjectError as fault:
                if rest is None:
                    raise
                self.troubles.append(f"a change to the project or its rig cannot be used: {fault}")
        if rest is None:
            raise ValueError("the first step does not say which project it is of")
        self.now = replace(rest, move=replace(rest.move, tracks=whole))
        self.states.append(self.now)

    def _ease(self, law: str, how: Any) -> Ease:
        if how is None:
            return Ease(law)
        if law not in self.laws:
            raise ValueError(f"there is no motion law {law!r}")
        return Ease(law, msgspec.convert(how, self.laws[law].settings))

    def newest(self) -> Project | None:
        """Return the newest value that is a valid project, None where none is."""
        for number, state in enumerate(reversed(self.states)):
            try:
                check(state.move, state.rig, self.laws)
            except ProjectError as fault:
                if not number:
                    self.troubles.append(f"the last steps are left out: {fault}")
                continue
            return state
        return None


def _keys(columns: Keys, eases: list[Ease]) -> Iterator[Key]:
    num, den = [int(one) for one in columns.num], [int(one) for one in columns.den]
    at = map(Fraction, num, den)
    for number, (instant, value, ease) in enumerate(zip(at, columns.value, columns.ease, strict=True)):
        odd = columns.odd.get(number, ("pass", None, False))
        yield Key(instant, value, eases[ease], *odd)


def _built(rest: tuple[dict[str, Any], dict[str, Any]], laws: Laws) -> Project:
    document = text.convert(rest[0], files.ProjectFile, files.PROJECT)
    return build(document, text.convert(rest[1], rig_file.RigFile, files.RIG), laws)
