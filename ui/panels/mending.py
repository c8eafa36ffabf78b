"""Repairs tried on a project: what each would change, and what the motors would be asked before and after.

It refuses to know Qt, and to choose.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

from sequencer.motion.check import Check, check
from sequencer.motion.peaks import Peak, against
from sequencer.motion.repair.choices import CHOICES, Task
from sequencer.motion.repair.outcome import AS_IT_IS, Repaired, Tell, Unrepaired
from sequencer.motion.repair.settled import settled
from sequencer.project.document import Project
from sequencer.rig.axis import Axis
from sequencer.rig.limits import Combined
from sequencer.rig.speed import at_speed
from sequencer.score.easing import Laws
from sequencer.score.move import Key, Move
from sequencer.timebase.instants import labelled
from ui.language import translate
from ui.panels.faults import left

Label = Callable[[Fraction], str]
_LEAST = 1e-9  # of a value: less than that is how a number is written


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Asking:
    """The project as it is, and the speed at which its move is run."""

    project: Project
    laws: Laws
    speed: Fraction
    overshoot: bool = False

    def judge(self, move: Move) -> Check:
        """Return what a move asks of the rig at that speed. Error: ProjectError."""
        return check(self.project.rig, move, self.project.timebase.rate, self.laws, self.speed)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Mended:
    """A changed move: by which repair (`offer` counts from 1 where it is only an offer), what changes, what it asks."""

    how: str
    offer: int
    move: Move
    words: tuple[str, ...]
    after: Check


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Tried:
    """What came of one repair: moves to choose from, the repaired one alone or offers; and why there is none."""

    how: str
    before: Check
    moves: tuple[Mended, ...] = ()
    reasons: tuple[str, ...] = ()

    @property
    def possible(self) -> bool:
        """Whether the repair itself is there, rather than offers."""
        return any(not one.offer for one in self.moves)


def mend(asking: Asking, how: str, tell: Tell) -> Tried:
    """Try one repair. Error: ProjectError for a move that cannot be compiled; Cancelled when `tell` says so."""
    project = asking.project
    before = asking.judge(project.move)
    task = Task(
        rig=at_speed(project.rig, asking.speed),
        move=project.move,
        rate=project.timebase.rate,
        laws=asking.laws,
        overshoot=asking.overshoot,
        tell=tell,
    )
    try:
        outcome = CHOICES[how].run(task)
    except Unrepaired as fault:
        return Tried(how=how, before=before, reasons=(str(fault),))
    if isinstance(outcome, Repaired):
        return Tried(how=how, before=before, moves=(_mended(asking, how, 0, outcome.move, outcome.words),))
    sure = translate("repairs", " (proven for every curve)")
    reasons = tuple(one.words + (sure if one.proven else "") for one in outcome.reasons)
    offers = tuple(_mended(asking, how, number, one.move, (one.words,)) for number, one in enumerate(outcome.offers, 1))
    return Tried(how=how, before=before, moves=offers, reasons=reasons)


def _mended(asking: Asking, how: str, offer: int, move: Move, words: tuple[str, ...]) -> Mended:
    """Return what a repair or an offer makes of the move, as it was meant at the speed that was asked for."""
    project = asking.project
    move, more = settled(project.rig, move, project.timebase.rate, asking.laws, asking.speed)
    if more:
        words = (*(one for one in words if one != AS_IT_IS), *more)
    return Mended(how=how, offer=offer, move=move, words=words, after=asking.judge(move))


def lasts_s(of: Check) -> float:
    """Return how long something moves."""
    return of.trajectory.end_s - of.trajectory.start_s


def verdict(of: Check) -> str:
    """Say whether a move fits, and what is left."""
    if of.ok:
        return translate("repairs", "fits, {left} left").format(left=left(-of.reserve))
    count = len(of.over()) + len(of.combined_over())
    return (
        translate("repairs", "one limit is still broken")
        if count == 1
        else translate("repairs", "{n} limits are still broken").format(n=count)
    )


def peaks_beside(before: Check, after: Check) -> list[tuple[str, ...]]:
    """Return, for each axis and combined limit, its largest speed, acceleration and jerk, before and after.

    Unit: percent of the limit; empty where there is no such limit.
    """
    rows: list[tuple[str, ...]] = []
    pairs: list[tuple[Axis | Combined, Peak | None, Peak | None]] = [
        *zip(before.rig.axes, before.axes(), after.axes(), strict=True),
        *zip(before.rig.combined, before.combined, after.combined, strict=True),
    ]
    for limits, old, new in pairs:
        was, will = _shares(limits, old), _shares(limits, new)
        rows.append((limits.name, *(_both(was.get(of), will.get(of)) for of in ("speed", "acceleration", "jerk"))))
    return rows


def _shares(limits: Axis | Combined, peak: Peak | None) -> dict[str, float]:
    return {} if peak is None else {one.of: one.excess + 1 for one in against(peak, limits)}


def _both(was: float | None, will: float | None) -> str:
    if was is None and will is None:
        return ""
    # the jump stays a word; what is a number has its unit once
    return f"{_percent(was).removesuffix(' %')} → {_percent(will)}"


def _percent(share: float | None) -> str:
    if share is None:
        return "–"
    return translate("repairs", "a jump") if math.isinf(share) else f"{share * 100:.1f} %"


def lines(mended: Mended, label: Label) -> tuple[str, ...]:
    """Return what changes, one line each, as the repair says it."""
    return tuple(labelled(words, label) for words in mended.words)


def keys_moved(before: Move, after: Move, rate_hz: Fraction, label: Label) -> list[str]:
    """Return which keys move by how much, one line each, and which legs get another law."""
    told = []
    there = {track.axis: track.keys for track in after.tracks}
    for track in before.tracks:
        keys = there.get(track.axis, ())
        if len(keys) != len(track.keys):
            words = translate("repairs", "{axis}: {before} keys become {after}")
            told.append(words.format(axis=track.axis, before=len(track.keys), after=len(keys)))
            continue
        pairs = list(zip(track.keys, keys, strict=True))
        moves = [(number, *pair) for number, pair in enumerate(pairs, 1) if _differs(*pair)]
        told += [_moved(track.axis, number, old, new, rate_hz, label) for number, old, new in moves]
        eased = sum(old.ease != new.ease for old, new in pairs[:-1])
        if eased:
            words = translate("repairs", "{axis}: {n} of {all} legs are drawn otherwise")
            told.append(words.format(axis=track.axis, n=eased, all=len(pairs) - 1))
    return told


def _differs(old: Key, new: Key) -> bool:
    return old.at != new.at or abs(old.value - new.value) > _LEAST * max(1.0, abs(old.value))


def _moved(axis: str, number: int, old: Key, new: Key, rate_hz: Fraction, label: Label) -> str:
    parts = []
    if old.at != new.at:
        words = translate("repairs", "from {old} to {new}, {by} s")
        by_s = f"{float((new.at - old.at) / rate_hz):+.3f}"
        parts.append(words.format(old=label(old.at), new=label(new.at), by=by_s))
    if abs(old.value - new.value) > _LEAST * max(1.0, abs(old.value)):
        words = translate("repairs", "value {old:.6g} to {new:.6g}, {by:+.4g}")
        parts.append(words.format(old=old.value, new=new.value, by=new.value - old.value))
    return translate("repairs", "{axis}, key {n}: {what}").format(axis=axis, n=number, what="; ".join(parts))
