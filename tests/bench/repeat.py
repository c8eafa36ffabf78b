"""How well two takes of one cue repeat when quarter frames with jitter clock them: the whole engine in simulated time.

Real follower, step, pilot, guard and motor model; only time, the wire and the motors are not real. In a take the
engine's ticks, the master's frames and the motors' steps stand in another random phase to each other.
"""

import argparse
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from rich.console import Console

from sequencer.adapters.contract import LinkState
from sequencer.motion.profile import go_to
from sequencer.motion.trajectory import Trajectory
from sequencer.playback.cued import cue_up
from sequencer.playback.events import Arm
from sequencer.playback.state import Phase
from sequencer.project.store import load_rig
from sequencer.rig import servo
from sequencer.rig.axis import Axis, Camera, Rig
from sequencer.rig.signals import Feedback, Floats, Setpoint, Trigger
from sequencer.shell.ears import Ears
from sequencer.shell.loop import Engine, Wires
from sequencer.sync.mtc import mtc_follower
from sequencer.takes.pixels import pixels
from tests.bench.table import Table
from tests.scenarios.stage import HARBOUR
from tests.sync.master import COUNTINGS, run, ten_o_clock, timebase

COUNTING = COUNTINGS["25"]
JITTER_S = 0.0003
PREROLL_S = 10.0
CUE_S = 12.0
PAN_DEG = 100.0
SPEED = 60.0
CAMERA = Camera(sensor_mm=(24.9, 14.0), pixels=(4096, 2304), focal_mm=35.0, subject_m=3.5)
PIXEL = 0.5
OFF = 5e-5  # the two clocks' crystals differ by up to this part
PAIRS = 20
TICK_HZ = 250
BEGIN_NS = 1_000_000_000


@dataclass(slots=True)
class Head:
    """The output whose other end is the motors' model; `position` is where the axis was at the instants asked for."""

    motors: servo.Motors
    noise: np.random.Generator
    instants_ns: deque[int]
    position: list[float] = field(default_factory=list)

    def fileno(self) -> int | None:
        return None

    def send(self, setpoint: Setpoint) -> None:
        self.motors = servo.command(self.motors, setpoint)

    def replace(self, from_ns: int) -> None:
        raise AssertionError("a rig that schedules nothing was told to replace something")

    def fire(self, trigger: Trigger) -> bool:
        return False

    def read(self, heard_ns: int) -> tuple[Feedback, ...]:
        # answers are one step old, so that an instant always has a step on either side
        until_ns = heard_ns - servo.STEP_NS
        while self.instants_ns and self.instants_ns[0] <= until_ns:
            at_ns = self.instants_ns.popleft()
            before = self._measured(at_ns)
            part = (at_ns - self.motors.at_ns) / servo.STEP_NS
            self.position.append(float((1 - part) * before[0] + part * self._measured(at_ns + servo.STEP_NS)[0]))
        return (Feedback(self.motors.at_ns, self._measured(until_ns), heard_ns),)

    def _measured(self, at_ns: int) -> Floats:
        self.motors = servo.advance(self.motors, at_ns)
        return servo.measure(self.motors, self.noise)

    def ask(self) -> None:
        pass

    def stop(self) -> None:
        raise AssertionError("the engine told the rig to stop")

    def here(self, axis: str, value: float) -> None:
        raise AssertionError("the engine set a count")

    def trouble(self) -> str:
        return ""

    def look(self, now_ns: int) -> None:
        pass

    def link(self, now_ns: int) -> LinkState:
        return LinkState()


def head(noisy: bool) -> Rig:
    """Return the pan axis of the demo rig, with its play, encoder and noise or without."""
    pan: Axis = load_rig(HARBOUR).axes[0]
    pan = replace(pan, home=-PAN_DEG)
    if not noisy:
        pan = replace(pan, backlash=0.0, resolution=0.0, simulated=replace(pan.simulated, noise=0.0))
    return Rig(name=pan.name, axes=(pan,), camera=CAMERA)


def panned(rig: Rig) -> Trajectory:
    """Return a pan that begins with the cue and runs at 60 deg/s for most of its way, with ramps at half the limits."""
    pan = rig.axes[0]
    gentle = replace(rig, axes=(replace(pan, acceleration=pan.acceleration / 2, jerk=pan.jerk / 2),))
    rest = np.zeros(1)
    way = go_to(gentle, np.array([-PAN_DEG]), rest, rest, np.array([PAN_DEG]), SPEED / pan.speed)
    return Trajectory(way.axes, way.first, way.from_s + CUE_S, way.coeffs, way.fit_error)


def take(
    rig: Rig, timeline: Trajectory, off: float, jitter_s: float, tick_hz: int, chance: np.random.Generator
) -> Floats:
    """Shoot one take; return where the axis was at each frame of the cue, at the master's instants. Shape: (F,)."""
    frames = np.arange(round(CUE_S * 25), round((timeline.end_s + 0.2) * 25))
    from_frame = round((CUE_S - PREROLL_S) * 25)
    starts_s = BEGIN_NS * 1e-9 + 0.2 + float(chance.uniform(0.0, 1.0))
    master = run(
        COUNTING,
        ten_o_clock(COUNTING) + from_frame,
        timeline.end_s - CUE_S + PREROLL_S + 1.0,
        chance,
        at_s=starts_s,
        sigma_s=jitter_s,
        speed=1 + off,
    )
    motors_ns = BEGIN_NS - round(chance.uniform(0, servo.STEP_NS))
    true_s = starts_s + (frames - from_frame) / 25 / (1 + off)
    rig_end = Head(servo.at_home(rig, motors_ns), chance, deque(np.rint(true_s * 1e9).astype(int).tolist()))
    follower = mtc_follower(timebase(COUNTING))
    wires = Wires(output=rig_end, ears=Ears(follower=follower), keep=_kept, say=_nothing, show=_nothing)
    engine = Engine(rig, wires, np.array([-PAN_DEG]), BEGIN_NS, answers=True)
    engine.order(Arm(cued=cue_up(rig, timeline, CUE_S, timeline.end_s)))
    waiting = iter(master)
    message = next(waiting)
    now_ns, last_ns = BEGIN_NS, master[-1].at_ns
    while now_ns < last_ns:
        now_ns += round(1e9 / tick_hz)
        while message.at_ns <= now_ns and message is not master[-1]:
            follower.feed(message.at_ns, message.data)
            message = next(waiting)
        engine.hear(now_ns)
        engine.tick(now_ns)
    if engine.state.phase is not Phase.FINISHED:
        raise AssertionError(f"the take is {engine.state.phase}: {engine.state.cause}")
    return np.array(rig_end.position)


def _kept(_: object) -> bool:
    """Take a record, and keep none."""
    return True


def _nothing(*_: object) -> None:
    """Neither kept nor told."""


def differences(noisy: bool, pairs: int, jitter_s: float = JITTER_S, tick_hz: int = TICK_HZ) -> list[Floats]:
    """Return for each pair of takes how far the picture is off at each frame. Shape: (F,) each. Unit: pixels."""
    rig = head(noisy)
    timeline = panned(rig)
    found = []
    for seed in range(pairs):
        chance = np.random.default_rng([seed, 62])
        off = float(chance.uniform(-OFF, OFF))
        one, other = (take(rig, timeline, off, jitter_s, tick_hz, chance) for _ in range(2))
        found.append(pixels(one - other, "pan", "deg", CAMERA))
    return found


def summary(what: str, pairs: Sequence[Floats]) -> tuple[str, ...]:
    every = np.concatenate(pairs)
    peaks = np.array([pair.max() for pair in pairs])
    held = int(np.count_nonzero(peaks <= PIXEL))
    return (
        what,
        f"{np.sqrt(np.mean(every**2)):.3f}",
        f"{np.percentile(every, 99):.3f}",
        f"{np.median(peaks):.3f}",
        f"{peaks.max():.3f}",
        f"{held} of {len(pairs)}",
    )


def tables(pairs: int = PAIRS) -> list[Table]:
    """Return the summary, and the pairs one by one."""
    cases = [
        ("no jitter, rig noise off", differences(False, pairs, 0.0)),
        (f"{JITTER_S * 1e3:g} ms jitter, rig noise off", differences(False, pairs)),
        (f"{JITTER_S * 1e3:g} ms jitter, the demo rig's play, encoder and noise", differences(True, pairs)),
    ]
    return [
        Table(
            f"Two takes of a {SPEED:g} deg/s pan by quarter frames, {PREROLL_S:g} s of preroll, {pairs} pairs",
            (
                "what",
                "rms, px",
                "p99, px",
                "median of the pairs' peaks, px",
                "worst peak, px",
                f"pairs within {PIXEL} px",
            ),
            [summary(*case) for case in cases],
            "At every frame of the cue, at the master's true instants; 35 mm lens, 4096 pixels over 24.9 mm. "
            f"There 0.1 ms of time is {pixels(np.array([SPEED * 1e-4]), 'pan', 'deg', CAMERA)[0]:.3f} pixel.",
        )
    ]


if __name__ == "__main__":
    from tests.bench.__main__ import show

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=int, default=PAIRS)
    for table in tables(parser.parse_args().pairs):
        show(Console(width=160), table)
