"""Hands on pads: rows go in, and what they wish of every axis comes out, with the deeds that their buttons ask for.

It is a fold: all that it remembers is in `Hands`, and time is an argument. It plans no way; limits are for `driving`.

Rules.
    1. A pad drives while it is here, has said something in the last 150 ms, and what must be held to enable it is held.
       Else its axes brake and stay where they are: nothing moves without a hand, and nothing returns by itself. To
       send the rig to a mark or to its origin it must be held too, when the button is pressed.
    2. Under rate control a push is a speed, the part of each axis's limit that the pad lets it have. Let go, it stops.
    3. Under spring-back control a push is a distance from the origin, which is where the axis is when the control
       leaves its centre. Let go, the axis returns to it; until it has, the origin stays the same.
    4. Of several pads that push one axis, the one with the highest priority has it, then the one that has it already,
       then the one that came first. Whoever loses an axis under spring-back must let go of it before it counts again.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from sequencer.live.handling import SPARE, Deed, Handling, swing
from sequencer.live.pads import Done, Pad, barred, felt, lacking, met, smoothed
from sequencer.live.wish import Towards, Wish
from sequencer.rig.axis import Axis, Rig
from sequencer.wire.pad import PadRow

_NEAR_S = 1e-6  # an axis that stands nearer to its origin than it goes in this time has returned
# the rig does something else after these than what the hand had begun
_TAKES_OVER = frozenset({Deed.STOP, Deed.NEXT, Deed.PREVIOUS, Deed.ORIGIN})


@dataclass(frozen=True, slots=True, kw_only=True)
class Hands:
    """All pads that were ever here, and which of them has which axis.

    `owners`: the number of the pad that has each axis, or None; `origins`: where it returns to under spring-back, None
    where it does not. `last`: where every axis stood at the last call, `moving` whether the hands may still move them.
    Shape: `owners`, `origins`, `last` A.
    """

    rig: Rig
    handlings: tuple[Handling, ...]
    owners: tuple[int | None, ...]
    origins: tuple[float | None, ...]
    pads: tuple[Pad, ...] = ()
    last: tuple[float, ...] = ()
    at_ns: int | None = None
    moving: bool = False


def begin(rig: Rig, handlings: tuple[Handling, ...]) -> Hands:
    """Return the hands before any pad has said anything."""
    none = (None,) * len(rig.axes)
    return Hands(rig=rig, handlings=handlings, owners=none, origins=none)


def let_go(hands: Hands) -> Hands:
    """Return the hands with all that is held counting for nothing until it was let go of, and nothing to return to.

    Each pad stays handled as it was, at the speed and in the manner that its buttons have set.
    """
    nobody = (None,) * len(hands.owners)
    return replace(hands, pads=tuple(barred(pad) for pad in hands.pads), owners=nobody, origins=nobody)


def feel(hands: Hands, row: PadRow, at_ns: int, counts: bool = True) -> tuple[Hands, tuple[Done, ...]]:
    """Return the hands after a row that came at `at_ns`, and what is to be done or told.

    Where it does not count, since nobody has the pads in hand, it can only stop.
    """
    there = next((one for one in hands.pads if one.number == row.pad), None)
    if there is None:
        if not row.here:
            return hands, ()
        there = met(hands.rig, _handling(hands, row.name), row, at_ns)
    comes = counts and row.here and not there.here
    lacks = lacking(hands.rig, there.handling, row) if comes else ()
    first = tuple(Done(None, row.pad, words) for words in lacks)
    pad, done = felt(hands.rig, there, row, at_ns, counts)
    pads = (*(one for one in hands.pads if one.number != row.pad), pad)
    hands = replace(hands, pads=pads)
    if any(one.deed in _TAKES_OVER for one in done):
        hands = sent_off(hands)
    return hands, (*first, *done)


def sent_off(hands: Hands) -> Hands:
    """Return the hands after the rig was sent somewhere: what they had begun under spring-back does not go on."""
    pads = tuple(_let_go(pad, hands.rig.names, hands.rig) for pad in hands.pads)
    return replace(hands, pads=pads, moving=False, origins=(None,) * len(hands.origins))


def wishes(hands: Hands, now_ns: int, position: Sequence[float]) -> tuple[Hands, tuple[Wish, ...] | None]:
    """Return the hands, and what they wish of every axis at `now_ns`; None while nobody holds on and nothing moves.

    Shape: `position` A, the setpoints that went out last.
    """
    lasts_s = 0.0 if hands.at_ns is None else max(now_ns - hands.at_ns, 0) * 1e-9
    pads = tuple(smoothed(one, now_ns, lasts_s) for one in hands.pads)
    here = tuple(float(one) for one in position)
    stands = here == hands.last
    driving = [pad for pad in pads if pad.drives(now_ns)]
    owners: list[int | None] = []
    origins: list[float | None] = []
    wanted: list[Wish] = []
    lost: list[tuple[int, str]] = []
    for number, axis in enumerate(hands.rig.axes):
        had, origin = hands.owners[number], hands.origins[number]
        owner = _owner(driving, number, had, origin)
        origin = origin if owner is not None and owner.number == had else None
        wish: Wish = 0.0
        if owner is not None:
            wish, origin = _wish(owner, axis, number, here[number], origin, stands)
            lost += [(one.number, axis.name) for one in driving if one is not owner and one.pushed[number]]
        wanted.append(wish)
        owners.append(None if owner is None else owner.number)
        origins.append(origin)
    held, was_held = any(one is not None for one in owners), any(one is not None for one in hands.owners)
    # the wish for rest is said at least once, and until it is seen to be obeyed
    moving = held or (hands.moving and (was_held or not stands))
    pads = tuple(_let_go(pad, [axis for other, axis in lost if other == pad.number], hands.rig) for pad in pads)
    hands = replace(
        hands, pads=pads, owners=tuple(owners), origins=tuple(origins), last=here, at_ns=now_ns, moving=moving
    )
    return hands, tuple(wanted) if moving else None


def _handling(hands: Hands, name: str) -> Handling:
    """Return the handling that is for a pad of this name, or the next one for any, which no other pad has."""
    free = list(hands.handlings)
    for pad in hands.pads:
        if pad.handling in free:
            free.remove(pad.handling)
    own = [one for one in free if one.pad == name and name] or [one for one in free if not one.pad]
    return own[0] if own else SPARE


def _owner(driving: Sequence[Pad], number: int, had: int | None, origin: float | None) -> Pad | None:
    """Return the pad that has an axis, or None where nobody holds on to it."""
    holding = [
        pad for pad in driving if pad.pushed[number] or pad.eased[number] or (pad.number == had and origin is not None)
    ]
    return max(holding, key=lambda pad: (pad.handling.priority, pad.number == had, -pad.number), default=None)


def _wish(
    pad: Pad, axis: Axis, number: int, position: float, origin: float | None, stands: bool
) -> tuple[Wish, float | None]:
    """Return what a pad wishes of an axis, and where that returns to; None where it does not, or has."""
    push, speed = pad.eased[number], axis.speed * pad.part
    side = _side(pad, axis)
    if side is None:
        return push * speed, None
    let_go = push == 0 and pad.pushed[number] == 0
    if origin is None:
        origin = position
    elif let_go and stands and abs(position - origin) <= _NEAR_S * axis.speed:
        return 0.0, None
    return Towards(origin + push * side, speed), origin


def _side(pad: Pad, axis: Axis) -> float | None:
    """Return how far a pad swings an axis to each side, or None where it says how fast."""
    if pad.manner == "rate":
        return None
    found = [swing(pad.range_deg, stick, axis) for stick in pad.handling.sticks if stick.axis == axis.name]
    return max((one for one in found if one is not None), default=None)


def _let_go(pad: Pad, axes: Sequence[str], rig: Rig) -> Pad:
    """Return the pad whose controls of these axes count as let go under spring-back, until they are."""
    if not axes or pad.manner == "rate":
        return pad
    waits = {stick.control for stick in pad.handling.sticks if stick.axis in axes}
    numbers = {rig.index(name) for name in axes}
    pushed, eased = (
        tuple(0.0 if number in numbers else one for number, one in enumerate(ones)) for ones in (pad.pushed, pad.eased)
    )
    return replace(pad, waits=pad.waits | waits, pushed=pushed, eased=eased)
