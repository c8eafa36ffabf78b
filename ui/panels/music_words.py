"""What was found in the music, in words. It refuses to sound surer than the numbers are."""

from fractions import Fraction

from sequencer.music.beats import LIKELY, SURE, Beats
from sequencer.music.grid import Fit
from sequencer.timebase.tempo import TempoMap
from ui.language import translate


def sureness(confidence: float) -> str:
    """Return a confidence in words."""
    if confidence >= SURE:
        return translate("music", "sure")
    return translate("music", "likely") if confidence >= LIKELY else translate("music", "doubtful: check it by ear")


def tempo_text(bpm: Fraction | float) -> str:
    """Return a tempo as people write it: to a thousandth, no more digits than it has."""
    return f"{float(bpm):.3f}".rstrip("0").rstrip(".")


def milliseconds(seconds: float) -> str:
    """Return a short time, to one digit where it is short: `3.1 ms`."""
    ms = seconds * 1000
    if ms < 1:  # finer than sound was looked at
        return translate("music", "1 ms")
    return translate("music", "{ms} ms").format(ms=f"{ms:.1f}" if ms < 9.95 else f"{ms:.0f}")


def found_words(found: Beats) -> str:
    """Return what was found: the tempo, how sure, how even."""
    if found.steady:
        words = translate(
            "music", "{count} beats at one steady tempo, {bpm} BPM ({sure}); the sound keeps to it within {ms}"
        )
    else:
        words = translate(
            "music", "{count} beats, {bpm} BPM on average ({sure}); they are not even: each is {ms} off its neighbours"
        )
    return words.format(
        count=len(found.at_s),
        bpm=tempo_text(round(found.bpm, 3)),
        sure=sureness(found.confidence),
        ms=milliseconds(found.residual_s),
    )


def grid_words(grid: TempoMap) -> str:
    """Return a grid: its tempo or tempi, and its metre."""
    tempi = [one.bpm for one in grid.stretches]
    metre = grid.stretches[0].metre
    if len(tempi) == 1:
        return translate("music", "{bpm} BPM in {metre}").format(bpm=tempo_text(tempi[0]), metre=metre)
    words = translate("music", "{count} tempi from {low} to {high} BPM in {metre}")
    low, high = tempo_text(min(tempi)), tempo_text(max(tempi))
    return words.format(count=len(tempi), low=low, high=high, metre=metre)


def fit_words(fit: Fit) -> str:
    """Return how well a grid fits the beats that were found."""
    words = translate("music", "95 of 100 found beats lie within {p95} of it, the farthest {worst} away")
    return words.format(p95=milliseconds(fit.p95_s), worst=milliseconds(fit.worst_s))
