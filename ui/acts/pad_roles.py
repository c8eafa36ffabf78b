"""What each control of a pad is for, line by line, and how that is changed. It knows no widget, and no pad by itself.

All edits take a handling and return one. Error: ValueError where a control would have two roles that cannot be.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

from sequencer.live.handling import Deed, Drives, Handling, Held, Role, Stick
from sequencer.rig.axis import Rig
from sequencer.shell.messages import PadSet
from ui.language import translate


@dataclass(frozen=True, slots=True)
class Line:
    """One role, and the control that has it; empty for none. `stick` is there where an axis is moved."""

    role: Role
    control: str = ""
    stick: Stick | None = None


def lines(handling: Handling, rig: Rig) -> tuple[Line, ...]:
    """Return all roles: what is held, each axis with what moves it, what buttons do; also for axes that are gone."""
    found = [Line(Held.ENABLING, handling.enabling or ""), Line(Held.MODIFIER, handling.modifier or "")]
    others = [stick.axis for stick in handling.sticks if stick.axis not in rig.names]
    for axis in dict.fromkeys((*rig.names, *others)):
        own = [stick for stick in handling.sticks if stick.axis == axis]
        found += [Line(Drives(axis, one.with_modifier), one.control, one) for one in own] or [Line(Drives(axis))]
    for deed in Deed:
        controls = [control for control, does in handling.buttons if does is deed]
        found += [Line(deed, control) for control in controls] or [Line(deed)]
    return tuple(found)


def taken_away(handling: Handling, line: Line) -> Handling:
    """Return the handling in which no control has the role, or the one less of several."""
    if line.role is Held.ENABLING:
        return replace(handling, enabling=None)
    if line.role is Held.MODIFIER:
        return replace(handling, modifier=None)
    if line.stick is not None:
        return replace(handling, sticks=tuple(one for one in handling.sticks if one != line.stick))
    gone = (line.control, line.role)
    return replace(handling, buttons=tuple(one for one in handling.buttons if one != gone))


def turned_round(handling: Handling, line: Line) -> Handling:
    """Return the handling in which a stick moves its axis the other way."""
    return _changed(handling, line, lambda stick: replace(stick, reverse=not stick.reverse))


def modified(handling: Handling, line: Line, with_modifier: bool) -> Handling:
    """Return the handling in which a stick moves its axis only while the modifier is held, or without it."""
    return _changed(handling, line, lambda stick: replace(stick, with_modifier=with_modifier))


def swung(handling: Handling, line: Line, swing: float | None) -> Handling:
    """Return the handling with another range of spring-back for one axis, in its own unit; None for the common one."""
    return _changed(handling, line, lambda stick: replace(stick, range=swing))


def _changed(handling: Handling, line: Line, change: Callable[[Stick], Stick]) -> Handling:
    if line.stick is None:
        raise ValueError(translate("pads", "nothing moves this axis yet; give it a control first"))
    sticks = tuple(change(one) if one == line.stick else one for one in handling.sticks)
    return replace(handling, sticks=sticks)


def lost(before: Handling, after: Handling) -> tuple[str, ...]:
    """Return in words what has no control any more."""
    had, has = _controls(before), _controls(after)
    gone = [one for one in had if one not in has]
    words = translate("pads", "{control} did “{role}” before; give that another control.")
    return tuple(words.format(control=had[one], role=role_words(one)) for one in gone)


def _controls(handling: Handling) -> dict[Role, str]:
    found: dict[Role, str] = {}
    for control, held in ((handling.enabling, Held.ENABLING), (handling.modifier, Held.MODIFIER)):
        if control is not None:
            found[held] = control
    for stick in handling.sticks:
        found.setdefault(Drives(stick.axis), stick.control)
    for control, deed in handling.buttons:
        found.setdefault(deed, control)
    return found


def role_words(role: Role) -> str:
    """Return what a control is for."""
    if isinstance(role, Drives):
        return translate("pads", "move {axis}").format(axis=role.axis)
    return {
        Held.ENABLING: translate("pads", "hold to drive"),
        Held.MODIFIER: translate("pads", "hold as the modifier"),
        Deed.STOP: translate("pads", "stop the rig"),
        Deed.STORE: translate("pads", "store a mark"),
        Deed.NEXT: translate("pads", "go to the next mark"),
        Deed.PREVIOUS: translate("pads", "go to the previous mark"),
        Deed.ORIGIN: translate("pads", "return to the origin"),
        Deed.PUNCH: translate("pads", "punch in or out"),
        Deed.COARSE_FINE: translate("pads", "coarse or fine"),
        Deed.FASTER: translate("pads", "faster"),
        Deed.SLOWER: translate("pads", "slower"),
        Deed.WIDER: translate("pads", "wider range"),
        Deed.NARROWER: translate("pads", "narrower range"),
        Deed.RATE_SPRING: translate("pads", "rate or spring-back"),
    }[role]


def manner_words(handling: Handling) -> str:
    """Return how a pad drives, in one sentence."""
    if handling.manner == "rate":
        how = translate("pads", "rate control: a stick says how fast")
    else:
        how = translate("pads", "spring-back over {range} degrees, {side} to each side")
        how = how.format(range=f"{handling.range_deg:g}", side=f"{handling.range_deg / 2:g}")
    most = translate("pads", "up to {top} of full speed, {fine} where fine")
    return f"{how}; {most.format(top=f'{handling.top:.0%}', fine=f'{handling.top * handling.fine:.0%}')}"


def set_words(setting: PadSet) -> str:
    """Return how a pad is set now, by its buttons too, in one sentence."""
    if setting.manner == "spring":
        how = translate("pads", "spring-back over {range} degrees, {side} to each side")
        how = how.format(range=f"{setting.range_deg:g}", side=f"{setting.range_deg / 2:g}")
    else:
        how = translate("pads", "rate control")
    fineness = translate("pads", "fine") if setting.fine else translate("pads", "coarse")
    most = translate("pads", "{how}; {fineness}, up to {top} of full speed")
    return most.format(how=how, fineness=fineness, top=f"{setting.top:.0%}")
