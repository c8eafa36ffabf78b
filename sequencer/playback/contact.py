"""Whether the rig is in touch, and from where playback begins anew once it was not. It sends and starts nothing.

A rig that drops has braked by its own means, wherever that was. Setpoints that went on would pull it along, unasked,
the moment the link is back. So from a drop on none go out (`withheld`), only what the rig says after it counts, and
once the operator has reset, playback begins from there. A rig that answers and does not hear would come after its
setpoints just so; therefore one that is stopped, and not where it was sent, is sent nothing either.

    in touch    the rig falls silent, or the link is gone                          away
                it is stopped, and an axis is not where it was sent                back
    away        every axis has said where it stands, and the link is not gone      back
    back        the rig falls silent again, or the link is gone                    away
                the operator resets                                                in touch

A rig that has never answered cannot fall silent; for it `away` ends as soon as the link is open.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from sequencer.playback.guard import Limits, Sent, Stray, at_rest, strays
from sequencer.playback.state import NO_ANSWER, SILENT_S
from sequencer.playback.watch import Watch, silent_s

# A rig to which no setpoints go speaks only when it is called, five times a second, and a bad link loses some of that.
AGAIN_S = 1.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Contact:
    """How the engine stands with the rig.

    `dropped_ns`: when the rig was heard last before it dropped, or was found elsewhere; None while it is in touch.
    `why`: what keeps it away, in words with the mend; empty once it is back, and where it was not away.
    """

    dropped_ns: int | None = None
    why: str = ""

    @property
    def withheld(self) -> bool:
        """Whether no setpoint may go out."""
        return self.dropped_ns is not None


def attend(contact: Contact, seen: Watch, fault: str, now_ns: int, stranded: bool = False) -> Contact:
    """Return the contact at `now_ns`.

    `fault`: why the link is gone, in words, or empty while it is open. `stranded`: it is stopped, an axis is astray.
    """
    silence_s = silent_s(seen, now_ns)
    if contact.dropped_ns is None or not contact.why:
        most_s = AGAIN_S if contact.withheld else SILENT_S
        why = fault or (NO_ANSWER if most_s < silence_s < math.inf else "")
        if why:
            return Contact(dropped_ns=now_ns if seen.heard_ns is None else seen.heard_ns, why=why)
        return Contact(dropped_ns=now_ns) if stranded and not contact.withheld else contact
    if fault:
        return Contact(dropped_ns=contact.dropped_ns, why=fault)
    if not seen.answers or (seen.told and silence_s <= AGAIN_S):
        return Contact(dropped_ns=contact.dropped_ns)
    return Contact(dropped_ns=contact.dropped_ns, why=NO_ANSWER)


def faded(seen: Watch, now_ns: int) -> Watch:
    """Return what is known of a rig that is gone, without what was still on its way then: that grows old too."""
    if seen.position is None:
        return seen
    position = np.where(now_ns - seen.spoke_ns > AGAIN_S * 1e9, np.nan, seen.position)
    return replace(seen, position=None if np.isnan(position).all() else position)


def begun(contact: Contact, seen: Watch, limits: Limits, sent: Sent) -> Sent:
    """Return the rig at rest, from where playback begins after a stop.

    After a drop that is where each axis says it stands. Else it is where the axis was sent, but for one that is not
    there: it would move by itself when it comes free.
    """
    told = np.array(sent.position)
    if seen.position is None:
        return at_rest(sent.due_ns, told)
    there = np.where(np.isnan(seen.position), told, seen.position)
    anew = (np.abs(there - told) > limits.tolerance) | contact.withheld
    return at_rest(sent.due_ns, np.where(anew, np.clip(there, limits.low, limits.high), told))


def outside(contact: Contact, seen: Watch, limits: Limits) -> Stray | None:
    """Return an axis that is sent nothing, and stands outside its travel and would move by itself, or None."""
    if not contact.withheld or seen.position is None:
        return None
    beyond = np.nan_to_num(seen.position - np.clip(seen.position, limits.low, limits.high))
    return strays(limits, tuple(beyond.tolist()))


def elsewhere(seen: Watch, limits: Limits, sent: Sent) -> str:
    """Return which axes stand beyond the guard's tolerance from where they were sent, in words, or nothing."""
    if seen.position is None:
        return ""
    columns = zip(limits.names, limits.units, limits.tolerance, seen.position.tolist(), sent.position, strict=True)
    return ", ".join(
        f"{name} stands at {_at(there, unit)} and was sent to {_at(told, unit)}"
        for name, unit, most, there, told in columns
        if abs(there - told) > most
    )


def _at(place: float, unit: str) -> str:
    return f"{place:.3f}" if unit == "part" else f"{place:.2f} {unit}"


def stranded(seen: Watch, limits: Limits, sent: Sent) -> str:
    """Return what the operator is told where a rig that is stopped is not where it was sent."""
    place = elsewhere(seen, limits, sent)
    return f"{place}, so nothing is sent that it could come after. Nothing moves before Reset"


def back(contact: Contact, seen: Watch, limits: Limits, sent: Sent, round_trip_s: float | None, now_ns: int) -> str:
    """Return what the operator is told once the rig is back."""
    away_s = 0.0 if contact.dropped_ns is None else (now_ns - contact.dropped_ns) * 1e-9
    if seen.position is None:
        return (
            f"the link to the rig is open again after {away_s:.1f} s. The rig does not say where it stands: look. "
            "Nothing moves before Reset"
        )
    trip = "" if round_trip_s is None else f", with a round trip of {round_trip_s * 1e3:.0f} ms"
    place = elsewhere(seen, limits, sent) or "It stands where it was sent"
    return f"the rig answers again after {away_s:.1f} s{trip}. {place}. Nothing moves before Reset"
