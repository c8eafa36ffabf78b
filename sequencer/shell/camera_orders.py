"""What the camera is still to be told: by people, and along what is armed. Each order goes out once, and is said."""

import math
from collections.abc import Callable

from sequencer.errors import LinkError
from sequencer.playback.firing import Firing, counts, fired
from sequencer.playback.state import STOPS, Phase, State
from sequencer.rig.signals import Trigger, TriggerName
from sequencer.sync.reading import Clock

NOTHING = Firing()


class CameraOrders:
    """The orders of one engine. `fire` hands one to the outputs, `failed` takes a link that went with it.

    What is said has the instant of the order, one of the codes `fired`, `not fired` and, where a link went with the
    order, `perhaps fired`, and words.
    """

    def __init__(
        self,
        fire: Callable[[Trigger], bool],
        failed: Callable[[LinkError], None],
        say: Callable[[int, str, str], None],
    ) -> None:
        self._fire, self._failed, self._say = fire, failed, say
        self._asked: list[TriggerName] = []
        self._firing = NOTHING

    def arm(self, firing: Firing) -> None:
        """Have the camera told what `firing` says, in place of what was armed before."""
        self._firing = firing

    def ask(self, name: TriggerName) -> None:
        """Have the next tick order something; what comes with the tick goes out at once, or is said not to."""
        self._asked.append(name)

    def follow(self, state: State, clock: Clock, due_ns: int) -> None:
        """Order what people asked for, and what is to be done by now, or by the horizon at which `clock` is."""
        asked, self._asked = self._asked, []
        for name in asked:
            self._order(Trigger(due_ns, name))
        if state.phase in STOPS:
            self._firing = NOTHING
        if not (self._firing.orders or self._firing.missed) or not counts(state, clock):
            return
        self._firing, due, missed = fired(self._firing, clock)
        for trigger in due:
            self._order(trigger)
        for order in missed:
            words = f"{order.do} was not fired: the clock was past it; roll back further"
            self._say(clock.at_ns, "not fired", words)

    def next_s(self, phase: Phase) -> float:
        """Return in how long the next order behind the end is due, if the clock runs on; infinite for none."""
        behind = self._behind_s(phase)
        return behind[0] if behind else math.inf

    def last_s(self, phase: Phase) -> float:
        """Return in how long the last order behind the end is due, if the clock runs on; 0 for none."""
        behind = self._behind_s(phase)
        return behind[-1] if behind else 0.0

    def _behind_s(self, phase: Phase) -> list[float]:
        seen_s = self._firing.seen_s
        if phase is not Phase.FINISHED or seen_s is None:
            return []
        return [order.at_s - seen_s for order in self._firing.orders]

    def _order(self, trigger: Trigger) -> None:
        """Order one thing, and say whether it went out; whether it was done nobody hears."""
        code, words = "fired", str(trigger.name)
        try:
            if not self._fire(trigger):
                code, words = "not fired", f"{trigger.name} reached no camera: no output took it"
        except LinkError as fault:
            self._failed(fault)
            code, words = "perhaps fired", f"{trigger.name} may not have gone out: {fault}"
        self._say(trigger.due_ns, code, words)
