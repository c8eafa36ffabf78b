"""The tick: readings > follow > step > pilot > guard > send > record. It reads no clock of its own and decides nothing.

Whoever calls gives the instants, and how late it calls, so that the same code runs live and in simulated time.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import msgspec
import numpy as np

from sequencer.adapters.contract import Output
from sequencer.errors import LinkError
from sequencer.playback import ahead, contact, watch
from sequencer.playback.ahead import Ahead, Made, Timing
from sequencer.playback.events import Action, Arm, Begin, Brake, EngineLate, Event, Join, Recue, Say, Stop, Tick
from sequencer.playback.firing import Firing
from sequencer.playback.guard import Sent, at_rest, guard, limits, strays
from sequencer.playback.pilot import Pilot, Still, joined, obey, plan, planning, settled, taken_over, want
from sequencer.playback.state import MOVING, Phase, State
from sequencer.playback.step import step
from sequencer.rig.axis import Rig
from sequencer.rig.signals import Feedback, Floats, Setpoint, Trigger
from sequencer.shell.camera_orders import NOTHING, CameraOrders
from sequencer.shell.ears import Ears
from sequencer.shell.messages import Status
from sequencer.shell.records import CloseTake, OpenTake, Record
from sequencer.shell.touch import Touch
from sequencer.shell.tour import told
from sequencer.shell.words import Words
from sequencer.sync.reading import Clock
from sequencer.takes.rows import ActualRow, EventRow, Row, SetpointRow, TimecodeRow

_TROUBLE_TICKS = 64  # the output is asked how its link is, every so many ticks
ALONE_S = 0.25  # without a setpoint: a rig has begun to brake by itself
_ENDS = (Phase.FINISHED, Phase.STOPPED)
_AS_DUE = Timing()
TAIL_S = 0.3  # recorded after the end, for answers that are still under way
CAMERA_TAIL_S = 20.0  # recorded after the end at most, for orders to the camera behind it


@dataclass(frozen=True, slots=True, kw_only=True)
class Wires:
    """Where the engine's readings come from and where its results go.

    `keep` takes a record for the take file, and says whether there was room for it; `say` takes a word for people,
    `show` a status row. None of them may wait.
    """

    output: Output
    ears: Ears
    keep: Callable[[Record], bool]
    say: Callable[[int, str, str], None]
    show: Callable[[bytes], None]


class Engine:
    """What ticks carry from one to the next. Error: LinkError from `hear` when a source is gone."""

    def __init__(
        self,
        rig: Rig,
        wires: Wires,
        position: Floats,
        due_ns: int,
        answers: bool | Sequence[bool],
        timing: Timing = _AS_DUE,
    ) -> None:
        """Begin with the rig standing at `position`; `answers`: whether the rig answers, or which axes do. Shape: (A,).

        An axis that never answers may stand anywhere, so it is sent nothing before it is armed.
        """
        self._limits = limits(rig)
        self._wires = wires
        self._timing = timing
        self._ahead = Ahead()
        self._follower = wires.ears.follower
        self._sent = self._now = at_rest(due_ns, position)  # made last, and due last
        self._watch = watch.begin(rig, answers, self._sent)
        self._touch = Touch(wires.output, self._watch.answers, due_ns)
        self._pilot = Pilot(rig, Still(position))
        self._inbox: list[tuple[Event, OpenTake | None, Firing]] = []
        self._released = False  # to axes that do not answer
        self._closing_ns: int | None = None
        self._recording = False
        self._switches: tuple[bool | None, ...] = ()
        self._words = Words()
        self._missing = 0
        self._left: tuple[int, ...] = ()  # axes without which the others move on
        self._encode = msgspec.msgpack.Encoder().encode
        self.state = State()
        self.camera = CameraOrders(self._fire, self._touch.failed, self.say)
        self.held: tuple[float, ...] = ()  # by the guard, at the last tick
        self.late_ns = 0
        self.work_ns = 0  # of the tick before, as whoever calls it measured
        self.ticks = 0
        self.skipped = 0

    def order(self, event: Event, take: OpenTake | None = None, firing: Firing = NOTHING) -> None:
        """Have the next tick begin with `event`.

        Where that arms, `take` is recorded from then on until a moment after the cue's end or a stop, and the camera
        does what `firing` says, until a stop.
        """
        self._inbox.append((event, take, firing))

    @property
    def sent(self) -> Sent:
        """What was made last; due now, or still to come."""
        return self._sent

    @property
    def rests(self) -> bool:
        """Whether what is due stands where all that was made ends."""
        return self._now.stands and self._now.position == self._sent.position

    @property
    def lead_ns(self) -> int:
        """How far ahead of now the setpoints are that are made in this phase."""
        performed = self.state.armed is not None and any(self.state.armed.by_hand)
        return self._timing.lead_ns(self.state.phase, performed)

    def _fire(self, trigger: Trigger) -> bool:
        return self._wires.output.fire(trigger)

    def hear(self, now_ns: int) -> None:
        """Take in what has arrived by `now_ns`."""
        for notice in self._wires.ears.hear(now_ns):
            self.say(now_ns, "link", notice)
        for answer in self._touch.read(now_ns):
            self._watch = watch.hear(self._watch, self._limits, answer)
            self._switches = answer.switches
            if self._recording:
                self._keep(_actual_row(answer), now_ns)

    def tick(self, due_ns: int) -> None:
        """Make the setpoints that are due at `due_ns`, or by the horizon, and send them."""
        clock = self._follower.at(due_ns)
        # what came due before this tick went out, whatever the tick finds
        played = self._due(due_ns + max(0, self.late_ns) - 1)
        self._look_after_link(due_ns)
        self._follow_orders(due_ns, ahead.at_horizon(clock, self.lead_ns))
        self.camera.follow(self.state, ahead.at_horizon(clock, self.lead_ns), due_ns)
        for at_ns in ahead.instants(self._timing, self.lead_ns, self._sent.due_ns, due_ns):
            self._make(at_ns, clock)
            if planning(self._pilot):
                break  # which has its time in each tick, so the horizon is reached again behind it
        self._record((*played, *self._due(due_ns)), due_ns)
        self.ticks += 1
        self._show(clock, due_ns)

    def _due(self, until_ns: int) -> tuple[Made, ...]:
        """Take in what is due by an instant, and return what went out of it."""
        self._ahead, passed = ahead.due(self._ahead, until_ns)
        for made in passed:
            self._now = made.sent
            self._watch = watch.remember(self._watch, made.sent)
        return () if self._touch.contact.withheld else passed

    def _make(self, at_ns: int, clock: Clock) -> None:
        """Make the setpoint that is due at `at_ns`, and send it."""
        try:
            self._pilot = plan(self._pilot, self._sent, at_ns, clock)
        except ArithmeticError as fault:
            # the way that is flown while planning brakes; the next tick stops, latched
            self.order(Stop(f"no way to the timeline was found ({fault}); reset, arm again, and report this"))
        wanted = want(self._pilot, at_ns, clock)
        sends = not self._touch.contact.withheld and (self._released or self._watch.answers)
        timeline_s = clock.position_s + clock.speed * (at_ns - clock.at_ns) * 1e-9
        guarded = guard(self._limits, self._sent, wanted)
        try:
            if sends:
                self._wires.output.send(self._addressed(guarded.setpoint, timeline_s))
        except LinkError as fault:
            self._touch.failed(fault)
        self._sent, self.held = guarded.sent, guarded.gap
        made = Made(guarded.setpoint, timeline_s, guarded.sent, guarded.gap, self.state.phase)
        self._ahead = ahead.add(self._ahead, made)

    def _addressed(self, setpoint: Setpoint, timeline_s: float) -> Setpoint:
        """Return it as it goes out: with the timeline's place, and nothing for axes that may stand anywhere."""
        position = setpoint.position
        if not self._released:
            position = np.where(self._watch.answering, position, math.nan)
        return Setpoint(setpoint.due_ns, position, setpoint.velocity, timeline_s)

    def _next_ns(self, due_ns: int) -> int:
        """Return when the next setpoint to be made is due."""
        return max(due_ns, self._sent.due_ns + self._timing.period_ns) if self._timing.ahead_ns else due_ns

    def _show(self, clock: Clock, due_ns: int) -> None:
        actual, hands = self._watch.position, self._wires.ears.pads
        touch, known = self._touch, self._watch.answers or self._watch.heard_ns is not None
        status = Status(
            at_ns=due_ns,
            phase=self.state.phase,
            cause=self.state.cause,
            source=self._follower.told,
            lost=self._follower.counts.lost,
            lock=clock.lock,
            timeline_s=clock.position_s,
            speed=clock.speed,
            uncertainty_s=clock.uncertainty_s,
            asked=self._now.position,
            actual=() if actual is None else _or_none(actual),
            ticks=self.ticks,
            skipped=self.skipped,
            late_ns=self.late_ns,
            work_ns=self.work_ns,
            hands=hands is not None and hands.taken,
            punched=self.state.punched,
            link="down" if touch.contact.why else "up" if known else "unknown",
            silent_s=watch.silent_s(self._watch, due_ns),
            round_trip_s=touch.state.round_trip_s,
            lost_part=touch.state.lost,
            switches=self._switches,
            mark=told(self.state.mark),
            pads=() if hands is None else hands.settings(),
            camera_s=self.camera.last_s(self.state.phase),
        )
        self._wires.show(self._encode(status))

    def _follow_orders(self, due_ns: int, clock: Clock) -> None:
        next_ns = self._next_ns(due_ns)
        now = Tick(
            now_ns=due_ns,
            clock=clock,
            arrived=settled(self._pilot, next_ns) and watch.near(self._watch, self._limits, self._sent),
            standing=self.rests,
            joined=joined(self._pilot, next_ns, clock),
            silent_s=watch.silent_s(self._watch, due_ns),
            held_back=strays(self._limits, self.held),
            # a rig to which nothing is sent cannot be elsewhere
            astray=None if self._touch.contact.withheld else watch.astray(self._watch, self._limits),
            dropped=self._touch.contact.why,
            outside=contact.outside(self._touch.contact, self._watch, self._limits),
        )
        # a tick that is late was so before anything that is ordered in it
        late = EngineLate(self.late_ns * 1e-9)
        orders, self._inbox = ((late, None, NOTHING), *self._inbox, (now, None, NOTHING)), []
        before = self.state.phase
        for event, take, firing in orders:
            self.state, actions = step(self.state, event)
            if take is not None and self.state.armed is event:
                self._open(take, due_ns)
            if isinstance(event, Arm | Recue) and self.state.armed and self.state.armed.cued is event.cued:
                self.camera.arm(firing)
            for action in actions:
                self._do(action, due_ns)
        self._released = self._released or self.state.phase in MOVING
        if self.state.phase is not before and self.state.phase in _ENDS and (heard := self._wires.ears.heard()):
            self.say(due_ns, "heard", heard)
        for trouble in self._follower.troubles():
            self.say(due_ns, "timecode", trouble)
        for trouble in self._wires.ears.troubles():
            self.say(due_ns, "trigger", trouble)
        if self.ticks % _TROUBLE_TICKS == 0:
            for notice in self._touch.notices(due_ns):
                self.say(due_ns, "link", notice)

    def _do(self, action: Action, due_ns: int) -> None:
        if isinstance(action, Brake | Join):
            self._withdraw(due_ns)
        try:
            self._pilot = obey(self._pilot, action, self._sent, self._next_ns(due_ns))
        except ValueError as fault:
            # there was a way when it was asked for; the rig moved on since
            self.order(Stop(f"{fault}; reset, and send it from where it stands"))
        self._sent = taken_over(self._pilot.rig, self._sent, action)
        match action:
            case Say(code, text):
                self.say(due_ns, code, text)
            case Begin():
                self._begin(due_ns)

    def _withdraw(self, due_ns: int) -> None:
        """Go back to the last set that cannot be withdrawn any more: in a tick that is late, more is due already."""
        self._ahead, last = ahead.withdrawn(self._ahead, self._timing, due_ns + max(0, self.late_ns))
        if last is not None:
            self._sent, self.held = last.sent, last.gap
            self._touch.withdraw(last.sent.due_ns + 1)

    def _look_after_link(self, due_ns: int) -> None:
        """Send nothing any more to a rig that drops, and tell how one stands that is back."""
        before, fault = self._touch.contact, self._touch.look(due_ns)
        fault = fault or self._leave_behind() or self._absent(due_ns)
        stranded = self.state.phase is Phase.STOPPED and watch.astray(self._watch, self._limits) is not None
        now = self._touch.contact = contact.attend(before, self._watch, fault, due_ns, stranded)
        if now.why and not before.why:
            self._watch = watch.forget(self._watch)
            self._stand(contact.begun(now, self._watch, self._limits, self._sent))
            self._touch.stop()
        elif before.why and not now.why:
            self._touch.stop()
            trip_s = self._touch.measure(due_ns).round_trip_s
            words = contact.back(now, self._watch, self._limits, self._sent, trip_s, due_ns)
            self.say(due_ns, "link", words)
        elif now.why:
            self._watch = contact.faded(self._watch, due_ns)
        elif now.withheld and not before.withheld:
            self._touch.stop()
            self.say(due_ns, "link", contact.stranded(self._watch, self._limits, self._sent))

    def _absent(self, due_ns: int) -> str:
        """Return why the rig was on its own in mid-motion: this machine slept, and what it made last is long past.

        Going on from there would move a rig that has come to rest by itself, however long ago.
        """
        alone_s = (due_ns - self._sent.due_ns) * 1e-9
        if alone_s <= ALONE_S or self.state.phase not in (*MOVING, Phase.STOPPING):
            return ""
        return f"this machine stood still for {alone_s:.1f} s while the rig moved; keep it from sleeping"

    def _leave_behind(self) -> str:
        """Go on without axes that may be lost, as long as the others move; return what stops the rig behind that."""
        left = self._touch.state.left
        if self.state.phase in MOVING or self.state.phase is Phase.STOPPING:
            if left != self._left:
                self._left, self._watch = left, watch.leave(self._watch, left)
            return ""
        self._left = ()
        names = ", ".join(self._limits.names[place] for place in left)
        return f"the link to {names} was lost, and what the others did without is over; look after it" if left else ""

    def _begin(self, due_ns: int) -> None:
        """Take the rig to stand where it says, and have it listen where it was told to stop."""
        words = contact.elsewhere(self._watch, self._limits, self._sent)
        dropped = self._touch.contact.withheld
        # one that dropped in this very tick is stopped again behind this
        if self._touch.contact.why or not (words or dropped):
            return
        to_come = Ahead() if dropped else self._ahead  # a rig that was not told to stop plays that before
        self._stand(contact.begun(self._touch.contact, self._watch, self._limits, self._sent))
        self._ahead = to_come
        self._watch = watch.anew(self._watch, self._pilot.rig, self._sent)
        if words:
            self.say(due_ns, "link", f"it begins from where the rig stands: {words}")
        if dropped:
            self._released = False
        # also where only an axis is elsewhere: a stop that came late may have kept the rig from listening
        self._touch.resume(due_ns)

    def _stand(self, at: Sent) -> None:
        self._sent = self._now = at
        self._pilot, self.held, self._ahead = Pilot(self._pilot.rig, Still(np.array(at.position))), (), Ahead()

    def _open(self, take: OpenTake, due_ns: int) -> None:
        self._recording, self._closing_ns, self._missing = self._wires.keep(take), None, 0
        if not self._recording:
            self.say(due_ns, "take", "the take is not recorded: an earlier one still waits for a slow disk")

    def _keep(self, row: Row, at_ns: int) -> None:
        """Record one row, or count that it found no room; the first time that is said."""
        if self._wires.keep(row):
            return
        self._missing += 1
        if self._missing == 1:
            self.say(at_ns, "take", "rows of the take are missing, since the disk is too slow. The move goes on")

    def _record(self, passed: tuple[Made, ...], due_ns: int) -> None:
        sightings = self._follower.sightings()
        if not self._recording:
            return
        for stamp_ns, position_s in sightings:
            self._keep(TimecodeRow(stamp_ns, position_s), due_ns)
        for one in passed:
            velocity, place = tuple(one.setpoint.velocity.tolist()), one.sent.position
            self._keep(SetpointRow(one.sent.due_ns, one.timeline_s, one.phase, place, velocity), due_ns)
        if self._closing_ns is None:
            if self.state.phase in _ENDS:
                last_s = min(self.camera.last_s(self.state.phase), CAMERA_TAIL_S)
                self._closing_ns = max(due_ns, self._sent.due_ns) + round((last_s + TAIL_S) * 1e9)
        elif due_ns >= self._closing_ns:
            # where there is no room for this, it is tried again at the next tick
            self._recording = not self._wires.keep(CloseTake(self._missing))

    def say(self, at_ns: int, code: str, text: str) -> None:
        """Tell the operator, and keep it in the take that is being recorded; of a flood from outside not everything."""
        fit = self._words.fit(at_ns, code, text)
        if fit is None:
            return
        self._wires.say(at_ns, code, fit)
        if self._recording:
            self._keep(EventRow(at_ns, code, fit), at_ns)


def _or_none(position: Floats) -> tuple[float | None, ...]:
    return tuple(None if math.isnan(value) else value for value in position.tolist())


def _actual_row(answer: Feedback) -> ActualRow:
    return ActualRow(answer.at_ns, answer.heard_ns, _or_none(answer.position))
