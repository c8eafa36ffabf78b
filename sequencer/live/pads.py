"""What one pad says, row by row, as far as it counts: which axes are pushed, and which buttons were pressed.

It knows no rig that moves. A control that is off its centre when its pad comes counts as let go until it has been at
its centre once: a worn or stuck stick moves nothing. What a pad lacks counts as let go too.
"""

import math
from dataclasses import dataclass, replace
from functools import cache

from sequencer.live.handling import RANGES_DEG, TOPS, Deed, Handling, Manner, strangers
from sequencer.rig.axis import Rig
from sequencer.wire.pad import AXES, BUTTONS, PadRow

SILENT_NS = 150_000_000  # without a row for longer, nobody holds on
# how far a control is pulled to be held, and how far let go to be held no more: a finger in between changes nothing
_HELD, _LET_GO = 0.4, 0.25
_AT_REST = 1e-3  # of full deflection: what smoothing leaves of a stick that is let go is nothing
# a pad that lies on a cart may be bumped: these move the rig, and are asked for with the enabling control held
_SENDS_OFF = frozenset({Deed.NEXT, Deed.PREVIOUS, Deed.ORIGIN})


@dataclass(frozen=True, slots=True)
class Done:
    """A deed that a button asks for at a pad, with words where it is settled already; None for words alone."""

    deed: Deed | None
    pad: int
    words: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pad:
    """One pad as it was felt last.

    `held`: the controls that are held; `waits`: those that must be centred before they count; `barred`: it was let go
    of by another than its hand while it was pushed, and has not been at rest since. `manner`, `range_deg`, `top` and
    `fine` are the handling's, as its buttons have changed them since. Shape: `pushed` and `eased` A, from -1 to 1:
    where each axis is pushed, and that smoothed.
    """

    number: int
    name: str
    handling: Handling
    at_ns: int
    pushed: tuple[float, ...]
    eased: tuple[float, ...]
    manner: Manner
    range_deg: float
    top: float
    fine: bool = False
    here: bool = False
    held: frozenset[str] = frozenset()
    waits: frozenset[str] = frozenset()
    barred: bool = False

    @property
    def enabled(self) -> bool:
        """Whether what must be held to drive is held."""
        enabling = self.handling.enabling
        return self.here and (enabling is None or (enabling in self.held and enabling not in self.waits))

    @property
    def part(self) -> float:
        """The part of each axis's speed limit that a stick can ask for."""
        return self.top * self.handling.fine if self.fine else self.top

    def drives(self, now_ns: int) -> bool:
        """Whether somebody holds on to it."""
        return self.enabled and now_ns - self.at_ns <= SILENT_NS


def met(rig: Rig, handling: Handling, row: PadRow, at_ns: int) -> Pad:
    """Return the pad that speaks for the first time, before what it says is felt."""
    still = (0.0,) * len(rig.axes)
    return Pad(
        number=row.pad,
        name=row.name,
        handling=handling,
        at_ns=at_ns,
        pushed=still,
        eased=still,
        manner=handling.manner,
        range_deg=handling.range_deg,
        top=handling.top,
    )


def lacking(rig: Rig, handling: Handling, row: PadRow) -> tuple[str, ...]:
    """Return words for what is assigned and not there: controls of this pad, and axes of the rig."""
    words = []
    who = f"pad {row.pad + 1} ({row.name})"
    missing = [control for control in handling.controls if reading(row, control) is None]
    if missing:
        what = "its sticks are others" if row.known else "it is not known by its sticks"
        words.append(
            f"{who} has no {', no '.join(missing)}: {what}. They count as let go; assign what it has, by moving it"
        )
    gone_axes = strangers(handling, rig)
    if gone_axes:
        words.append(f"{who} is to move {', '.join(gone_axes)}, which this rig does not have; assign other axes")
    if len(gone_axes) == len({stick.axis for stick in handling.sticks}):
        words.append(f"{who} drives nothing yet; assign its sticks to axes")
    return tuple(words)


def gone(pad: Pad) -> Pad:
    """Return the pad that is not here: all of it let go."""
    return replace(pad, here=False, pushed=(0.0,) * len(pad.pushed), eased=(0.0,) * len(pad.eased), held=frozenset())


def barred(pad: Pad) -> Pad:
    """Return the pad that another than its hand lets go of: what is pushed must be at rest once before it counts."""
    return replace(gone(pad), barred=pad.barred or any(pad.pushed) or (pad.here and bool(pad.waits)))


def felt(rig: Rig, pad: Pad, row: PadRow, at_ns: int, counts: bool = True) -> tuple[Pad, tuple[Done, ...]]:
    """Return the pad after a row of it, and what its buttons ask for.

    After a silence, and after rows that did not count, it is as new: what is pushed then must be let go first. A stop
    is obeyed even so. What sends the rig off is asked for with the enabling control held, as all that moves it.
    """
    if not row.here:
        return replace(gone(pad), at_ns=at_ns, barred=False), ()
    anew = not pad.here or at_ns - pad.at_ns > SILENT_NS
    handling = pad.handling
    values = {control: reading(row, control) or 0.0 for control in handling.controls}
    before = frozenset[str]() if anew else pad.held
    held = frozenset(one for one, value in values.items() if value > (_LET_GO if one in before else _HELD))
    off = frozenset(stick.control for stick in handling.sticks if shaped(handling, values[stick.control]))
    if handling.enabling in held:
        off |= {handling.enabling}
    fresh = anew or not counts
    waits = off if fresh else pad.waits & off
    now = replace(pad, at_ns=at_ns, here=True, held=held, waits=waits, barred=pad.barred and bool(off))
    if now.manner == "spring" and not now.enabled:
        # who takes hold again begins where the axis is by then: from the centre
        now = replace(now, waits=off - {handling.enabling} | (waits & {handling.enabling}))
    done: list[Done] = []
    if now.waits and (anew or (now.enabled and not pad.enabled)):
        done.append(Done(None, pad.number, _centre_first(now)))
    for control, deed in handling.buttons:
        if control not in held or control in before or (fresh and deed is not Deed.STOP):
            continue
        if deed in _SENDS_OFF and not now.enabled:
            done.append(Done(None, pad.number, f"{deed.value}: hold {handling.enabling}, and press {control} again"))
            continue
        now, one = _settled(now, deed, off)
        done.append(one)
    return replace(now, pushed=_pushed(rig, now, values)), tuple(done)


def smoothed(pad: Pad, now_ns: int, lasts_s: float) -> Pad:
    """Return the pad `lasts_s` later, as far as smoothing lets its axes take up where they are pushed."""
    if not pad.drives(now_ns):
        return pad if not any(pad.eased) else replace(pad, eased=(0.0,) * len(pad.eased))
    if pad.eased == pad.pushed:
        return pad
    constant_s = pad.handling.smoothing_s
    share = -math.expm1(-lasts_s / constant_s) if constant_s > 0 else 1.0
    eased = (now + (push - now) * share for now, push in zip(pad.eased, pad.pushed, strict=True))
    return replace(
        pad,
        eased=tuple(push if abs(now - push) < _AT_REST else now for now, push in zip(eased, pad.pushed, strict=True)),
    )


def shaped(handling: Handling, value: float) -> float:
    """Return the deflection that a control's value counts as: nothing in the dead band, and from its edge on the curve.

    Source: an even line and its cube, mixed; common practice, no source.
    """
    band = handling.dead_band
    beyond = (abs(value) - band) / (1 - band)
    if beyond <= 0:
        return 0.0
    beyond = min(beyond, 1.0)
    soft = handling.response
    return math.copysign(beyond * (1 - soft + soft * beyond * beyond), value)


def reading(row: PadRow, control: str) -> float | None:
    """Return what a control says, from -1 to 1, a button 0 or 1; None where the pad does not have it."""
    place = _place(control, row.known)
    if place is None:
        return None
    of_axes, number = place
    if not of_axes:
        return 1.0 if number in row.buttons else 0.0
    if number >= len(row.axes):
        return None
    value = row.axes[number]
    return min(max(value, -1.0), 1.0) if math.isfinite(value) else 0.0


def learned(rest: PadRow, row: PadRow) -> tuple[str, bool] | None:
    """Return the control that was moved the most between two rows of a pad, and whether left or down; None for none."""
    names = AXES if row.known else tuple(f"axis {number}" for number in range(len(row.axes)))
    moved = [(now - then, name) for then, now, name in zip(rest.axes, row.axes, names, strict=False)]
    far, name = max(moved, key=lambda one: abs(one[0]), default=(0.0, ""))
    pressed = sorted(row.buttons - rest.buttons)
    if pressed:
        number = pressed[0]
        if not row.known:
            return f"button {number}", False
        return (BUTTONS[number], False) if number < len(BUTTONS) else None
    return (name, far < 0) if abs(far) > 0.5 else None


@cache
def _place(control: str, known: bool) -> tuple[bool, int] | None:
    """Return whether a control is among a pad's axes, and its number there."""
    if known:
        if control in AXES:
            return True, AXES.index(control)
        return (False, BUTTONS.index(control)) if control in BUTTONS else None
    kind, _, number = control.partition(" ")
    return (kind == "axis", int(number)) if number.isdigit() else None


def _pushed(rig: Rig, pad: Pad, values: dict[str, float]) -> tuple[float, ...]:
    """Return where the sticks push each axis; several that drive one add up."""
    handling = pad.handling
    modified = handling.modifier is not None and handling.modifier in pad.held
    taken = {stick.control for stick in handling.sticks if stick.with_modifier} if modified else set[str]()
    pushed = dict.fromkeys(rig.names, 0.0)
    for stick in handling.sticks:
        counts = modified if stick.with_modifier else stick.control not in taken
        if counts and stick.control not in pad.waits and stick.axis in pushed:
            way = shaped(handling, values[stick.control])
            pushed[stick.axis] += -way if stick.reverse else way
    return tuple(min(max(one, -1.0), 1.0) for one in pushed.values())


def _centre_first(pad: Pad) -> str:
    return (
        f"{', '.join(sorted(pad.waits))} of pad {pad.number + 1} ({pad.name}) must be let go first; if it is, "
        "widen the dead band"
    )


def _settled(pad: Pad, deed: Deed, off: frozenset[str]) -> tuple[Pad, Done]:
    """Return the pad after a deed of its own, in words; one for others goes out as it is."""
    match deed:
        case Deed.COARSE_FINE:
            pad = replace(pad, fine=not pad.fine)
            words = f"{'fine' if pad.fine else 'coarse'}: up to {pad.part:.0%} of full speed"
        case Deed.FASTER | Deed.SLOWER:
            pad = replace(pad, top=_next(TOPS, pad.top, deed is Deed.FASTER))
            words = f"up to {pad.part:.0%} of full speed"
        case Deed.WIDER | Deed.NARROWER:
            pad = replace(pad, range_deg=_next(RANGES_DEG, pad.range_deg, deed is Deed.WIDER))
            words = f"range {pad.range_deg:g} degrees, {pad.range_deg / 2:g} to each side"
        case Deed.RATE_SPRING:
            centred = off - {pad.handling.enabling}
            if pad.manner == "spring":
                pad, words = replace(pad, manner="rate"), "rate control: a stick says how fast"
            else:
                side = f"up to {pad.range_deg / 2:g} degrees to each side of where the axis is"
                pad, words = replace(pad, manner="spring"), f"spring-back control: a stick says how far, {side}"
            pad = replace(pad, waits=pad.waits | centred)
            words += ". Let go of the sticks first" if centred else ""
        case _:
            return pad, Done(deed, pad.number)
    return pad, Done(deed, pad.number, words)


def _next(steps: tuple[float, ...], value: float, up: bool) -> float:
    """Return the next step above or below, or the last one."""
    if up:
        return min((one for one in steps if one > value), default=max(value, steps[-1]))
    return max((one for one in steps if one < value), default=min(value, steps[0]))
