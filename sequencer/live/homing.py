"""Homing: an axis goes towards its switch, off it again slower, into its travel where that begins later, and stands.
From then on it is known where it stands.

A fold: `look` takes in what the rig says and returns what comes next, `part` is how fast the axis shall go meanwhile.
Its count is of no use before, so nothing here goes by where the axis says that it is, only by how far it went since.
It sends nothing.
Unit: the axis's own, and that a second.
"""

from dataclasses import dataclass, replace
from enum import StrEnum

from sequencer.rig.axis import BEYOND, Axis, Homing, Rig

SLOW = 0.1  # of the homing speed, coming off the switch
_ASKED_S = 2.0  # for the rig's first word on its switch
_SETTLED_S = 0.5  # after the setpoints stand, for what lags behind them
_WINDOW_S = 1.0  # over which an axis must have gone on
_GOES_ON = 0.1  # of what it was asked for, in that time


class Stage(StrEnum):
    ASKING = "asking the rig for its switch"
    SEEKING = "going to the switch"
    BRAKING = "braking on the switch"
    LEAVING = "coming off the switch"
    ENTERING = "coming into its travel"
    SETTLING = "coming to rest"
    FOUND = "found"
    FAILED = "given up"


ENDED = (Stage.FOUND, Stage.FAILED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What the rig says at `now_s`. `stands`: its setpoints do not move; `switch`: closed, open, or not known."""

    now_s: float
    position: float
    switch: bool | None
    stands: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Search:
    """How far homing has come.

    `since_s`, `began`: when and where the stage began, None before anything was seen in it; `last_s`, `last`: likewise
    for the window in which the axis must go on. `rests_s`: since when the setpoints stand. `opened`: what the axis
    counted where the switch opened; `closed`: likewise, None where it began on it. `value`: where it stands at the end.
    `trouble`: why it was given up, with the mend.
    """

    axis: Axis
    homing: Homing
    stage: Stage = Stage.ASKING
    since_s: float | None = None
    began: float = 0.0
    last_s: float = 0.0
    last: float = 0.0
    rests_s: float | None = None
    opened: float = 0.0
    closed: float | None = None
    value: float = 0.0
    trouble: str = ""


def begin(axis: Axis) -> Search:
    """Return the search for the axis's switch.

    Error: ValueError where it has none, shall go faster than it may, or sits where the travel would never be entered.
    """
    homing = axis.homing
    if homing is None or axis.travel is None:
        raise ValueError(
            f"{axis.name} has no homing in rig.json, so there is no switch to look for; "
            f"say where it stands instead (in the terminal: --here {axis.name}=VALUE)"
        )
    if homing.speed > axis.speed:
        raise ValueError(
            f"{axis.name} shall home at {homing.speed:g}, which is above its own speed {axis.speed:g}; "
            "choose a homing speed that is far below"
        )
    low, high = axis.travel
    if homing.at > high if homing.towards == "low" else homing.at < low:
        raise ValueError(
            f"{axis.name} would come off its switch at {homing.at:g}, beyond the other end of its travel "
            f"{low:g}..{high:g}; is it really at the {homing.towards} end?"
        )
    return Search(axis=axis, homing=homing)


def demand_place(axis: Axis, value: float) -> None:
    """Have a place at which the axis can be said to stand. Error: ValueError for one outside its travel."""
    if axis.travel is not None and not axis.travel[0] <= value <= axis.travel[1]:
        low, high = axis.travel
        raise ValueError(f"{axis.name} cannot stand at {value:g}, outside its travel; it goes from {low:g} to {high:g}")


def slowed(rig: Rig, name: str, stands: dict[str, float]) -> Rig:
    """Return the rig as an axis of it is homed: at its homing speed at most. Error: ValueError where it has none."""
    homing = rig.axes[rig.index(name)].homing
    if homing is None:
        raise ValueError(f"{name} has no homing; describe it in rig.json, or home the axis by hand")
    return unbounded(rig, name, stands, homing.speed)


def unbounded(rig: Rig, name: str, stands: dict[str, float], speed: float) -> Rig:
    """Return the rig whose axis goes at `speed` at most, without ends, since nobody knows them.

    An axis that says it stands outside its travel is to stay there too. Nothing ties axes together meanwhile.
    """
    axes = []
    for axis in rig.axes:
        free = replace(axis, travel=None, homing=None, simulated=replace(axis.simulated, switch_at=None))
        inside = axis.travel is None or axis.travel[0] <= stands[axis.name] <= axis.travel[1]
        if axis.name == name:
            axes.append(replace(free, speed=min(speed, axis.speed)))
        else:
            axes.append(axis if inside else free)
    return Rig(name=rig.name, axes=tuple(axes), outlets=rig.outlets)


def part(search: Search) -> float:
    """Return how fast the axis shall go now, from -1 to 1 of its homing speed."""
    towards = -1.0 if search.homing.towards == "low" else 1.0
    if search.stage is Stage.SEEKING:
        return towards
    return -SLOW * towards if search.stage in (Stage.LEAVING, Stage.ENTERING) else 0.0


def given_up(search: Search, why: str) -> Search:
    """Return the search that ended without a find."""
    return replace(search, stage=Stage.FAILED, trouble=why)


def look(search: Search, seen: Seen) -> Search:
    """Return the search after one look at the rig."""
    if search.stage in ENDED:
        return search
    if search.since_s is None:
        at_s, place = seen.now_s, seen.position
        search = replace(search, since_s=at_s, began=place, last_s=at_s, last=place, rests_s=None)
    if search.stage is Stage.ASKING:
        return _asking(search, seen)
    if seen.switch is None:
        return given_up(search, f"the rig said nothing more of {_switch(search)}; is its wire loose?")
    match search.stage:
        case Stage.SEEKING if seen.switch:
            return _next(replace(search, closed=seen.position), Stage.BRAKING)
        case Stage.SEEKING:
            return _going(search, seen, furthest(search))
        case Stage.LEAVING if not seen.switch:
            search = replace(search, opened=seen.position)
            return _next(search, Stage.ENTERING if _outside(search, seen) else Stage.SETTLING)
        case Stage.ENTERING if seen.switch:
            return _next(search, Stage.LEAVING)  # a contact may bounce
        case Stage.ENTERING:
            # else what connects next, which keeps the soft limits, would bring it inside by itself
            inside = not _outside(search, seen)
            return _next(search, Stage.SETTLING) if inside else _going(search, seen, _beyond(search))
        case Stage.LEAVING:
            return _going(search, seen, _beyond(search))
        case _:
            return _resting(search, seen)


def _next(search: Search, stage: Stage) -> Search:
    return replace(search, stage=stage, since_s=None)


def _asking(search: Search, seen: Seen) -> Search:
    if seen.switch is not None:
        return _next(search, Stage.LEAVING if seen.switch else Stage.SEEKING)
    if seen.now_s - (search.since_s or seen.now_s) < _ASKED_S:
        return search
    name = search.axis.name
    return given_up(
        search,
        f"the rig does not say how {_switch(search)} is; have it send /rig/{name}/switch, 0 or 1, twice a second, "
        f"or say where it stands (in the terminal: --here {name}=VALUE)",
    )


def _going(search: Search, seen: Seen, furthest: float) -> Search:
    """Give up where the axis went too far, or does not go on."""
    if abs(seen.position - search.began) > furthest:
        return given_up(search, _too_far(search, furthest))
    asked = abs(part(search)) * search.homing.speed
    # what the ramp, the way back through the gear's play and the rig's latency take at most
    axis = search.axis
    longest_s = _WINDOW_S + asked / axis.acceleration + axis.acceleration / axis.jerk + axis.latency_s
    longest_s += axis.backlash / asked
    if seen.now_s - search.last_s < longest_s:
        return search
    went = (seen.position - search.last) * (1 if part(search) > 0 else -1)
    if went < _GOES_ON * asked * _WINDOW_S:
        return given_up(
            search,
            f"{axis.name} says that it stands at {seen.position:.4g} although it is driven: is the motor on, is the "
            "axis blocked, does the encoder report?",
        )
    return replace(search, last_s=seen.now_s, last=seen.position)


def _too_far(search: Search, furthest: float) -> str:
    axis, homing = search.axis, search.homing
    if search.stage is Stage.LEAVING:
        return f"{_switch(search)} did not open within {furthest:.4g} {axis.unit}; does it stick, or is `at` wrong?"
    return (
        f"{_switch(search)} did not close within {furthest:.4g} {axis.unit}; "
        f"does the axis go towards it (`towards` is {homing.towards}), and is it wired?"
    )


def furthest(search: Search) -> float:
    """Return how far the axis may go without meeting its switch."""
    low, high = search.axis.travel or (0.0, 0.0)
    return (1 + BEYOND) * (high - low)


def _beyond(search: Search) -> float:
    """Return how far behind the place at which the switch opens an axis can be: as far as it braked, with room."""
    low, high = search.axis.travel or (0.0, 0.0)
    inside = search.homing.at - low if search.homing.towards == "low" else high - search.homing.at
    braked = 0.0 if search.closed is None else abs(search.began - search.closed)
    return max(inside, braked, 0.0) + BEYOND * (high - low)


def _resting(search: Search, seen: Seen) -> Search:
    """Wait until the axis stands, and go on from there."""
    if not seen.stands:
        return replace(search, rests_s=None)
    if search.rests_s is None:
        return replace(search, rests_s=seen.now_s)
    if seen.now_s - search.rests_s < _SETTLED_S:
        return search
    if search.stage is Stage.SETTLING:
        # the little way that braking took is known, whatever the axis counts
        return replace(search, stage=Stage.FOUND, value=_value(search, seen))
    if not seen.switch:
        words = f"{_switch(search)} opened again while the axis stood still on it; it must stay closed to the end"
        return given_up(search, words)
    return _next(search, Stage.LEAVING)


def _value(search: Search, seen: Seen) -> float:
    """Return where the axis stands, once its switch has opened."""
    return search.homing.at + seen.position - search.opened


def _outside(search: Search, seen: Seen) -> bool:
    low, high = search.axis.travel or (0.0, 0.0)
    return not low <= _value(search, seen) <= high


def _switch(search: Search) -> str:
    return f"the switch of {search.axis.name}"
