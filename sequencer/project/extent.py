"""The stretch of time that a project fills. It refuses to be empty: a view has something to show."""

from fractions import Fraction

from sequencer.project.document import Project

_EMPTY_S = Fraction(10)


def extent(project: Project) -> tuple[Fraction, Fraction]:
    """Return the first and last frame with a key, a cue or a marker; ten seconds where there is no such stretch."""
    move = project.move
    there = [key.at for track in move.tracks for key in (track.keys[:1] + track.keys[-1:])]
    there += [at for cue in move.cues for at in (cue.start, cue.end)]
    there += [marker.at for marker in move.markers]
    begin, end = min(there, default=Fraction(0)), max(there, default=Fraction(0))
    return begin, end if begin < end else begin + project.timebase.rate.frames(_EMPTY_S)
