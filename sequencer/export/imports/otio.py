"""OpenTimelineIO: the clips of a timeline as shots, its markers as markers.

What a stranger wrote is looked at before the library sees it: nesting without end, or references in a circle, would end
the program and not only the reading. What else ends the library ends a process of its own (`otio_read`).

Source: the OpenTimelineIO 0.18 schemas and its documentation on time: a clip's `source_range` is in its media's time, a
marker in its parent's, an item begins where those before it on its track end, and a transition takes no time.
"""

import json
import math
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from sequencer.errors import ImportFault
from sequencer.export.contract import ImportKind
from sequencer.export.edit_list import printable
from sequencer.export.found import FoundCut, FoundMarker, FoundShot
from sequencer.export.otio_library import exact_rate, library
from sequencer.export.otio_read import asked, told
from sequencer.timebase.rate import Rate

MAX_BYTES = 32 * 2**20
_DEEPEST = 200
_MOST = 20_000  # clips or markers
_LONGEST_S = 86_487  # a day of labels at 24000/1001 is a thousandth longer than a day
_RATE = (0.001, 10**6)
_LONGEST_READING_S = 120.0
_LONGEST_FAULT = 200  # the library's words may hold all of a clip


def cut(data: bytes, name: str, rate: Rate | None) -> FoundCut:
    """Return the timeline's shots and markers; `rate` counts where the operator says one. Error: ImportFault."""
    library(ImportFault)
    return told(_apart(asked(checked(data, name), name, rate), name))


def _apart(question: bytes, name: str) -> bytes:
    """Return what the process of its own answers. Error: ImportFault."""
    try:
        done = subprocess.run(
            [sys.executable, "-P", "-m", "sequencer.export.otio_read"],
            input=question,
            capture_output=True,
            timeout=_LONGEST_READING_S,
            check=False,
        )
    except subprocess.TimeoutExpired as fault:
        raise ImportFault(
            f"{name}: it was not read within {_LONGEST_READING_S:.0f} s; export the edit alone"
        ) from fault
    if done.returncode != 0:
        raise ImportFault(
            f"{name}: OpenTimelineIO's library ended while it read it: the file is damaged; export it again"
        )
    return done.stdout


def followed(text: str, name: str, rate: Rate | None) -> FoundCut:
    """Return what the library finds in a text that was `checked`, in this process. Error: ImportFault."""
    otio = library(ImportFault)
    timeline = _timeline(text, name, otio)
    walk = _Walk(otio, name)
    start = timeline.global_start_time
    begin = Fraction(0) if start is None else walk.seconds(start, "global_start_time")
    try:
        walk.stack(timeline.tracks)
    # the library answers what cannot be with exceptions of many kinds
    except (ValueError, TypeError, LookupError, AttributeError, RuntimeError, otio.exceptions.OTIOError) as fault:
        what = printable(str(fault))[:_LONGEST_FAULT]
        raise ImportFault(f"{name}: {walk.place}: it cannot be followed: {what}; export it again") from fault
    its_rate, factor = _rates(walk, start, rate, name)
    shots = sorted(walk.shots, key=lambda one: one.start)
    markers = sorted(walk.markers, key=lambda one: one.at)
    return FoundCut(
        rate=its_rate,
        start=None if start is None else begin * factor,
        markers=tuple(FoundMarker(one.name, (one.at + begin) * factor, one.note) for one in markers),
        shots=tuple(
            FoundShot(one.name, (one.start + begin) * factor, (one.end + begin) * factor, one.note) for one in shots
        ),
        remarks=tuple(walk.remarks()),
    )


def _rates(walk: "_Walk", start: Any, rate: Rate | None, name: str) -> tuple[Rate, Fraction]:
    """Return the rate of the timeline, and by what its seconds are to be multiplied where the operator says another."""
    floats = [start.rate] if start is not None else []
    floats += list(walk.rates)
    theirs = exact_rate(floats[0]) if floats else None
    if theirs is None and rate is None:
        what = f"its rate is {floats[0]:.9g}, which this program does not know" if floats else "it says no rate"
        raise ImportFault(f"{name}: {what}; say it with --rate")
    others = {exact_rate(one) for one in floats} - {theirs}
    if others:
        walk.notes.append("it has times of several rates; the first counts, and instants keep their real time")
    if rate is None or theirs is None:
        return rate or theirs or Rate(25), Fraction(1)
    if rate != theirs:
        walk.notes.append(f"the file says the rate {theirs}; {rate} counts, as you say, frame for frame")
    return rate, theirs.fraction / rate.fraction


def checked(data: bytes, name: str) -> str:
    """Return the text, once it is sure not to hurt the library: as it was understood here. Error: ImportFault."""
    if len(data) > MAX_BYTES:
        raise ImportFault(f"{name}: larger than {MAX_BYTES // 2**20} MB; take the edit alone")
    try:
        text = data.decode("utf-8-sig")
        # a name that is written twice makes the library use what it has let go of
        tree = json.loads(text, object_pairs_hook=_object)
    except UnicodeDecodeError as fault:
        raise ImportFault(f"{name}: byte {fault.start}: this is no text; export it as .otio") from fault
    except RecursionError as fault:
        raise ImportFault(f"{name}: it is nested deeper than any timeline; export it again") from fault
    except ValueError as fault:
        raise ImportFault(f"{name}: it is no JSON: {fault}; export it as .otio") from fault
    level, deep = [tree], 0
    while level:
        deep += 1
        if deep > _DEEPEST:
            raise ImportFault(f"{name}: it is nested deeper than any timeline; export it again")
        if any(isinstance(one, dict) and "SerializableObjectRef" in str(one.get("OTIO_SCHEMA", "")) for one in level):
            raise ImportFault(f"{name}: an object in it refers to another; export it again")
        level = [child for one in level for child in _children(one)]
    return json.dumps(tree)


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Return an object of the file. Error: ValueError for a name that is written twice."""
    found = dict(pairs)
    if len(found) != len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise ValueError(f"{printable(twice)[:60]!r} is written twice in one object; write it once")
    return found


def _children(node: Any) -> Iterator[Any]:
    if isinstance(node, dict):
        yield from node.values()
    elif isinstance(node, list):
        yield from node


def _timeline(text: str, name: str, otio: Any) -> Any:
    try:
        read = otio.core.deserialize_json_from_string(text)
    # whatever it raises, it is the file
    except Exception as fault:
        raise ImportFault(f"{name}: it is no timeline that can be read: {fault}; export it again") from fault
    if isinstance(read, otio.schema.SerializableCollection):
        there = [one for one in read if isinstance(one, otio.schema.Timeline)]
        if len(there) == 1:
            return there[0]
        raise ImportFault(f"{name}: it has {len(there)} timelines, and one is needed; export the one that is meant")
    if not isinstance(read, otio.schema.Timeline):
        raise ImportFault(f"{name}: it has a {type(read).__name__} and no timeline; export the timeline")
    return read


@dataclass(slots=True)
class _Shot:
    name: str
    start: Fraction
    end: Fraction
    note: str


@dataclass(slots=True)
class _Mark:
    name: str
    at: Fraction
    note: str


@dataclass(slots=True)
class _Walk:
    """Goes along the tracks, adding up durations. Unit: seconds from the timeline's beginning."""

    otio: Any
    file: str
    shots: list[_Shot] = field(default_factory=list)
    markers: list[_Mark] = field(default_factory=list)
    rates: dict[float, None] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    counts: dict[str, int] = field(default_factory=dict)
    place: str = "tracks"

    def stack(self, stack: Any) -> None:
        """Take the timeline's own markers, and each of its tracks."""
        origin = Fraction(0) if stack.source_range is None else self.seconds(stack.source_range.start_time, "tracks")
        self._marks(stack, Fraction(0), origin)
        for number, track in enumerate(stack, 1):
            self.place = where = f"track {number}"
            if not isinstance(track, self.otio.schema.Track):
                self._count("nested in the timeline, left out")
            elif track.kind != self.otio.schema.TrackKind.Video:
                self._marks(track, Fraction(0), Fraction(0))
                self._count("tracks without a picture, left out")
            elif not track.enabled:
                self._count("tracks that are switched off, left out")
            else:
                self._track(track, where, -origin)

    def seconds(self, time: Any, where: str) -> Fraction:
        """Return an instant or duration exactly, as far as its two floats are. Error: ImportFault."""
        value, rate = time.value, time.rate
        if not (math.isfinite(value) and math.isfinite(rate) and _RATE[0] <= rate <= _RATE[1]):
            raise ImportFault(f"{self.file}: {where}: {value:g} at the rate {rate:g} is no time; export it again")
        exact = exact_rate(rate)
        self.rates.setdefault(rate)
        found = Fraction(value) / (exact.fraction if exact else Fraction(rate))
        if abs(found) > _LONGEST_S:
            raise ImportFault(f"{self.file}: {where}: {float(found):.6g} seconds are more than a day; export it again")
        return found

    def remarks(self) -> Iterator[str]:
        """Yield what could not be kept, in words."""
        yield from self.notes
        for what, many in self.counts.items():
            yield f"{what}: {many}"

    def _track(self, track: Any, where: str, at: Fraction) -> None:
        schema = self.otio.schema
        if track.source_range is not None:
            self._count("tracks that are trimmed, taken from their beginning")
        self._marks(track, at, Fraction(0))
        for number, item in enumerate(track, 1):
            self.place = place = f"{where}, item {number} {printable(item.name)[:60]!r}"
            if isinstance(item, schema.Transition):
                self._count("transitions, of which shots say nothing")
                continue
            if not isinstance(item, self.otio.core.Item):
                self._count(f"{printable(type(item).__name__)}, which is not understood")
                continue
            span = item.trimmed_range()
            length = self.seconds(span.duration, place)
            if length < 0:
                raise ImportFault(f"{self.file}: {place}: it lasts less than no time; export it again")
            self._marks(item, at, self.seconds(span.start_time, place))
            if not item.enabled:
                self._count("clips that are switched off, left out")
            elif not isinstance(item, schema.Gap):
                if not isinstance(item, schema.Clip):
                    self._count("nested, taken as one shot each")
                self._shot(item, place, at, at + length)
            at += length
            if at > _LONGEST_S:
                raise ImportFault(f"{self.file}: {place}: the track is longer than a day; export the edit alone")

    def _shot(self, item: Any, place: str, start: Fraction, end: Fraction) -> None:
        if len(self.shots) >= _MOST:
            raise ImportFault(f"{self.file}: more than {_MOST} clips; export the edit alone")
        if any(isinstance(one, self.otio.schema.TimeEffect) for one in item.effects):
            self._count("clips at another speed, which keep the length that the edit has")
        if end > start:
            number = place.partition(" '")[0]
            self.shots.append(_Shot(printable(item.name)[:200] or number, start, end, number))

    def _marks(self, item: Any, at: Fraction, origin: Fraction) -> None:
        """Keep the markers of an item that begins at `at`, where its own time is `origin`."""
        for marker in item.markers:
            if len(self.markers) >= _MOST:
                raise ImportFault(f"{self.file}: more than {_MOST} markers; export the edit alone")
            name = printable(marker.name)[:200] or printable(getattr(marker, "comment", "") or "")[:200] or "marker"
            own = self.seconds(marker.marked_range.start_time, f"the marker {name!r}")
            self.markers.append(_Mark(name, at + own - origin, printable(getattr(marker, "comment", "") or "")[:400]))

    def _count(self, what: str) -> None:
        self.counts[what] = self.counts.get(what, 0) + 1


KIND = ImportKind(
    name="otio", title="an OpenTimelineIO timeline: clips and markers", suffixes=(".otio",), cut=cut, extra="otio"
)
