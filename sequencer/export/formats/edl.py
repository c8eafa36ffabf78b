"""An edit list in the CMX 3600 form: the selects of one pass at their own timecode, and the markers as locators.

Record and source labels are the same: a take stands where its timecode says. Outs are exclusive. Cues without a take
are events of the reel AX. Other takes of the pass are named in comments, so that nothing is lost.

Source: the CMX 3600 form as editing systems exchange it; no standards body publishes it: common practice, no source.
Reels of at most 8 characters, 999 events; `* LOC:` with a label, a colour and a name.
"""

import unicodedata
from bisect import bisect_right
from fractions import Fraction
from math import floor

from sequencer.errors import ExportError
from sequencer.export.contract import ExportKind, Wanted
from sequencer.export.delivery import Delivery
from sequencer.export.edit_list import BLACK, NO_REEL
from sequencer.export.selects import Clip, Lane, lanes
from sequencer.score.move import Marker
from sequencer.timebase.timecode import Timebase

MOST_EVENTS = 999
_REEL = 8
_TITLE = 70
_COLOUR = "WHITE"
_END = "\r\n"


def make(delivery: Delivery, _suffix: str, _wanted: Wanted) -> bytes:
    """Return the list as ASCII text. Error: ExportError where it has no event, or more than the form can number."""
    clips, _ = _chosen(delivery)
    if not clips:
        raise ExportError(
            f"{delivery.project} has no take of {delivery.run!r} and no cue without one; an edit list needs an event; "
            f"a MIDI file holds markers alone"
        )
    if len(clips) > MOST_EVENTS:
        raise ExportError(f"{len(clips)} events are more than the {MOST_EVENTS} that the form can number; use otio")
    timebase = delivery.timebase
    mode = "DROP FRAME" if timebase.counting.drop else "NON-DROP FRAME"
    lines = [f"TITLE: {_ascii(delivery.project)[:_TITLE]}", f"FCM: {mode}", ""]
    located = _located(clips, delivery.markers)
    reels = _reels(clips)
    for number, clip in enumerate(clips, 1):
        start, end = _label(timebase, clip.first), _label(timebase, clip.end)
        lines.append(f"{number:03}  {reels[number - 1]:<{_REEL}} V     C        {start} {end} {start} {end}")
        lines.append(f"* FROM CLIP NAME: {_ascii(clip.name)}")
        lines += [f"* COMMENT: {_ascii(words)}" for words in _words(delivery, clip)]
        lines += [f"* LOC: {_label(timebase, _frame(one))} {_COLOUR:<7} {_ascii(one.name)}" for one in located[clip]]
    return (_END.join(lines) + _END).encode("ascii")


def remarks(delivery: Delivery, wanted: Wanted) -> tuple[str, ...]:
    """Return what the list cannot hold: the rate, parts of frames, letters, takes that overlap, other passes."""
    timebase = delivery.timebase
    clips, aside = _chosen(delivery)
    mode = "drop-frame" if timebase.counting.drop else "non-drop frame"
    words = [f"an edit list does not say its rate: tell the reader {timebase.rate}, {mode}"]
    between = [one for one in delivery.markers if one.at.denominator != 1]
    if between:
        off = max(abs(_frame(one) - one.at) for one in between)
        words.append(f"markers between frames: {len(between)}, put on the nearest one, by up to {float(off):.2g} frame")
    part = [one.name for one in clips if one.take and any(at.denominator != 1 for at in one.take.span)]
    if part:
        words.append(f"takes that begin or end between frames: {len(part)}, with the whole frames around them")
    names = [one.name for one in clips] + [one.name for one in delivery.markers]
    if any(_ascii(one) != one for one in names):
        words.append("names have letters that the form does not; they are written with the nearest ones")
    if aside:
        listed = ", ".join(one.name for one in aside[:3]) + (f" and {len(aside) - 3} more" if len(aside) > 3 else "")
        words.append(f"cannot stand beside another at the same timecode, left out: {listed}; otio holds them all")
    others = dict.fromkeys(one.run for one in delivery.takes if one.run != delivery.run)
    if others:
        words.append(f"one list is one pass, here {delivery.run!r}; others with --pass: {', '.join(others)}")
    if wanted.first is not None:
        words.append("frames are not renumbered: an edit list keeps its timecode")
    return tuple(words)


def _chosen(delivery: Delivery) -> tuple[list[Clip], list[Clip]]:
    """Return the events in order of time, and what overlaps them: takes come before cues that have none yet."""
    rows: list[Lane] = [row for row in lanes(delivery) if row.selects]
    mine = [clip for row in rows for clip in row.clips if clip.take is None or clip.run == delivery.run]
    clips: list[Clip] = []
    aside: list[Clip] = []
    for clip in sorted(mine, key=lambda one: (one.take is None, one.first, one.end)):
        apart = all(clip.end <= one.first or one.end <= clip.first for one in clips)
        (clips if apart else aside).append(clip)
    return sorted(clips, key=lambda one: one.first), aside


def _words(delivery: Delivery, clip: Clip) -> list[str]:
    """Return what is noted of an event, and the other takes of its cue and pass."""
    if clip.take is None:
        return ["NO TAKE YET"]
    said = [f"CUE {clip.cue}, PASS {clip.run}, TAKE {clip.take.number}{', CIRCLED' if clip.take.circled else ''}"]
    said += [f"NOTE {clip.take.note}"] if clip.take.note else []
    others = [one for one in delivery.takes if (one.cue, one.run) == (clip.cue, clip.run) and one != clip.take]
    return said + [f"OTHER TAKE {one.name}{f', {one.note}' if one.note else ''}" for one in others]


def _located(clips: list[Clip], markers: tuple[Marker, ...]) -> dict[Clip, list[Marker]]:
    """Return the markers of each event: those from its beginning to the next; the first has all before it too."""
    found: dict[Clip, list[Marker]] = {clip: [] for clip in clips}
    begins = [clip.first for clip in clips]
    for marker in sorted(markers, key=lambda one: one.at):
        found[clips[max(0, bisect_right(begins, _frame(marker)) - 1)]].append(marker)
    return found


def _frame(marker: Marker) -> int:
    """Return the whole frame nearest to a marker; in the middle between two, the later one."""
    return floor(marker.at + Fraction(1, 2))


def _label(timebase: Timebase, frame: int) -> str:
    return str(timebase.label(frame))


def _reels(clips: list[Clip]) -> list[str]:
    """Return a reel for each event, of letters and digits: its take's name, or its two ends; none twice."""
    reels: list[str] = []
    for clip in clips:
        if clip.take is None:
            reels.append(NO_REEL)
            continue
        name = "".join(one for one in _ascii(clip.take.name).upper() if one.isalnum()) or "TAKE"
        reel = name if len(name) <= _REEL else name[: _REEL // 2] + name[-_REEL // 2 :]
        number = 1
        while reel in reels or reel in (NO_REEL, *BLACK):
            number += 1
            reel = f"{name[: _REEL - len(str(number))]}{number}"
        reels.append(reel)
    return reels


def _ascii(text: str) -> str:
    """Return words on one line, each letter as the nearest that the form has, ? where it has none."""
    apart = unicodedata.normalize("NFKD", text.replace("ß", "ss"))
    plain = "".join(one for one in apart if not unicodedata.combining(one)).encode("ascii", "replace").decode()
    return " ".join("".join(one if one.isprintable() else " " for one in plain).split())


KIND = ExportKind(
    name="edl",
    title="an edit list in the CMX 3600 form: the selects of a pass, and markers",
    suffixes=(".edl",),
    holds="takes",
    make=make,
    remarks=remarks,
)
