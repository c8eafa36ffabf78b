"""How the follower goes along with a master whose speed moves, and how smoothly: made-up masters, real bytes.

What a rig is driven by is the played-out clock, so all errors, speeds and accelerations here are of that.
"""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import islice

import numpy as np
import numpy.typing as npt

from sequencer.sync.address import running
from sequencer.sync.mtc import mtc_follower
from tests.bench.table import Table
from tests.sync.master import COUNTINGS, Sent, gap_s, ten_o_clock, timebase, watch

Floats = npt.NDArray[np.float64]
Speed = Callable[[Floats], Floats]

_COUNTING = COUNTINGS["30"]
_GAP_S = gap_s(_COUNTING)
_SIGMA_S, _TICK_S, _GRID_S = 1e-3, 0.01, 1e-3
_MOVES_S, _END_S = 15.0, 20.0
_STUDY, _FRESH = range(2000, 2020), range(91_000, 91_040)
_WITHIN_S = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """How a master's speed moves, from `_MOVES_S` on; the limits are in ms, and in s for being within 1 ms again."""

    name: str
    speed: Speed
    peak: float | None = None
    worst: float | None = None
    rms: float | None = None
    again: tuple[float, float] | None = None


def step(by: float) -> Speed:
    return lambda t_s: np.where(t_s >= _MOVES_S, 1 + by, 1.0)


def ramp(by: float, seconds: float) -> Speed:
    def speed(t_s: Floats) -> Floats:
        speeds: Floats = np.interp(t_s, [_MOVES_S, _MOVES_S + seconds], [1.0, 1 + by])
        return speeds

    return speed


def wow(depth: float, hz: float) -> Speed:
    def speed(t_s: Floats) -> Floats:
        return np.where(t_s >= _MOVES_S, 1 + depth * np.sin(2 * np.pi * hz * (t_s - _MOVES_S)), 1.0)

    return speed


MOVES = (
    Move(name="step +4 %", speed=step(0.04), peak=3.5, worst=5.0, again=(0.5, 1.0)),
    Move(name="step -4 %", speed=step(-0.04), peak=3.5, worst=5.0, again=(0.5, 1.0)),
    Move(name="step +10 %", speed=step(0.1)),
    Move(name="step -10 %", speed=step(-0.1)),
    Move(name="step +0.1 %", speed=step(0.001)),
    Move(name="ramp +4 % in 1 s", speed=ramp(0.04, 1.0), peak=2.5, worst=3.5, rms=0.7),
    Move(name="ramp -4 % in 4 s", speed=ramp(-0.04, 4.0)),
    Move(name="ramp +10 % in 4 s", speed=ramp(0.1, 4.0)),
    Move(name="wow 0.5 % at 1 Hz", speed=wow(0.005, 1.0)),
)


@dataclass(frozen=True, slots=True)
class Followed:
    """One run. Shape: (T,) each. Unit: s, and s a second for speeds."""

    t_s: Floats
    error_s: Floats
    position_s: Floats
    speed: Floats
    true_speed: Floats

    @property
    def slope(self) -> Floats:
        """Return the speed that the position has from tick to tick. Shape: (T - 1,)."""
        return np.diff(self.position_s) / np.diff(self.t_s)


def follow(speed: Speed, seed: int, until_s: float = _END_S) -> Followed:
    """Follow a master up to 100 ppm off whose speed moves."""
    chance = np.random.default_rng(seed)
    off = 1 + float(chance.uniform(-1e-4, 1e-4))
    begun_s = float(chance.uniform(0, _GAP_S))
    grid = np.arange(0, until_s + 1, _GRID_S)
    # the mean speed of each step of the grid, so that a step of speed on the grid is exact
    speeds = off * (speed(grid[:-1]) + speed(grid[1:] - 1e-9)) / 2
    position = np.concatenate([[0.0], np.cumsum(speeds * _GRID_S)])
    due = begun_s + np.interp(np.arange(int(position[-1] / _GAP_S)) * _GAP_S, position, grid)
    due = due[due < until_s]
    stamps = np.maximum.accumulate(np.maximum(due + _SIGMA_S * chance.standard_normal(len(due)), 0))
    messages = islice(running(_COUNTING, ten_o_clock(_COUNTING)), len(due))
    sent = [
        Sent(at_s, due_s, quarter, data)
        for at_s, due_s, (quarter, data) in zip(stamps.tolist(), due.tolist(), messages, strict=True)
    ]
    clocks = list(watch(mtc_follower(timebase(_COUNTING)), sent, until_s, _TICK_S))
    clocks = [clock for clock in clocks if clock.steers]
    t_s = np.array([clock.at_ns for clock in clocks]) * 1e-9
    told = np.array([clock.position_s for clock in clocks])
    true_speed = np.interp(t_s - begun_s, grid[:-1] + _GRID_S / 2, speeds)
    error_s = told - np.interp(t_s - begun_s, grid, position)
    return Followed(t_s, error_s, told, np.array([clock.speed for clock in clocks]), true_speed)


def rms(values: Floats) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


def moves(title: str, seeds: range) -> Table:
    """Measure each move of speed over its seeds."""
    rows: list[tuple[str, ...]] = []
    for move in MOVES:
        peaks, squares, again, thrown = [], [], [], []
        for seed in seeds:
            seen = follow(move.speed, seed)
            since = seen.t_s >= _MOVES_S
            off = np.abs(seen.error_s[since])
            far = np.flatnonzero(off > _WITHIN_S)
            peaks.append(off.max() * 1e3)
            squares.append(float(np.mean(off**2)))
            again.append(float(seen.t_s[since][far[-1]]) + _TICK_S - _MOVES_S if len(far) else 0.0)
            thrown.append(float(np.abs(np.diff(seen.slope)[since[2:]]).max()) / _TICK_S)
        peak, worst, whole = float(np.mean(peaks)), max(peaks), float(np.sqrt(np.mean(squares))) * 1e3
        limits = [move.peak, move.worst, move.rms, *(move.again or (None, None))]
        values = [peak, worst, whole, float(np.mean(again)), max(again)]
        held = all(value <= limit for value, limit in zip(values, limits, strict=True) if limit is not None)
        told = ", ".join("" if limit is None else f"{limit:g}" for limit in limits) if any(limits) else ""
        rows.append(
            (
                move.name,
                f"{peak:.2f} / {worst:.2f}",
                f"{whole:.3f}",
                f"{np.mean(again):.2f} / {max(again):.2f}",
                f"{np.mean(thrown):.2f} / {max(thrown):.2f}",
                told,
                ("yes" if held else "NO") if any(limits) else "",
            )
        )
    columns = (
        "move",
        "peak ms, mean / worst",
        "RMS ms",
        "s to within 1 ms, mean / worst",
        "acceleration, 1/s",
        "limits",
        "held",
    )
    note = (
        f"30 fps, sigma 1 ms, the move at {_MOVES_S:.0f} s, looked at until {_END_S:.0f} s at 100 Hz, seeds "
        f"{seeds[0]}..{seeds[-1]}. Limits are of peak mean, peak worst, RMS, and both times. Acceleration: of the "
        "clock that drives the rig, the mean of the runs' peaks and the worst."
    )
    return Table(title, columns, rows, note)


def ripple(title: str, seeds: range) -> Table:
    """Measure how even the clock's speed is at a master whose speed holds."""
    settled, early, told, thrown = [], [], [], []
    for seed in seeds:
        seen = follow(np.ones_like, seed, 40.0)
        off = seen.slope - seen.true_speed[1:]
        late = seen.t_s[1:] > 12
        settled.append(rms(off[late]))
        early.append(rms(off[seen.t_s[1:] < 2]))
        told.append(float(np.abs(seen.slope - (seen.speed[1:] + seen.speed[:-1]) / 2).max()))
        thrown.append(float(np.abs(np.diff(seen.slope)[late[1:]]).max()) / _TICK_S)
    ppm = rms(np.array(settled)) * 1e6
    row = (
        f"{ppm:.0f}",
        "600",
        "yes" if ppm <= 600 else "NO",
        f"{rms(np.array(early)) * 1e6:.0f}",
        f"{max(told) * 1e6:.0f}",
        f"{np.mean(thrown):.3f} / {max(thrown):.3f}",
    )
    columns = (
        "ripple, ppm RMS",
        "limit",
        "held",
        "in the first 2 s",
        "told against real, worst ppm",
        "acceleration, 1/s",
    )
    note = f"30 fps, sigma 1 ms, 40 s a seed, from 12 s on, at 100 Hz, seeds {seeds[0]}..{seeds[-1]}."
    return Table(title, columns, [row], note)


def tables() -> list[Table]:
    """Measure everything; about three minutes on one core."""
    return [
        moves("Varispeed: the study's seeds", _STUDY),
        moves("Varispeed: fresh seeds", _FRESH),
        ripple("Varispeed: evenness at a steady master, the study's seeds", _STUDY),
        ripple("Varispeed: evenness at a steady master, fresh seeds", _FRESH[:20]),
    ]
