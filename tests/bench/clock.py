"""How well MIDI clock is followed: phase, time to lock, faults, cost. Made-up masters, real bytes.

Bound: the Cramér-Rao bound of a straight line through the 512 newest clocks, half a gap past the newest, 0.088 sigma.
"""

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from time import perf_counter

import numpy as np

from sequencer.sync.midi_clock import clock_follower
from sequencer.sync.reading import Clock, Lock
from sequencer.timebase.tempo import Change, TempoMap
from tests.bench.follower import Floats, bursts, late, quantised, rms
from tests.bench.table import Table
from tests.sync.band import START, clocks, said
from tests.sync.master import COUNTINGS, Sent, timebase, watch

_SIGMA_S = 1e-3
_BOUND = (1 / 512 + 256**2 * 12 / 512**3) ** 0.5  # of a line through 512 stamps, half a gap past the newest
_RUN_S, _SETTLE_S, _TICK_S = 40.0, 12.0, 0.01
_BEGINS_S = 0.5
_SEEDS = range(3000, 3010)
_BASE = timebase(COUNTINGS["25"])
_SONG = TempoMap(Fraction(96), 4)
_CHANGING = TempoMap(
    Fraction(96),
    4,
    changes=tuple(Change(beat=Fraction(8 * i), bpm=Fraction(120 if i % 2 else 80)) for i in range(1, 9)),
)

Chance = np.random.Generator
Bend = Callable[[Floats, Chance], Floats]


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """A master and what its cable does. `lost` and `doubled` are shares of the clocks."""

    name: str
    tempo: TempoMap = _SONG
    speed: float = 1.0
    sigma_s: float = _SIGMA_S
    bends: tuple[Bend, ...] = ()
    lost: float = 0.0
    doubled: float = 0.0


CASES = (
    Case(name="96 BPM"),
    Case(name="180 BPM", tempo=TempoMap(Fraction(180), 4)),
    Case(name="project 96, master 100 BPM", speed=100 / 96),
    Case(name="project 96, master 48 BPM", speed=0.5),
    Case(name="80 and 120 BPM in turn, every 8 beats", tempo=_CHANGING),
    Case(name="the same, master 4 % fast", tempo=_CHANGING, speed=1.04),
    Case(name="jitter 0.3 ms", sigma_s=0.3e-3),
    Case(name="jitter 2 ms", sigma_s=2e-3),
    Case(name="1 % 20 ms late", bends=(late,)),
    Case(name="held-back bursts", bends=(bursts,)),
    Case(name="quantised 1.33 ms", sigma_s=0.0, bends=(quantised,)),
    Case(name="2 % lost", lost=0.02),
    Case(name="2 % doubled", doubled=0.02),
    Case(name="2 % lost, 2 % doubled, bursts", bends=(bursts,), lost=0.02, doubled=0.02),
)


def arrivals(case: Case, seed: int) -> list[Sent]:
    """Return what arrives: start, and clocks; the first two seconds come as they were sent."""
    chance = np.random.default_rng(seed)
    sent = clocks(case.tempo, _RUN_S, chance, at_s=_BEGINS_S, speed=case.speed, sigma_s=case.sigma_s)
    stamps = np.array([one.at_s for one in sent])
    for bend in case.bends:
        stamps = bend(stamps, chance)
    stamps = np.maximum.accumulate(np.maximum(stamps, 0))
    found = [said(_BEGINS_S - 0.02, START)]
    for at_s, one in zip(stamps.tolist(), sent, strict=True):
        whole = one.due_s < 2
        arrived = Sent(max(at_s, found[-1].at_s), one.due_s, one.quarter, one.data)
        if whole or chance.random() >= case.lost:
            found.append(arrived)
            if not whole and chance.random() < case.doubled:
                found.append(arrived)
    return found


def steady() -> Table:
    """Measure each case over its seeds, once settled."""
    rows: list[tuple[str, ...]] = []
    for case in CASES:
        errors: list[float] = []
        ratios: list[float] = []
        locks: list[float] = []
        locked = count = jumps = 0
        for seed in _SEEDS:
            follower = clock_follower(_BASE, case.tempo)
            found = list(watch(follower, arrivals(case, seed), _RUN_S, _TICK_S))
            locks.append(next(clock.at_ns * 1e-9 - _BEGINS_S for clock in found if clock.steers))
            settled = [clock for clock in found if clock.at_ns > _SETTLE_S * 1e9]
            locked += sum(clock.lock is Lock.LOCKED for clock in settled)
            count += len(settled)
            off = [_off(clock, case.speed) for clock in settled if clock.steers]
            errors += off
            ratios += [
                one / clock.uncertainty_s
                for one, clock in zip(off, (each for each in settled if each.steers), strict=True)
            ]
            jumps += follower.counts.jumps
        whole = np.abs(np.array(errors)) * 1e3
        bound = case.sigma_s * _BOUND * case.speed
        rows.append(
            (
                case.name,
                f"{max(locks):.2f}",
                f"{100 * locked / count:.2f}",
                f"{rms(whole):.3f}",
                f"{rms(np.array(errors)) / bound:.2f}x" if bound else "",
                f"{np.quantile(whole, 0.99):.3f}",
                f"{whole.max():.2f}",
                f"{rms(np.array(ratios)):.2f}",
                str(jumps),
            )
        )
    columns = (
        "master",
        "lock s, worst",
        "% locked",
        "RMS ms",
        "RMS / bound",
        "p99 ms",
        "worst ms",
        "error / told",
        "jumps",
    )
    note = (
        f"Jitter 1 ms where nothing else is said, {_RUN_S:.0f} s a seed, the first {_SETTLE_S:.0f} s left out, seeds "
        f"{_SEEDS[0]}..{_SEEDS[-1]}, asked at 100 Hz, ms of the timeline. The bound is that of 512 clocks, which at "
        "96 BPM take 13 s. A worst of a gap (26 ms at 96 BPM) and more is a clock that was counted wrong."
    )
    return Table("MIDI clock: phase of a move written in beats", columns, rows, note)


def _off(clock: Clock, speed: float) -> float:
    return clock.position_s - (clock.at_ns * 1e-9 - _BEGINS_S) * speed


def changes() -> Table:
    """Measure a master whose tempo steps by itself: how far off, and how long."""
    rows: list[tuple[str, ...]] = []
    for bpm in (95, 92, 100, 110, 120, 72, 48):
        peaks, backs = [], []
        for seed in _SEEDS:
            tempo = TempoMap(Fraction(96), 4, changes=(Change(beat=Fraction(16), bpm=Fraction(bpm)),))
            sent = [said(_BEGINS_S - 0.02, START), *clocks(tempo, 20.0, np.random.default_rng(seed), at_s=_BEGINS_S)]
            after = []
            for clock in watch(clock_follower(_BASE, _SONG), sent, 20.0, _TICK_S):
                since_s = clock.at_ns * 1e-9 - _BEGINS_S - 10
                if since_s > 0:
                    after.append((since_s, abs(clock.position_s - 10 - since_s * bpm / 96)))
            peaks.append(max(off for _, off in after))
            backs.append(max((since_s for since_s, off in after if off > 2e-3), default=0.0))
        row = (f"96 to {bpm} BPM", f"{np.mean(peaks) * 1e3:.1f} / {max(peaks) * 1e3:.1f}")
        rows.append((*row, f"{np.mean(backs):.2f} / {max(backs):.2f}"))
    columns = ("step of the master alone", "peak ms, mean / worst", "s to within 2 ms, mean / worst")
    note = (
        "The project stays at 96 BPM. Jitter 1 ms. A step that is in the project's tempo too is no step for the "
        "follower: see the table above. What was overshot is caught up with at 6 % of the speed."
    )
    return Table("MIDI clock: a tempo that steps where the project's does not", columns, rows, note)


def cost() -> Table:
    """Measure what a clock and a tick cost."""
    sent = arrivals(CASES[0], _SEEDS[0])
    follower = clock_follower(_BASE, _SONG)
    best = float("inf")
    for at in range(0, len(sent) - 100, 100):
        begun = perf_counter()
        for one in sent[at : at + 100]:
            follower.feed(one.at_ns, one.data)
        best = min(best, (perf_counter() - begun) * 1e4)
    tick = float("inf")
    now_ns = sent[-1].at_ns
    for _ in range(36):
        begun = perf_counter()
        for _ in range(100):
            now_ns += 1000
            follower.at(now_ns)
        tick = min(tick, (perf_counter() - begun) * 1e4)
    rows = [("bytes to line, a clock", f"{best:.1f}"), ("position at a tick", f"{tick:.1f}")]
    return Table("MIDI clock: cost", ("work", "microseconds"), rows, "Best of rounds of 100.")


def tables() -> list[Table]:
    """Measure everything; about half a minute on one core."""
    return [steady(), changes(), cost()]
