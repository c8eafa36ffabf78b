"""One simulated run: the engine's own code with its duty, its hands, its ears and its records, against a far rig, a
master, an operator and strangers on the network. The clock is simulated, so that a seed replays exactly.
"""

from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast
from unittest.mock import patch

import numpy as np

from sequencer.adapters.contract import Carries, Chunk, OutputKind
from sequencer.live.handling import default_handlings
from sequencer.motion.compile import compile_move
from sequencer.playback.ahead import Timing
from sequencer.playback.state import Phase
from sequencer.rig.outlet import Outlet
from sequencer.shell import duty as duty_file
from sequencer.shell import engine as engine_file
from sequencer.shell import keeper as keeper_file
from sequencer.shell.duty import Duty
from sequencer.shell.ears import Ears
from sequencer.shell.hands import HandsOn
from sequencer.shell.kinds import laws
from sequencer.shell.loop import Engine, Wires
from sequencer.shell.memory import Page
from sequencer.shell.messages import Command, Report, Setup
from sequencer.shell.outlets import Part
from sequencer.shell.relink import Relink
from sequencer.shell.several import Several
from sequencer.sync.internal import InternalFollower
from sequencer.sync.mtc import mtc_follower
from sequencer.sync.osc_orders import OscOrders
from sequencer.sync.reading import Follow
from tests.trust.disk import Disk
from tests.trust.far_rig import FarRig
from tests.trust.rules import Rules
from tests.trust.scene import Scene

BEGIN_NS = 1_000_000_000_000
TIME, ORDERS, PADS = 0, 1, 2  # ports


class Wire:
    """Where timecode, orders and rows of pads come in. `arrivals` are chunks in order of their stamps."""

    address = "trial"

    def __init__(self) -> None:
        self.arrivals: list[Chunk] = []
        self.said: list[str] = []

    def fileno(self) -> int | None:
        return None

    def notices(self) -> tuple[str, ...]:
        said, self.said = tuple(self.said), []
        return said

    def read(self, heard_ns: int) -> tuple[Chunk, ...]:
        count = 0
        while count < len(self.arrivals) and self.arrivals[count].stamp_ns <= heard_ns:
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
    own_clock: bool
    now_ns: int = BEGIN_NS
    beats: bool = True
    late_ns: int = 0  # by which the next tick comes late
    slept_ns: int = 0
    said: list[tuple[str, str]] = field(default_factory=list)
    reports: list[Report] = field(default_factory=list)
    phases: Counter[str] = field(default_factory=Counter)
    ticks: int = 0
    wire: Wire = field(default_factory=Wire)
    rig: FarRig = field(init=False)
    engine: Engine = field(init=False)
    duty: Duty = field(init=False)
    rules: Rules = field(init=False)
    _words: dict[int, int] = field(default_factory=dict)
    _acts: list[tuple[int, int, Callable[[], object]]] = field(default_factory=list)
    _due_ns: int = BEGIN_NS

    def __post_init__(self) -> None:
        project, table = self.scene.project, laws()
        rig, rate = project.rig, project.timebase.rate
        self.rig = FarRig(rig, np.random.default_rng(self.chance.integers(1 << 30)), self.now_ns)
        self.rules = Rules(rig)
        relink = Relink(self.rig.open)
        relink.__enter__()
        kind = OutputKind(
            schemes=("trial",),
            answers=True,
            carries=lambda _address, _rig: Carries(triggers=("record", "cut", "shutter")),
            stop_action="brakes",
            open=cast(Any, lambda *_: self.rig.open()),
        )
        part = Part(
            outlet=Outlet(address="trial:"),
            kind=kind,
            rig=rig,
            places=tuple(range(len(rig.axes))),
            carries=kind.carries("trial:", rig),
            on_loss="stop",
        )
        output = Several([(part, relink)], len(rig.axes))
        follower = InternalFollower() if self.own_clock else mtc_follower(project.timebase, Follow(freewheel_s=0.5))
        pads = HandsOn(rig, default_handlings(rig))
        ears = Ears(
            sources=(cast(Any, self.wire),),
            follower=follower,
            time_port=None if self.own_clock else TIME,
            readers={ORDERS: OscOrders(project.timebase)},
            addresses=("virtual:trial", "osc:9001", "pads:"),
            pads=pads,
            pads_port=PADS,
        )
        timing = Timing(period_ns=round(1e9 / self.scene.tick_hz))
        wires = Wires(output=output, ears=ears, keep=self.disk.put, say=self._say, show=lambda _: None)
        home = np.array([axis.home for axis in rig.axes])
        self.engine = Engine(rig, wires, home, self.now_ns, True, timing)
        setup = Setup(project="", run=None, output="trial:", sync="internal", tick_hz=self.scene.tick_hz)
        control = SimpleNamespace(say=self.reports.append, push=lambda: None, gone=False)
        child = SimpleNamespace(rig=rig, setup=setup, control=control)
        page = SimpleNamespace(word=lambda which: self._words.get(which, 0), set_word=lambda *_: None)
        self.duty = Duty(
            child=cast(Any, child),
            project=project,
            timeline=compile_move(rig, project.move, rate, table),
            engine=self.engine,
            output=output,
            ears=ears,
            desk=cast(Any, follower) if self.own_clock else None,
            page=cast(Any, page),
        )
        self._due_ns = self.now_ns + timing.period_ns

    @property
    def phase(self) -> Phase:
        return self.engine.state.phase

    def at(self, after_s: float, act: Callable[[], object]) -> None:
        """Have something happen so long from now."""
        self._acts.append((self.now_ns + round(after_s * 1e9), len(self._acts), act))
        self._acts.sort(key=lambda one: one[:2])

    def tell(self, command: Command) -> None:
        """Have the operator's program pass a command on."""
        self.duty.handle(command)

    def press_stop(self) -> None:
        """Have the operator press stop: through memory that the next tick looks at."""
        self._words[Page.STOP] = self._words.get(Page.STOP, 0) + 1
        self.rules.asked_to_stop(self.now_ns)

    def leave(self) -> None:
        """Have the operator's program end."""
        self.duty.child.control.gone = True

    def sleep(self, seconds: float) -> None:
        """Have the whole machine sleep: no clock of it counts on, and the rig is on its own."""
        self.now_ns += round(seconds * 1e9)
        self.slept_ns += round(seconds * 1e9)

    def run(self, seconds: float) -> None:
        """Let time pass, tick by tick, as the engine's own loop does."""
        end_ns = self.now_ns + round(seconds * 1e9)
        period_ns = round(1e9 / self.scene.tick_hz)
        while self.now_ns < end_ns:
            self.now_ns = max(self.now_ns, self._due_ns + self.late_ns)
            self.late_ns = 0
            while self._acts and self._acts[0][0] <= self.now_ns:
                self._acts.pop(0)[2]()
            self._tick()
            missed = max(0, (self.now_ns - self._due_ns) // period_ns)
            self.engine.skipped += missed
            self._due_ns += (missed + 1) * period_ns

    def _tick(self) -> None:
        now_ns, due_ns, duty, engine = self.now_ns, self._due_ns, self.duty, self.engine
        if self.beats:
            self._words[Page.OPERATOR_BEAT] = now_ns
        self.rig.now_ns = now_ns
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
        self.phases[engine.state.phase] += 1
        state, rig = engine.state, self.rig
        self.rules.look(now_ns, state.phase, state.cause, self.said, rig.sent, rig.said)

    def _say(self, at_ns: int, code: str, text: str) -> None:
        self.said.append((code, text))


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


def folder_of(parent: Path, seed: int) -> Path:
    """Return a folder for the takes of one run."""
    folder = parent / str(seed)
    folder.mkdir()
    return folder
