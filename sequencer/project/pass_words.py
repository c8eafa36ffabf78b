"""Why a pass cannot be armed, and the nearest that works, in words. It decides nothing."""

from collections.abc import Iterator
from fractions import Fraction

from sequencer.playback.pass_check import PassCheck, checked
from sequencer.project.document import Project
from sequencer.score.easing import Laws
from sequencer.score.move import Pass
from sequencer.timebase.instants import instant, labelled


def verdicts(project: Project, laws: Laws) -> dict[str, str]:
    """Return for each pass, by its name, whether the motors can do it: cue by cue where they differ, in words."""
    done = checked(project.rig, project.move, project.timebase.rate, laws, project.move.cues)
    each: dict[str, dict[str, str]] = {one.run.name: {} for one in done}
    for one in done:
        each[one.run.name][one.cue.name] = "fits" if one.ok else "; ".join(problems(project, one))
    return {
        name: next(iter(by_cue.values()))
        if len(set(by_cue.values())) == 1
        else "; ".join(f"{cue}: {words}" for cue, words in by_cue.items())
        for name, by_cue in each.items()
    }


def problems(project: Project, one: PassCheck) -> Iterator[str]:
    """Yield why a pass cannot be armed, each with its mend, and last the nearest that works."""
    timebase = project.timebase
    if one.fault is not None:
        yield labelled(str(one.fault), timebase.label)
    if one.moving:
        there = timebase.label(one.cue.start)
        rests = " or ".join(instant(at) for at in one.rests)
        words = f"at {there} {', '.join(one.moving)} is already under way; begin the cue where all rest: {rests}"
        yield labelled(words, timebase.label)
    for broken in one.over:
        yield broken.words(timebase)
    if one.fits is not None:
        same = f", with the camera at {readable(rate_at(project, one.run, one.fits))} fps" if one.run.rate else ""
        yield f"it fits at speed {readable(one.fits)} instead of {readable(one.run.speed)}{same}"
    elif one.over:
        yield "no speed mends that"


def rate_at(project: Project, run: Pass, speed: Fraction) -> Fraction:
    """Return the camera's rate that shows the same frames where the pass runs at another speed."""
    return (run.rate or project.timebase.rate.fraction) * speed / run.speed


def readable(exact: Fraction) -> str:
    """Return a number for people: as a decimal where that ends soon, as a fraction where that is short."""
    if (exact * 1000).denominator == 1:
        return f"{float(exact):g}" if exact < 1000 else str(float(exact)).removesuffix(".0")
    return str(exact) if len(str(exact)) <= 10 else f"{float(exact):.3f}"
