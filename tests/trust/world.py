"""One simulated run: the engine's own code with its duty, its hands, its ears and its records, against far rigs, a
master, an operator and strangers on the network. The clock is simulated, so that a seed replays exactly.
"""

from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from types import SimpleNamespace
from typing import Any, cast
from unittest.mock import patch

import msgspec
import numpy as np

from sequencer.adapters.contract import Carries, Chunk, OutputKind
from sequencer.live.handling import default_handlings
from sequencer.motion.compile import compile_move
from sequencer.playback.state import Phase
from sequencer.project.document import Project
from sequencer.project.passed import in_pass
from sequencer.rig.outlet import Outlet
from sequencer.rig.signals import Floats
from sequencer.shell import duty as duty_file
from sequencer.shell import engine as engine_file
from sequencer.shell import keeper as keeper_file
from sequencer.shell.duty import Duty
from sequencer.shell.ears import Ears
from sequencer.shell.hands import HandsOn
from sequencer.shell.kinds import laws
from sequencer.shell.loop import Engine, Wires
from sequencer.shell.memory import Page
from sequencer.shell.messages import Command, Report, Setup, Status
from sequencer.shell.outlets import Part, timing
from sequencer.shell.relink import Relink
from sequencer.shell.several import Several
from sequencer.sync.osc_orders import OscOrders
from tests.trust.course import Course
from tests.trust.disk import Disk
from tests.trust.far_rig import FarRig
from tests.trust.masters import FREEWHEEL_S, Master, Player, master_of
from tests.trust.rules import Far, Rules
from tests.trust.scene import Link, Scene

BEGIN_NS = 1_000_000_000_000
TIME, ORDERS, PADS = 0, 1, 2  # ports
_USUAL_LATE_NS = 60_000  # that any tick comes late by: what was due at its instant has left by then
_KILLED_S = 0.13  # from an engine's end to the watchdog's word to the rig
_ENDS = frozenset({Phase.FINISHED, Phase.STOPPED})
_STATUS = msgspec.msgpack.Decoder(Status)


class Wire:
    """Where timecode, orders and rows of pads come in. `arrivals` are chunks in order of their stamps."""

    address = "trial"

    def __init__(self) -> None:
        self.arrivals: list[Chunk] = []
        self.time_ns = 0  # when time came in last
        self.pads_ns = 0  # when a pad was heard last

    def fileno(self) -> int | None:
        return None

    def notices(self) -> tuple[str, ...]:
        return ()

    def read(self, heard_ns: int) -> tuple[Chunk, ...]:
        if not self.arrivals or self.arrivals[0].stamp_ns > heard_ns:
            return ()
        count = 0
        while count < len(self.arrivals) and self.arrivals[count].stamp_ns <= heard_ns:
            if self.arrivals[count].port == TIME:
                self.time_ns = heard_ns
            elif self.arrivals[count].port == PADS:
                self.pads_ns = heard_ns
            count += 1
        come, self.arrivals = tuple(self.arrivals[:count]), self.arrivals[count:]
        return come

    def add(self, chunks: list[Chunk]) -> None:
        self.arrivals = sorted([*self.arrivals, *chunks], key=lambda chunk: chunk.stamp_ns)


@dataclass
class World:
    """The run, and what it showed. `now_ns` is the simulated clock; `beats` whether the operator's program lives."""

    scene: Scene
    chance: np.random.Generator
    disk: Disk
    clock: list[int]  # what the engine's code reads, as one number
    now_ns: int = BEGIN_NS
    beats: bool = True
    late_ns: int = 0  # by which the next tick comes late
    slept_ns: int = 0
    said: list[tuple[str, str]] = field(default_factory=list)
    reports: list[Report] = field(default_factory=list)
    phases: Counter[str] = field(default_factory=Counter)
    ticks: int = 0
    wire: Wire = field(default_factory=Wire)
    project: Project = field(init=False)  # as its pass runs it
    rigs: list[FarRig] = field(init=False)
    rules: Rules = field(init=False)
    master: Master = field(init=False)
    engine: Engine = field(init=False)
    duty: Duty = field(init=False)
    ended: bool = False  # no engine runs any more
    _parts: list[Part] = field(init=False)
    _words: dict[int, int] = field(default_factory=dict)
    _acts: list[tuple[int, int, Callable[[], object]]] = field(default_factory=list)
    _once: list[tuple[Phase, float, Callable[[], object]]] = field(default_factory=list)
    _due_ns: int = BEGIN_NS
    _status: bytes = b""

    def __post_init__(self) -> None:
        self._go_on(self.now_ns)
        self.project, _ = in_pass(self.scene.project, self.scene.run, laws())
        self.rigs = []
        self._parts = [self._part(link) for link in self.scene.links]
        pace = timing(self._parts, self.scene.tick_hz)
        # what is due before the next tick is not withdrawn either
        committed_ns = max(pace.committed_ns, pace.period_ns) if pace.ahead_ns else 0
        self.rules = Rules(pace.period_ns, pace.ahead_ns, committed_ns, quiet_ns=self.now_ns)
        for rig, part, link in zip(self.rigs, self._parts, self.scene.links, strict=True):
            course = Course(part.rig, self.rules.tell, pace.ahead_ns + 2 * pace.period_ns, answers=link.answers)
            self.rules.fars.append(Far(rig, course, link.places, link.spare))
        self.begin_engine()

    def _part(self, link: Link) -> Part:
        whole = self.project.rig
        rig = replace(whole, axes=tuple(whole.axes[place] for place in link.places))
        far = FarRig(
            rig,
            np.random.default_rng(self.chance.integers(1 << 30)),
            self.now_ns,
            answers=link.answers,
            ahead_ns=round(link.ahead_s * 1e9),
            committed_ns=round(link.committed_s * 1e9),
        )
        self.rigs.append(far)
        carries = Carries(triggers=("record", "cut", "shutter"), ahead_s=link.ahead_s, committed_s=link.committed_s)
        kind = OutputKind(
            schemes=("trial",),
            answers=link.answers,
            carries=lambda _address, _rig: carries,
            stop_action="brakes",
            open=cast(Any, lambda *_: far.open()),
        )
        return Part(
            outlet=Outlet(address="trial:"),
            kind=kind,
            rig=rig,
            places=link.places,
            carries=carries,
            on_loss="go on" if link.spare else "stop",
        )

    def begin_engine(self) -> None:
        """Have an engine begin, as its process does: the rig stands where it says, or where it is taken to stand."""
        project, scene = self.project, self.scene
        rig, rate = project.rig, project.timebase.rate
        served = []
        for far, part in zip(self.rigs, self._parts, strict=True):
            link = Relink(cast(Any, far.open))
            link.__enter__()
            served.append((part, cast(Any, link)))
        output = Several(served, len(rig.axes))
        self.master = master_of(scene.sync, project, self.wire.add, TIME, lambda: self.now_ns)
        pace = timing(self._parts, scene.tick_hz)
        outside = self.master.desk is None
        ears = Ears(
            sources=(cast(Any, self.wire),),
            follower=self.master.follower,
            time_port=TIME if outside or scene.sync == "audio" else None,
            readers={ORDERS: OscOrders(project.timebase)},
            addresses=("virtual:trial", "osc:9001", "pads:"),
            pads=HandsOn(rig, default_handlings(rig)),
            pads_port=PADS,
            starts_ahead_ns=engine_file.starts_ahead_ns(pace, music=scene.sync == "audio"),
        )
        wires = Wires(output=output, ears=ears, keep=self.disk.put, say=self._say, show=self._show)
        position = np.array([axis.home for axis in rig.axes])
        answers = np.zeros(len(position), bool)
        for far, part in zip(self.rigs, self._parts, strict=True):
            if far.answers:
                position[list(part.places)] = far.position + far.count_off
                answers[list(part.places)] = True
        self.engine = Engine(rig, wires, position, self.now_ns, answers.tolist(), pace)
        setup = Setup(
            project="", run=scene.run, output="trial:", sync="internal", tick_hz=scene.tick_hz, freewheel_s=FREEWHEEL_S
        )
        control = SimpleNamespace(say=self.reports.append, push=lambda: None, gone=False)
        child = SimpleNamespace(rig=rig, setup=setup, control=control)
        page = SimpleNamespace(word=lambda which: self._words.get(which, 0), set_word=lambda *_: None)
        self.duty = Duty(
            child=cast(Any, child),
            project=project,
            timeline=compile_move(rig, project.move, rate, laws()),
            engine=self.engine,
            output=output,
            ears=ears,
            desk=cast(Any, self.master.desk),
            page=cast(Any, page),
            stops=self._words.get(Page.STOP, 0),
        )
        self._due_ns = self.now_ns + pace.period_ns
        self.ended = False

    @property
    def phase(self) -> Phase:
        return self.engine.state.phase

    @property
    def timeline_s(self) -> float:
        """Where the master was at the last tick, in seconds from the project's start."""
        return _STATUS.decode(self._status).timeline_s

    @property
    def is_over(self) -> bool:
        """Whether the run has ended, and nobody will begin another."""
        return self.ended and not self._acts

    def _go_on(self, now_ns: int) -> None:
        self.now_ns = self.clock[0] = now_ns

    def at(self, after_s: float, act: Callable[[], object]) -> None:
        """Have something happen so long from now."""
        self._acts.append((self.now_ns + round(after_s * 1e9), len(self._acts), act))
        self._acts.sort(key=lambda one: one[:2])

    def once(self, phase: Phase, after_s: float, act: Callable[[], object]) -> None:
        """Have something happen so long after a phase is next seen."""
        self._once.append((phase, after_s, act))

    def tell(self, command: Command) -> None:
        """Have the operator's program pass a command on."""
        self.duty.handle(command)

    def press_stop(self) -> None:
        """Have the operator press stop: through memory that the next tick looks at."""
        self._words[Page.STOP] = self._words.get(Page.STOP, 0) + 1
        self.rules.thrown.add("stop")
        self.rules.asked_to_stop(self.now_ns)

    def leave(self) -> None:
        """Have the operator's program end."""
        self.rules.asked_to_stop(self.now_ns)
        self.duty.child.control.gone = True

    def sleep(self, seconds: float) -> None:
        """Have the whole machine sleep: no clock of it counts on, and the rig is on its own."""
        self._go_on(self.now_ns + round(seconds * 1e9))
        self.slept_ns += round(seconds * 1e9)
        self.rules.paused(self.now_ns, round(seconds * 1e9))

    def kill_engine(self) -> None:
        """End the engine at once: its watchdog tells the rig to stop, and another run is begun later."""
        self.ended = True
        self._acts, self._once = [], []
        self.at(_KILLED_S, self._stop_rigs)
        self.at(_KILLED_S + 0.7, self._again)

    def _stop_rigs(self) -> None:
        for far in self.rigs:
            far.now_ns = self.now_ns
            if self.now_ns >= far.ills.vanished:
                far.stop()

    def _again(self) -> None:
        """Begin another run where every rig can be reached and says where it stands, else a moment later."""
        ills = [far.ills for far in self.rigs]
        if any(self.now_ns < max(one.vanished, one.cut, one.mute, one.lying, one.mad) for one in ills):
            self.at(0.5, self._again)
            return
        self.wire.arrivals = []
        for far in self.rigs:
            far.now_ns = self.now_ns
            far.move()
            far.ask()
        self.disk.begin_anew()
        self.begin_engine()
        self.rules.begun_anew()

    def run(self, seconds: float) -> None:
        """Let time pass, tick by tick, as the engine's own loop does."""
        end_ns = self.now_ns + round(seconds * 1e9)
        period_ns = round(1e9 / self.scene.tick_hz)
        while self.now_ns < end_ns:
            if self.late_ns:
                self.rules.paused(self._due_ns + self.late_ns, self.late_ns)
            self._go_on(max(self.now_ns, self._due_ns + max(self.late_ns, _USUAL_LATE_NS)))
            self.late_ns = 0
            while self._acts and self._acts[0][0] <= self.now_ns:
                self._acts.pop(0)[2]()
            for far in self.rigs:
                far.now_ns = self.now_ns
                far.move()  # also where nobody can reach it
            if not self.ended:
                self._tick()
                self.ended = self.ended or self.duty.done
            missed = max(0, (self.now_ns - self._due_ns) // period_ns)
            self.engine.skipped += missed
            self._due_ns += (missed + 1) * period_ns

    def _tick(self) -> None:
        now_ns, due_ns, duty, engine = self.now_ns, self._due_ns, self.duty, self.engine
        if self.beats:
            self.rules.alive_ns = now_ns
            self._words[Page.OPERATOR_BEAT] = now_ns
        self.disk.now_ns = now_ns
        if isinstance(self.master.desk, Player):
            self.master.desk.play(now_ns)
        engine.hear(now_ns)
        for due in duty.ears.due(now_ns):
            duty.obey(due)
        engine_file._look_after(duty, due_ns)
        duty.feel(due_ns)
        engine.late_ns = now_ns - due_ns
        engine.tick(due_ns)
        duty.pondered = False
        self.disk.look(now_ns)
        self.ticks += 1
        self.rules.quiet_ns = now_ns if self.scene.sync == "internal" else self.wire.time_ns
        self.rules.hand_ns = max(self.rules.hand_ns, self.wire.pads_ns)
        phase = engine.state.phase
        self.phases[phase] += 1
        # where a rig was told to stop, or is out of reach, it plays what it has, and that was not asked of it any more
        if phase in _ENDS and not any(far.stops_ns or far.ills.vanished for far in self.rigs):
            self.disk.rests(now_ns)
        self.rules.look(now_ns, phase, _STATUS.decode(self._status), self.said)
        for one in [one for one in self._once if one[0] is phase]:
            self._once.remove(one)
            self.at(one[1], one[2])

    def went(self) -> dict[int, Floats]:
        """Return what went out, by when it was due. Shape: (A,), NaN for axes of rigs that were told nothing then."""
        found: dict[int, Floats] = {}
        for far, part in zip(self.rigs, self._parts, strict=True):
            # what is due in the very instant in which the rig is told to stop is played, or not
            stops_ns = set(far.stops_ns)
            for one in far.played:
                if one.due_ns in stops_ns:
                    continue
                whole = found.setdefault(one.due_ns, np.full(len(self.project.rig.axes), np.nan))
                whole[list(part.places)] = one.position
        return found

    def _say(self, at_ns: int, code: str, text: str) -> None:
        self.said.append((code, text))

    def _show(self, status: bytes) -> None:
        self._status = status


@contextmanager
def simulated(world: Callable[[], int]) -> Iterator[None]:
    """Have the engine's code read the simulated clock for as long as the block lasts."""
    clock = SimpleNamespace(monotonic_ns=world, monotonic=lambda: world() * 1e-9, sleep=lambda _: None)
    with (
        patch.object(duty_file, "time", clock),
        patch.object(engine_file, "time", clock),
        patch.object(keeper_file, "time", clock),
    ):
        yield
