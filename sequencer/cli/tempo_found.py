"""What `twintake tempo --find` hears in the playback: a tempo map, and words on how sure it is. It writes nothing."""

from fractions import Fraction
from pathlib import Path

from sequencer.errors import ProjectError
from sequencer.music.beats import LIKELY, SURE, Beats, beats
from sequencer.music.grid import Fit, Metre, one_tempo, stepped
from sequencer.project.audiofile import info, load, place
from sequencer.project.document import Project
from sequencer.timebase.tempo import TempoMap

_SAME = 0.03  # of a tempo
_MOST_OTHERS = 3


def found_in_playback(project: Project, folder: Path, bpm: float | None) -> tuple[TempoMap, tuple[str, ...]]:
    """Return the tempo map of the playback, at a tempo near `bpm` if one is given, and what is worth knowing about it.

    The metre stays the project's, 4/4 where it has none. Error: ProjectError, LinkError; also where no beat is found.
    """
    name = "" if project.playback is None else project.playback.file
    path = folder / name
    placed = place(project, path)
    heard = beats(load(path), info(path).rate_hz, bpm)
    if not isinstance(heard, Beats):
        mend = "name a tempo near it with --near, write one, or read one with --midi FILE"
        raise ProjectError("", heard.why, mend, path.name)
    old = project.tempo
    metre = Metre() if old is None else Metre(old.beats_per_bar, old.beat_note)
    start_s = Fraction(0) if project.playback is None else project.timebase.rate.seconds(project.playback.at)
    fit = (one_tempo if heard.steady else stepped)(heard, start_s, project.timebase.rate, metre)
    return fit.tempo, (*_words(heard, fit, path.name), *((placed.warning,) if placed.warning else ()))


def _words(heard: Beats, fit: Fit, name: str) -> tuple[str, ...]:
    sure = "sure" if heard.confidence >= SURE else "likely" if heard.confidence >= LIKELY else "doubtful"
    how = "at one steady tempo" if heard.steady else f"at {len(fit.tempo.stretches)} tempi, each for whole bars"
    words = [
        f"heard in {name}: {len(heard.at_s)} beats {how} ({sure}); 95 of 100 lie within {_ms(fit.p95_s)} of the grid, "
        f"the farthest {_ms(fit.worst_s)} away",
        "the first beat that is heard begins a bar; --first-beat names the beat, nearest to it, that does so instead",
    ]
    others = [one for one in heard.others if abs(one.bpm / heard.bpm - 1) > _SAME][:_MOST_OTHERS]
    if others:
        listed = ", ".join(f"{one.bpm:.4g}" for one in others)
        words.append(f"it may be counted otherwise: --near with one of {listed} BPM")
    return tuple(words)


def _ms(seconds: float) -> str:
    return f"{max(1, round(seconds * 1000))} ms"
