"""Which takes an edit begins with: of each cue and pass the circled take, else the last; all others stand aside.

That the circled take is meant, and of several the last: common practice, no source.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from math import floor

from sequencer.export.delivery import Delivery, TakeMade
from sequencer.score.move import Cue

PLANNED = "planned"


@dataclass(frozen=True, slots=True)
class Clip:
    """A take, or a cue without one, on the timeline: whole frames [`first`, `end`) after the project's start."""

    name: str
    cue: str
    run: str
    first: int
    end: int
    take: TakeMade | None = None


@dataclass(frozen=True, slots=True)
class Lane:
    """Clips of one pass that do not overlap, in order of time; `selects` are meant, others stand aside."""

    run: str
    selects: bool
    clips: tuple[Clip, ...]


def frames(start: Fraction, end: Fraction) -> tuple[int, int]:
    """Return the whole frames of a stretch from `start` to `end`, the latter included, as [first, end)."""
    first = floor(start)
    return first, max(floor(end), first) + 1


def lanes(delivery: Delivery) -> tuple[Lane, ...]:
    """Return all takes and the cues that have none, in lanes: for each pass its selects, then the others."""
    made = [_clip(one) for one in delivery.takes]
    runs = dict.fromkeys(one.run for one in made)
    found: list[Lane] = []
    for run in runs:
        chosen = selects(one for one in delivery.takes if one.run == run)
        of_run = [one for one in made if one.run == run]
        found += _apart(run, True, [one for one in of_run if one.take in chosen])
        found += _apart(run, False, [one for one in of_run if one.take not in chosen])
    have = {one.cue for one in delivery.takes}
    planned = [_planned(cue) for cue in delivery.cues if cue.name not in have]
    return (*found, *_apart(PLANNED, True, planned))


def selects(takes: Iterable[TakeMade]) -> list[TakeMade]:
    """Return of each cue the circled take, the last where there are several, else the last take."""
    best: dict[str, TakeMade] = {}
    for take in sorted(takes, key=lambda one: (one.started, one.number)):
        before = best.get(take.cue)
        if before is None or take.circled or not before.circled:
            best[take.cue] = take
    return list(best.values())


def _clip(take: TakeMade) -> Clip:
    return Clip(take.name, take.cue, take.run, *frames(*take.span), take)


def _planned(cue: Cue) -> Clip:
    return Clip(cue.name, cue.name, PLANNED, *frames(cue.start, cue.end))


def _apart(run: str, chosen: bool, clips: list[Clip]) -> list[Lane]:
    """Return as few lanes as hold the clips without overlaps."""
    rows: list[list[Clip]] = []
    for clip in sorted(clips, key=lambda one: (one.first, one.end)):
        row = next((one for one in rows if one[-1].end <= clip.first), None)
        if row is None:
            rows.append([clip])
        else:
            row.append(clip)
    return [Lane(run, chosen, tuple(row)) for row in rows]
