"""How well the follower follows a steady master: phase against the bound, freewheel, time to lock, cost.

Made-up masters, real bytes. Bound: the Cramér-Rao bound of a straight line through 512 quarter frames, half a gap past
the newest, 0.088 sigma. It holds for independent jitter; a period-quantised stamp has no such bound and is given in ms.
Source: Kay, Fundamentals of Statistical Signal Processing: Estimation Theory, section 3.
"""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import islice
from time import perf_counter

import numpy as np
import numpy.typing as npt

from sequencer.sync.address import running
from sequencer.sync.line import Line
from sequencer.sync.mtc import mtc_follower
from sequencer.sync.reading import Follow, Lock
from tests.bench.table import Table
from tests.sync.master import COUNTINGS, Sent, gap_s, run, ten_o_clock, timebase, watch
from tests.sync.test_line import bound

Floats = npt.NDArray[np.float64]
Chance = np.random.Generator

_RUN_S, _SETTLE_S, _TICK_S = 40.0, 12.0, 0.01
_PERIOD_S = 64 / 48_000
_COUNTING = COUNTINGS["30"]
_GAP_S = gap_s(_COUNTING)
_STUDY, _FRESH = 1000, 90_000
_LOCK_STUDY, _WHEEL_STUDY, _LOCK_FRESH, _WHEEL_FRESH = 5000, 6000, 95_000, 96_000
BOUND_512 = bound(512, 0.5)


@dataclass(frozen=True, slots=True, kw_only=True)
class Noise:
    """What a path does to stamps. `sigma_s` of the jitter; `rms` and `p99` are the limits, in bounds or in ms."""

    name: str
    sigma_s: float
    bends: tuple[Callable[[Floats, Chance], Floats], ...] = ()
    lost: float = 0.0
    exponential: bool = False
    rms: float
    p99: float | None = None


def late(stamps: Floats, chance: Chance) -> Floats:
    """Hold back one message in a hundred by 20 ms."""
    return stamps + np.where(chance.random(len(stamps)) < 0.01, 0.02, 0.0)


def bursts(stamps: Floats, chance: Chance) -> Floats:
    """Stall every 0.8 s on average for 10 to 60 ms, after which all that was held comes at once."""
    stamps = stamps.copy()
    at = float(chance.exponential(0.8))
    while at < stamps[-1]:
        end = at + float(chance.uniform(0.01, 0.06))
        stamps[(stamps > at) & (stamps < end)] = end
        at = end + float(chance.exponential(0.8))
    return stamps


def quantised(stamps: Floats, chance: Chance) -> Floats:
    """Let messages through at the end of each period only, the mean delay taken off."""
    return np.ceil(stamps / _PERIOD_S) * _PERIOD_S - _PERIOD_S / 2


NOISES = (
    Noise(name="gauss 0.3 ms", sigma_s=0.3e-3, rms=1.15, p99=3.0),
    Noise(name="gauss 1 ms", sigma_s=1e-3, rms=1.15, p99=3.0),
    Noise(name="gauss 2 ms", sigma_s=2e-3, rms=1.15, p99=3.0),
    Noise(name="exponential delay 1 ms", sigma_s=1e-3, exponential=True, rms=1.30),
    Noise(name="gauss 1 ms, 1 % 20 ms late", sigma_s=1e-3, bends=(late,), rms=1.30),
    Noise(name="gauss 1 ms, held-back bursts", sigma_s=1e-3, bends=(bursts,), rms=1.15),
    Noise(name="gauss 1 ms, 5 % lost", sigma_s=1e-3, lost=0.05, rms=1.15),
    Noise(name="quantised 1.33 ms", sigma_s=0.0, bends=(quantised,), rms=0.12),
    Noise(name="quantised, late, bursts, lost", sigma_s=0.0, bends=(late, bursts, quantised), lost=0.05, rms=0.12),
)
_MESSAGES = [data for _, data in islice(running(_COUNTING, ten_o_clock(_COUNTING)), round(_RUN_S * 1.001 / _GAP_S))]


def arrivals(noise: Noise, seed: int) -> tuple[list[Sent], float, float]:
    """Return what arrives from a master up to 100 ppm off, with its gap and the instant of its first message."""
    chance = np.random.default_rng(seed)
    gap = _GAP_S * (1 + float(chance.uniform(-1e-4, 1e-4)))
    begun = float(chance.uniform(0, _GAP_S))
    due = begun + np.arange(len(_MESSAGES)) * gap
    jitter = chance.exponential(1, len(due)) - 1 if noise.exponential else chance.standard_normal(len(due))
    stamps = due + noise.sigma_s * jitter
    for bend in noise.bends:
        stamps = bend(stamps, chance)
    stamps = np.maximum.accumulate(np.maximum(stamps, 0))
    kept = chance.random(len(due)) >= noise.lost
    sent = [
        Sent(at_s, due_s, quarter, data)
        for quarter, (at_s, due_s, data, keep) in enumerate(
            zip(stamps.tolist(), due.tolist(), _MESSAGES, kept.tolist(), strict=True)
        )
        if keep
    ]
    return sent, gap, begun


def steady_errors(noise: Noise, seed: int) -> tuple[Floats, Floats]:
    """Return position errors in s at each tick once settled, and those over the uncertainty told."""
    sent, gap, begun = arrivals(noise, seed)
    clocks = [
        clock
        for clock in watch(mtc_follower(timebase(_COUNTING)), sent, _RUN_S, _TICK_S)
        if clock.at_ns > _SETTLE_S * 1e9
    ]
    truth = np.array([(clock.at_ns * 1e-9 - begun) / gap * _GAP_S for clock in clocks])
    told = np.array([clock.position_s for clock in clocks])
    uncertainty = np.array([clock.uncertainty_s for clock in clocks])
    return told - truth, (told - truth) / uncertainty


def rms(values: Floats) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


def steady(title: str, seeds: Callable[[Noise], range]) -> Table:
    """Measure each noise over its seeds."""
    rows: list[tuple[str, ...]] = []
    for noise in NOISES:
        which = seeds(noise)
        runs = [steady_errors(noise, seed) for seed in which]
        errors = np.concatenate([errors for errors, _ in runs])
        ratio = rms(np.concatenate([ratios for _, ratios in runs]))
        p99 = float(np.quantile(np.abs(errors), 0.99))
        worst = float(np.abs(errors).max())
        least = noise.sigma_s * BOUND_512
        unit, scale = ("x", 1 / least) if least else (" ms", 1e3)
        limits = f"{noise.rms}{unit}" + (f", {noise.p99}{unit}" if noise.p99 else "")
        met = rms(errors) * scale <= noise.rms and (noise.p99 is None or p99 * scale <= noise.p99)
        rows.append(
            (
                noise.name,
                f"{which[0]}..{which[-1]}",
                f"{rms(errors) * 1e3:.4f}",
                f"{rms(errors) * scale:.3f}{unit}",
                f"{p99 * scale:.2f}{unit}",
                f"{worst * 1e3:.2f}",
                f"{ratio:.2f}",
                limits,
                "yes" if met else "NO",
            )
        )
    columns = ("noise", "seeds", "RMS ms", "RMS", "p99", "worst ms", "error / uncertainty", "limits", "held")
    note = (
        f"30 fps, master within 100 ppm, {_RUN_S:.0f} s a seed, the first {_SETTLE_S:.0f} s left out, asked at 100 Hz, "
        "from bytes to the played-out position. Multiples (x) are of the Cramér-Rao bound at 512 quarter frames."
    )
    return Table(title, columns, rows, note)


def locking(seeds: range) -> Table:
    """Measure the time from the first quarter frame to the address and to motion, at each phase and direction."""
    rows: list[tuple[str, ...]] = []
    for name, counting in COUNTINGS.items():
        gap = gap_s(counting)
        address, motion, wrong, count = [], [], 0, 0
        for seed in seeds:
            chance = np.random.default_rng(seed)
            for skip in range(8):
                for backward in (False, True):
                    frame = int(chance.integers(counting.day // 3, counting.day // 2))
                    sent = run(counting, frame, 0.3, chance, skip=skip, backward=backward)
                    clocks = list(watch(mtc_follower(timebase(counting)), sent, 0.4, tick_s=0.0005))
                    known = [clock for clock in clocks if clock.lock is not Lock.WAITING]
                    steers = [clock for clock in known if clock.steers]
                    address.append((known[0].at_ns * 1e-9 - sent[0].due_s) / gap)
                    motion.append((steers[0].at_ns * 1e-9 - sent[0].due_s) / gap)
                    start = (frame - ten_o_clock(counting)) * 4 * gap
                    way = -1 if backward else 1
                    off = [abs(clock.position_s - start - way * clock.at_ns * 1e-9) for clock in known]
                    wrong += max(off) > 0.01
                    count += 1
        allowed = 5e-3 / gap
        rows.append(
            (
                name,
                str(count),
                f"{np.mean(address):.2f} / {max(address):.2f}",
                f"{7 + allowed:.2f}",
                f"{np.mean(motion):.2f} / {max(motion):.2f}",
                f"{15 + allowed:.2f}",
                str(wrong),
                "yes" if max(address) <= 7 + allowed and max(motion) <= 15 + allowed and not wrong else "NO",
            )
        )
    columns = ("rate", "joins", "address mean / worst", "limit", "motion mean / worst", "limit", "wrong", "held")
    note = (
        f"In quarter-frame gaps from the first quarter frame; limits are 7 and 15 gaps plus 5 ms. All eight joining "
        f"phases, both directions, sigma 1 ms, seeds {seeds[0]}..{seeds[-1]}. At drop-frame rates one place in a "
        "thousand, at a minute's edge, needs up to four more."
    )
    return Table("Follower: time to lock", columns, rows, note)


def first_cycles(title: str, seeds: range) -> Table:
    """Measure the phase soon after the first quarter frame, before and after the playout clock takes over."""
    held = {8: 1.1, 16: None, 32: None, 64: 1.2, 128: None, 256: None, 512: 1.2}
    rows: list[tuple[str, ...]] = []
    for name, speed in (("nominal", 1.0), ("1000/1001", 1000 / 1001), ("+4 %", 1.04)):
        errors: dict[int, list[float]] = {count: [] for count in held}
        for seed in seeds:
            chance = np.random.default_rng(seed)
            rate = speed * (1 + float(chance.uniform(-1e-4, 1e-4)))
            sent = run(_COUNTING, ten_o_clock(_COUNTING), 4.6, chance, speed=rate)
            follower = mtc_follower(timebase(_COUNTING))
            for number, one in enumerate(sent[:512], 1):
                follower.feed(one.at_ns, one.data)
                # a rig asks more often than quarter frames come
                clock = follower.at(max(one.at_ns, round((one.due_s + _GAP_S / rate / 2) * 1e9)))
                if number in errors:
                    errors[number].append(clock.position_s - rate * clock.at_ns * 1e-9)
        for count, limit in held.items():
            ratio = rms(np.array(errors[count])) / (1e-3 * bound(count, 0.5))
            given = limit if speed == 1.0 else None
            row = (name, str(count), f"{ratio * bound(count, 0.5):.3f}", f"{ratio:.2f}x")
            rows.append((*row, f"{given}x" if given else "", verdict(ratio, given)))
    columns = ("master", "quarter frames", "RMS ms", "RMS, bounds of so many", "limit", "held")
    note = (
        f"30 fps, sigma 1 ms, master within 100 ppm of what is named, seeds {seeds[0]}..{seeds[-1]}, half a gap after."
    )
    return Table(title, columns, rows, note)


def freewheel(title: str, seeds: range) -> Table:
    """Measure how far off the clock is 1 s and 10 s after timecode ended, which had been locked to for 5 s."""
    rows: list[tuple[str, ...]] = []
    for name, speed in (("nominal", 1.0), ("1000/1001", 1000 / 1001), ("+4 %", 1.04)):
        errors: dict[float, list[float]] = {1.0: [], 10.0: []}
        for seed in seeds:
            chance = np.random.default_rng(seed)
            rate = speed * (1 + float(chance.uniform(-1e-4, 1e-4)))
            sent = run(_COUNTING, ten_o_clock(_COUNTING), 5.0, chance, speed=rate)
            clocks = watch(mtc_follower(timebase(_COUNTING), Follow(freewheel_s=20.0)), sent, 15.02, _TICK_S)
            for clock in clocks:
                after_s = round(clock.at_ns * 1e-9 - 5, 3)
                if after_s in errors:
                    errors[after_s].append(clock.position_s - rate * clock.at_ns * 1e-9)
        for after_s, values in errors.items():
            least = 1e-3 * bound(512, after_s / _GAP_S)
            ratio = rms(np.array(values)) / least
            given = 1.2 if speed == 1.0 else None
            row = (name, f"{after_s:.0f}", f"{rms(np.array(values)) * 1e3:.3f}", f"{max(map(abs, values)) * 1e3:.2f}")
            rows.append((*row, f"{ratio:.2f}x", f"{given}x" if given else "", verdict(ratio, given)))
    columns = ("master", "s after", "RMS ms", "worst ms", "RMS, bounds of 512", "limit", "held")
    return Table(title, columns, rows, f"30 fps, sigma 1 ms, locked for 5 s, seeds {seeds[0]}..{seeds[-1]}.")


def verdict(value: float, limit: float | None) -> str:
    return "" if limit is None else "yes" if value <= limit else "NO"


def best_us(work: Callable[[], int], rounds: int = 36) -> float:
    """Return the best time of one piece of `work` in microseconds; it returns how many it did."""
    best = float("inf")
    for _ in range(rounds):
        begun = perf_counter()
        count = work()
        best = min(best, (perf_counter() - begun) / count * 1e6)
    return best


def cost() -> Table:
    """Measure what a quarter frame and a tick cost."""
    sent, _, _ = arrivals(NOISES[1], _STUDY)
    line = Line(_GAP_S)
    for number, one in enumerate(sent[:1000]):
        line.feed(number, one.at_s)
    todo = iter(enumerate(sent[1000:], 1000))

    def fit() -> int:
        for number, one in islice(todo, 100):
            line.feed(number, one.at_s)
        return 100

    follower = mtc_follower(timebase(_COUNTING))
    for one in sent[:1000]:
        follower.feed(one.at_ns, one.data)
    rest = iter(sent[1000:])

    def feed() -> int:
        for one in islice(rest, 100):
            follower.feed(one.at_ns, one.data)
        return 100

    fit_us, feed_us = best_us(fit), best_us(feed)
    now_ns = sent[-1].at_ns

    def tick() -> int:
        nonlocal now_ns
        for _ in range(100):
            now_ns += 1000
            follower.at(now_ns)
        return 100

    rows: list[tuple[str, ...]] = [
        ("the line, a quarter frame", f"{fit_us:.1f}", "15", "yes" if fit_us <= 15 else "NO"),
        ("bytes to line, a quarter frame", f"{feed_us:.1f}", "", ""),
        ("position at a tick", f"{best_us(tick):.1f}", "", ""),
    ]
    columns = ("work", "microseconds", "limit", "held")
    return Table("Follower: cost", columns, rows, "Best of 36 rounds of 100, after 1000 quarter frames.")


def tables() -> list[Table]:
    """Measure everything; about four minutes on one core."""
    return [
        cost(),
        steady("Follower: steady phase, the study's seeds", lambda noise: range(_STUDY, _STUDY + 20)),
        steady("Follower: steady phase, fresh seeds", fresh_seeds),
        locking(range(300, 303)),
        first_cycles(
            "Follower: phase after the first quarter frames, the study's seeds", range(_LOCK_STUDY, _LOCK_STUDY + 200)
        ),
        first_cycles(
            "Follower: phase after the first quarter frames, fresh seeds", range(_LOCK_FRESH, _LOCK_FRESH + 200)
        ),
        freewheel("Follower: freewheel, the study's seeds", range(_WHEEL_STUDY, _WHEEL_STUDY + 100)),
        freewheel("Follower: freewheel, fresh seeds", range(_WHEEL_FRESH, _WHEEL_FRESH + 100)),
    ]


def fresh_seeds(noise: Noise) -> range:
    """Return 40 seeds for plain jitter, which has the tightest limits, and 10 for the rest, for time."""
    return range(_FRESH, _FRESH + (40 if noise.p99 else 10))
