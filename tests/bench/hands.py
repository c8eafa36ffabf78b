"""Ten minutes of hands that do their worst on eight axes: is any limit broken, and how long does steering take.

Two pads push everything, together and against each other, by rate and by spring-back, while ticks come late now and
then. What the guard sends is looked at, and the path between the setpoints, at 1 kHz.
"""

import math
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from sequencer.live.driving import PART, eased, resting, steer
from sequencer.live.handling import Deed, Handling, default_handlings
from sequencer.live.hands import begin, feel, wishes
from sequencer.live.wish import Wish
from sequencer.playback.guard import at_rest, guard, limits
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.signals import Setpoint
from sequencer.wire.pad import BUTTONS, PadRow, packed, unpacked
from tests.bench.table import Table
from tests.live.rigs import between

SECONDS = 600.0
TICK_NS = 4_000_000
ROW_NS = 10_000_000
SEED = 20261130
_LATE = 1 / 200  # of the ticks, by up to eleven periods
_BEYOND = 1e-6  # of a limit: what rounding makes of positions, differenced three times over a tick
_PATH_HZ = 1000

RIG = Rig(
    name="eight axes",
    axes=(
        Axis(name="pan", kind="pan", unit="deg", travel=None, speed=60, acceleration=120, jerk=600),
        Axis(name="tilt", kind="tilt", unit="deg", travel=(-45, 60), speed=60, acceleration=120, jerk=600),
        Axis(name="roll", kind="roll", unit="deg", travel=(-20, 20), speed=40, acceleration=90, jerk=900),
        Axis(name="slide", kind="slide", unit="mm", travel=(0, 900), speed=400, acceleration=500, jerk=2500, home=100),
        Axis(name="lift", kind="lift", unit="mm", travel=(0, 320), speed=80, acceleration=90, jerk=400, home=140),
        Axis(name="focus", kind="focus", unit="part", travel=(0, 1), speed=0.9, acceleration=3, jerk=25, home=0.5),
        Axis(name="iris", kind="iris", unit="part", travel=(0, 1), speed=2, acceleration=20, jerk=900, home=0.3),
        Axis(name="zoom", kind="zoom", unit="part", travel=(0, 1), speed=0.5, acceleration=1.5, jerk=12, home=0.2),
    ),
)
RANGES = {"mm": 150.0, "part": 0.6}
# what a button does beside driving; a stop would end it
_CHANGES = tuple(control for control, deed in default_handlings(RIG)[0].buttons if deed is not Deed.STOP)


def handlings() -> tuple[Handling, ...]:
    """Return two pads that both have every axis at all of its speed, one of them without smoothing."""
    (first, _) = default_handlings(RIG)
    units = {axis.name: axis.unit for axis in RIG.axes}
    sticks = tuple(replace(stick, range=RANGES.get(units[stick.axis])) for stick in first.sticks)
    first = replace(first, sticks=sticks, top=1.0)
    return first, replace(first, priority=0, smoothing_s=0.0)


def wandering(hand: "Hand", half: float) -> np.ndarray:
    hand.push = np.clip(hand.push + hand.chance.normal(0, 0.1, 4), -1, 1)
    return hand.push


# what sticks do: where they are pushed after `count` rows, `half` 1 and -1 in turn
PUSHES: dict[str, Callable[["Hand", float], np.ndarray]] = {
    "rest": lambda hand, half: np.zeros(4),
    "wander": wandering,
    "reverse": lambda hand, half: np.full(4, 1.0 if hand.count % 2 else -1.0),
    "square": lambda hand, half: half * np.sign(hand.push),
    "end": lambda hand, half: np.sign(hand.push),
    "noise": lambda hand, half: hand.chance.uniform(-1, 1, 4),
    "no number": lambda hand, half: hand.chance.choice([math.nan, math.inf, -math.inf, 9.0, 0.5, -0.5], 4),
    "flick": lambda hand, half: hand.push if half > 0 else np.zeros(4),
    "trigger": lambda hand, half: hand.push,
    "modifier": lambda hand, half: hand.push,
    "buttons": lambda hand, half: hand.push,
    "silent": lambda hand, half: hand.push,
    "pulled": lambda hand, half: hand.push,
}
_CENTRED = 4  # rows with which each begins, or a pad that came back would drive nothing


@dataclass
class Hand:
    """One pad in a hand that changes what it does every few seconds. It says a row, or None while it is silent."""

    number: int
    chance: np.random.Generator
    trick: str = "rest"
    left: int = 0
    count: int = 0
    period: int = 1
    modified: bool = False
    push: np.ndarray = field(default_factory=lambda: np.zeros(4))

    def row(self) -> PadRow | None:
        if self.left <= 0:
            self.trick = str(self.chance.choice(list(PUSHES)))
            self.left = int(self.chance.integers(20, 500))
            self.count = 0
            self.period = int(self.chance.integers(1, 60))
            self.modified = bool(self.chance.random() < 0.5)
            self.push = self.chance.uniform(-1, 1, 4)
        self.left -= 1
        self.count += 1
        half = 1.0 if self.count // self.period % 2 else -1.0
        driving = self.count > _CENTRED
        if driving and self.trick == "silent":
            return None
        if driving and self.trick == "pulled":
            return PadRow(pad=self.number, name="Pad", here=False)
        sticks = PUSHES[self.trick](self, half) if driving else np.zeros(4)
        enabled = driving and (self.trick != "trigger" or bool(self.chance.random() < 0.7))
        held = {"left shoulder"} if (half > 0 if self.trick == "modifier" else self.modified) else set[str]()
        if self.trick == "buttons" and self.count % 5 == 0:
            held |= {str(one) for one in self.chance.choice(_CHANGES, 2)}
        numbers = frozenset(BUTTONS.index(one) for one in held)
        return PadRow(pad=self.number, name="Pad", axes=(*sticks.tolist(), float(enabled), 0.0), buttons=numbers)


@dataclass
class Seen:
    """What ten minutes were. Shape: `due_s` (T,), `sent` (T, A), `path` (P, 4, A); `took_us` (T, 2) the wishes and the
    steering of a tick.

    `apart`: how far the path that is looked at ever ends from where the axis is driven to, in its unit.
    """

    due_s: np.ndarray
    sent: np.ndarray
    path: np.ndarray
    took_us: np.ndarray
    held_back: int
    steered: int
    apart: float


def ticks(chance: np.random.Generator, seconds: float) -> Iterator[int]:
    """Yield when ticks are due: each 4 ms, some of them late by whole periods."""
    now_ns = TICK_NS
    while now_ns < seconds * 1e9:
        yield now_ns
        late = int(chance.integers(1, 12)) if chance.random() < _LATE else 0
        now_ns += TICK_NS * (1 + late)


def driven(seconds: float = SECONDS, seed: int = SEED) -> Seen:
    """Drive the eight axes with two hands, and keep everything."""
    chance = np.random.default_rng(seed)
    hands, rig = begin(RIG, handlings()), eased(RIG)
    pads = [Hand(number, np.random.default_rng((seed, number))) for number in (0, 1)]
    now = resting(tuple(axis.home for axis in RIG.axes))
    sent, allowed = at_rest(0, np.array(now.position)), limits(RIG)
    wanted: tuple[Wish, ...] = (0.0,) * len(RIG.axes)
    due_s, positions, paths, took_ns = [0.0], [sent.position], [], []
    row_ns, held_back, steered, apart = 0, 0, 0, 0.0
    for due_ns in ticks(chance, seconds):
        while row_ns <= due_ns:
            for pad in pads:
                row = pad.row()
                if row is not None:
                    # numbers that are none do not travel; they are felt as they are
                    row = row if pad.trick == "no number" else unpacked(packed(row))
                    hands, _ = feel(hands, row, row_ns)
            row_ns += ROW_NS
        lasts_s = (due_ns - sent.due_ns) * 1e-9
        began_ns = time.perf_counter_ns()
        hands, found = wishes(hands, due_ns, sent.position)
        wanted = wanted if found is None else found
        wished_ns = time.perf_counter_ns()
        after = steer(rig, now, wanted, lasts_s)
        took_ns.append((wished_ns - began_ns, time.perf_counter_ns() - wished_ns))
        steered += found is not None
        paths.append(between(rig, now, wanted, lasts_s, round(lasts_s * _PATH_HZ)))
        apart = max(apart, float(np.abs(paths[-1][-1, 0] - after.position).max()))
        now = after
        guarded = guard(allowed, sent, Setpoint(due_ns, np.array(now.position), np.array(now.velocity)))
        sent = guarded.sent
        held_back += bool(guarded.gap)
        due_s.append(due_ns * 1e-9)
        positions.append(sent.position)
    took_us = np.array(took_ns) / 1e3
    return Seen(np.array(due_s), np.array(positions), np.concatenate(paths), took_us, held_back, steered, apart)


def asked(seen: Seen) -> list[tuple[str, np.ndarray]]:
    """Return what is asked of each limit in parts of it, of setpoints and of the path. Shape: (T, A) each.

    Source: a divided difference is a mean of the derivative, which cannot exceed its greatest value; textbook.
    """
    most = [np.array([getattr(axis, name) for axis in RIG.axes]) for name in ("speed", "acceleration", "jerk")]
    found, order = [], seen.sent
    for number, name in enumerate(("speed", "acceleration", "jerk"), 1):
        order = np.diff(order, axis=0) / (seen.due_s[number:] - seen.due_s[:-number])[:, None]
        found.append((f"setpoints, {name}", np.abs(order) * math.factorial(number) / most[number - 1]))
        found.append((f"path at 1 kHz, {name}", np.abs(seen.path[:, number]) / most[number - 1]))
    low, high = np.array([axis.travel or (-np.inf, np.inf) for axis in RIG.axes]).T
    width = np.where(np.isfinite(high), high - low, 1.0)
    for name, position in (("setpoints, travel", seen.sent), ("path at 1 kHz, travel", seen.path[:, 0])):
        found.append((name, 1 + np.maximum(low - position, position - high) / width))
    return sorted(found)


def kept(seen: Seen) -> Table:
    rows = [
        (name, f"{parts.size:,}", f"{np.count_nonzero(parts > 1 + _BEYOND)}", f"{parts.max():.4f}", "0")
        for name, parts in asked(seen)
    ]
    rows.append(("path and setpoint apart, units", f"{len(seen.sent):,}", "", f"{seen.apart:.0e}", "1e-06"))
    rows.append(("held back by the guard", f"{len(seen.sent):,}", f"{seen.held_back}", "", "0"))
    note = (
        f"{SECONDS / 60:g} minutes, {len(RIG.axes)} axes, two pads, seed {SEED}; {seen.steered:,} of "
        f"{len(seen.took_us):,} ticks driven. Driving leaves {1 - PART:.0%} of acceleration and jerk. The hands "
        "wander, reverse at every row, push squares of 10 ms to 0.6 s, press on at the ends, send numbers that are "
        "none, flutter trigger and modifier, change manner, range and speed, fall silent, are pulled, and take axes "
        f"from each other; one tick in {1 / _LATE:g} is late by up to eleven periods. Most asked is in parts of the "
        "limit; travel counts from 1 at its ends."
    )
    return Table("Driven by hand: limits", ("what", "samples", "beyond", "most asked", "limit"), rows, note)


def timing(seen: Seen) -> Table:
    columns = ("what", "median", "95 %", "99 %", "99.9 %", "limit")
    rows = []
    for name, took in (("wishes", seen.took_us[:, 0]), ("steering", seen.took_us[:, 1])):
        cells = (f"{value:.0f}" for value in (np.median(took), *np.percentile(took, [95, 99, 99.9])))
        rows.append((f"{name} of eight axes, microseconds", *cells, "150" if name == "steering" else "4000"))
    note = "The limit of wishes is the whole tick at 250 Hz; that of steering is for its median."
    return Table("Driven by hand: time of a tick", columns, rows, note)


def tables() -> list[Table]:
    seen = driven()
    return [kept(seen), timing(seen)]
