"""The whole chain of linear timecode: tone with noise, a card whose callbacks jitter, reader, sample clock, follower.

Bound: the Cramér-Rao bound of a straight line through the stamps of 512 or 1024 callbacks, 5.33 ms apart; it holds for
independent jitter of the callbacks, and knows nothing of the 1 % of them that are 5 ms late.
"""

from collections.abc import Callable
from math import sqrt
from time import perf_counter

import numpy as np
import numpy.typing as npt

from sequencer.sync.followed import Followed
from sequencer.sync.ltc import ltc_follower
from sequencer.sync.reading import Clock, Follow
from sequencer.timebase.timecode import Counting
from tests.bench.table import Table
from tests.sync.master import COUNTINGS, Sent, chance, gap_s, ten_o_clock, timebase, watch
from tests.sync.sound import BLOCK, CARD_HZ, heard, steady
from tests.sync.words import run

Floats = npt.NDArray[np.float64]

_BLOCK_S = BLOCK / CARD_HZ
_SETTLE_S, _RUN_S, _TICK_S = 12.0, 32.0, 0.01
_SEEDS = range(4000, 4004)
_MOVES = range(5000, 5010)
_CHANGE_S = 8.0
_AWAY = 500  # frames after ten o'clock at which the master begins
_NEAR_S = 1e-3


def bound(count: int, ahead: float = 0.5) -> float:
    """Return the bound of a line through `count` callbacks, `ahead` callbacks past the newest, in jitters.

    Source: as for line.
    """
    return sqrt(1 / count + ((count - 1) / 2 + ahead) ** 2 * 12 / (count * (count * count - 1)))


def rms(values: Floats) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


class Master:
    """A master that runs at nominal speed and changes once. Truth is in seconds from ten o'clock.

    `change` is the new speed and how far it leaps, in frames, with the first block after `_CHANGE_S`.
    """

    def __init__(self, counting: Counting, speed: float, leap: float = 0.0) -> None:
        self._frames_hz = float(counting.rate.fraction)
        self._start = ten_o_clock(counting)
        self._speed, self._leap = speed, leap
        self.changed_s = float("inf")

    def __call__(self, t_s: float) -> tuple[float, float]:
        if t_s >= _CHANGE_S and self.changed_s > t_s:
            self.changed_s = t_s
        speed = self._speed if t_s >= self.changed_s else 1.0
        return self._start + self.truth_s(t_s) * self._frames_hz, speed * self._frames_hz

    def truth_s(self, t_s: float) -> float:
        begun_s = _AWAY / self._frames_hz
        if t_s < self.changed_s:
            return begun_s + t_s
        return begun_s + self._leap / self._frames_hz + self.changed_s + self._speed * (t_s - self.changed_s)


def steadily(name: str, snr_db: float, jitter_s: float) -> tuple[Floats, Floats, int]:
    """Return errors of position in s once settled, those over the uncertainty told, and how many words went wrong."""
    counting = COUNTINGS[name]
    start_s = _AWAY * 4 * gap_s(counting)
    errors, ratios, wrong = [], [], 0
    for seed in _SEEDS:
        motion = steady(counting, ten_o_clock(counting) + _AWAY)
        words = heard(counting, motion, _RUN_S, chance(seed), snr_db=snr_db, jitter_s=jitter_s)
        follower = ltc_follower(timebase(counting))
        for clock in watch(follower, words, _RUN_S, _TICK_S):
            if clock.at_ns > _SETTLE_S * 1e9:
                errors.append(clock.position_s - start_s - clock.at_ns * 1e-9)
                ratios.append(errors[-1] / clock.uncertainty_s)
        wrong += follower.counts.misread + follower.counts.lost
    return np.array(errors), np.array(ratios), wrong


def phases() -> Table:
    """Measure the phase at nominal speed."""
    rows: list[tuple[str, ...]] = []
    for name in COUNTINGS:
        for snr_db in (20.0, 10.0):
            for jitter_s in (3e-4, 1e-3):
                errors, ratios, wrong = steadily(name, snr_db, jitter_s)
                mean = float(errors.mean())
                rows.append(
                    (
                        name,
                        f"{snr_db:.0f}",
                        f"{jitter_s * 1e3:.1f}",
                        f"{mean * 1e3:.3f}",
                        f"{rms(errors - mean) * 1e3:.4f}",
                        f"{np.quantile(np.abs(errors - mean), 0.99) * 1e3:.3f}",
                        f"{jitter_s * bound(512) * 1e3:.4f} / {jitter_s * bound(1024) * 1e3:.4f}",
                        f"{rms(ratios):.2f}",
                        str(wrong),
                    )
                )
    columns = ("rate", "SNR dB", "jitter ms", "mean ms", "sd ms", "p99 ms", "bound 512 / 1024", "error / told", "wrong")
    note = (
        f"Seeds {_SEEDS[0]}..{_SEEDS[-1]}, {_RUN_S:.0f} s each, the first {_SETTLE_S:.0f} s left out, asked at 100 Hz. "
        f"Blocks of {BLOCK} at {CARD_HZ / 1000:.0f} kHz, a card within 100 ppm, 1 % of callbacks 5 ms late, noise over "
        "the whole band; sd and p99 about the mean. The bound knows nothing of the speed; the line takes a steady "
        "master to be within 0.05 % of nominal, and so comes below it. `wrong` counts words misread or lost."
    )
    return Table("LTC, whole chain: phase at nominal speed", columns, rows, note)


def follow_change(counting: Counting, seed: int, master: Master, jitter_s: float) -> list[tuple[Clock, float]]:
    """Return the clocks from the change on, each with its error in s."""
    words = heard(counting, master, _CHANGE_S + 4.0, chance(seed), jitter_s=jitter_s)
    clocks = watch(ltc_follower(timebase(counting)), words, _CHANGE_S + 3.9, 0.002)
    return [
        (clock, clock.position_s - master.truth_s(clock.at_ns * 1e-9))
        for clock in clocks
        if clock.at_ns * 1e-9 > master.changed_s
    ]


def changes() -> Table:
    """Measure how soon it is where the master is, once that leaps, turns or changes speed."""
    rows: list[tuple[str, ...]] = []
    cases: tuple[tuple[str, float, float], ...] = (
        ("jump by 1500.5 frames", 1.0, 1500.5),
        ("jump by 2 frames", 1.0, 2.0),
        ("turn round", -1.0, 0.0),
        ("step +4 %", 1.04, 0.0),
        ("step -4 %", 0.96, 0.0),
    )
    for name in ("25", "30 drop"):
        counting = COUNTINGS[name]
        frame_s = 4 * gap_s(counting)
        for told, speed, leap in cases:
            settled, peaks, jumps = [], [], 0
            for seed in _MOVES:
                master = Master(counting, speed, leap)
                found = follow_change(counting, seed, master, 3e-4)
                off = [clock.at_ns * 1e-9 for clock, error in found if abs(error) > _NEAR_S or not clock.steers]
                settled.append((max(off, default=master.changed_s) - master.changed_s) / frame_s)
                peaks.append(max(abs(error) for clock, error in found))
                jumps += found[-1][0].jumps - found[0][0].jumps
            small = speed > 0 and not leap
            rows.append(
                (
                    name,
                    told,
                    f"{np.mean(settled):.2f} / {max(settled):.2f}",
                    f"{np.mean(peaks) * 1e3:.2f} / {max(peaks) * 1e3:.2f}" if small else "",
                    f"{jumps / len(_MOVES):.1f}",
                )
            )
    columns = ("rate", "the master", "within 1 ms after, frames, mean / worst", "peak ms, mean / worst", "jumps")
    note = (
        f"Seeds {_MOVES[0]}..{_MOVES[-1]}, after {_CHANGE_S:.0f} s at nominal speed; SNR 20 dB, jitter 0.3 ms. A word "
        "is a frame long, and is heard when it has ended and its block has come; half a frame more lands in a word."
    )
    return Table("LTC, whole chain: jumps, turns and steps of speed", columns, rows, note)


def coasting() -> Table:
    """Measure the clock after timecode has ended."""
    rows: list[tuple[str, ...]] = []
    for name in ("25", "30 drop"):
        for jitter_s in (3e-4, 1e-3):
            for after_s, found in coasts(COUNTINGS[name], jitter_s).items():
                errors = np.array([error for error, _ in found])
                limit_s = jitter_s * bound(1024, after_s / _BLOCK_S)
                rows.append(
                    (
                        name,
                        f"{jitter_s * 1e3:.1f}",
                        f"{after_s:.0f}",
                        f"{rms(errors) * 1e3:.3f}",
                        f"{np.abs(errors).max() * 1e3:.3f}",
                        f"{limit_s * 1e3:.3f}",
                        f"{rms(errors) / limit_s:.2f}",
                        f"{np.mean([told for _, told in found]) * 1e3:.3f}",
                    )
                )
    columns = ("rate", "jitter ms", "after s", "RMS ms", "worst ms", "bound ms", "x bound", "told ms")
    note = (
        f"Seeds {_MOVES[0]}..{_MOVES[-1]}, {_SETTLE_S:.0f} s of timecode at nominal speed before. The bound is that of "
        "1024 callbacks, 5.5 s, of unknown speed (see above); `told` is the mean of the uncertainty."
    )
    return Table("LTC, whole chain: freewheel", columns, rows, note)


def coasts(counting: Counting, jitter_s: float) -> dict[float, list[tuple[float, float]]]:
    """Return error and uncertainty of each seed, in s, by the seconds after the last word."""
    off: dict[float, list[tuple[float, float]]] = {1.0: [], 10.0: []}
    start_s = _AWAY * 4 * gap_s(counting)
    for seed in _MOVES:
        motion = steady(counting, ten_o_clock(counting) + _AWAY)
        words = heard(counting, motion, _SETTLE_S, chance(seed), jitter_s=jitter_s)
        follower = ltc_follower(timebase(counting), Follow(freewheel_s=20.0))
        for _ in watch(follower, words, _SETTLE_S, _TICK_S):
            pass
        for after_s, found in off.items():
            clock = coasted(follower, after_s)
            found.append((clock.position_s - start_s - clock.at_ns * 1e-9, clock.uncertainty_s))
    return off


def coasted(follower: Followed, after_s: float) -> Clock:
    """Let ticks go on to `after_s` past the end, and return the last clock."""
    ticks = range(round(_SETTLE_S / _TICK_S), round((_SETTLE_S + after_s) / _TICK_S) + 1)
    return [follower.at(round(tick * _TICK_S * 1e9)) for tick in ticks][-1]


def best_us(work: Callable[[list[Sent]], None], words: list[Sent]) -> float:
    """Return the best time of one word in microseconds, of twenty rounds of fifty."""
    best = float("inf")
    for number in range(20):
        some = words[50 * number : 50 * (number + 1)]
        begun = perf_counter()
        work(some)
        best = min(best, (perf_counter() - begun) / len(some) * 1e6)
    return best


def cost() -> Table:
    """Measure what a word costs the engine, and a tick."""
    counting = COUNTINGS["25"]
    words = run(counting, ten_o_clock(counting), 60.0, chance(1))
    follower = ltc_follower(timebase(counting))
    for one in words[:400]:
        follower.feed(one.at_ns, one.data)

    def feed(some: list[Sent]) -> None:
        for one in some:
            follower.feed(one.at_ns, one.data)

    def tick(some: list[Sent]) -> None:
        for number in range(len(some)):
            follower.at(words[-1].at_ns + 1000 * number)

    rows: list[tuple[str, ...]] = [
        ("word, bytes to line", f"{best_us(feed, words[400:]):.1f}"),
        ("position at a tick", f"{best_us(tick, words[400:]):.1f}"),
    ]
    return Table("LTC, whole chain: cost in the engine", ("work", "microseconds"), rows, "Best of 20 rounds of 50.")


def tables() -> list[Table]:
    """Measure everything; about four minutes on one core."""
    return [phases(), changes(), coasting(), cost()]
