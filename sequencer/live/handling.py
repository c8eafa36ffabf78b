"""How a pad is handled: which stick moves which axis, how it feels, and what its buttons do. All of it is data.

It knows no row of a pad and no instant. Controls are named by where they sit on a pad that is known (`wire.pad`), or by
their number, `axis 3` or `button 2`, on one that is not.
"""

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Literal, get_args

from sequencer.rig.axis import Axis, AxisKind, Rig
from sequencer.wire.pad import AXES, BUTTONS, MOST_AXES

Manner = Literal["rate", "spring"]
MANNERS: tuple[Manner, ...] = get_args(Manner)
# steps of the range of spring-back, and of the part of top speed. Source: the ranges are common practice, no source
RANGES_DEG = (30.0, 45.0, 90.0, 180.0)
TOPS = (1 / 4, 1 / 3, 1 / 2, 3 / 4, 1.0)
_MOST_DEAD_BAND = 0.9
_LONGEST_SMOOTHING_S = 2.0
_NUMBERED = re.compile(r"(axis|button) (\d{1,2})", re.ASCII)
_MOST_BUTTONS = 32


class Deed(StrEnum):
    """What a button does. The first six go out to the rig; the others change how this pad drives."""

    STOP = "stop"
    STORE = "store mark"
    NEXT = "next mark"
    PREVIOUS = "previous mark"
    ORIGIN = "return to origin"
    PUNCH = "punch in or out"
    COARSE_FINE = "coarse or fine"
    FASTER = "faster"
    SLOWER = "slower"
    WIDER = "wider range"
    NARROWER = "narrower range"
    RATE_SPRING = "rate or spring-back"


class Held(StrEnum):
    """What is held while a stick is moved."""

    ENABLING = "enabling control"
    MODIFIER = "modifier"


def check_control(name: str) -> None:
    """Error: ValueError for a name that no control has."""
    if name in AXES or name in BUTTONS:
        return
    found = _NUMBERED.fullmatch(name)
    if found is None:
        known = ", ".join((*AXES, *BUTTONS))
        raise ValueError(f"there is no control {name!r}; there are {known}, and numbers as in 'axis 3' or 'button 2'")
    most = MOST_AXES if found[1] == "axis" else _MOST_BUTTONS
    if int(found[2]) >= most:
        raise ValueError(f"{name} is beyond what is read of a pad; the last one is {found[1]} {most - 1}")


def _take(taken: dict[str, str], control: str, what: str) -> None:
    if control in taken:
        raise ValueError(f"{control} is {taken[control]} and {what}; give one of them another control")
    taken[control] = what


def _check_numbers(handling: "Handling") -> None:
    for name, low, high in (
        ("dead_band", 0.0, _MOST_DEAD_BAND),
        ("response", 0.0, 1.0),
        ("smoothing_s", 0.0, _LONGEST_SMOOTHING_S),
    ):
        value = getattr(handling, name)
        if not low <= value <= high:
            raise ValueError(f"{name} is {value:g}; it must be from {low:g} to {high:g}")
    for name in ("top", "fine"):
        value = getattr(handling, name)
        if not 0 < value <= 1:
            raise ValueError(f"{name} is {value:g}; it must be above 0 and at most 1")
    if not (math.isfinite(handling.range_deg) and handling.range_deg > 0):
        raise ValueError(f"range_deg is {handling.range_deg:g}; it must be above 0")


@dataclass(frozen=True, slots=True, kw_only=True)
class Stick:
    """A control that moves an axis: a stick's direction, a trigger, or a button, which is all or nothing.

    `with_modifier` says that it does so while the modifier is held, and only then. `reverse`: pushed right or up it
    moves the axis down. `range`: how far spring-back swings this axis, both sides together, in its own unit; None takes
    that of the handling for an axis in degrees, and leaves any other to rate control. Error: ValueError naming the
    field.
    """

    control: str
    axis: str
    with_modifier: bool = False
    reverse: bool = False
    range: float | None = None

    def __post_init__(self) -> None:
        check_control(self.control)
        if self.range is not None and not (math.isfinite(self.range) and self.range > 0):
            raise ValueError(f"range is {self.range}; it must be above zero, in the unit of {self.axis}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Handling:
    """How one pad is handled.

    `pad` is the name of the pad that it is for; without one it is for any, in the order in which they come. `enabling`
    is what must be held for anything to move, None for nothing; `modifier` likewise for sticks that need it.
    `manner`: a stick says how fast ("rate"), or how far from where the axis was ("spring"). `range_deg` is the whole
    sweep of spring-back: a stick pushed over fully turns an axis by half of it, to that side. `dead_band` is the part
    of a control's way that does nothing, each for itself, so that a hand that tilts does not pan by the way; `response`
    how much softer its middle is, 0 for an even one, 1 for a cube; `smoothing_s` the time constant in which an axis
    takes up what the hand says. `top` is the part of each axis's speed limit that a stick can ask for, `fine` the part
    of that which is left where it is switched to fine. Of two pads that drive one axis, the one with the higher
    `priority` has it while it holds on.
    Error: ValueError naming the field.
    """

    pad: str = ""
    sticks: tuple[Stick, ...] = ()
    buttons: tuple[tuple[str, Deed], ...] = ()
    enabling: str | None = "left trigger"
    modifier: str | None = "left shoulder"
    manner: Manner = "rate"
    range_deg: float = 90.0
    dead_band: float = 0.12
    response: float = 0.4
    smoothing_s: float = 0.06
    top: float = 0.5
    fine: float = 0.2
    priority: int = 0

    def __post_init__(self) -> None:
        _check_numbers(self)
        if self.manner not in MANNERS:
            raise ValueError(f"manner is {self.manner!r}; it must be one of {', '.join(MANNERS)}")
        taken: dict[str, str] = {}
        for what, held in ((Held.ENABLING, self.enabling), (Held.MODIFIER, self.modifier)):
            if held is not None:
                check_control(held)
                _take(taken, held, f"the {what}")
        for control, deed in self.buttons:
            check_control(control)
            _take(taken, control, f"the button for {deed!s}")
        moved: dict[tuple[str, bool], str] = {}
        for stick in self.sticks:
            if stick.control in taken:
                raise ValueError(f"{stick.control} moves {stick.axis}, and is also {taken[stick.control]}; free one")
            first = moved.setdefault((stick.control, stick.with_modifier), stick.axis)
            if first != stick.axis:
                also = " with the modifier" if stick.with_modifier else ""
                raise ValueError(f"{stick.control}{also} moves {first} and {stick.axis}; keep one")
            if stick.with_modifier and self.modifier is None:
                raise ValueError(f"{stick.axis} needs a modifier, and there is none; name one")

    @property
    def controls(self) -> tuple[str, ...]:
        """All controls that do something, each once."""
        held = [one for one in (self.enabling, self.modifier) if one is not None]
        return tuple(dict.fromkeys([*held, *(one.control for one in self.sticks), *(one for one, _ in self.buttons)]))


# a pad that nobody has assigned anything to: it stops the rig, and drives nothing
SPARE = Handling(buttons=(("start", Deed.STOP),))


@dataclass(frozen=True, slots=True)
class Drives:
    """The role of a stick that moves `axis`, alone or while the modifier is held."""

    axis: str
    with_modifier: bool = False


Role = Drives | Held | Deed

# for each kind of axis, what moves it in order of preference; with the modifier where it says so
_PREFERRED: dict[AxisKind, tuple[tuple[str, bool], ...]] = {
    "pan": (("left x", False),),
    "tilt": (("left y", False),),
    "roll": (("left x", True),),
    "slide": (("right x", False),),
    "lift": (("right y", False),),
    "zoom": (("right x", False), ("right x", True)),
    "focus": (("right y", False), ("right y", True)),
    "iris": (("right y", False), ("left y", True)),
}
_BUTTONS = (
    ("lower", Deed.STORE),
    ("right", Deed.NEXT),
    ("left", Deed.PREVIOUS),
    ("upper", Deed.ORIGIN),
    ("start", Deed.STOP),
    ("back", Deed.RATE_SPRING),
    ("right shoulder", Deed.COARSE_FINE),
    ("right stick", Deed.PUNCH),
    ("pad up", Deed.FASTER),
    ("pad down", Deed.SLOWER),
    ("pad right", Deed.WIDER),
    ("pad left", Deed.NARROWER),
)


def default_handlings(rig: Rig) -> tuple[Handling, ...]:
    """Return how pads are handled where the project says nothing: the first drives, all others only stop.

    Pan and tilt are on the left stick, roll on it while the modifier is held, slide and lift on the right one, lenses
    on it where it is free, else with the modifier. An axis that finds no place is left to be assigned.
    """
    taken: set[tuple[str, bool]] = set()
    sticks = []
    for kind, places in _PREFERRED.items():
        for axis in rig.axes:
            place = next((one for one in places if one not in taken), None) if axis.kind == kind else None
            if place is not None:
                taken.add(place)
                sticks.append(Stick(control=place[0], axis=axis.name, with_modifier=place[1]))
    return (Handling(sticks=tuple(sticks), buttons=_BUTTONS, priority=1), SPARE)


def remapped(handling: Handling, role: Role, control: str, reverse: bool = False) -> Handling:
    """Return the handling in which `control` has this role; what it did before, it does no more.

    An axis keeps its range, and a button for one way leaves the one for the other in place. Error: ValueError for a
    control that is none, and for one that is held to enable or modify: it would move what it unlocks.
    """
    check_control(control)
    for held, own in ((Held.ENABLING, handling.enabling), (Held.MODIFIER, handling.modifier)):
        if control == own and role is not held:
            raise ValueError(f"{control} is the {held}; choose another control, or give that another one first")
    modified = isinstance(role, Drives) and role.with_modifier
    freed = replace(
        handling,
        buttons=tuple(one for one in handling.buttons if one[0] != control),
        sticks=tuple(
            one
            for one in handling.sticks
            if one.control != control or (isinstance(role, Drives) and one.with_modifier is not modified)
        ),
    )
    match role:
        case Held.ENABLING:
            return replace(freed, enabling=control)
        case Held.MODIFIER:
            return replace(freed, modifier=control)
        case Deed():
            return replace(freed, buttons=(*(one for one in freed.buttons if one[1] is not role), (control, role)))
        case Drives(axis):
            swung = next((one.range for one in handling.sticks if one.axis == axis), None)
            new = Stick(control=control, axis=axis, with_modifier=modified, reverse=reverse, range=swung)
            return replace(freed, sticks=(*(one for one in freed.sticks if not _replaces(new, one)), new))


def _replaces(new: Stick, old: Stick) -> bool:
    """Whether a stick takes another's axis over; two that go one way only, each its own, drive an axis together."""
    both_ways = not (_goes_one_way(new.control) and _goes_one_way(old.control))
    return new.axis == old.axis and (both_ways or new.reverse == old.reverse)


def _goes_one_way(control: str) -> bool:
    return control in BUTTONS or control.startswith("button ") or control in ("left trigger", "right trigger")


def renamed_axis(handlings: Iterable[Handling], before: str, name: str) -> tuple[Handling, ...]:
    """Return the handlings whose sticks call an axis by its new name."""
    return tuple(
        replace(
            one,
            sticks=tuple(replace(stick, axis=name) if stick.axis == before else stick for stick in one.sticks),
        )
        for one in handlings
    )


def strangers(handling: Handling, rig: Rig) -> tuple[str, ...]:
    """Return the axes that sticks are for and that the rig does not have, each once."""
    return tuple(dict.fromkeys(stick.axis for stick in handling.sticks if stick.axis not in rig.names))


def swing(handling_deg: float, stick: Stick, axis: Axis) -> float | None:
    """Return how far spring-back moves an axis to each side, in its own unit; None where rate control moves it."""
    if stick.range is not None:
        return stick.range / 2
    return handling_deg / 2 if axis.unit == "deg" else None
