"""What a project takes from a cut, a song or a recording: markers, cues, tempo, the start of its playback.

Whoever asks keeps the project that comes of it, or not. Keys stay where they are.
"""

from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

from sequencer.errors import ImportFault
from sequencer.export.found import FoundCut
from sequencer.export.placed import Asked, Merged, Placed, merge, place
from sequencer.project.amend import played
from sequencer.project.document import Project
from sequencer.timebase.tempo import TempoMap
from sequencer.timebase.timecode import Timebase


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """What is to be taken of a file."""

    markers: bool = True
    cues: bool = False
    tempo: bool = False
    place: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class CutIn:
    """The project before and after, where things of the file fall, and what must be known of it."""

    old: Project
    new: Project
    placed: Placed
    merged: Merged
    remarks: tuple[str, ...]


def cut_in(folder: Path | None, old: Project, file: Path, cut: FoundCut, asked: Asked, taken: Taken) -> CutIn:
    """Return the project with what is wanted of the cut; `folder` is where its playback lies, None for nowhere yet.

    Error: ImportFault, ProjectError.
    """
    _refuse(cut, file, taken)
    placed = place(cut, old.timebase, asked, file.name)
    merged = merge(
        old.move.markers,
        old.move.cues,
        placed.markers if taken.markers else (),
        placed.cues if taken.cues else (),
        old.timebase,
    )
    new = replace(old, move=replace(old.move, markers=merged.markers, cues=merged.cues))
    if taken.tempo and placed.tempo is not None:
        new = replace(new, tempo=placed.tempo)
    if taken.place:
        _refuse_other(folder, old, file)
        new = played(new, placed.start)
    remarks = (*placed.remarks, *merged.remarks, *_left(placed, cut, old, taken))
    return CutIn(old=old, new=new, placed=placed, merged=merged, remarks=remarks)


def _refuse(cut: FoundCut, file: Path, taken: Taken) -> None:
    """Refuse what was asked for and is not in the file."""
    for wanted, there, option, what in (
        (taken.cues, bool(cut.shots), "--cues", "shots"),
        (taken.tempo, cut.tempo is not None, "--tempo", "tempo"),
        (taken.place, cut.start is not None, "--place", "timecode of its own"),
    ):
        if wanted and not there:
            raise ImportFault(f"{file.name}: it has no {what}; leave out {option}, or name another file")


def _refuse_other(folder: Path | None, project: Project, file: Path) -> None:
    """Refuse to place the playback by another file's timecode."""
    name = None if project.playback is None else project.playback.file
    if name is not None and (folder is None or (folder / name).resolve() != file.resolve()):
        what = f"{file} is not the project's playback, which is {name}"
        raise ImportFault(f"{what}; copy it into the project and name it as playback.file, or leave out --place")


def _left(placed: Placed, cut: FoundCut, old: Project, taken: Taken) -> list[str]:
    """Say what else is in the file, and how to have it."""
    words = []
    if placed.cues and not taken.cues:
        words.append(f"shots in the file: {len(placed.cues)}; --cues makes cues of them")
    if placed.tempo is not None and not taken.tempo and placed.tempo != old.tempo:
        words.append(f"the file has a tempo, {tempo_words(placed.tempo, old.timebase)}; --tempo takes it")
    sound_alone = cut.start is not None and not cut.markers and not cut.shots and cut.tempo is None
    if sound_alone and not taken.place:
        words.append("--place lets the project's playback begin there")
    return words


def label(timebase: Timebase, at: Fraction) -> str:
    """Return an instant as this writes it: timecode, to a thousandth of a frame."""
    return str(timebase.label(round(at, 3)))


def tempo_words(tempo: TempoMap | None, timebase: Timebase) -> str:
    """Say a tempo in one line."""
    if tempo is None:
        return "none"
    first = tempo.stretches[0]
    changes = len(tempo.changes)
    more = f", {changes} change{'s' if changes > 1 else ''}" if changes else ""
    at = label(timebase, timebase.rate.frames(tempo.at_s))
    return f"{float(first.bpm):.6g} BPM in {first.metre}, first beat at {at}{more}"


def rows(done: CutIn) -> list[tuple[str, str, str, str, str]]:
    """Return a row for each thing of the file: what, name, from, to, and what becomes of it."""
    timebase, merged = done.new.timebase, done.merged
    found = []
    for marker in sorted((*merged.new_markers, *merged.had_markers), key=lambda one: one.at):
        new = marker in merged.new_markers
        found.append(("marker", marker.name, label(timebase, marker.at), "", "new" if new else "there already"))
    for cue in sorted((*merged.new_cues, *merged.had_cues), key=lambda one: one.start):
        new = cue in merged.new_cues
        span = label(timebase, cue.start), label(timebase, cue.end)
        found.append(("cue", cue.name, *span, "new" if new else "there already"))
    if done.new.tempo != done.old.tempo:
        was, now = (tempo_words(one.tempo, timebase) for one in (done.old, done.new))
        found.append(("tempo", now, "", "", f"was {was}"))
    if done.new.playback != done.old.playback and done.new.playback and done.old.playback:
        was = label(timebase, done.old.playback.at)
        found.append(("playback", done.new.playback.file, label(timebase, done.new.playback.at), "", f"began at {was}"))
    return found
