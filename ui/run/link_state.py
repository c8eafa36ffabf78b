"""How the link to the rig is, in words, and what a drop leaves behind until the operator has reset it.

It draws nothing and sounds nothing. A rig that was away counts as dropped until the reset, also once it is back.
"""

from dataclasses import dataclass
from typing import Literal

from sequencer.rig.axis import Rig
from sequencer.shell.messages import Status
from ui.language import translate
from ui.link.standing import Standing
from ui.run.nearness import Near, rows

Word = Literal["none", "up", "down", "unknown"]
_HELD = ("stopping", "stopped")
_DECIMALS = {"part": 3}
_LEAST_PART = 0.005  # of what was sent: less loss is not said where there is little room


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkSeen:
    """The link as the engine reported it last; `dropped`: it was down, and its stop is still latched.

    `told` is what the engine said of an output's link that the run outlives.
    """

    word: Word = "none"
    round_trip_s: float | None = None
    lost_part: float | None = None
    silent_s: float = 0.0
    dropped: bool = False
    told: str = ""

    @property
    def back(self) -> bool:
        """Whether the rig is back, and waits for a reset."""
        return self.dropped and self.word != "down"


NOTHING = LinkSeen()


def see(before: LinkSeen, status: Status | None, told: str = "") -> LinkSeen:
    """Return what is seen of the link now, `told` included. None: there is no engine."""
    if status is None:
        return NOTHING
    down = status.link == "down"
    return LinkSeen(
        word=status.link,
        round_trip_s=status.round_trip_s,
        lost_part=status.lost_part,
        silent_s=status.silent_s,
        dropped=down or (before.dropped and status.phase in _HELD),
        told=told,
    )


def gone(newest: Status | None, standing: Standing) -> bool:
    """Whether nobody reports on the link: what an engine that was lost said last is no word on it any more."""
    return newest is None or standing.how == "lost the engine"


def link_words(seen: LinkSeen, *, brief: bool = False) -> str:
    """Return the link in a few words: `up, 12 ms, 0 % lost`.

    `brief`: only the loss, or the round trip where nothing is lost. A trouble of one output comes before these.
    """
    match seen.word:
        case "none":
            return translate("run", "none")
        case "down":
            return translate("run", "down {s:.0f} s").format(s=seen.silent_s)
        case "unknown":
            return translate("run", "unknown, trouble") if seen.told else translate("run", "unknown")
    if seen.told:
        return translate("run", "up, trouble")
    parts = [translate("run", "up")]
    loses = seen.lost_part is not None and (not brief or seen.lost_part >= _LEAST_PART)
    if seen.round_trip_s is not None and not (brief and loses):
        parts.append(translate("run", "{ms:.0f} ms").format(ms=seen.round_trip_s * 1e3))
    if seen.lost_part is not None and loses:
        parts.append(translate("run", "{percent:.0f} % lost").format(percent=100 * seen.lost_part))
    return ", ".join(parts)


def tip(seen: LinkSeen) -> str:
    """Return the link in whole sentences."""
    return f"{_whole(seen)}\n{seen.told}" if seen.told else _whole(seen)


def _whole(seen: LinkSeen) -> str:
    match seen.word:
        case "none":
            return translate("run", "The link to the rig: no rig is connected.")
        case "down":
            words = translate("run", "The link to the rig is down: no answer for {s:.0f} s.")
            return words.format(s=seen.silent_s)
        case "unknown":
            return translate("run", "The link to the rig is unknown: the rig never answers.")
    trip = translate("run", "not known") if seen.round_trip_s is None else f"{seen.round_trip_s * 1e3:.0f} ms"
    lost = translate("run", "not known") if seen.lost_part is None else f"{seen.lost_part:.1%}"
    words = translate("run", "The link to the rig is up. Round trip: {trip}. Lost on the way: {lost}.")
    return words.format(trip=trip, lost=lost)


def trouble(seen: LinkSeen, rig: Rig, status: Status | None) -> str:
    """Return what became of the rig by a drop, and what to do; or what is wrong with one output; empty for nothing."""
    if not seen.dropped:
        return seen.told
    if seen.word == "down":
        words = translate(
            "run",
            "The link to the rig is down, no answer for {s:.0f} s. Look at the rig: it is on its own. Nothing is sent "
            "before it is back and you have reset.",
        )
        return words.format(s=seen.silent_s)
    words = translate(
        "run",
        "The rig is back. {where} Look at it, then Reset: nothing moves before, and then it begins from where it "
        "stands.",
    )
    return words.format(where=_where(rows(rig, status)))


def _where(stands: tuple[Near, ...]) -> str:
    """Return which axes are not where they were sent, the farthest first for what their motors do in a second."""
    if all(one.actual is None for one in stands):
        return translate("run", "It does not say where it stands.")
    away = [one for one in stands if one.error is not None and abs(one.error) >= 10.0 ** -_decimals(one)]
    away.sort(key=lambda one: -abs(one.error or 0.0) / one.axis.speed)
    if not away:
        return translate("run", "It stands where it was sent.")
    each = translate("run", "{axis} at {actual}, sent to {asked}")
    parts = [
        each.format(axis=one.axis.name, actual=_place(one, one.actual), asked=_place(one, one.asked)) for one in away
    ]
    return translate("run", "It stands elsewhere: {axes}.").format(axes="; ".join(parts))


def _decimals(one: Near) -> int:
    return _DECIMALS.get(one.axis.unit, 2)


def _place(one: Near, place: float | None) -> str:
    number = f"{place or 0.0:.{_decimals(one)}f}"
    return number if one.axis.unit == "part" else f"{number} {one.axis.unit}"
