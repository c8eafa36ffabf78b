"""Several outputs as one: each gets its own axes at its own pace, when it wants them, and all are heard as one rig.

An output whose loss does not matter to the run opens itself anew, and what it raises is told as a trouble.
"""

from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field, replace
from typing import TypeVar

import numpy as np

from sequencer.adapters.contract import LinkState, Output
from sequencer.errors import LinkError
from sequencer.rig.signals import Feedback, Floats, Setpoint, Trigger
from sequencer.shell.kinds import NO_PROJECT
from sequencer.shell.outlets import Part
from sequencer.shell.relink import Opener, Relink
from sequencer.timebase.timecode import Timebase

T = TypeVar("T")


@dataclass(slots=True)
class _Served:
    """An open output with what waits for it. `next_ns` is when its next set is due, by its own pace."""

    part: Part
    output: Output
    places: Floats  # of its axes, as an index
    whole: bool  # it has all axes, in the rig's order
    ahead_ns: int
    period_ns: int
    next_ns: int = 0
    waiting: deque[Setpoint] = field(default_factory=deque)
    triggers: deque[Trigger] = field(default_factory=deque)
    why: str = ""  # its link is gone, which the run outlives


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
        for one in self._served:
            own = setpoint if one.whole else _part_of(setpoint, one.places)
            # a set at half a tick from the pace's own instant is as near as any
            if setpoint.due_ns < one.next_ns or np.isnan(own.position).any():
                continue
            if one.period_ns:
                one.next_ns = max(one.next_ns + one.period_ns, setpoint.due_ns + one.period_ns // 2)
            one.waiting.append(own)
        self._release()

    def replace(self, from_ns: int) -> None:
        def forget(one: _Served) -> None:
            while one.waiting and one.waiting[-1].due_ns >= from_ns:
                one.waiting.pop()
            one.next_ns = min(one.next_ns, from_ns)
            if one.ahead_ns:
                one.output.replace(from_ns)

        self._each(forget)

    def fire(self, trigger: Trigger) -> bool:
        """Return whether a camera behind any of them is told; one that does not schedule is so when it is due."""
        for one in self._served:
            if trigger.name in one.part.carries.triggers:
                one.triggers.append(trigger)
        self._release()
        return any(one.part.kind.drives and trigger.name in one.part.carries.triggers for one in self._served)

    def read(self, heard_ns: int) -> tuple[Feedback, ...]:
        answers = self._each(lambda one: [self._of_all(one, answer) for answer in one.output.read(heard_ns)])
        return tuple(answer for some in answers for answer in some)

    def ask(self) -> None:
        self._each(lambda one: one.output.ask())

    def look(self, now_ns: int) -> None:
        def look(one: _Served) -> None:
            one.output.look(now_ns)
            one.why = ""  # where looking raises nothing, the link is open

        self._now_ns = now_ns
        self._each(look)
        self._release()

    def link(self, now_ns: int) -> LinkState:
        """Return the worst that is known of any."""
        states = self._each(lambda one: one.output.link(now_ns) if one.part.kind.drives else LinkState())
        trips = [state.round_trip_s for state in states if state.round_trip_s is not None]
        lost = [state.lost for state in states if state.lost is not None]
        return LinkState(max(trips, default=None), max(lost, default=None))

    def stop(self) -> None:
        for one in self._served:
            one.waiting.clear()
        self._each(lambda one: one.output.stop())

    def here(self, axis: str, value: float) -> None:
        for one in self._served:
            if one.part.kind.drives and axis in one.part.rig.names:
                one.output.here(axis, value)

    def trouble(self) -> str:
        gone = [one for one in self._served if one.why]
        lost = [f"{one.part.outlet.address} is lost, and the others go on: {one.why}" for one in gone]
        return "; ".join([*lost, *filter(None, self._each(lambda one: one.output.trouble()))])

    def _release(self) -> None:
        """Send what is due by now, or wanted so far ahead."""

        def send(one: _Served) -> None:
            while one.waiting and one.waiting[0].due_ns - one.ahead_ns <= self._now_ns:
                one.output.send(one.waiting.popleft())
            while one.triggers and one.triggers[0].due_ns - one.ahead_ns <= self._now_ns:
                one.output.fire(one.triggers.popleft())

        self._each(send)

    def _each(self, act: Callable[[_Served], T]) -> list[T]:
        """Have every output act; what one raises keeps none of the others from it."""
        results, faults = [], []
        for one in self._served:
            try:
                results.append(act(one))
            except LinkError as fault:
                one.waiting.clear()
                if one.part.on_loss == "go on":
                    one.why = str(fault)
                else:
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
        return replace(answer, position=position, switches=switches)


def _part_of(setpoint: Setpoint, places: Floats) -> Setpoint:
    return replace(setpoint, position=setpoint.position[places], velocity=setpoint.velocity[places])


def _opener(part: Part, timebase: Timebase) -> Opener:
    return lambda: part.kind.open(part.outlet.address, part.rig, timebase)


@contextmanager
def opened(served: Sequence[Part], axes: int, timebase: Timebase = NO_PROJECT) -> Iterator[Several]:
    """Open the outputs of a run; each opens itself anew once its link is gone. Error: LinkError where one cannot be."""
    with ExitStack() as stack:
        links = [stack.enter_context(Relink(_opener(part, timebase))) for part in served]
        yield Several(list(zip(served, links, strict=True)), axes)
