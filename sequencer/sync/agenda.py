"""Orders that are kept until they are due. It reads no clock, obeys nothing, and never holds back a stop of the rig.

What an operator may expect of it:
- An order is due at its own stamp. One whose stamp has passed is due now, and its stamp still counts.
- A stop of the rig is due now whatever its stamp, comes before all else, and clears what was to come later.
- A stop of the clock that is due as it comes is somebody's hand on a button: it clears what was to come later too, so
  that nothing starts by itself after it. A stop that was kept for its time is part of a plan, and clears nothing.
- A stamp further than an hour ahead, or a second back, is of a clock that is set wrong: that order is refused, except
  for a stop, which is due now.
- No more than 256 orders are kept; what comes beside these is refused, except for a stop, which is due now.
"""

from bisect import bisect_right, insort
from operator import attrgetter

from sequencer.sync.complaints import Complaints
from sequencer.sync.orders import Due, StartClock, StopClock, StopRig

MOST = 256
AHEAD_NS = 3_600_000_000_000
BACK_NS = 1_000_000_000
_at_ns = attrgetter("at_ns")


class Agenda:
    """Orders in order of time. `dropped` counts those that found no room, `refused` those of a clock set wrong,
    `cleared` those that a stop cleared.
    """

    def __init__(self) -> None:
        self._kept: list[Due] = []  # in order of time, those of one instant as they came
        self._stop: Due | None = None
        self._complaints = Complaints()
        self.dropped = 0
        self.refused = 0
        self.cleared = 0

    def __len__(self) -> int:
        return len(self._kept) + (self._stop is not None)

    def add(self, due: Due, now_ns: int) -> None:
        """Keep `due`, which was heard by `now_ns`."""
        late_ns = now_ns - due.at_ns
        stops = isinstance(due.order, StopClock | StopRig)
        strange = not -AHEAD_NS <= late_ns <= BACK_NS
        full = len(self._kept) >= MOST
        if strange and not stops:
            self.refused += 1
            self._complaints.tell("strange", f"{due.by} {_off(late_ns)}")
            return
        if full and not stops:
            self.dropped += 1
            words = f"more than {MOST} orders wait for their time; {due.by} and what comes next is left aside"
            self._complaints.tell("full", f"{words}. Look for what sends so many")
            return
        if isinstance(due.order, StopRig) or strange or (full and stops):
            due = due._replace(at_ns=min(max(due.at_ns, now_ns - BACK_NS), now_ns))
        if stops and due.at_ns <= now_ns:
            self._clear_after(due.at_ns, due.by)
        if isinstance(due.order, StopRig):
            self._stop = self._stop or due
            return
        if full and self._kept and isinstance(self._kept[-1].order, StopClock):
            return  # it stands already by then, and so a flood of stops takes no room
        if stops and due.at_ns <= now_ns and _stands(self._kept):
            self._kept.pop()  # of many at once the first counts, for its stamp, and the last, whatever comes between
        insort(self._kept, due, key=_at_ns)

    def take(self, now_ns: int, starts_ahead_ns: int = 0) -> tuple[Due, ...]:
        """Return what is due by `now_ns`, in order of time, a stop of the rig first.

        A start of the clock that comes next is due by `starts_ahead_ns` sooner: music is sent off before it is heard.
        """
        place = bisect_right(self._kept, now_ns, key=_at_ns)
        if place < len(self._kept) and isinstance(self._kept[place].order, StartClock):
            place += self._kept[place].at_ns <= now_ns + starts_ahead_ns
        due, self._kept = self._kept[:place], self._kept[place:]
        stop, self._stop = self._stop, None
        return (*(() if stop is None else (stop,)), *due)

    def clear(self, by: str) -> None:
        """Forget all orders that are kept, since the rig was stopped otherwise; `by` says who did, for the words."""
        if self._kept:
            self._clear_after(self._kept[0].at_ns - 1, by)

    def troubles(self) -> tuple[str, ...]:
        """Return what the operator should know since the last call, in plain words."""
        return self._complaints.take()

    def _clear_after(self, at_ns: int, by: str) -> None:
        place = bisect_right(self._kept, at_ns, key=_at_ns)
        self._kept, later = self._kept[:place], self._kept[place:]
        if not later:
            return
        self.cleared += len(later)
        first = later[0].by
        what = first if len(later) == 1 else f"{first} and {len(later) - 1} more"
        self._complaints.tell("cleared", f"{what} was to come later and is forgotten, since {by} stopped")


def _stands(kept: list[Due]) -> bool:
    return len(kept) > 1 and all(isinstance(one.order, StopClock) for one in kept[-2:])


def _off(late_ns: int) -> str:
    ahead = f"is for a time {-late_ns / 1e9:.0f} s ahead, which is further than an hour"
    back = f"is for a time {late_ns / 1e9:.1f} s ago"
    mend = "Set the sender's clock and this machine's by the same time server, or send without a timetag"
    return f"{ahead if late_ns < 0 else back}; nothing was done. {mend}"
