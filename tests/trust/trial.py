"""One take with whatever goes wrong in it, from one number. `python -m tests.trust --seed N` plays it again."""

import hashlib
import tempfile
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

import numpy as np

from sequencer.playback.state import MOVING, Phase
from tests.trust.acts import ACTS, arm, drive, go, reset, roll
from tests.trust.disk import Disk
from tests.trust.rules import told
from tests.trust.scene import scene
from tests.trust.world import TIME, World, simulated

LASTS_S = 6.0
_RESTS_S = 1.6
# where an act is thrown some moments after that phase is seen, and how often of all that are thrown in a phase
_AIMED = (Phase.RUNNING, Phase.READY, Phase.LOCATING, Phase.GOING, Phase.JOINING, Phase.FINISHED, Phase.STOPPED)
_AIMED_PART = (0.5, 0.15, 0.1, 0.05, 0.05, 0.1, 0.05)


@dataclass(slots=True)
class Outcome:
    """What one seed showed: broken rules in words, and how much of the program it came through.

    `digest` is that of all that went out, and of every word that was said: equal for what is played again.
    """

    seed: int
    broken: list[str]
    simulated_s: float
    ticks: int = 0
    phases: Counter[str] = field(default_factory=Counter)
    happened: Counter[str] = field(default_factory=Counter)
    causes: Counter[str] = field(default_factory=Counter)
    digest: str = ""

    def broke(self, rule: str) -> bool:
        """Whether a rule was broken; what stands behind its name and a colon is looked for in its words."""
        name, _, words = rule.partition(": ")
        return any(one.startswith(f"{name}: ") and words in one for one in self.broken)


def trial(seed: int, acts: Sequence[str] = ()) -> Outcome:
    """Play the take of one seed; of all that may go wrong only `acts`, where they are given.

    An exception in the engine is a broken rule too.
    """
    chance = np.random.default_rng(seed)
    with tempfile.TemporaryDirectory(prefix="trial-", dir=_memory()) as folder:
        happened: Counter[str] = Counter()
        broken: list[str] = []
        clock = [0]
        with simulated(lambda: clock[0]):
            world = World(scene(chance), chance, Disk(Path(folder)), clock)
            begun_ns = world.now_ns
            try:
                _play(world, chance, happened, acts)
            except Exception as fault:  # whatever it is, the engine met it and did not stop the rig in order
                broken.append(f"fault: {type(fault).__name__}: {fault}")
            world.disk.end()
        broken += [*told(world.rules.broken), *(f"disk: {words}" for words in world.disk.faults(world.went()))]
        digest = _digest(world, folder)
    lasted_s = (world.now_ns - begun_ns - world.slept_ns) * 1e-9
    return Outcome(seed, broken, lasted_s, world.ticks, world.phases, happened, world.rules.causes, digest)


def _memory() -> str | None:
    return "/dev/shm" if Path("/dev/shm").is_dir() else None


def _digest(world: World, folder: str) -> str:
    found = hashlib.sha256()
    for far in world.rigs:
        for one in far.played:
            found.update(one.due_ns.to_bytes(8, "little") + one.position.tobytes())
        found.update(far.position.tobytes())
    for code, text in world.said:
        found.update(f"{code}: {text.replace(folder, '')}\n".encode())
    return found.hexdigest()[:16]


def _play(world: World, chance: np.random.Generator, happened: Counter[str], acts: Sequence[str]) -> None:
    world.run(0.1)
    shoots = chance.random() < 0.75  # else somebody drives about, and sends it to places
    if shoots:
        arm(world, chance)
    for _ in range(int(chance.integers(1, 6))):
        name = str(chance.choice(list(acts or ACTS)))
        act = partial(_throw, name, world, chance, happened)
        if shoots and chance.random() < 0.6:
            phase = _AIMED[int(chance.choice(len(_AIMED), p=_AIMED_PART))]
            world.once(phase, float(chance.uniform(0.0, 1.5)), act)
        else:
            world.at(float(chance.uniform(0.0, LASTS_S * 0.9)), act)
    end_ns = world.now_ns + round(LASTS_S * 1e9)
    while world.now_ns < end_ns and not world.is_over:
        world.run(0.25)
        _operate(world, chance, shoots)
    if world.ended:
        return
    # whatever it was, a stop from here comes to rest
    last_stop(world)


def last_stop(world: World) -> None:
    """Press stop, and see the rig stand in time: of a machine that is awake, for one that sleeps brakes nothing."""
    world.press_stop()
    awake_ns = world.now_ns - world.slept_ns
    while (left_ns := awake_ns + round(_RESTS_S * 1e9) - (world.now_ns - world.slept_ns)) > 0:
        world.run(left_ns * 1e-9)
    if world.phase in (*MOVING, Phase.STOPPING):
        world.rules.tell("last stop", f"it is {world.phase} {_RESTS_S} s after the last stop")


def _throw(name: str, world: World, chance: np.random.Generator, happened: Counter[str]) -> None:
    happened[name] += 1
    world.rules.thrown.add(name)
    ACTS[name](world, chance)


def _operate(world: World, chance: np.random.Generator, shoots: bool) -> None:
    """Do what an operator does who wants this take, or wants to find the shot: start, reset, arm again, drive."""
    if world.ended:
        return
    match world.phase:
        case Phase.READY if world.master.desk is not None:
            roll(world, chance)
        case Phase.READY if not any(chunk.port == TIME for chunk in world.wire.arrivals):
            # a player that is somewhat fast or slow is followed as far as the limits allow
            speed = float(chance.uniform(0.9, 1.14)) if chance.random() < 0.3 else 1.0
            if speed != 1.0:
                world.rules.thrown.add("timecode of another speed")
            roll(world, chance, speed=speed)
        case Phase.JOINING if world.master.desk is not None and chance.random() < 0.2:
            roll(world, chance)
        case Phase.IDLE | Phase.FINISHED if not shoots:
            (drive, go, ACTS["hands"])[int(chance.integers(3))](world, chance)
        case Phase.STOPPED if chance.random() < 0.5:
            reset(world, chance)
        case Phase.IDLE if chance.random() < 0.6:
            arm(world, chance)
        case Phase.FINISHED if chance.random() < 0.3:
            arm(world, chance)
