"""From the tempo of a project file to the tempo map, and back.

A change stands at a bar and a beat, both counted from one, in the metre that holds up to there. Every fault is a
ProjectError with its place.
"""

from msgspec import UNSET

from sequencer.errors import ProjectError
from sequencer.project import files
from sequencer.project.values import exact, exact_text, instant, placed, said, timecode
from sequencer.timebase.tempo import QUARTER, Change, Stretch, TempoMap
from sequencer.timebase.timecode import Timebase


def build_tempo(written: files.TempoFile, timebase: Timebase) -> TempoMap:
    """Return the tempo map that is written."""
    steady = placed(
        "tempo",
        TempoMap,
        bpm=exact(written.bpm, "tempo.bpm"),
        beats_per_bar=written.beats_per_bar,
        at_s=timebase.rate.seconds(instant(written.first_beat, "tempo.first_beat", timebase)),
        beat_note=said(written.beat_note, QUARTER),
    )
    now, changes = steady.stretches[0], []
    for i, one in enumerate(said(written.changes, [])):
        path = f"tempo.changes[{i}]"
        change = _change(one, path, now)
        now = placed(path, now.then, change=change)
        timecode(timebase.rate.frames(now.at_s), path, timebase)  # refuses what lies half a day away
        changes.append(change)
    return TempoMap(steady.bpm, steady.beats_per_bar, steady.at_s, steady.beat_note, tuple(changes))


def _change(written: files.TempoChangeFile, path: str, now: Stretch) -> Change:
    beat = exact(said(written.beat, "1"), f"{path}.beat")
    if written.bar < 1:
        raise ProjectError(f"{path}.bar", f"there is no bar {written.bar}", "bars are counted from one")
    if not 1 <= beat < now.beats_per_bar + 1:
        what = f"bar {written.bar} has no beat {exact_text(beat)}"
        mend = f"it is in {now.metre}, with beats from 1 to below {now.beats_per_bar + 1}"
        raise ProjectError(f"{path}.beat", what, mend)
    at = now.beat_of(written.bar - 1, beat - 1)
    if at <= now.beat:
        what = f"{now.in_bar(at)} is not after {now.in_bar(now.beat)}, where the tempo before it begins"
        raise ProjectError(path, what, "write changes in order of time, each place once")
    return Change(
        beat=at,
        bpm=None if written.bpm is UNSET else exact(written.bpm, f"{path}.bpm"),
        beats_per_bar=said(written.beats_per_bar, None),
        beat_note=said(written.beat_note, None),
    )


def plain_tempo(tempo: TempoMap, timebase: Timebase) -> files.TempoFile:
    """Return the tempo as it is written."""
    changes = [_plain_change(before, change) for before, change in zip(tempo.stretches, tempo.changes, strict=False)]
    return files.TempoFile(
        bpm=exact_text(tempo.bpm),
        beats_per_bar=tempo.beats_per_bar,
        beat_note=UNSET if tempo.beat_note == QUARTER else tempo.beat_note,
        first_beat=timecode(timebase.rate.frames(tempo.at_s), "tempo.first_beat", timebase),
        changes=changes or UNSET,
    )


def _plain_change(before: Stretch, change: Change) -> files.TempoChangeFile:
    at = before.in_bar(change.beat)
    return files.TempoChangeFile(
        bar=at.bar + 1,
        beat=exact_text(at.beat + 1) if at.beat else UNSET,
        bpm=UNSET if change.bpm is None else exact_text(change.bpm),
        beats_per_bar=UNSET if change.beats_per_bar is None else change.beats_per_bar,
        beat_note=UNSET if change.beat_note is None else change.beat_note,
    )
