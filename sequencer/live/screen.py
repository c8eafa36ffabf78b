"""A hand on the screen, with the mouse or the keyboard: one more pad, that says how far each axis is pushed.

It has no buttons and nothing that enables: what unlocks it is the screen's own matter. All else goes as with a pad.

Rules, beside those of `hands`.
    1. Every pad has an axis before the screen has.
    2. Under rate control what is pushed counts at once, also when the screen was silent before. Under spring-back, and
       where it was pushed as hands were let go of, it must be at rest once before it counts.
"""

from dataclasses import dataclass, replace

from sequencer.live.handling import Handling, Stick, swing
from sequencer.live.hands import Hands
from sequencer.live.pads import SILENT_NS, Done, Pad, felt, gone, met
from sequencer.rig.axis import Axis, Rig
from sequencer.wire.pad import MOST_AXES, PadRow

SCREEN = 256  # its number among the pads, which no pad has
_NAME = "the screen"
_AFTER_ALL = -(1 << 62)  # below any priority that is written in a project


@dataclass(frozen=True, slots=True, kw_only=True)
class Push:
    """How far each axis is pushed, from -1 to 1, and what that means.

    `top` is the part of each axis's speed limit that is used at most. `range_deg` is the whole sweep of spring-back, as
    in `Handling`; None for rate control. `held`: whether somebody has the screen in hand; else axes brake and stay.
    Shape: `parts` A.
    """

    parts: tuple[float, ...]
    top: float = 1.0
    range_deg: float | None = None
    held: bool = True


def press(hands: Hands, push: Push, at_ns: int) -> tuple[Hands, tuple[Done, ...]]:
    """Return the hands after the screen has said this at `at_ns`, and what is to be told.

    The first 32 axes can be pushed, as with a pad. Error: ValueError for numbers that no handling may have.
    """
    row = PadRow(pad=SCREEN, name=_NAME, axes=push.parts[:MOST_AXES], known=False, here=push.held)
    handling = _handling(hands.rig, hands.handlings, push)
    before = next((one for one in hands.pads if one.number == SCREEN), None)
    pad = met(hands.rig, handling, row, at_ns) if before is None else _handled(before, handling)
    silent = before is None or (at_ns - before.at_ns > SILENT_NS and not before.barred)
    if handling.manner == "rate" and silent:
        pad, _ = felt(hands.rig, pad, replace(row, axes=(0.0,) * len(row.axes)), at_ns)
    pad, done = felt(hands.rig, pad, row, at_ns)
    pads = (*(one for one in hands.pads if one.number != SCREEN), pad)
    words = "what is pushed on the screen must be let go first"
    return replace(hands, pads=pads), tuple(replace(one, words=words) for one in done)


def swings(rig: Rig, handlings: tuple[Handling, ...], range_deg: float) -> tuple[float | None, ...]:
    """Return how far spring-back swings each axis to each side, in its own unit; None where rate control moves it.

    An axis that pads swing over a range of its own has it here too. Shape: A.
    """
    return tuple(swing(range_deg, stick, axis) for stick, axis in zip(_sticks(rig, handlings), rig.axes, strict=False))


def _handling(rig: Rig, handlings: tuple[Handling, ...], push: Push) -> Handling:
    """Return how the screen is handled: what it says is taken as it is, since no hand trembles there by the way."""
    rate = Handling(
        sticks=_sticks(rig, handlings),
        enabling=None,
        modifier=None,
        dead_band=0.0,
        response=0.0,
        smoothing_s=0.0,
        top=push.top,
        priority=_AFTER_ALL,
    )
    return rate if push.range_deg is None else replace(rate, manner="spring", range_deg=push.range_deg)


def _sticks(rig: Rig, handlings: tuple[Handling, ...]) -> tuple[Stick, ...]:
    axes = enumerate(rig.axes[:MOST_AXES])
    return tuple(Stick(control=f"axis {at}", axis=axis.name, range=_own_range(handlings, axis)) for at, axis in axes)


def _own_range(handlings: tuple[Handling, ...], axis: Axis) -> float | None:
    own = (one.range for handling in handlings for one in handling.sticks if one.axis == axis.name)
    return next((one for one in own if one is not None), None)


def _handled(pad: Pad, handling: Handling) -> Pad:
    """Return the pad handled so; in another manner it is as new."""
    if handling == pad.handling:
        return pad
    turned = gone(pad) if handling.manner != pad.manner else pad
    return replace(turned, handling=handling, manner=handling.manner, range_deg=handling.range_deg, top=handling.top)
