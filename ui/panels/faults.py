"""Which legs ask too much, and whether the move can be done, in one sentence.

It refuses to know Qt, and to mend anything.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.check import Check
from sequencer.motion.peaks import TOLERANCE, Asked, Extreme, Peak, Quantity, against, number, subject, unit_of, worst
from sequencer.motion.shape import Shape
from sequencer.rig.axis import Unit
from ui.language import translate

_LITTLE = 0.1  # from this excess on, percent are written whole


@dataclass(frozen=True, slots=True, kw_only=True)
class Leg:
    """A leg that asks too much: from key `key` of the track to the next one; `jumps` names what changes at once."""

    axis: str
    unit: Unit
    key: int
    from_s: float
    to_s: float
    asked: Asked
    jumps: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Together:
    """What a combined limit is asked for; `who` are the axes that it ties together."""

    name: str
    who: str
    unit: Unit | None
    asked: Asked


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Broken:
    """The legs that ask too much, the worst first, each worked out only when it is asked for.

    Shape: `axis` (L,), numbers of `names`; `row` (L,), the leg's number in its track.
    """

    shapes: Mapping[str, Shape]
    names: tuple[str, ...]
    axis: NDArray[np.int64]
    row: NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.row)

    def leg(self, place: int) -> Leg:
        """Return the leg in that place."""
        return _leg(self.shapes[self.names[self.axis[place]]], int(self.row[place]))


def legs_over(shapes: Mapping[str, Shape]) -> Broken:
    """Return the legs that ask too much, the worst first."""
    rows = [np.flatnonzero(shape.excess > TOLERANCE) for shape in shapes.values()]
    nothing = [np.empty(0, np.int64)]
    axis = np.concatenate([np.full(len(each), number) for number, each in enumerate(rows)] + nothing).astype(np.int64)
    excess = np.concatenate([shape.excess[each] for shape, each in zip(shapes.values(), rows, strict=True)] + nothing)
    order = np.argsort(-excess, kind="stable")
    return Broken(shapes=shapes, names=tuple(shapes), axis=axis[order], row=np.concatenate(rows + nothing)[order])


def least_left(shapes: Mapping[str, Shape]) -> tuple[str, Asked] | None:
    """Return the axis that has least left, and of what; None where nothing moves."""
    found: tuple[str, Asked] | None = None
    for name, shape in shapes.items():
        if len(shape.excess):
            asked = _leg(shape, int(shape.excess.argmax())).asked
            if asked.value and (found is None or asked.excess > found[1].excess):
                found = name, asked
    return found


def _leg(shape: Shape, row: int) -> Leg:
    axis = shape.axis
    extremes = [
        Extreme(*pair) for pair in zip(shape.peak[:, row].tolist(), shape.peak_at[:, row].tolist(), strict=True)
    ]
    last = len(shape.at_s) - 1
    from_s, to_s = float(shape.at_s[row]), float(shape.at_s[min(row + 1, last)])
    # where in the leg it goes furthest is not kept: the end of the leg that lies further out stands for it
    low, high = float(shape.low[row]), float(shape.high[row])
    ends = (float(shape.value[row]), float(shape.value[min(row + 1, last)]))
    peak = Peak(
        axis=axis.name,
        speed=extremes[0],
        acceleration=extremes[1],
        jerk=extremes[2],
        low=Extreme(low, from_s if ends[0] <= ends[1] else to_s),
        high=Extreme(high, to_s if ends[0] <= ends[1] else from_s),
    )
    jump = peak.jump
    return Leg(
        axis=axis.name,
        unit=axis.unit,
        key=row,
        from_s=from_s,
        to_s=to_s,
        asked=worst(against(peak, axis)),
        jumps=jump[0] if jump else "",
    )


def together_over(done: Check) -> list[Together]:
    """Return the combined limits that are broken."""
    found = []
    for limit, asked in done.combined_over():
        _, unit = subject(done.rig, limit)
        found.append(Together(name=limit.name, who=limit.words, unit=unit, asked=asked))
    return found


def percent(excess: float) -> str:
    """Return by how much something is over."""
    return "∞" if math.isinf(excess) else f"{excess * 100:.{0 if excess >= _LITTLE else 1}f} %"


def left(excess: float) -> str:
    """Return what is left, rounded down: nobody is promised what is not there."""
    return f"{max(0, math.floor(-excess * 100 + 1e-4))} %"


def quantity(of: Quantity) -> str:
    """Return the word for what a limit is of."""
    return {
        "speed": translate("check", "speed"),
        "acceleration": translate("check", "acceleration"),
        "jerk": translate("check", "jerk"),
        "travel": translate("check", "travel"),
    }[of]


def asked_words(asked: Asked, unit: Unit | None, jumps: str) -> tuple[str, str]:
    """Return what is asked, and the limit, with units; a jump by its name."""
    per = unit_of(unit, asked.of)
    if math.isinf(asked.value):
        words = {
            "position": translate("check", "position jumps"),
            "speed": translate("check", "speed jumps"),
            "acceleration": translate("check", "acceleration jumps"),
        }.get(jumps, translate("check", "a jump"))
        return words, f"{number(asked.limit, 3)} {per}".rstrip()
    value, limit = asked.numbers()
    return f"{value} {per}".rstrip(), f"{limit} {per}".rstrip()


def sentence(
    shapes: Mapping[str, Shape],
    legs: Broken,
    together: list[Together],
    waiting: bool,
    reserve: tuple[str, Asked] | None,
) -> str:
    """Say whether the move can be done, and what is left, or what is worst. `reserve`: of the combined limits, or None.

    `waiting`: the combined limits are not judged yet.
    """
    faults = [(name, shape.fault) for name, shape in shapes.items() if shape.fault]
    if faults:
        return translate("check", "{axis} cannot be worked out: {fault}").format(axis=faults[0][0], fault=faults[0][1])
    if len(legs) or together:
        worst_of: Iterable[tuple[str, Asked, str]] = [
            *((leg.axis, leg.asked, leg.jumps) for leg in map(legs.leg, range(min(1, len(legs))))),
            *((one.name, one.asked, "") for one in together),
        ]
        who, most, jumps = max(worst_of, key=lambda one: one[1].excess)
        told = translate("check", "It cannot be done as it is: {count}. Worst: {who}, {what}.")
        return told.format(count=_counted(len(legs), len(together)), who=who, what=_what(most, jumps))
    least = least_left(shapes)
    if reserve is not None and (least is None or reserve[1].excess > least[1].excess):
        least = reserve
    if least is None:
        return translate("check", "Nothing moves.")
    told = translate("check", "It can be done. Least is left of {who}: {left} of its {what}.")
    if waiting:
        told = translate("check", "Each axis can do it; least is left of {who}: {left} of its {what}. Combined limits…")
    return told.format(who=least[0], left=left(least[1].excess), what=quantity(least[1].of))


def _what(asked: Asked, jumps: str) -> str:
    if math.isinf(asked.value):
        return asked_words(asked, None, jumps)[0]
    return translate("check", "{over} over its {what}").format(over=percent(asked.excess), what=quantity(asked.of))


def _counted(legs: int, together: int) -> str:
    parts = []
    if legs:
        words = translate("check", "one leg is over") if legs == 1 else translate("check", "{n} legs are over")
        parts.append(words.format(n=legs))
    if together:
        one = translate("check", "one combined limit is broken")
        words = one if together == 1 else translate("check", "{n} combined limits are broken")
        parts.append(words.format(n=together))
    return ", ".join(parts)
