"""The simulated rig's camera: what it was told, and when it does that. It opens no port and reads no clock."""

from collections import deque

from sequencer.rig.signals import TRIGGER_NAMES, TriggerName

NAMES: dict[str, TriggerName] = {f"/camera/{name}": name for name in TRIGGER_NAMES}
_KNOWN = 64  # orders with an instant, each of which may come more than once


class Camera:
    """Orders on their way, and those that were done."""

    def __init__(self) -> None:
        self._waiting: list[tuple[int, TriggerName]] = []
        self._known: deque[tuple[int, TriggerName]] = deque(maxlen=_KNOWN)
        self._done: list[tuple[int, TriggerName]] = []

    def order(self, name: TriggerName, due_ns: int, tag: int | None = None) -> None:
        """Take an order in; one with an instant, whose timetag is `tag`, counts once however often it comes."""
        if tag is not None:
            if (tag, name) in self._known:
                return
            self._known.append((tag, name))
        self._waiting.append((due_ns, name))

    def forget(self) -> None:
        """Forget what is not due yet, as a stop has it."""
        self._waiting.clear()

    def play(self, now_ns: int) -> None:
        """Do what is due by now."""
        due = sorted(one for one in self._waiting if one[0] <= now_ns)
        self._waiting = [one for one in self._waiting if one[0] > now_ns]
        self._done += due

    def taken(self) -> list[tuple[int, TriggerName]]:
        """Return what was done since the last call, with the instant at which each was due."""
        done, self._done = self._done, []
        return done
