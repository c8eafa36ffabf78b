"""One take with whatever goes wrong in it, from one number. `python -m tests.trust --seed N` plays it again."""

import tempfile
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

import numpy as np
from pythonosc.osc_message_builder import OscMessageBuilder

from sequencer.adapters.contract import Chunk
from sequencer.playback.state import MOVING, Phase
from sequencer.rig.signals import TRIGGER_NAMES
from sequencer.shell.messages import Arm, Drive, Fire, Go, Punch, Quit, Reset, Start, TakeHands
from sequencer.shell.shoot import Plan
from sequencer.wire.pad import AXES, PadRow, packed
from tests.sync.master import run as rolled
from tests.trust.disk import Disk
from tests.trust.rules import told
from tests.trust.scene import scene
from tests.trust.world import ORDERS, PADS, TIME, World, simulated

LASTS_S = 6.0
_MOST_S = 3.0  # that an ill lasts
Act = Callable[[World, np.random.Generator], object]


@dataclass(slots=True)
class Outcome:
    """What one seed showed: broken rules in words, and how much of the program it came through."""

    seed: int
    broken: list[str]
    simulated_s: float
    phases: Counter[str] = field(default_factory=Counter)
    happened: Counter[str] = field(default_factory=Counter)


def trial(seed: int) -> Outcome:
    """Play the take of one seed. An exception in the engine is a broken rule too."""
    chance = np.random.default_rng(seed)
    with tempfile.TemporaryDirectory(prefix="trial-", dir=_memory()) as folder:
        world = World(scene(chance), chance, Disk(Path(folder)), own_clock=bool(chance.random() < 0.5))
        happened: Counter[str] = Counter()
        begun_ns = world.now_ns
        broken: list[str] = []
        with simulated(lambda: world.now_ns):
            try:
                _play(world, chance, happened)
            except Exception as fault:  # whatever it is, the engine met it and did not stop the rig in order
                broken.append(f"fault: {type(fault).__name__}: {fault}")
            world.disk.end()
        broken += [*told(world.rules.broken), *world.disk.faults()]
    return Outcome(seed, broken, (world.now_ns - begun_ns - world.slept_ns) * 1e-9, world.phases, happened)


def _memory() -> str | None:
    return "/dev/shm" if Path("/dev/shm").is_dir() else None


def _play(world: World, chance: np.random.Generator, happened: Counter[str]) -> None:
    world.run(0.1)
    shoots = chance.random() < 0.7  # else somebody drives about, and sends it to places
    if shoots:
        _arm(world, chance)
    for _ in range(int(chance.integers(1, 7))):
        name = str(chance.choice(list(ACTS)))
        happened[name] += 1
        world.at(float(chance.uniform(0.0, LASTS_S * 0.9)), partial(ACTS[name], world, chance))
    end_ns = world.now_ns + round(LASTS_S * 1e9)
    while world.now_ns < end_ns:
        world.run(0.25)
        _operate(world, chance, shoots)
    # whatever it was, a stop from here comes to rest
    world.press_stop()
    world.run(1.5)
    if world.phase in (*MOVING, Phase.STOPPING):
        world.rules.broken.setdefault("last stop", f"it is {world.phase} 1.5 s after the last stop")


def _operate(world: World, chance: np.random.Generator, shoots: bool) -> None:
    """Do what an operator does who wants this take, or wants to find the shot: start, reset, arm again, drive."""
    match world.phase:
        case Phase.READY if world.own_clock:
            world.tell(Start())
        case Phase.READY if not any(chunk.port == TIME for chunk in world.wire.arrivals):
            _roll(world, chance)
        case Phase.IDLE | Phase.FINISHED if not shoots:
            (_drive, _go, _hands)[int(chance.integers(3))](world, chance)
        case Phase.STOPPED if chance.random() < 0.5:
            world.rules.reset_by_operator()
            world.tell(Reset())
        case Phase.IDLE | Phase.FINISHED if chance.random() < 0.6:
            _arm(world, chance)


def _arm(world: World, chance: np.random.Generator) -> None:
    project = world.scene.project
    performs = chance.random() < 0.15
    joins = not performs and chance.random() < 0.3
    remote = not performs and chance.random() < 0.3
    plan = Plan(project=project, cue=project.move.cues[0], run=project.move.passes[0], folder=world.disk.folder)
    path = plan.next_path() if chance.random() < 0.5 else None
    world.rules.allow()
    world.tell(
        Arm(
            cue="turn" if path is not None or chance.random() < 0.7 else None,
            speed=str(chance.choice(("1", "1/2", "1"))),
            late="join" if joins else "refuse",
            preroll_s=0.2,
            remote=remote,
            by_hand=(project.rig.names[0],) if performs else (),
            take=None if path is None else str(path),
            heading=None if path is None else plan.heading(path.stem),
        )
    )


def _roll(world: World, chance: np.random.Generator, at_s: float | None = None, speed: float = 1.0) -> None:
    """Have the master begin a little before the cue, or at `at_s` of the project."""
    counting = world.scene.project.timebase.counting
    cue = world.scene.project.move.cues[0]
    rate = float(counting.rate.fraction)
    begin_s = float(cue.start) / rate - 1.2 if at_s is None else at_s
    frame = round(10 * 3600 * rate + begin_s * rate)
    begins_s = world.now_ns * 1e-9 + float(chance.uniform(0.0, 0.2))
    sent = rolled(
        counting, frame, 6.0, chance, at_s=begins_s, sigma_s=float(chance.choice((0.0, 3e-4, 2e-3))), speed=speed
    )
    world.wire.add([Chunk(one.at_ns, one.data, TIME) for one in sent])


def _spoil(world: World, chance: np.random.Generator) -> None:
    """Garble, double or lose part of the timecode that is still to come."""
    kept = []
    how = str(chance.choice(("lose", "garble", "double", "stop")))
    for chunk in world.wire.arrivals:
        hit = chunk.port == TIME and chance.random() < (1.0 if how == "stop" else 0.4)
        if not hit:
            kept.append(chunk)
        elif how == "garble":
            kept.append(Chunk(chunk.stamp_ns, chance.integers(0, 256, 2, np.uint8).tobytes(), TIME))
        elif how == "double":
            kept += [chunk, chunk]
    world.wire.arrivals = kept


def _ill(name: str) -> Act:
    def fall_ill(world: World, chance: np.random.Generator) -> None:
        setattr(world.rig.ills, name, world.now_ns + round(float(chance.uniform(0.02, _MOST_S)) * 1e9))

    return fall_ill


def _message(address: str, *arguments: str | float) -> bytes:
    built = OscMessageBuilder(address)
    for argument in arguments:
        built.add_arg(argument)
    return bytes(built.build().dgram)


def _order(world: World, chance: np.random.Generator) -> None:
    """Somebody on the network orders something, sensible or not."""
    frames = int(chance.integers(0, 100))
    messages: tuple[tuple[str, *tuple[str | float, ...]], ...] = (
        ("/run/start",),
        ("/run/stop",),
        ("/run/locate", str(world.scene.project.timebase.label(frames))),
        ("/run/locate", "noon"),
        ("/run/locate", float("nan")),
        ("/mark/go", "quay"),
        ("/mark/go", "boats"),
        ("/mark/go", "nowhere"),
        ("/cue/take", "turn"),
        ("/cue/take", "x" * 5000),
        ("/rig/pan/position", 1e9),
    )
    data = _message(*messages[int(chance.integers(len(messages)))])
    if chance.random() < 0.3:
        spoilt = bytearray(data)
        spoilt[int(chance.integers(len(spoilt)))] ^= int(chance.integers(1, 256))
        data = bytes(spoilt)
    stamp_ns = world.now_ns + round(float(chance.choice((0.0, 0.3, -5.0, 7200.0))) * 1e9)
    world.wire.add([Chunk(stamp_ns, data, ORDERS)])


def _stop_order(world: World, chance: np.random.Generator) -> None:
    world.wire.add([Chunk(world.now_ns, _message("/stop"), ORDERS)])
    world.rules.asked_to_stop(world.now_ns)


def _flood(world: World, chance: np.random.Generator) -> None:
    world.wire.add([Chunk(world.now_ns, chance.bytes(int(chance.integers(0, 80))), ORDERS) for _ in range(300)])


def _hands(world: World, chance: np.random.Generator) -> None:
    """A pad comes, is taken in hand, is pushed about and let go, or pulled out."""
    world.tell(TakeHands(True))
    world.rules.allow()
    for number in range(60):
        pushed = tuple(float(chance.uniform(-1, 1)) for _ in AXES) if number > 3 else (0.0,) * len(AXES)
        held = frozenset(int(one) for one in chance.integers(0, 14, 2)) | {int(chance.integers(0, 14))}
        row = PadRow(0, "Pad", pushed, held if number > 3 else frozenset(), here=number < 55 or chance.random() < 0.5)
        world.wire.add([Chunk(world.now_ns + number * 20_000_000, packed(row), PADS)])
    world.at(1.3, lambda: world.tell(TakeHands(False)))


def _drive(world: World, chance: np.random.Generator) -> None:
    """The screen's pad is pushed for a while; somebody lets go, or the program hangs with it held."""
    axes, range_deg = len(world.scene.project.rig.axes), None if chance.random() < 0.5 else 30.0
    parts = tuple(float(chance.uniform(-1, 1)) for _ in range(axes))
    for number in range(int(chance.integers(2, 40))):

        def push(parts: tuple[float, ...] = parts) -> None:
            world.rules.allow()
            world.tell(Drive(parts, range_deg=range_deg))

        world.at(number * 0.03, push)


def _go(world: World, chance: np.random.Generator) -> None:
    axes = world.scene.project.rig.axes
    world.rules.allow()
    position = tuple((axis.name, float(chance.normal(0.0, 1.0)) * axis.speed) for axis in axes)
    world.tell(Go(name="there", position=position, part=str(chance.choice(("", "1/2"))), lasts_s=""))


def _sleep(world: World, chance: np.random.Generator) -> None:
    world.sleep(float(chance.choice((0.03, 0.3, 5.0, 3600.0))))


def _late(world: World, chance: np.random.Generator) -> None:
    world.late_ns = round(float(chance.uniform(0.001, 0.2)) * 1e9)


def _full(world: World, chance: np.random.Generator) -> None:
    world.disk.room = int(chance.integers(0, 60_000))


def _slow_disk(world: World, chance: np.random.Generator) -> None:
    world.disk.slow_to_ns = world.now_ns + round(float(chance.uniform(0.5, 6.0)) * 1e9)


def _hang(world: World, chance: np.random.Generator) -> None:
    world.beats = False
    world.at(float(chance.uniform(0.3, 3.0)), lambda: setattr(world, "beats", True))


def _reset(world: World, chance: np.random.Generator) -> None:
    world.rules.reset_by_operator()
    world.tell(Reset())


ACTS: dict[str, Act] = {
    "stop": lambda world, _: world.press_stop(),
    "stop by a stranger": _stop_order,
    "reset at any time": _reset,
    "arm at any time": _arm,
    "start at any time": lambda world, _: world.tell(Start()),
    "punch": lambda world, chance: world.tell(Punch(bool(chance.integers(2)))),
    "fire": lambda world, chance: world.tell(Fire(TRIGGER_NAMES[int(chance.integers(3))])),
    "go": _go,
    "drive": _drive,
    "hands": _hands,
    "order": _order,
    "flood": _flood,
    "quit": lambda world, _: world.tell(Quit()),
    "program ends": lambda world, _: world.leave(),
    "program hangs": _hang,
    "timecode spoilt": _spoil,
    "timecode jumps": lambda world, chance: _roll(world, chance, float(chance.uniform(-2, 6))),
    "timecode of another speed": lambda world, chance: _roll(world, chance, None, float(chance.uniform(0.7, 1.3))),
    "link cut": _ill("cut"),
    "port vanished": _ill("vanished"),
    "link lossy": _ill("lossy"),
    "link slow": _ill("slow"),
    "rig mute": _ill("mute"),
    "rig deaf": _ill("deaf"),
    "axis stalled": _ill("stalled"),
    "rig lying": _ill("lying"),
    "rig mad": _ill("mad"),
    "rig reset": lambda world, _: world.rig.reset(),
    "rig pushed": lambda world, chance: world.rig.push(0.2 * np.array([axis.speed for axis in world.rig.rig.axes])),
    "machine sleeps": _sleep,
    "engine late": _late,
    "disk full": _full,
    "disk slow": _slow_disk,
}
