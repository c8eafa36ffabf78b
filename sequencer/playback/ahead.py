"""Setpoints that are made before they are due, for rigs that keep a buffer; and the way back where the plan changes.

The engine then lives at a horizon, so far ahead of now as the rig's buffer is long: what it has made and is not due yet
lies here. A stop cannot wait for all that to be played, nor can joining. They go back to the last set that can no
longer be withdrawn and begin there, and what was made for later is made anew. By hand the horizon is as near as it may
be, also where hands perform along the timeline, since nobody steers by what comes late; else on the clock it is as far
as the buffer reaches.

It makes nothing and sends nothing.
"""

from dataclasses import dataclass, replace

from sequencer.playback.guard import Sent
from sequencer.playback.state import ON_THE_CLOCK, Phase
from sequencer.rig.signals import Setpoint
from sequencer.sync.reading import Clock

_MOST = 8  # made in one tick: after a stop the horizon is reached again in an eighth of the time to it
_FAR = ON_THE_CLOCK | {Phase.READY}


@dataclass(frozen=True, slots=True, kw_only=True)
class Timing:
    """How far ahead of being due setpoints are made. `ahead_ns` 0: they are made when they are due, one a tick.

    Unit: nanoseconds; `committed_ns`: what is due within that time cannot be withdrawn. `period_ns` is the tick's.
    """

    period_ns: int = 4_000_000
    ahead_ns: int = 0
    committed_ns: int = 0

    def lead_ns(self, phase: Phase, performed: bool = False) -> int:
        """Return how far ahead the horizon lies in a phase; `performed`: hands are to have axes along the timeline."""
        far = phase in _FAR and not performed
        return self.ahead_ns if far else min(self.committed_ns, self.ahead_ns)


@dataclass(frozen=True, slots=True)
class Made:
    """A setpoint set on its way to being due, and where the timeline is then.

    `gap` is what the guard held back; `phase` the one in which it was made.
    """

    setpoint: Setpoint
    timeline_s: float
    sent: Sent
    gap: tuple[float, ...]
    phase: Phase


@dataclass(frozen=True, slots=True)
class Ahead:
    """What is made and not due yet, in order of time."""

    made: tuple[Made, ...] = ()


def instants(timing: Timing, lead_ns: int, last_ns: int, now_ns: int) -> tuple[int, ...]:
    """Return when the setpoints to be made at a tick are due, where the last one that was made is due at `last_ns`.

    They are a period apart, up to the horizon, not too many at once. Where the last one is past, since the machine
    paused, they begin anew with the next that can still be carried.
    """
    if not timing.ahead_ns:
        return (now_ns,)
    first_ns = last_ns + timing.period_ns
    if first_ns <= now_ns:
        first_ns = now_ns + min(timing.committed_ns, lead_ns)
    return tuple(range(first_ns, now_ns + lead_ns + 1, timing.period_ns))[:_MOST]


def at_horizon(clock: Clock, lead_ns: int) -> Clock:
    """Return where the clock will be at the horizon, if it goes on as it does."""
    if not lead_ns or not clock.speed:
        return clock
    on_s = clock.speed * lead_ns * 1e-9
    return replace(clock, at_ns=clock.at_ns + lead_ns, position_s=clock.position_s + on_s)


def add(ahead: Ahead, made: Made) -> Ahead:
    """Return what is to come with one more set."""
    return Ahead((*ahead.made, made))


def due(ahead: Ahead, now_ns: int) -> tuple[Ahead, tuple[Made, ...]]:
    """Return what is still to come at `now_ns`, and what is due by then."""
    count = 0
    for one in ahead.made:
        if one.sent.due_ns > now_ns:
            break
        count += 1
    return Ahead(ahead.made[count:]), ahead.made[:count]


def withdrawn(ahead: Ahead, timing: Timing, now_ns: int) -> tuple[Ahead, Made | None]:
    """Return what is left where all is withdrawn that can be, and the last set of it; None where nothing was.

    What is made anew goes on from a set: where all could be withdrawn, the first one stays.
    """
    least_ns = now_ns + timing.committed_ns
    kept = tuple(one for one in ahead.made if one.sent.due_ns <= least_ns) or ahead.made[:1]
    if len(kept) == len(ahead.made):
        return ahead, None
    return Ahead(kept), kept[-1]
