"""An edit list in the CMX 3600 form: its events as shots, its locators as markers.

The list does not say its frame rate, so that the operator does. What it says of sources is passed on in notes only.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from sequencer.errors import ImportFault
from sequencer.export.contract import ImportKind
from sequencer.export.edit_list import EditList, Event, read_edit_list
from sequencer.export.found import FoundCut, FoundMarker, FoundShot
from sequencer.timebase.rate import RATES, Rate
from sequencer.timebase.timecode import Counting, count, parse

_MOST_NAMED = 3


@dataclass(frozen=True, slots=True)
class _Placed:
    """An event with its record span. Unit: frames from 00:00:00:00, past midnight more than a day."""

    event: Event
    start: Fraction
    end: Fraction


def cut(data: bytes, name: str, rate: Rate | None) -> FoundCut:
    """Return the list's shots and markers at the rate that the operator says. Error: ImportFault with the line."""
    listed = read_edit_list(data, name)
    remarks: list[str] = []
    counting = _counting(listed, name, rate, remarks)
    placed = _in_order([_span(one, counting, name) for one in listed.events], counting, remarks)
    shots = [one for one in placed if one.event.video and not one.event.black and one.start < one.end]
    _complain(placed, shots, counting, remarks)
    if listed.unread:
        remarks.append(f"not understood and left out: {_lines(listed.unread)}")
    at = [_frames(one.label, counting, f"{name}: line {one.line}", "the locator") for one in listed.locators]
    near = placed[0].start if placed else at[0]
    at = [near + _since(one, near, counting) for one in at]
    seconds = counting.rate.seconds
    first = min([one.start for one in placed] + at)
    return FoundCut(
        rate=counting.rate,
        drop=counting.drop,
        start=seconds(first),
        markers=tuple(FoundMarker(one.name, seconds(at)) for one, at in zip(listed.locators, at, strict=True)),
        shots=tuple(
            FoundShot(_name(one.event), seconds(one.start), seconds(one.end), _note(one.event)) for one in shots
        ),
        remarks=tuple(remarks),
    )


def _labels(listed: EditList) -> list[tuple[int, str]]:
    """Return every record label with its line."""
    labels = [(one.line, label) for one in listed.events for label in one.record]
    return labels + [(one.line, one.label) for one in listed.locators]


def _counting(listed: EditList, name: str, rate: Rate | None, remarks: list[str]) -> Counting:
    """Return how the record labels count. Error: ImportFault where nobody says the rate, or it cannot be."""
    events = [(one.line, label) for one in listed.events for label in one.record] or _labels(listed)
    written = [(line, label) for line, label in _labels(listed) if ";" in label]
    mode = listed.modes[0] if listed.modes else None
    drop = mode[1] if mode else ";" in events[0][1]
    if rate is None:
        line, label = max(_labels(listed), key=lambda one: _frame(one[1]))
        able = [one for one in RATES.values() if one.nominal > _frame(label) and (not drop or _drops(one))]
        if not able:
            what = f"{label} has frame {_frame(label)}, which no rate that this program knows has"
            raise ImportFault(f"{name}: line {line}: {what}; correct it, or have the edit exported at another rate")
        raise ImportFault(
            f"{name}: an edit list does not say its frame rate; say it with --rate, here one of "
            f"{', '.join(map(str, able))}"
        )
    if written and not _drops(rate):
        line, label = written[0]
        what = f"{label} is a drop-frame label, and at {rate} none is dropped"
        raise ImportFault(f"{name}: line {line}: {what}; {_other_rate(rate)}")
    if drop and not _drops(rate):
        what = f"FCM says drop-frame, and at {rate} no label is dropped"
        raise ImportFault(f"{name}: line {mode[0] if mode else 1}: {what}; {_other_rate(rate)}")
    if written and not drop:
        line, label = written[0]
        said = f"line {mode[0]} says non-drop frame" if mode else f"line {events[0][0]} has labels that are not"
        raise ImportFault(f"{name}: line {line}: {label} is a drop-frame label, and {said}; have it exported again")
    if mode is None:
        remarks.append(f"no FCM line: {'drop' if drop else 'non-drop'} frame, as its labels are written")
    later = [line for line, one in listed.modes if one != drop]
    if later:
        remarks.append(f"another FCM at {_lines(later)}: taken for the sources alone, the record keeps the first")
    return Counting(rate, drop)


def _frame(label: str) -> int:
    return int(label.replace(";", ":").rpartition(":")[2])


def _drops(rate: Rate) -> bool:
    return rate in (Rate(30000, 1001), Rate(60000, 1001))


def _other_rate(rate: Rate) -> str:
    return f"say --rate {'60000/1001' if rate.nominal > 30 else '30000/1001'}, or have it exported at {rate}"


def _frames(label: str, counting: Counting, place: str, what: str) -> Fraction:
    try:
        return count(parse(label, counting), counting)
    except ValueError as fault:
        raise ImportFault(f"{place}: {what}: {fault}; correct it, or say another --rate") from fault


def _span(event: Event, counting: Counting, name: str) -> _Placed:
    place = f"{name}: line {event.line}"
    start, end = (
        _frames(label, counting, place, f"the record {which}")
        for label, which in zip(event.record, ("in", "out"), strict=True)
    )
    if start - end > counting.day / 2:
        end += counting.day  # over midnight
    if end < start:
        what = f"event {event.number} ends at {event.record[1]}, before it begins at {event.record[0]}"
        raise ImportFault(f"{place}: {what}; correct its record labels")
    return _Placed(event, start, end)


def _since(at: Fraction, first: Fraction, counting: Counting) -> Fraction:
    """Return by how much an instant is after another, over midnight the short way."""
    half = counting.day // 2
    return (at - first + half) % counting.day - half


def _in_order(listed: list[_Placed], counting: Counting, remarks: list[str]) -> list[_Placed]:
    """Return the events in order of time; midnight between two is crossed the short way."""
    if not listed:
        return []
    first = listed[0].start

    def since(one: _Placed) -> Fraction:
        return _since(one.start, first, counting)

    early = [after.event.line for before, after in pairwise(listed) if since(after) < since(before)]
    if early:
        remarks.append(f"not in order of time at {_lines(early)}: put in order")
    moved = [_Placed(one.event, first + since(one), first + since(one) + one.end - one.start) for one in listed]
    return sorted(moved, key=lambda one: one.start)


def _complain(placed: list[_Placed], shots: list[_Placed], counting: Counting, remarks: list[str]) -> None:
    """Say what an editor would want to know: overlaps, gaps, black, sound, transitions, speeds, unlike lengths."""
    overlaps, gaps = [], []
    until: dict[str, _Placed] = {}
    for one in (each for each in placed if each.event.video):
        last = until.get(one.event.video)
        if last is not None and one.start < last.end:
            overlaps.append(
                f"event {one.event.number} (line {one.event.line}) begins {_count(last.end - one.start)} before event "
                f"{last.event.number} (line {last.event.line}) ends"
            )
        elif last is not None and one.start > last.end:
            gaps.append(f"{_count(one.start - last.end)} before event {one.event.number} (line {one.event.line})")
        if last is None or one.end > last.end:
            until[one.event.video] = one
    remarks += [f"overlap: {_several(overlaps)}; both are kept as they are written"] if overlaps else []
    remarks += [f"gap: {_several(gaps)}"] if gaps else []
    sound = [one.event.line for one in placed if not one.event.video]
    remarks += [f"sound alone, left out: {_lines(sound)}"] if sound else []
    black = [one.event.line for one in placed if one.event.video and one.event.black and one.start < one.end]
    remarks += [f"black, left out: {_lines(black)}"] if black else []
    soft = [f"line {one.event.line}, {_effect(one.event)}" for one in shots if one.event.effect != "C"]
    remarks += [f"not a cut: {_several(soft)}; each shot begins where its transition does"] if soft else []
    fast = [f"line {one.event.line}, {one.event.speed} frames a second" for one in placed if one.event.speed]
    remarks += [f"another speed: {_several(fast)}; shots keep the length that the edit has"] if fast else []
    unlike = [
        f"line {one.event.line}" for one in shots if not one.event.speed and _source_length(one, counting) is False
    ]
    remarks += [f"sources of another length than the record: {_several(unlike)}; the record counts"] if unlike else []


def _source_length(one: _Placed, counting: Counting) -> bool | None:
    """Return whether the source is as long as the record; None where its labels are of another counting."""
    try:
        start, end = (count(parse(label, counting), counting) for label in one.event.source)
    except ValueError:
        return None
    return (end - start) % counting.day == one.end - one.start


def _name(event: Event) -> str:
    return event.clip or f"{event.reel} {event.number}"


def _effect(event: Event) -> str:
    kinds = {"D": "a dissolve", "W": "a wipe", "K": "a key"}
    return f"{kinds[event.effect[0]]} of {event.length} frames"


def _note(event: Event) -> str:
    parts = [f"event {event.number}, reel {event.reel}, source {event.source[0]} to {event.source[1]}"]
    parts += [_effect(event)] if event.effect != "C" else []
    parts += [f"{event.speed} frames a second"] if event.speed else []
    return ", ".join(parts)


def _count(frames: Fraction) -> str:
    return f"{frames} frame{'' if frames == 1 else 's'}"


def _several(words: list[str]) -> str:
    more = len(words) - _MOST_NAMED
    return ", ".join(words[:_MOST_NAMED]) + (f" and {more} more" if more > 0 else "")


def _lines(numbers: Iterable[int]) -> str:
    each = [str(one) for one in numbers]
    return f"line {each[0]}" if len(each) == 1 else f"lines {_several(each)}"


KIND = ImportKind(name="edl", title="an edit list in the CMX 3600 form", suffixes=(".edl",), cut=cut)
