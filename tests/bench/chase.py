"""How the follower finds and keeps the place: jumps, turns, dirt, noise alone. Made-up masters, real bytes."""

from collections.abc import Callable, Iterator

import numpy as np

from sequencer.sync.address import standing
from sequencer.sync.mtc import MtcChase, mtc_follower
from sequencer.sync.reading import Clock, Counts, Lock
from sequencer.sync.troubles import Troubles
from sequencer.timebase.timecode import Counting
from tests.bench.table import Table
from tests.sync.master import COUNTINGS, Sent, gap_s, later, run, ten_o_clock, timebase, until, watch
from tests.sync.test_faults import CASES, Faults, spoil

Chance = np.random.Generator
Runs = Callable[[Counting, Chance], tuple[float, bool, Counts]]

_THERE_S = 3e-3
_STUDY, _FRESH = range(7000, 7200), range(97_000, 97_050)
_PIECES = 20_000_000
_NOISE_S = 600.0
_DIRT_S = 2400.0
_PORT_BYTES_A_SECOND = 3125  # 31 250 bits a second, ten to a byte
DIRT = {
    "1 % wrong nibbles": CASES["wrong"],
    "5 % wrong nibbles": CASES["many wrong"],
    "10 % foreign quarter frames": CASES["foreign"],
    "5 % lost": CASES["lost"],
    "lost, doubled, wrong, foreign, garbage, held back": CASES["all"],
}


def first_there(clocks: Iterator[Clock], after_s: float, truth: Callable[[float], float]) -> tuple[float, bool]:
    """Return when the clock first steers within 3 ms of the truth, and whether it is there at the end."""
    found, there = float("inf"), False
    for clock in clocks:
        at_s = clock.at_ns * 1e-9
        there = clock.steers and abs(clock.position_s - truth(at_s)) < _THERE_S
        if there and at_s > after_s:
            found = min(found, at_s)
    return found, there


def jump(counting: Counting, chance: Chance, *, said: bool) -> tuple[float, bool, Counts]:
    """Jump anywhere, with a full frame before it or without; return the gaps until there, and whether it stayed."""
    gap, start = gap_s(counting), ten_o_clock(counting)
    at_s = 2.0 + float(chance.uniform(0, 8)) * gap
    goal = int(chance.integers(0, counting.day))
    skip = 0 if said else int(chance.integers(8))
    begins_s = at_s + 0.1 if said else at_s
    sent = until(run(counting, start, 3.0, chance), at_s)
    if said:
        sent.append(Sent(max(at_s, sent[-1].at_s), at_s, 0, standing(counting, goal)))
    moved = run(counting, goal, 1.5, chance, at_s=begins_s - skip * gap, skip=skip)
    sent += [one for one in moved if one.at_s >= sent[-1].at_s]
    follower = mtc_follower(timebase(counting))
    goal_s = float(timebase(counting).wrap(goal)) * 4 * gap

    def truth(at_s: float) -> float:
        return goal_s + at_s - (begins_s - skip * gap)

    found_s, there = first_there(watch(follower, sent, begins_s + 1.2, 1e-3), begins_s, truth)
    return (found_s - begins_s) / gap, there, follower.counts


def turn(counting: Counting, chance: Chance) -> tuple[float, bool, Counts]:
    """Turn round at full speed after a while; return the time to be within 3 ms again, and whether it stayed there."""
    gap, start = gap_s(counting), ten_o_clock(counting)
    frames = 2 * int(chance.integers(30, 60))  # it goes back through the addresses that it came by
    turns_s = frames * 4 * gap
    there = until(run(counting, start, turns_s + 1, chance), turns_s)
    back = later(run(counting, start + frames, 1.0, chance, backward=True), turns_s)
    follower = mtc_follower(timebase(counting))
    clocks = watch(follower, there + [one for one in back if one.at_s >= there[-1].at_s], turns_s + 0.9, 1e-3)
    # within 3 ms of the way back by being late on the way there does not count
    found_s, good = first_there(clocks, turns_s + 2 * gap, lambda at_s: 2 * turns_s - at_s)
    return (found_s - turns_s) / gap, good, follower.counts


def found(title: str, what: Runs, limits: tuple[float, float | None], seeds: range) -> Table:
    """Measure the time to be there over many runs at each rate. Limits: mean in gaps, 95 % of runs in ms."""
    rows: list[tuple[str, ...]] = []
    mean_gaps, most_ms = limits
    for name, counting in COUNTINGS.items():
        runs = [what(counting, np.random.default_rng(seed)) for seed in seeds]
        gaps = np.array([gap for gap, _, _ in runs])
        ms = gaps * gap_s(counting) * 1e3
        wrong = sum(not there for _, there, _ in runs)
        held = gaps.mean() <= mean_gaps and not wrong and (most_ms is None or np.quantile(ms, 0.95) <= most_ms)
        rows.append(
            (
                name,
                f"{gaps.mean():.2f} / {gaps.max():.2f}",
                f"{ms.mean():.0f} / {np.quantile(ms, 0.95):.0f} / {ms.max():.0f}",
                str(wrong),
                f"{mean_gaps:g} gaps" + (f", {most_ms:g} ms" if most_ms else ""),
                "yes" if held else "NO",
            )
        )
    columns = ("rate", "gaps, mean / worst", "ms, mean / 95 % / worst", "wrong at the end", "limits", "held")
    note = f"Until within 3 ms of the master; sigma 1 ms, {len(seeds)} runs a rate, seeds {seeds[0]}..{seeds[-1]}."
    return Table(title, columns, rows, note)


def dirt(seconds: float, seeds: tuple[int, ...]) -> Table:
    """Count false jumps and wrong places in what bad cables do."""
    counting = COUNTINGS["30 drop"]
    rows: list[tuple[str, ...]] = []
    for name, case in DIRT.items():
        for seed in seeds:
            rows.append((name, str(seed), *dirty(counting, case, seconds, seed)))
    columns = (
        "dirt",
        "seed",
        "% of ticks locked",
        "RMS ms",
        "p99 ms",
        "worst ms",
        "false jumps",
        "wrong places",
        "held",
    )
    note = (
        f"30000/1001 drop-frame, sigma 1 ms, {seconds / 60:.0f} min each, from 5 s on, at 100 Hz; shares as in "
        "tests/sync/test_faults.py. A wrong place is a tick that steers and is more than 20 ms off."
    )
    return Table("Chase: dirt on the cable", columns, rows, note)


def dirty(counting: Counting, case: Faults, seconds: float, seed: int) -> tuple[str, ...]:
    chance = np.random.default_rng(seed)
    sent = spoil(run(counting, ten_o_clock(counting), seconds, chance), case, chance)
    follower = mtc_follower(timebase(counting))
    ticks = locked = 0
    errors = []
    for clock in watch(follower, sent, seconds, 0.01):
        if clock.at_ns > 5e9:
            ticks += 1
            locked += clock.lock is Lock.LOCKED
            if clock.steers:
                errors.append(clock.position_s - clock.at_ns * 1e-9)
    off = np.abs(errors) * 1e3
    wrong = int((off > 20).sum())
    jumps = follower.counts.jumps
    return (
        f"{100 * locked / ticks:.2f}",
        f"{np.sqrt(np.mean(off**2)):.3f}",
        f"{np.quantile(off, 0.99):.3f}",
        f"{off.max():.2f}",
        str(jumps),
        str(wrong),
        "yes" if not jumps and not wrong else "NO",
    )


def noise() -> Table:
    """Count locks on messages that mean nothing: every one goes through the follower's own reader and chase."""
    rows: list[tuple[str, ...]] = []
    chance = np.random.default_rng(42)
    for name, counting in (("30", COUNTINGS["30"]), ("30 drop", COUNTINGS["30 drop"])):
        chase = MtcChase(timebase(counting), 2.0, Troubles())
        gap, shown, count = gap_s(counting), 0, 0
        messages = [bytes((0xF1, byte)) for byte in range(128)]
        for _ in range(_PIECES // 2 // 1_000_000):
            for byte in chance.integers(0, 128, 1_000_000, dtype=np.uint8).tolist():
                count += 1
                chase.feed(count * gap, messages[byte])
                shown += chase.lock is Lock.LOCKING
        row = (
            f"{count:,} random quarter frames at {name}",
            f"{count * gap / 3600:.1f} h",
            str(shown),
            str(chase.jumps),
        )
        rows.append((*row, "yes" if not chase.jumps else "NO"))
    chase = MtcChase(timebase(COUNTINGS["25"]), 2.0, Troubles())
    shown = 0
    data = chance.integers(0, 256, round(_NOISE_S * _PORT_BYTES_A_SECOND), dtype=np.uint8).tobytes()
    for at in range(0, len(data), 3):
        chase.feed(at / _PORT_BYTES_A_SECOND, data[at : at + 3])
        shown += chase.lock is not Lock.WAITING
    row = (f"{len(data):,} random bytes at 25", f"{_NOISE_S:.0f} s", str(shown), str(chase.jumps))
    rows.append((*row, "yes" if not chase.jumps else "NO"))
    columns = ("noise", "at a master's pace", "messages with an address shown", "locks", "held")
    return Table(
        "Chase: noise alone", columns, rows, "Seed 42; the limit is none locked. Bytes at the pace of a MIDI cable."
    )


def tables() -> list[Table]:
    """Measure everything; about ten minutes on one core."""
    made = []
    for whose, seeds in (("200 runs a rate", _STUDY), ("fresh seeds", _FRESH)):
        made += [
            found(
                f"Chase: jump without a full frame, {whose}",
                lambda how, by: jump(how, by, said=False),
                (17, None),
                seeds,
            ),
            found(
                f"Chase: jump with a full frame, {whose}", lambda how, by: jump(how, by, said=True), (3, None), seeds
            ),
            found(f"Chase: turn round, {whose}", turn, (5, 50), seeds),
        ]
    return [*made, dirt(_DIRT_S, (7,)), noise()]
