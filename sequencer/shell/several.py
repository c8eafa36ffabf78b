"""Several outputs as one: each gets its own axes at its own pace, when it wants them, and all are heard as one rig.

An output whose loss the run outlives opens itself anew, and what it raises is told as a trouble. Where axes are behind
it they were left where they came to rest, and setpoints that went on would pull them along: none go out to it, also
once it is back, before it was told to stop.
"""

from bisect import insort
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from sequencer.adapters.contract import LinkState, Output
from sequencer.errors import LinkError
from sequencer.playback.contact import AGAIN_S
from sequencer.playback.state import SILENT_S
from sequencer.rig.signals import Feedback, Setpoint, Trigger
from sequencer.shell.kinds import NO_PROJECT
from sequencer.shell.outlets import Part
from sequencer.shell.relink import Opener, Relink
from sequencer.timebase.timecode import Timebase

T = TypeVar("T")
Places = NDArray[np.intp]

# How long a rig is silent that the others leave behind: somewhat shorter than what stops them all. One that is sent
# nothing speaks only when it is called.
_SILENT_S = SILENT_S - 0.15


@dataclass(slots=True)
class _Served:
    """An open output with what waits for it. `next_ns` is when its next set is due, by its own pace.

    `left`: the run went on without its axes; `stopped`: it was told to stop since it was sent something last.
    """

    part: Part
    output: Output
    places: Places  # of its axes, as an index
    whole: bool  # it has all axes, in the rig's order
    ahead_ns: int
    period_ns: int
    next_ns: int = 0
    waiting: deque[Setpoint] = field(default_factory=deque)
    triggers: list[Trigger] = field(default_factory=list)
    why: str = ""  # its link is gone, which the run outlives
    heard_ns: int | None = None
    left: bool = False
    stopped: bool = False
    unfired: str = ""  # the newest order to its camera, where that did not go out

    @property
    def spare(self) -> bool:
        """Whether the run outlives its loss."""
        return self.part.on_loss == "go on"

    def lost(self, why: str) -> None:
        """Take in that the run goes on without it."""
        self.why = why
        self.left = self.part.kind.drives
        self.forget()

    def fire(self, trigger: Trigger) -> bool:
        """Fire, and keep in mind where nothing went out: of one that was to wait that is not known before."""
        self.unfired = trigger.name
        if went := self.output.fire(trigger):
            self.unfired = ""
        return went

    def forget(self) -> None:
        """Forget what waits."""
        self.waiting.clear()
        self.triggers.clear()


class Several:
    """The outputs of a run. Error: LinkError from any method, where one is gone without which nothing may move."""

    def __init__(self, served: Sequence[tuple[Part, Output]], axes: int) -> None:
        self._axes = axes
        self._now_ns = 0
        self._served = [
            _Served(
                part,
                output,
                np.array(part.places),
                part.places == tuple(range(axes)),
                round(part.carries.ahead_s * 1e9),
                0 if part.rate_hz is None else round(1e9 / part.rate_hz),
            )
            for part, output in served
        ]

    def filenos(self) -> tuple[int, ...]:
        """Return the descriptors that become readable when a rig has spoken."""
        numbers = (one.output.fileno() for one in self._served)
        return tuple(number for number in numbers if number is not None)

    def fileno(self) -> int | None:
        """Return none, since there may be several: see `filenos`."""
        return None

    def send(self, setpoint: Setpoint) -> None:
        """Hand each output its part; NaN for an axis means that its output is not to be told anything."""
        gaps = bool(np.isnan(setpoint.position).any())
        for one in self._served:
            own = setpoint if one.whole else _part_of(setpoint, one.places)
            if setpoint.due_ns < one.next_ns or one.left or (gaps and np.isnan(own.position).any()):
                continue
            if one.period_ns:
                # by its own pace, not from the tick that came somewhat behind it; after a pause the pace begins anew
                behind = setpoint.due_ns - one.next_ns >= one.period_ns
                one.next_ns = (setpoint.due_ns if behind else one.next_ns) + one.period_ns
            one.stopped = False
            one.waiting.append(own)
        self._release()

    def replace(self, from_ns: int) -> None:
        def withdraw(one: _Served) -> None:
            while one.waiting and one.waiting[-1].due_ns >= from_ns:
                one.waiting.pop()
            one.next_ns = min(one.next_ns, from_ns)
            if one.ahead_ns:
                one.output.replace(from_ns)

        self._each(withdraw)

    def fire(self, trigger: Trigger) -> bool:
        """Return whether a camera behind any of them is told; one that does not schedule is so when it is due."""

        def fire(one: _Served) -> bool:
            if trigger.name not in one.part.carries.triggers:
                return False
            if trigger.due_ns - one.ahead_ns <= self._now_ns:
                return one.fire(trigger) and one.part.kind.camera
            insort(one.triggers, trigger, key=lambda waits: waits.due_ns)
            return one.part.kind.camera

        return any(self._each(fire))

    def read(self, heard_ns: int) -> tuple[Feedback, ...]:
        def read(one: _Served) -> list[Feedback]:
            answers = one.output.read(heard_ns)
            if answers:
                one.heard_ns = heard_ns
            return [self._of_all(one, answer) for answer in answers]

        return tuple(answer for some in self._each(read) for answer in some)

    def ask(self) -> None:
        self._each(lambda one: one.output.ask())

    def look(self, now_ns: int) -> None:
        def look(one: _Served) -> None:
            one.output.look(now_ns)
            one.why = ""  # where looking raises nothing, the link is open
            most_s = AGAIN_S if one.stopped else _SILENT_S
            silent = one.heard_ns is not None and now_ns - one.heard_ns > most_s * 1e9
            if silent and one.spare and one.part.kind.drives:
                one.lost(f"it has not answered for {most_s:g} s; check its power and its cable")
            elif one.stopped:
                one.left = False

        self._now_ns = now_ns
        self._each(look)
        self._release()

    def link(self, now_ns: int) -> LinkState:
        """Return the worst that is known of any, and which axes were left behind."""
        states = self._each(lambda one: one.output.link(now_ns) if one.part.kind.drives else LinkState())
        trips = [state.round_trip_s for state in states if state.round_trip_s is not None]
        lost = [state.lost for state in states if state.lost is not None]
        left = tuple(place for one in self._served if one.left for place in one.part.places)
        return LinkState(max(trips, default=None), max(lost, default=None), left)

    def stop(self) -> None:
        for one in self._served:
            one.forget()
            one.stopped = True
        self._each(lambda one: one.output.stop())

    def here(self, axis: str, value: float) -> None:
        for one in self._served:
            if one.part.kind.drives and axis in one.part.rig.names:
                one.output.here(axis, value)

    def trouble(self) -> str:
        lost = [
            f"{one.part.outlet.address} is lost, and the others go on: {one.why}" for one in self._served if one.why
        ]
        back = [one for one in self._served if one.left and not one.why]
        lost += [f"{one.part.outlet.address} is there again, and is sent nothing before Reset" for one in back]
        lost += [
            f"{one.part.outlet.address} did not take the order {one.unfired}; look what the camera does"
            for one in self._served
            if one.unfired
        ]
        return "; ".join([*lost, *filter(None, self._each(lambda one: one.output.trouble()))])

    def _release(self) -> None:
        """Send what is due by now, or wanted so far ahead."""

        def send(one: _Served) -> None:
            while one.waiting and one.waiting[0].due_ns - one.ahead_ns <= self._now_ns:
                one.output.send(one.waiting.popleft())
            while one.triggers and one.triggers[0].due_ns - one.ahead_ns <= self._now_ns:
                one.fire(one.triggers.pop(0))

        self._each(send)

    def _each(self, act: Callable[[_Served], T]) -> list[T]:
        """Have every output act; what one raises keeps none of the others from it."""
        results, faults = [], []
        for one in self._served:
            try:
                results.append(act(one))
            except LinkError as fault:
                if one.spare:
                    one.lost(str(fault))
                else:
                    one.forget()
                    faults.append(fault)
        if faults:
            raise faults[0]
        return results

    def _of_all(self, one: _Served, answer: Feedback) -> Feedback:
        """Return what one output heard, as an answer of the whole rig."""
        if one.whole:
            return answer
        position = np.full(self._axes, np.nan)
        position[one.places] = answer.position
        switches: tuple[bool | None, ...] = ()
        if answer.switches:
            own = dict(zip(one.part.places, answer.switches, strict=True))
            switches = tuple(own.get(place) for place in range(self._axes))
        return Feedback(answer.at_ns, position, answer.heard_ns, switches)


def _part_of(setpoint: Setpoint, places: Places) -> Setpoint:
    return Setpoint(setpoint.due_ns, setpoint.position[places], setpoint.velocity[places], setpoint.timeline_s)


def _opener(part: Part, timebase: Timebase) -> Opener:
    return lambda: part.kind.open(part.outlet.address, part.rig, timebase)


@contextmanager
def opened(served: Sequence[Part], axes: int, timebase: Timebase = NO_PROJECT) -> Iterator[Several]:
    """Open the outputs of a run; each opens itself anew once its link is gone. Error: LinkError where one cannot be."""
    with ExitStack() as stack:
        links = [stack.enter_context(Relink(_opener(part, timebase))) for part in served]
        yield Several(list(zip(served, links, strict=True)), axes)
