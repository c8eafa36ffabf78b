"""What must hold at every tick, whatever goes wrong, worked out from what went out, and not by the engine's code.

`course` has what holds of setpoints alone; here is what holds of phases, of what the engine says, and of who let what
happen. Source: the promises of docs/safety.md, and of the table at the top of `playback.state`.
"""

from collections import Counter, deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from sequencer.playback.state import MOVING, PLAYING, STOPS, Phase
from sequencer.rig.signals import Floats
from sequencer.shell.messages import Status
from tests.trust.course import Course, Flags
from tests.trust.far_rig import FarRig
from tests.trust.masters import FREEWHEEL_S
from tests.trust.why import ASKED, TRIGGERS, kind, reason

_AT_REST = frozenset({Phase.IDLE, Phase.READY, Phase.STOPPED, Phase.FINISHED})
_WAITS = frozenset({Phase.READY, Phase.FINISHED})
_OBEYED = frozenset({"stopping", "stopped", "stop"})
_ALSO = "Now also: "
_SILENT_NS = 500_000_000  # as docs/safety.md promises
_CALLED_NS = 1_200_000_000  # the same of a rig to which nothing is sent, and which speaks only when it is called
_ASTRAY_NS = 500_000_000
_ASTRAY_PART = 0.15  # of what an axis goes in a second
_ALONE_NS = 1_000_000_000  # without a sign of life of the operator's program
_LAST_NS = 100_000_000  # after a setpoint: the next one stays away for longer only where the link is gone
_PAUSE_NS = 60_000_000  # of the machine, in motion
_PERMIT_NS = 250_000_000  # for how long a push on the screen may still begin to drive
_HELD_NS = 150_000_000  # for how long a hand that says nothing more is taken to hold on
_DRIVEN = 1.25  # by hand an axis brakes with 0.9 of what it can do
_SLOWEST, _FASTEST = 0.84, 1.16  # that a master is followed at, and what a reading of it may be off by
_JUMP_S = 0.1
# Braking ends somewhere in a step: that one still moves, the one behind it shows that all stands, and the phase says so
# a tick later. The fourth is what speeds leave open that are known as means of whole steps: half a step at either end.
SLACK_TICKS = 4


@dataclass
class Far:
    """One rig as the rules see it: `spare` says that the run outlives its loss. Shape: `places`, `stands_ns`, A."""

    rig: FarRig
    course: Course
    places: tuple[int, ...]
    spare: bool = False
    gone: bool = False  # it was silent for too long, and nobody has reset since
    astray_ns: int | None = None
    stranded_ns: int | None = None  # since when it was stopped, and said that it is elsewhere
    outside: str = ""  # an axis that said so at the last look
    stands_ns: Floats | None = None  # by when each axis stands that was told to stop
    been: deque[tuple[int, list[float]]] = field(default_factory=deque)
    seen: int = 0

    def moving(self, now_ns: int) -> Flags:
        """Which axes setpoints move that the engine could have taken back. Shape: A.

        One that gets none any more, or was told to stop, does what it does by itself. So does one whose port is gone:
        nobody can withdraw what is in its buffer.
        """
        last, rig = self.course.last, self.rig
        told_ns = rig.stops_ns[-1] if rig.stops_ns else 0
        out_of_reach_ns = min(now_ns, rig.ills.vanished) + rig.ahead_ns if rig.ills.vanished else 0
        since_ns = max(told_ns, out_of_reach_ns, now_ns - _LAST_NS)
        return self.course.moving & (last is not None and last.due_ns > since_ns)

    def beyond(self) -> str:
        """Return an axis that says it stands well outside its travel, or nothing."""
        axes = zip(self.rig.rig.axes, self.rig.told.tolist(), strict=True)
        off = (
            axis.name
            for axis, said in axes
            if axis.travel and max(axis.travel[0] - said, said - axis.travel[1]) > _ASTRAY_PART * axis.speed
        )
        return next(off, "")


@dataclass
class Rules:
    """The rules of one run. `look` is called after each tick; `broken` says what did not hold, at most once each.

    `thrown` are the names of all that went wrong or was done so far. `quiet_ns`: since when no timecode came,
    `alive_ns`: since when the operator's program gave no sign of life, `hand_ns` since when no hand did.
    """

    period_ns: int
    ahead_ns: int = 0
    committed_ns: int = 0
    fars: list[Far] = field(default_factory=list)
    thrown: set[str] = field(default_factory=set)
    quiet_ns: int = 0
    alive_ns: int = 0
    hand_ns: int = 0
    broken: dict[str, str] = field(default_factory=dict)
    causes: Counter[str] = field(default_factory=Counter)  # given for a stop, as `why` knows them
    reset: bool = False
    hands: bool = False  # pads are taken in hand
    lets: frozenset[str] = frozenset()  # what the operator let what is armed do: "remote", "joins"
    _permits: dict[str, tuple[int, frozenset[str]]] = field(default_factory=dict)
    _moved: bool = False  # since this engine began
    _before: Phase = Phase.IDLE
    _cause: str = ""  # that was told at the last look
    _rests_ns: int | None = None
    _asked_ns: int | None = None  # a stop was asked for, and not seen to be obeyed
    _brakes_ns: int | None = None  # from when on all that plays was made by a stop
    _let_go_ns: int | None = None  # by when all stands that no hand drives any more
    _clock: tuple[int, float] | None = None  # when the clock was looked at last, and where it was
    _woke_ns: int = 0
    _slept: bool = False  # too long, in motion
    _told: int = 0

    def permit(self, what: str, now_ns: int, *lets: str) -> None:
        """An operator, at this machine, let something move: "arm", "go" or "drive"."""
        self._permits[what] = now_ns, frozenset(lets)

    def asked_to_stop(self, now_ns: int) -> None:
        if self._asked_ns is None:
            self._asked_ns = now_ns

    def paused(self, now_ns: int, pause_ns: int) -> None:
        """The whole machine, or the engine, stood still up to now."""
        self._woke_ns = now_ns
        self._slept = pause_ns > _PAUSE_NS and self._before in MOVING
        self._clock = None
        self._permits = {what: (at_ns + pause_ns, lets) for what, (at_ns, lets) in self._permits.items()}
        if self._asked_ns is not None:
            self._asked_ns += pause_ns
        # what it was late with is not made up for: it goes on braking from where it was
        for far in self.fars:
            far.stands_ns = None if far.stands_ns is None else far.stands_ns + pause_ns

    def begun_anew(self) -> None:
        """Another engine runs, which knows nothing of the one before it."""
        self._before, self._rests_ns, self._asked_ns = Phase.IDLE, None, None
        self._brakes_ns = self._let_go_ns = self._clock = None
        self.reset = self.hands = self._moved = False
        self.lets = frozenset()
        self._permits.clear()
        for far in self.fars:
            far.course.begin_anew(outside=True)
            far.gone, far.astray_ns, far.stranded_ns, far.stands_ns = False, None, None, None
            far.rig.heard_ns = far.rig.now_ns

    def look(self, now_ns: int, phase: Phase, status: Status, said: Sequence[tuple[str, str]]) -> None:
        """Look at what one tick did; `said` is all since the run began."""
        news, self._told = said[self._told :], len(said)
        self._moved = self._moved or phase in MOVING
        codes = {code for code, _ in news}
        if "reset" in codes:
            # also where a stop comes in the same tick
            self.lets = frozenset()
            for far in self.fars:
                self._reset(now_ns, far)
        if phase not in _AT_REST or self._before not in _AT_REST:
            self._rests_ns = now_ns + self.ahead_ns if phase in _AT_REST else None
        for far in self.fars:
            sent = far.course.look(far.rig.sent, far.rig.played, far.rig.told, self._rests_ns)
            if far.rig.answers:
                self._rig(now_ns, phase, far, sent, status)
                far.outside = far.beyond()
            elif sent and not self._moved:
                self._break("unasked", "a rig that never says where it stands is sent somewhere, and nothing was armed")
        self._phases(now_ns, phase, status.cause, news, codes)
        self._unwatched(now_ns, phase)
        self._hand(now_ns, phase)
        self._time(now_ns, phase, status)
        self._stops(now_ns, phase, codes)
        self._before, self._cause = phase, status.cause
        # a reset that was refused, as what was not armed or sent, does nothing later either
        self.reset = False
        self._permits = {what: permit for what, permit in self._permits.items() if what == "drive"}

    # one rig

    def _rig(self, now_ns: int, phase: Phase, far: Far, sent: int, status: Status) -> None:
        silent_ns = now_ns - max(far.rig.heard_ns, self._woke_ns)
        slack_ns = 3 * self.period_ns + 50_000_000
        if far.gone and sent:
            self._break("pulled along", "it is sent setpoints after it fell silent, and nobody has reset")
        far.gone = far.gone or silent_ns > _SILENT_NS + slack_ns
        # one that was reset just now spoke only when it was called
        most_ns = _CALLED_NS if self._before in STOPS else _SILENT_NS
        if silent_ns > most_ns + slack_ns and not far.spare and phase not in STOPS:
            self._break("silence", f"{silent_ns * 1e-9:.2f} s without an answer, and it is {phase}")
        if far.spare:
            return
        places = [status.actual[place] for place in far.places] if status.actual else []
        claims = any(one is not None for one in places)
        if silent_ns > _CALLED_NS + slack_ns and (claims or status.link == "up"):
            words = f"the link is {status.link} and the rig told to stand at {places}"
            self._break("known", f"{words}, {silent_ns * 1e-9:.2f} s after its last word")
        if any(one not in (None, said) for one, said in zip(places, far.rig.told.tolist(), strict=bool(places))):
            self._break("known", f"it is told to stand at {places}, and said {far.rig.told.tolist()}")
        self._astray(now_ns, phase, far, sent)

    def _reset(self, now_ns: int, far: Far) -> None:
        """A rig that was gone is back by then, and stands where its setpoints may be."""
        if far.gone:
            silent_ns = now_ns - max(far.rig.heard_ns, self._woke_ns)
            if silent_ns > _CALLED_NS + 3 * self.period_ns + 50_000_000:
                self._break("away", f"it was reset, {silent_ns * 1e-9:.2f} s after the rig's last word")
        stranded = far.stranded_ns is not None and now_ns - max(far.stranded_ns, self._woke_ns) > _ASTRAY_NS
        # what it says in the tick of the reset comes too late for that
        if far.outside and far.outside == far.beyond() and (far.gone or stranded):
            self._break("outside", f"it was reset, and would bring in {far.outside}")
        far.course.begin_anew()
        far.gone, far.astray_ns, far.stranded_ns = False, None, None

    def _astray(self, now_ns: int, phase: Phase, far: Far, sent: int) -> None:
        """A rig that keeps saying that it is elsewhere is stopped, and once it is, it is sent nothing."""
        for one in far.rig.played[far.seen :]:
            far.been.append((one.due_ns, one.position.tolist()))
        far.seen = len(far.rig.played)
        while len(far.been) > 1 and far.been[1][0] < now_ns - _ASTRAY_NS:
            far.been.popleft()
        if far.rig.heard_ns != far.rig.now_ns or not far.been:
            far.astray_ns = far.astray_ns if now_ns - far.rig.heard_ns < 200_000_000 else None
            far.stranded_ns = far.stranded_ns if far.astray_ns else None
            return
        axes = zip(far.rig.told.tolist(), far.rig.rig.axes, *(one for _, one in far.been), strict=True)
        off = any(max(min(been) - said, said - max(been)) > _ASTRAY_PART * axis.speed for said, axis, *been in axes)
        far.stranded_ns = (far.stranded_ns or now_ns) if off and phase is Phase.STOPPED else None
        if sent and far.stranded_ns and now_ns - max(far.stranded_ns, self._woke_ns) > _ASTRAY_NS:
            self._break("stranded", "the rig is stopped and says that it is elsewhere, and is sent setpoints")
        if not off or phase in STOPS:
            far.astray_ns = None
            return
        far.astray_ns = far.astray_ns or now_ns
        if now_ns - max(far.astray_ns, self._woke_ns) > _ASTRAY_NS:
            self._break("astray", f"the rig says that it is elsewhere, and it is {phase}")

    # phases

    def _phases(self, now_ns: int, phase: Phase, cause: str, news: Sequence[tuple[str, str]], codes: set[str]) -> None:
        before = self._before
        if phase is not before:
            self._may(now_ns, phase, before)
        if (before in STOPS and phase not in STOPS) or "reset" in codes:
            # it has come to rest before, and somebody pressed reset just now
            if not self.reset or before is Phase.STOPPING:
                self._break("latch", f"a stop cleared itself: {before} became {phase}")
        elif before in STOPS and cause != self._cause:
            self._break("latch", f"it stopped since {self._cause}, and now it is said to be since {cause}")
        if phase not in STOPS:
            return
        # what comes in on top of the cause that is latched was given too
        self.causes.update(kind(text.partition(_ALSO)[2]) for code, text in news if code == "stop" and _ALSO in text)
        self.hands = False
        if not cause:
            self._break("cause", "it stopped, and nobody knows why")
        elif before not in STOPS or "reset" in codes:
            if not any(cause in text for _, text in news):
                self._break("log", f"it stopped, and the log does not say why: {cause}")
            self.causes[kind(cause)] += 1
            unasked = kind(cause) in ASKED and self._asked_ns is None
            if unasked or not reason(cause, self.thrown, now_ns - self.quiet_ns):
                self._break("why", f"it stopped without a reason that was there: {cause}; {sorted(self.thrown)}")
        if before is Phase.STOPPED and phase is Phase.STOPPING:
            self._break("latch", "it brakes after it was stopped")

    def _may(self, now_ns: int, phase: Phase, before: Phase) -> None:
        """Whether somebody at this machine let this begin, now or by letting triggers choose."""
        triggered = "remote" in self.lets and before in _WAITS and bool(self.thrown & TRIGGERS)
        match phase:
            case Phase.LOCATING:
                allowed = self._used("arm", now_ns) or triggered
            case Phase.GOING:
                allowed = self._used("go", now_ns) or triggered
            case Phase.DRIVING:
                allowed = self.hands or self._used("drive", now_ns)
            case Phase.RUNNING | Phase.JOINING | Phase.FREEWHEELING:
                allowed = before in {Phase.READY, Phase.RUNNING, Phase.JOINING, Phase.FREEWHEELING}
                allowed = allowed and (phase is not Phase.JOINING or "joins" in self.lets)
            case _:
                return
        if not allowed:
            self._break("arming", f"{before} became {phase}, and nobody at this machine let it")

    def _used(self, what: str, now_ns: int) -> bool:
        at_ns, lets = self._permits.pop(what, (now_ns - 2 * _PERMIT_NS, frozenset[str]()))
        found = now_ns - at_ns <= _PERMIT_NS
        if found:
            self.lets = lets
        if found and what == "drive":
            self._permits[what] = at_ns, lets
        return found

    def _unwatched(self, now_ns: int, phase: Phase) -> None:
        """Nothing goes on without timecode, without an operator, or after the machine stood still."""
        slack_ns = 3 * self.period_ns + 150_000_000
        quiet_ns, alone_ns = (now_ns - max(since_ns, self._woke_ns) for since_ns in (self.quiet_ns, self.alive_ns))
        if phase in PLAYING and quiet_ns > FREEWHEEL_S * 1e9 + slack_ns:
            self._break("freewheel", f"it is {phase}, {quiet_ns * 1e-9:.2f} s after the last timecode")
        # the tick in which it begins to move has looked after the operator before that
        if {phase, self._before} <= MOVING and alone_ns > _ALONE_NS + slack_ns:
            self._break("alone", f"it is {phase}, {alone_ns * 1e-9:.2f} s after the operator's program was heard last")
        if self._slept and phase in MOVING:
            self._break("asleep", f"the machine stood still in motion, and it is {phase}")
        self._slept = False

    def _hand(self, now_ns: int, phase: Phase) -> None:
        """What no hand holds any more brakes and stands, and after as long again it is no longer driven."""
        slack_ns = SLACK_TICKS * self.period_ns + self.committed_ns
        if phase is not Phase.DRIVING or now_ns - max(self.hand_ns, self._woke_ns) <= _HELD_NS + slack_ns:
            self._let_go_ns = None
        elif self._let_go_ns is None:
            rests_s = max(float(far.course.rests_s().max()) for far in self.fars)
            self._let_go_ns = now_ns + round(_DRIVEN * rests_s * 1e9) + _HELD_NS + slack_ns
        elif now_ns > self._let_go_ns:
            late_s = (now_ns - self.hand_ns) * 1e-9
            self._break("let go", f"it is {phase} {late_s:.2f} s after a hand was heard of")

    def _time(self, now_ns: int, phase: Phase, status: Status) -> None:
        """What is on the timeline follows a clock that runs forward, near its speed, without a jump."""
        before, self._clock = self._clock, (now_ns, status.timeline_s) if phase in PLAYING else None
        if self._clock is None:
            return
        if not _SLOWEST <= status.speed <= _FASTEST:
            self._break("speed of time", f"it is {phase}, and timecode runs at {status.speed:.2f} of its speed")
        if before is not None:
            on_s = status.timeline_s - before[1] - status.speed * (now_ns - before[0]) * 1e-9
            if abs(on_s) > _JUMP_S:
                self._break("jump", f"it is {phase}, and timecode jumped by {on_s:.2f} s")

    # stops

    def _stops(self, now_ns: int, phase: Phase, codes: set[str]) -> None:
        """A stop is obeyed at the next tick or the one behind it, and then all stands as soon as it can.

        What is due within `committed_ns` of that tick can no longer be withdrawn, and plays. From then on every
        setpoint was made by the stop, so how the rig moves at the first of these says how long braking takes
        (`Course.rests_s`), for each axis by itself. On top come whole ticks: see `SLACK_TICKS`.
        A pause of the machine is added: the rig is taken to have waited.
        """
        obeyed = False
        if self._asked_ns is not None:
            # one that a reset clears in the same tick was said to have stopped
            obeyed = phase in STOPS or ("reset" in codes and bool(codes & _OBEYED))
            if not obeyed and now_ns > self._asked_ns + self.period_ns:
                self._break("obeyed", f"a stop was asked for, and it is {phase}")
                obeyed = True
            if obeyed:
                self._asked_ns = None
        if self._brakes_ns is None and (obeyed or (phase is Phase.STOPPING and self._before is not Phase.STOPPING)):
            self._brakes_ns = now_ns + self.committed_ns
        if self._brakes_ns is None or now_ns < self._brakes_ns:
            return
        for far in self.fars:
            if far.stands_ns is None:
                far.stands_ns = now_ns + far.course.rests_s() * 1e9 + SLACK_TICKS * self.period_ns
            late = far.moving(now_ns) & (now_ns > far.stands_ns)
            if late.any():
                axis = far.rig.rig.axes[int(late.argmax())]
                self._break("standstill", f"{axis.name} should stand, and moves, and it is {phase}")
        if phase is Phase.STOPPING and all(
            (now_ns > far.stands_ns).all() for far in self.fars if far.stands_ns is not None
        ):
            self._break("standstill", f"all should stand, and it is {phase}")
        if phase not in (*MOVING, Phase.STOPPING) and not any(far.moving(now_ns).any() for far in self.fars):
            self._brakes_ns = None
            for far in self.fars:
                far.stands_ns = None

    def _break(self, rule: str, words: str) -> None:
        self.broken.setdefault(rule, words)

    def tell(self, rule: str, words: str) -> None:
        """Note what a course found."""
        self._break(rule, words)


def told(broken: dict[str, str]) -> Iterator[str]:
    """Yield each broken rule in words."""
    for rule, words in broken.items():
        yield f"{rule}: {words}"
