"""`twintake tempo`: the beat grid of a project; a tempo read from a Standard MIDI File or found in the playback.

Nothing is kept unless asked. Keys stay where they are in time, whatever the tempo becomes. BPM counts the metre's
beats, in 6/8 the eighths.

The JSON document: `project`; `tempo` and, where it was another, `before`, each with `first_beat`, `bpm`,
`beats_per_bar`, `beat_note` and `changes`; `bars`, each with its number, `at`, `bpm`, `beats_per_bar`, `beat_note` and
the instants of its `beats`; `more_bars` that are not listed; `words` about the file; `keys`, how many there are, and
how many stood and stand on a beat; `markers` that are new or moved; `written`.
"""

import json as plain_json
from collections.abc import Iterable
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import islice
from pathlib import Path
from typing import Annotated, Any

import typer
from rich import box
from rich.table import Table

from sequencer.cli.exits import console, exits
from sequencer.cli.options import Folder, Json, Write, instant
from sequencer.cli.verdict import kept
from sequencer.errors import ProjectError
from sequencer.music.grid import one_here, storable
from sequencer.music.smf import MAX_BYTES, Song, read_song
from sequencer.project.document import Project
from sequencer.project.store import load, save
from sequencer.score.move import Marker, Move
from sequencer.score.pins import on_beats
from sequencer.shell.kinds import laws
from sequencer.timebase.tempo import TempoMap
from sequencer.timebase.timecode import Timebase

_MOST_SHOWN, _MOST_LISTED = 200, 5000  # bars: in the terminal, and in the JSON document


def tempo(
    project: Folder,
    midi: Annotated[Path | None, typer.Option(metavar="FILE", help="Read it from a Standard MIDI File.")] = None,
    first_beat: Annotated[
        str | None,
        typer.Option(metavar="TIMECODE", help="Where the first beat falls; else where it did, or the project's start."),
    ] = None,
    markers: Annotated[
        bool, typer.Option("--markers", help="Take the file's markers too; one of the same name moves.")
    ] = False,
    find: Annotated[bool, typer.Option("--find", help="Find it in the project's playback.")] = False,
    near: Annotated[
        float | None, typer.Option(metavar="BPM", help="With --find: the tempo that it is near, as tapped.")
    ] = None,
    write: Write = False,
    json: Json = False,
) -> None:
    """Show the beats and bars of the music, or set them. Nothing is written without --write."""
    with exits():
        old = load(project, laws())
        if find or near is not None:
            done = _found(old, project, near, first_beat, midi, find)
        else:
            done = _done(old, midi, first_beat, markers)
        if write and done.new != old:
            save(project, done.new, laws())
            done = replace(done, written=True)
        if json:
            print(plain_json.dumps(_facts(done, project), indent=2, allow_nan=False))
        else:
            _show(done)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Done:
    old: Project
    new: Project
    tempo: TempoMap  # of `new`
    words: tuple[str, ...] = ()
    written: bool = False


def _done(old: Project, midi: Path | None, first_beat: str | None, markers: bool) -> _Done:
    if markers and midi is None:
        raise ProjectError("--markers", "there is no file to take them from", "add --midi FILE", file="command line")
    at_s = Fraction(0) if old.tempo is None else old.tempo.at_s
    if first_beat is not None:
        at_s = old.timebase.rate.seconds(instant("--first-beat", first_beat, old.timebase))
    if midi is None:
        if old.tempo is None:
            raise ProjectError("tempo", "there is none", "write one, or read one with --midi FILE")
        found = replace(old.tempo, at_s=at_s)
        return _Done(old=old, new=replace(old, tempo=found), tempo=found)
    song = read_song(_bytes(midi), midi.name, at_s)
    move = _with_markers(old, song) if markers else old.move
    return _Done(old=old, new=replace(old, tempo=song.tempo, move=move), tempo=song.tempo, words=song.words)


def _found(
    old: Project, folder: Path, near: float | None, first_beat: str | None, midi: Path | None, find: bool
) -> _Done:
    from sequencer.cli.tempo_found import found_in_playback  # scipy's transforms, which no other use of this needs

    if not find:
        raise ProjectError("--near", "there is nothing to find near it", "add --find", file="command line")
    if midi is not None:
        raise ProjectError("--find", "a tempo comes from --midi already", "leave one of them out", file="command line")
    tempo, words = found_in_playback(old, folder, near)
    if first_beat is not None:
        at_s = old.timebase.rate.seconds(instant("--first-beat", first_beat, old.timebase))
        tempo = one_here(tempo, at_s, onto_beat=True)  # labels are coarser than what is heard
    tempo = storable(tempo, old.timebase.rate)
    return _Done(old=old, new=replace(old, tempo=tempo), tempo=tempo, words=words)


def _bytes(path: Path) -> bytes:
    try:
        if not path.is_file():
            raise ProjectError("--midi", f"there is no file {path}", "name one that is there", "command line")
        with path.open("rb") as file:
            data = file.read(MAX_BYTES + 1)
    except OSError as fault:
        what = f"{path} cannot be read: {fault.strerror or fault}"
        raise ProjectError("--midi", what, "check the file, or copy it here", "command line") from fault
    if len(data) > MAX_BYTES:
        raise ProjectError("", f"larger than {MAX_BYTES // 2**20} MB", "this is no song", path.name)
    return data


def _with_markers(old: Project, song: Song) -> Move:
    """Return the move with the song's markers; those of the project that have one of their names give way."""
    rate = old.timebase.rate
    new = [Marker(name, rate.frames(song.tempo.seconds(beat))) for name, beat in song.markers]
    names = {one.name for one in new}
    stay = [one for one in old.move.markers if one.name not in names]
    return replace(old.move, markers=tuple(sorted([*stay, *new], key=lambda one: one.at)))


def _ends_s(project: Project) -> Fraction:
    """Return the last instant that the project speaks of."""
    move = project.move
    at = [track.keys[-1].at for track in move.tracks if track.keys]
    at += [cue.end for cue in move.cues] + [marker.at for marker in move.markers]
    return project.timebase.rate.seconds(max(at, default=Fraction(0)))


def _bars(done: _Done, most: int) -> tuple[list[tuple[int, Fraction]], int]:
    """Return the bars up to the end of the project, the first `most` of them, and how many more there are."""
    tempo = done.tempo
    until = max(_ends_s(done.new), tempo.at_s)
    listed = list(islice(tempo.bars(tempo.at_s, until), most))
    return listed, tempo.in_bar(tempo.beat(until)).bar + 1 - len(listed)


def _on_beats(project: Project, tempo: TempoMap | None) -> int | None:
    """Return how many keys stand on a beat."""
    if tempo is None:
        return None
    on = on_beats(tempo, project.timebase.rate)
    return sum(on(key.at) for track in project.move.tracks for key in track.keys)


def _new_markers(done: _Done) -> list[tuple[Marker, list[Marker]]]:
    """Return the markers that are new, each with those that gave way to it."""
    was = done.old.move.markers
    return [
        (one, [other for other in was if other.name == one.name]) for one in done.new.move.markers if one not in was
    ]


def _label(tempo: TempoMap, beat: Fraction, timebase: Timebase) -> str:
    return str(timebase.label_at(float(tempo.seconds(beat))))


def _number(exact: Fraction) -> str:
    return f"{float(exact):.6g}"


def _told(tempo: TempoMap, timebase: Timebase) -> str:
    first = tempo.stretches[0]
    changes = len(tempo.changes)
    more = f", {changes} change{'s' if changes > 1 else ''}" if changes else ""
    return f"{_number(first.bpm)} BPM in {first.metre}, first beat at {_label(tempo, Fraction(0), timebase)}{more}"


def _show(done: _Done) -> None:
    def say(line: str) -> None:
        console.print(line, markup=False, highlight=False, soft_wrap=True)

    timebase, old = done.new.timebase, done.old.tempo
    for word in done.words:
        say(word)
    if done.new != done.old:
        say(f"was: {_told(old, timebase) if old else 'no tempo'}")
        say(f"now: {_told(done.tempo, timebase)}")
        before, now = _on_beats(done.old, old), _on_beats(done.new, done.tempo)
        say(f"keys on a beat: {'' if before is None else f'{before} before, '}{now} now; no key moves")
        for marker, gone in _new_markers(done):
            moved = f", was at {', '.join(str(timebase.label(one.at)) for one in gone)}" if gone else ", new"
            say(f"marker {marker.name}: {timebase.label(marker.at)}{moved}")
    else:
        say(_told(done.tempo, timebase))
    console.print(_table(done))
    _, more = _bars(done, _MOST_SHOWN)
    if more:
        say(f"and {more} bars more, up to {timebase.label_at(float(_ends_s(done.new)))}; --json lists them")
    if done.new != done.old:
        say(kept(done.written))


def _table(done: _Done) -> Table:
    """Return the bars with their instants; tempo and metre where they change, in mid-bar on a line of their own."""
    tempo, timebase = done.tempo, done.new.timebase
    table = Table(box=box.SIMPLE_HEAD)
    for name in ("bar", "beat", "timecode", "BPM", "metre"):
        table.add_column(name, justify="left" if name in ("timecode", "metre") else "right")
    bars, _ = _bars(done, _MOST_SHOWN)
    last = bars[-1][1] + tempo.at(bars[-1][1]).beats_per_bar
    steps = {one.beat: one for one in tempo.stretches if one.beat < last}
    metre = ""
    for beat in sorted({begins for _, begins in bars} | steps.keys()):
        bar, part = tempo.in_bar(beat)
        step = steps.get(beat)
        cells = [_number(step.bpm), step.metre if step.metre != metre else ""] if step else []
        metre = step.metre if step else metre
        table.add_row(str(bar + 1), _number(part + 1), _label(tempo, beat, timebase), *cells)
    return table


def _facts(done: _Done, folder: Path) -> dict[str, Any]:
    timebase = done.new.timebase
    bars, more = _bars(done, _MOST_LISTED)
    return {
        "project": str(folder),
        "tempo": _tempo_facts(done.tempo, timebase),
        "before": _tempo_facts(done.old.tempo, timebase) if done.old.tempo else None,
        "bars": list(_bar_facts(done.tempo, bars, timebase)),
        "more_bars": more,
        "words": list(done.words),
        "keys": {
            "all": sum(len(track.keys) for track in done.new.move.tracks),
            "on_beats_before": _on_beats(done.old, done.old.tempo),
            "on_beats": _on_beats(done.new, done.tempo),
        },
        "markers": [
            {
                "name": one.name,
                "at": str(timebase.label(one.at)),
                "was": [str(timebase.label(other.at)) for other in gone],
            }
            for one, gone in _new_markers(done)
        ],
        "written": done.written,
    }


def _tempo_facts(tempo: TempoMap, timebase: Timebase) -> dict[str, Any]:
    changes = []
    for before, now in zip(tempo.stretches, tempo.stretches[1:], strict=False):
        bar, beat = tempo.in_bar(now.beat)
        changes.append(
            {
                "bar": bar + 1,
                "beat": float(beat + 1),
                "at": _exact_label(tempo, now.beat, timebase),
                "bpm": float(now.bpm),
                "metre": now.metre,
                "new_metre": now.metre != before.metre,
            }
        )
    return {
        "first_beat": _exact_label(tempo, Fraction(0), timebase),
        "bpm": float(tempo.bpm),
        "beats_per_bar": tempo.beats_per_bar,
        "beat_note": tempo.beat_note,
        "changes": changes,
    }


def _bar_facts(tempo: TempoMap, bars: list[tuple[int, Fraction]], timebase: Timebase) -> Iterable[dict[str, Any]]:
    for bar, begins in bars:
        here = tempo.at(begins)
        ends = tempo.beat_of(bar + 1)
        beats = (beat for beat in tempo.grid(tempo.seconds(begins), tempo.seconds(ends)) if beat < ends)
        yield {
            "bar": bar + 1,
            "at": _exact_label(tempo, begins, timebase),
            "bpm": float(here.bpm),
            "beats_per_bar": here.beats_per_bar,
            "beat_note": here.beat_note,
            "beats": [_exact_label(tempo, beat, timebase) for beat in beats],
        }


def _exact_label(tempo: TempoMap, beat: Fraction, timebase: Timebase) -> str:
    return str(timebase.label(timebase.rate.frames(tempo.seconds(beat))))
