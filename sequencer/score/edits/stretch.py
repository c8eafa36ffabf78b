"""Stretch keys in time by an exact factor. It refuses to turn time round: `reverse` does."""

from dataclasses import replace
from fractions import Fraction

from sequencer.score.edits.selection import Selection, rekeyed
from sequencer.score.move import Move


def stretch(move: Move, selection: Selection, factor: Fraction, about: Fraction, *, cues: bool = False) -> Move:
    """Return the move with the chosen keys `factor` times as far from the frame `about`; all `cues` too, if asked.

    Error: ValueError for a factor that is not above zero; ProjectError for keys out of order.
    """
    if factor <= 0:
        raise ValueError(f"keys are stretched by a factor above zero, not by {factor}; to run them backward, reverse")

    def moved(at: Fraction) -> Fraction:
        return about + (at - about) * factor

    stretched = rekeyed(move, selection, lambda key: replace(key, at=moved(key.at)))
    if not cues:
        return stretched
    return replace(stretched, cues=tuple(replace(cue, start=moved(cue.start), end=moved(cue.end)) for cue in move.cues))
