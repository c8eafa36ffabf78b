"""What the running engine process does beside ticking: it brings the operator's commands and remote orders to the core.

A remote order starts, places and chooses only what the operator armed at this machine; a stop is always obeyed.
"""

import time
from dataclasses import dataclass, field
from fractions import Fraction

from sequencer.errors import ProjectError
from sequencer.live.handling import Deed
from sequencer.live.screen import SCREEN, Push
from sequencer.motion.trajectory import Trajectory
from sequencer.playback import events
from sequencer.playback.firing import before_s
from sequencer.playback.state import MOVING, ON_THE_CLOCK, PLAYING, STOPS, UNARMED, Phase
from sequencer.playback.step import before_arming
from sequencer.project.document import Project
from sequencer.score.marks import Mark
from sequencer.shell.child import Child
from sequencer.shell.cueing import Called, Stretch, as_it_stands, call_up, from_marker, of_cue, performing, whole
from sequencer.shell.desk import Desk
from sequencer.shell.ears import Ears
from sequencer.shell.hands import HandsOn
from sequencer.shell.loop import Engine
from sequencer.shell.memory import Page
from sequencer.shell.messages import (
    Arm,
    Clapped,
    Command,
    Drive,
    Fire,
    Go,
    Pressed,
    Punch,
    Quit,
    Refused,
    Reset,
    Start,
    TakeHands,
)
from sequencer.shell.records import OpenTake
from sequencer.shell.rights import ANOTHERS_CLOCK, OUR_CLOCK, Right
from sequencer.shell.several import Several
from sequencer.shell.visiting import demand_way, mark_of
from sequencer.shell.watchdog import UNWATCHED
from sequencer.sync.orders import Due, GoToMark, Locate, StartClock, StopClock, TakeCue

_ANSWERS_HZ = 250
CAMERA_S = 4.0  # the longest that the end of the program waits for orders to the camera behind the cue
_SPARE_S = 0.1  # before the first order to the camera


@dataclass(slots=True, kw_only=True)
class Duty:
    """All that the running engine process holds. `desk` is None where a master outside clocks the move."""

    child: Child
    project: Project
    timeline: Trajectory
    engine: Engine
    output: Several
    ears: Ears
    desk: Desk | None
    page: Page
    armed: Arm | None = None
    clock_runs: bool = False  # our own, as far as it was told
    pondered: bool = False  # whether something to be armed was worked out since the last tick
    stops: int = 0
    quitting: bool = False
    quit_ns: int = 0
    deserted: bool = False
    was: Phase = Phase.IDLE  # at the last tick
    hands: HandsOn = field(init=False)

    def __post_init__(self) -> None:
        # where no game controllers were opened, there is the screen
        self.hands = self.ears.pads or HandsOn(self.child.rig, self.project.hands)

    @property
    def done(self) -> bool:
        """Whether the process may end: told to, nothing moves any more, and the camera has had its last order."""
        if not self.quitting or self.engine.state.phase in (*MOVING, Phase.STOPPING) or not self.engine.rests:
            return False
        left_s = (self.quit_ns - time.monotonic_ns()) * 1e-9 + CAMERA_S
        return self.engine.camera.next_s(self.engine.state.phase) > left_s

    def ends(self) -> list[int]:
        """Return what to wait on. A source's descriptor may change, and a dead link is always readable."""
        link = [] if self.child.control.gone else [self.child.control.fileno()]
        return [*link, *self.output.filenos(), *self.ears.filenos()]

    def handle(self, command: Command) -> None:
        """Pass on what the operator's program wants."""
        match command:
            case Arm():
                self._arm(command)
            case Start():
                if self.desk is not None and not self.clock_runs:
                    self.desk.start(self._start_ns(time.monotonic_ns()))
                    self.clock_runs = True
            case Drive():
                self._drive(command)
            case TakeHands(on):
                self._take_hands(on)
            case Go():
                self._go(command)
            case Punch(within):
                self.engine.order(events.Punch(within))
            case Fire(name):
                self.engine.camera.ask(name)
            case Clapped(at_ns, text):
                self.engine.say(at_ns, "slate", text)
            case Reset():
                self.engine.order(events.Reset())
            case Quit():
                self.quitting, self.quit_ns = True, time.monotonic_ns()
                if self.engine.state.phase in MOVING:
                    self.engine.order(events.Stop("the operator's program quits"))

    def _drive(self, order: Drive) -> None:
        """Take in what the screen says. A number of axes that is not the rig's is no wish of ours."""
        if len(order.parts) != len(self.child.rig.axes):
            return
        push = Push(parts=order.parts, top=order.top, range_deg=order.range_deg, held=order.held)
        try:
            self.hands.press(push, time.monotonic_ns())
        except ValueError as fault:
            self.child.control.say(Refused(f"not driven: {fault}", 2))

    def _take_hands(self, on: bool) -> None:
        pads = self.ears.pads
        if pads is None:
            self.child.control.say(Refused("no game controllers were opened; start again and name them: pads:", 1))
        else:
            pads.take(on)

    def feel(self, due_ns: int) -> None:
        """Bring what hands want to the core, and what they pressed to the operator's program; a stop at any time."""
        hands, was, phase = self.hands, self.was, self.engine.state.phase
        self.was = phase
        if (was in PLAYING and phase is Phase.FINISHED) or STOPS & {was, phase}:
            # a hand that holds on when the cue is done, or while it is stopped, does not drive away from there
            hands.let_go()
        for done in hands.deeds():
            if done.deed is Deed.STOP:
                self.engine.order(events.Stop("stop was pressed on a game controller"))
            elif done.words and (hands.taken or done.pad == SCREEN):
                self.engine.say(due_ns, "hands", done.words)
            elif hands.taken and done.deed is not None:
                self.child.control.say(Pressed(done.deed, done.pad))
        wishes = hands.wishes(due_ns, self.engine.sent.position)
        if wishes is not None:
            self.engine.order(events.Drive(wishes, due_ns))

    def _go(self, order: Go) -> None:
        """Send the rig where the operator wants it."""
        try:
            mark = mark_of(order)
        except (ValueError, ZeroDivisionError) as fault:
            self.engine.say(time.monotonic_ns(), "refused", f"not sent to {order.name}: {fault}")
            return
        self._send(mark, "")

    def _send(self, mark: Mark, by: str) -> None:
        """Send the rig to a mark, where there is a way; on the timeline there is no time to look for one."""
        if self.engine.state.phase not in ON_THE_CLOCK:
            try:
                demand_way(self.child.rig, self.engine.sent, mark)
            except ValueError as fault:
                # who waits for an operator's order to be obeyed hears nothing of a trigger's
                code = "trigger" if by else "refused"
                self.engine.say(time.monotonic_ns(), code, f"not sent to {mark.name}: {fault}")
                return
            self.hands.send_off()
        self.engine.order(events.Go(mark, by))

    def obey(self, due: Due) -> None:
        """Do what a trigger ordered, as far as the table of rights lets triggers do it."""
        right = (ANOTHERS_CLOCK if self.desk is None else OUR_CLOCK)[type(due.order)]
        match due.order:
            case GoToMark(name) if (mark := self._mark(name)) is not None:
                if self._may_choose(due, name, right):
                    self._send(mark, due.by)
            case TakeCue(name) | GoToMark(name):
                self._call(due, name, right)
            case StartClock() | StopClock() | Locate():
                self._move_clock(due, right)
        if right.stops:
            # counted by where the rig is once all that came before is done
            self.engine.order(events.Stop(f"{due.by} asked for it; find out who sent it, and why", right.stops))

    def _move_clock(self, due: Due, right: Right) -> None:
        """Start, stop or place our own clock, as far as a trigger may; where not, why is said."""
        state = self.engine.state
        if self.desk is None:
            if isinstance(due.order, StopClock) and state.phase in right.stops:
                return
            why = f"{self.ears.follower.told} is the master, and starts, stops and places itself"
        elif right.armed_only and state.armed is None and not self.pondered:
            why = "nothing is armed. Arm at this machine first"
        elif state.phase not in right.clock:
            why = f"it is {state.phase} because {state.cause}. Reset at this machine first"
        else:
            self._set_clock(self.desk, due)
            return
        self._say(f"{due.by} has no effect: {why}")

    def _mark(self, name: str) -> Mark | None:
        return next((mark for mark in self.project.marks if mark.name == name), None)

    def _set_clock(self, desk: Desk, due: Due) -> None:
        """Start, stop or place our own clock at the order's own stamp."""
        match due.order:
            case StartClock() if self.clock_runs:
                self._say(f"{due.by} has no effect: the clock runs already")
                return
            case StartClock():
                desk.start(self._start_ns(due.at_ns))
                words = f"started by {due.by}"
            case Locate(position_s):
                desk.locate(position_s)
                words = f"set to {self.project.timebase.label_at(position_s)} by {due.by}"
            case _:
                desk.halt(due.at_ns)
                words = f"stopped by {due.by}"
        self.clock_runs = isinstance(due.order, StartClock)
        if not self.clock_runs:
            self.engine.order(events.ClockHalted(words))
        self._say(f"the clock was {words}")

    def _start_ns(self, at_ns: int) -> int:
        """Return when a clock of ours starts that shall start at `at_ns`.

        Setpoints that are already made cannot show its start, so it waits for those that follow; always as long, so
        that all takes start alike.
        """
        lead_ns = self.engine.lead_ns
        return at_ns if at_ns >= time.monotonic_ns() + lead_ns else at_ns + lead_ns

    def _say(self, words: str) -> None:
        self.engine.say(time.monotonic_ns(), "trigger", words)

    def _call(self, due: Due, name: str, right: Right) -> None:
        """Have the rig go to another cue or marker, where the operator lets triggers choose."""
        # looked at before it is worked out, which takes time that a moving rig does not give
        if not self._may_choose(due, name, right) or (armed := self.armed) is None:
            return
        try:
            part = (
                of_cue(self.project, name, self.child.setup.run)
                if isinstance(due.order, TakeCue)
                else from_marker(self.project, self.timeline, name, self.child.setup.run)
            )
            called = self._called(part, armed)
        except ValueError as fault:
            self._say(f"{due.by} is refused: {fault}")
            return
        if called.refused:
            self._say(f"{due.by} ({name}) is refused: {called.refused}")
            return
        self._say(f"{name}, chosen by {due.by}")
        self._place(called, armed)
        self.engine.order(events.Recue(called.cued, due.by), firing=called.firing)

    def _may_choose(self, due: Due, name: str, right: Right) -> bool:
        """Whether a trigger may send the rig somewhere now; where not, why is said."""
        phase = Phase.LOCATING if self.pondered else self.engine.state.phase
        if self.armed is None or not self.armed.remote:
            why = "the operator has not let triggers choose what is armed"
        elif phase not in right.chooses:
            why = f"it is {phase}"
        else:
            return True
        self._say(f"{due.by} ({name}) is refused: {why}")
        return False

    def _arm(self, order: Arm) -> None:
        """Have the engine arm; what is armed is worked out here first, which takes longer than a tick may."""
        phase = self.engine.state.phase
        if phase not in UNARMED:
            self.child.control.say(Refused(f"not armed: it is {phase}. {before_arming(phase)}", 1))
            return
        try:
            run = self.child.setup.run
            part = whole(self.project, self.timeline) if order.cue is None else of_cue(self.project, order.cue, run)
            by_hand = performing(self.child.rig, self.project, order)
            called = self._called(part, order)
        except (ValueError, ZeroDivisionError, ProjectError) as fault:
            self.child.control.say(Refused(str(fault), 2))
            return
        if called.refused:
            self.child.control.say(Refused(f"not armed: {called.refused}", 1))
            return
        if called.rough:
            self.engine.say(time.monotonic_ns(), "rough", f"rougher than the motors like: {called.rough}")
        joins = order.late == "join"
        if self.child.rig.combined and (joins or by_hand):
            names = ", ".join(one.name for one in self.child.rig.combined)
            how = "joining" if joins else "axes are performed by hand"
            words = f"while {how}, limits that tie axes together are not kept ({names}); stand clear of what they guard"
            self.engine.say(time.monotonic_ns(), "combined", words)
        self.armed = order
        self._place(called, order)
        freewheel_s = self.child.setup.freewheel_s
        arm = events.Arm(
            cued=as_it_stands(called.cued, self.project, by_hand, self.engine.sent.position),
            freewheel_s=freewheel_s,
            joins=joins,
            remote=order.remote,
            by_hand=by_hand,
            punched=order.punched,
        )
        self.engine.order(arm, self._take(order, called), called.firing)

    def _called(self, part: Stretch, order: Arm) -> Called:
        """Work out what is to be armed. Meanwhile no heart beats; nothing moves either."""
        self.page.set_word(Page.ENGINE_BEAT, UNWATCHED)
        self.pondered = True
        speed = self.project.run(self.child.setup.run).speed * Fraction(order.speed)
        return call_up(self.child.rig, self.project, self.timeline, part, speed, order.until_s)

    def _place(self, called: Called, order: Arm) -> None:
        """Set our own clock before the start, so that whoever starts it has the preroll that was asked for."""
        if self.desk is not None:
            # our own clock lets the camera have its time
            early_s = before_s(called.firing, called.start_s)
            self.desk.locate(called.start_s - max(order.preroll_s, early_s + _SPARE_S if early_s > 0 else 0.0))
            self.clock_runs = False

    def _take(self, order: Arm, called: Called) -> OpenTake | None:
        if order.take is None or order.heading is None:
            return None
        rate = self.project.timebase.rate
        rows_per_s = self.child.setup.tick_hz + _ANSWERS_HZ + 4 * float(rate.fraction)
        return OpenTake(order.take, order.heading, rows_per_s, called.end_s - called.start_s + 60)
