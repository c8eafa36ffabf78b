"""Where what a file says of time falls in a project: markers, cues, tempo and the start of a recording, exactly.

A file of another rate or another counting of labels is placed only if that is asked for. Then one label is the same in
both, the full second at or before the project's start, and from there every instant keeps its real time.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from fractions import Fraction
from math import floor

from sequencer.errors import ImportFault
from sequencer.export.found import FoundCut
from sequencer.score.move import Cue, Marker
from sequencer.timebase.rate import Rate
from sequencer.timebase.tempo import TempoMap
from sequencer.timebase.timecode import Counting, Timebase, Timecode, count, label

_FINEST = 10**9  # parts of a frame that a project file keeps
_SAME = Fraction(1, 10**6)
_SAME_PLACE = Fraction(1, 2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """How a file is to be placed. Unit: `at` and `offset` frames of the project.

    `at` is where the file's beginning falls, None for where it says, or the project's start; everything is `offset`
    later. `convert`: also a file of another rate or counting.
    """

    at: Fraction | None = None
    offset: Fraction = Fraction(0)
    convert: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """What a file says, at frames after the project's start. `start` is where its beginning falls."""

    start: Fraction
    markers: tuple[Marker, ...] = ()
    cues: tuple[Cue, ...] = ()
    tempo: TempoMap | None = None
    remarks: tuple[str, ...] = ()


def place(cut: FoundCut, timebase: Timebase, asked: Asked, name: str) -> Placed:
    """Return the cut in the project's frames. Error: ImportFault for another rate or counting that is not converted."""
    theirs = None if cut.rate is None else _counting(cut, cut.rate, timebase)
    other = theirs is not None and theirs != timebase.counting
    here = _Here(timebase, theirs if other else None, cut.start)
    begin = here.frame(cut.start or Fraction(0))
    by = (Fraction(0) if asked.at is None else asked.at - begin) + asked.offset

    def there(seconds: Fraction) -> Fraction:
        return _kept(here.frame(seconds) + by)

    shots = [Cue(one.name, there(one.start), there(one.end) - 1) for one in cut.shots]
    found = Placed(
        start=_kept(begin + by),
        markers=tuple(Marker(one.name, there(one.at)) for one in cut.markers),
        cues=tuple(one for one in shots if one.start < one.end),
        tempo=None
        if cut.tempo is None
        else replace(cut.tempo, at_s=cut.tempo.at_s + timebase.rate.seconds(_kept(begin + by))),
    )
    words = list(cut.remarks)
    short = [one for one in shots if one.start >= one.end]
    if short:
        words.append(
            f"shots of one frame, which are no cues: {len(short)}, the first {short[0].name} at "
            f"{_label(timebase, short[0].start)}"
        )
    if other and theirs is not None:
        told = _differs(theirs, timebase, found, name)
        if not asked.convert:
            raise ImportFault(f"{told}; --convert takes it so, --rate says another rate of the file")
        words.append(told)
    words += _before(found, timebase)
    return replace(found, remarks=tuple(words))


def differs(cut: FoundCut, timebase: Timebase) -> bool:
    """Tell whether a file has another rate, or counts its labels otherwise, than the project."""
    return cut.rate is not None and _counting(cut, cut.rate, timebase) != timebase.counting


def _counting(cut: FoundCut, rate: Rate, timebase: Timebase) -> Counting:
    """Return how the file's labels count; where it does not say, as the project's do if the rate is the same."""
    drop = timebase.counting.drop and rate == timebase.rate if cut.drop is None else cut.drop
    return Counting(rate, drop)


class _Here:
    """From seconds of a file to frames of the project; `theirs` is the file's counting where it is another."""

    def __init__(self, timebase: Timebase, theirs: Counting | None, start: Fraction | None) -> None:
        self._timebase, self._theirs, self._start = timebase, theirs, start
        if theirs is not None:
            self._theirs_s = theirs.rate.seconds(_second(timebase.start, theirs))
            self._shared = _second(timebase.start, timebase.counting) - count(timebase.start, timebase.counting)

    def frame(self, seconds: Fraction) -> Fraction:
        rate = self._timebase.rate
        if self._start is None:
            return rate.frames(seconds)  # no timecode: from the project's start
        if self._theirs is None:
            return self._timebase.wrap(rate.frames(seconds))
        day_s = self._theirs.rate.seconds(self._theirs.day)
        away_s = (seconds - self._theirs_s + day_s / 2) % day_s - day_s / 2
        return self._shared + rate.frames(away_s)


def _second(at: Timecode, how: Counting) -> Fraction:
    """Return the first frame of a label's second; where drop-frame counting leaves that label out, of the next one."""
    minutes = at.hours * 60 + at.minutes
    left_out = how.dropped if at.seconds == 0 and minutes % 10 else 0
    return count(Timecode(at.hours, at.minutes, at.seconds, left_out, drop=how.drop), how)


def _kept(frames: Fraction) -> Fraction:
    """Return an instant as the project's file keeps it."""
    return Fraction(round(frames * _FINEST), _FINEST)


def _label(timebase: Timebase, at: Fraction) -> str:
    return str(timebase.label(round(at, 2)))


def _named(how: Counting) -> str:
    return f"{how.rate}{' drop-frame' if how.drop else ''}"


def _differs(theirs: Counting, timebase: Timebase, found: Placed, name: str) -> str:
    """Say both rates, what becomes of instants, and how far frames and labels are off then."""
    at = [one.at for one in found.markers] + [one.start for one in found.cues] or [found.start]
    parts = [abs(one - round(one)) for one in at]
    off = [one for one in parts if one > _SAME]
    between = "all fall on a frame"
    if off:
        between = f"{len(off)} of {len(at)} fall between frames, by up to {float(max(off)):.2f} of one"
    shared = timebase.start
    same = f"{shared.hours:02}:{shared.minutes:02}:{shared.seconds:02}"
    last = max(at, key=abs)
    apart = _apart(theirs, timebase, last)
    drift = f", and labels differ by up to {apart} frame{'' if apart == 1 else 's'}" if apart else ""
    return (
        f"{name} counts {_named(theirs)}, the project {_named(timebase.counting)}: the second {same} is the same in "
        f"both, from there instants keep their real time; {between}{drift}"
    )


def _apart(theirs: Counting, timebase: Timebase, at: Fraction) -> int:
    """Return by how many of the project's frames the file's label of an instant, taken literally, would be off."""
    ours = timebase.counting
    shared = timebase.start
    from_shared = at + count(shared, ours) - _second(shared, ours)
    their_frame = theirs.rate.frames(ours.rate.seconds(from_shared))
    there = label(round(their_frame) + _second(shared, theirs), theirs)
    part = Fraction(there.frames * ours.rate.nominal, theirs.rate.nominal)
    literal = _second(there, ours) + part - count(shared, ours)
    half = Fraction(ours.day, 2)
    return round(abs((literal - at + half) % ours.day - half))


def _before(found: Placed, timebase: Timebase) -> Iterable[str]:
    for what, names in (
        ("marker", [(one.name, one.at) for one in found.markers]),
        ("shot", [(one.name, one.start) for one in found.cues]),
    ):
        early = [(name, at) for name, at in names if at < 0]
        if early:
            name, at = min(early, key=lambda one: one[1])
            more = f" and {len(early) - 1} more" if len(early) > 1 else ""
            yield f"before the project's start: {what} {name} at {_label(timebase, at)}{more}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Merged:
    """What a project has after a file: all markers or cues in order of time; `new` ones, and those it `had` already."""

    markers: tuple[Marker, ...]
    cues: tuple[Cue, ...]
    new_markers: tuple[Marker, ...]
    had_markers: tuple[Marker, ...]
    new_cues: tuple[Cue, ...]
    had_cues: tuple[Cue, ...]
    remarks: tuple[str, ...]


def merge(
    markers: tuple[Marker, ...],
    cues: tuple[Cue, ...],
    new_markers: Iterable[Marker],
    new_cues: Iterable[Cue],
    timebase: Timebase,
) -> Merged:
    """Return the markers and cues with new ones; what has the same name and place is there already and stays once.

    A marker's place is the same within half a frame, since many formats hold whole frames only. Cues there were keep
    their order. A cue whose name another one has gets a number, since cues are chosen by name.
    """
    added, had, remarks = [], [], []
    places: dict[str, list[Fraction]] = {}
    known: dict[tuple[str, int], list[Fraction]] = {}
    for one in markers:
        places.setdefault(one.name, []).append(one.at)
        known.setdefault((one.name, floor(one.at)), []).append(one.at)
    for one in new_markers:
        frame = floor(one.at)
        near = [at for beside in (-1, 0, 1) for at in known.get((one.name, frame + beside), ())]
        if any(abs(at - one.at) <= _SAME_PLACE for at in near):
            had.append(one)
            continue
        known.setdefault((one.name, frame), []).append(one.at)
        added.append(one)
        if one.name in places:
            at = ", ".join(_label(timebase, place) for place in places[one.name])
            remarks.append(f"marker {one.name} at {_label(timebase, one.at)}: another of this name stays at {at}")
    added_cues, had_cues, numbered = _merged_cues(cues, new_cues, timebase)
    return Merged(
        markers=tuple(sorted((*markers, *added), key=lambda one: one.at)) if added else markers,
        cues=(*cues, *added_cues),
        new_markers=tuple(added),
        had_markers=tuple(had),
        new_cues=tuple(added_cues),
        had_cues=tuple(had_cues),
        remarks=(*remarks, *numbered),
    )


def _merged_cues(
    cues: tuple[Cue, ...], new: Iterable[Cue], timebase: Timebase
) -> tuple[list[Cue], list[Cue], list[str]]:
    """Return the cues that are new, under the names that they get, those there were, and words about names."""
    added, had, remarks = [], [], []
    known: dict[tuple[Fraction, Fraction], set[str]] = {}
    for one in cues:
        known.setdefault((_kept(one.start), _kept(one.end)), set()).add(one.name)
    taken = {one.name for one in cues}
    numbers: dict[str, int] = {}
    for one in new:
        there = known.setdefault((one.start, one.end), set())
        if any(name == one.name or name.startswith(f"{one.name} (") for name in there):
            had.append(one)
            continue
        name, number = one.name, numbers.get(one.name, 1)
        while name in taken:
            number += 1
            name = f"{one.name} ({number})"
        numbers[one.name] = number
        taken.add(name)
        there.add(name)
        added.append(replace(one, name=name))
        if name != one.name:
            at = _label(timebase, one.start)
            remarks.append(f"cue {one.name} at {at} is called {name}: there is one of its name")
    return added, had, remarks
