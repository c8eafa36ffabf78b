"""A rig, a camera and a clock in simulated time, for timelapses: the pure machine, and the real log on a disk.

The rig swings when it arrives, and shakes now and then; the camera counts what it exposed, as a card does. The process
can be killed after any of its acts, with the log's last line torn.
"""

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from sequencer.playback.timelapse import ENDED, Course, Deed, Fire, GoTo, Note, Say, Seen, State, begin, step
from sequencer.project.shot_log import Begun, Doubt, Exposed, Firing, Log, Shot

LOOK_S = 0.04  # how often the program looks
SWING = 0.6  # of the axis's unit, when the rig arrives
_SPEED = 20.0


class Killed(Exception):
    """The process is no more."""


@dataclass(slots=True)
class Rig:
    """One that goes to a pose in a straight way and swings out there. Its word is a little noisy."""

    position: tuple[float, ...]
    noise: float = 0.001
    chance: random.Random = field(default_factory=lambda: random.Random(5))
    begun_s: float = 0.0
    origin: tuple[float, ...] = ()
    target: tuple[float, ...] = ()
    bound_for: int | None = None
    gusts: tuple[tuple[float, float], ...] = ()  # while they last, it shakes

    def go(self, frame: int, pose: tuple[float, ...], now_s: float) -> None:
        self.origin, self.target, self.begun_s, self.bound_for = self.stands(now_s), pose, now_s, frame

    def stands(self, now_s: float) -> tuple[float, ...]:
        """Return where it truly is."""
        if self.bound_for is None:
            return self.position
        way_s, since_s = self.way_s, now_s - self.begun_s
        part = min(1.0, since_s / way_s)
        after_s = max(0.0, since_s - way_s)
        swing = SWING * math.exp(-after_s / 0.15) * math.sin(40 * after_s) if part == 1.0 else 0.0
        shakes = any(begin_s <= now_s < end_s for begin_s, end_s in self.gusts)
        swing += 0.3 * math.sin(25 * now_s) if shakes else 0.0
        return tuple(a + part * (b - a) + swing for a, b in zip(self.origin, self.target, strict=True))

    @property
    def way_s(self) -> float:
        return 0.3 + max(abs(a - b) for a, b in zip(self.origin, self.target, strict=True)) / _SPEED

    def says(self, now_s: float) -> tuple[float | None, ...]:
        return tuple(one + self.chance.gauss(0.0, self.noise) for one in self.stands(now_s))

    def lose_way(self, now_s: float) -> None:
        """Stop where it is: nobody sends it anywhere any more."""
        self.position, self.bound_for = self.stands(now_s), None


@dataclass(slots=True)
class Camera:
    """What is on the card: when each exposure was, and where the rig truly stood."""

    exposed: list[tuple[float, tuple[float, ...]]] = field(default_factory=list)


@dataclass(slots=True)
class Stage:
    """A shoot that may be killed.

    `kills` are acts and instants: `fire after 50.0`, it is killed after the first such act from then on; or `at 50.0`.
    """

    course: Course
    path: Path
    rig: Rig
    camera: Camera = field(default_factory=Camera)
    now_s: float = 0.0
    fired_s: float | None = None
    kills: Iterator[str] = field(default_factory=lambda: iter(()))
    kill: str = ""
    acts: int = 0
    words: list[Say] = field(default_factory=list)
    moves: list[int] = field(default_factory=list)
    steps: int = 0

    def shoot(self) -> State:
        """Begin the log, and expose all that can be until it is killed or has ended. Error: Killed."""
        begun = Begun(of="stage", frames=len(self.course.poses), begins=self.course.begins_s, sha256="0")
        with Log.begin(self.path, begun) as log:
            return self._fold(log, begin(self.course))

    def resume(self, *, asked: bool = True) -> State:
        """Go on where the log ends; where a frame is in doubt the card is counted, or it is taken again unasked."""
        log, shot = Log.resume(self.path)
        with log:
            first = self._no_doubt(log, shot, asked)
            free_s = shot.free_at + self.course.exposure_s + self.course.camera_s
            return self._fold(log, begin(self.course, first, free_s))

    def _no_doubt(self, log: Log, shot: Shot, asked: bool) -> int:
        if not shot.doubtful:
            return shot.next
        taken = asked and len(self.camera.exposed) > shot.next
        log.add(Doubt(frame=shot.next, taken=taken, asked=asked))
        return shot.next + taken

    def _fold(self, log: Log, state: State) -> State:
        self.kill = next(self.kills, "")
        while state.phase not in ENDED:
            self.now_s += LOOK_S
            self.steps += 1
            state, deeds = step(self.course, state, self.seen())
            self.act("look")
            for deed in deeds:
                self._do(deed, log)
        return state

    def seen(self) -> Seen:
        rig, going = self.rig, self.rig.bound_for is not None
        return Seen(
            now_s=self.now_s,
            standing=not going or self.now_s >= rig.begun_s + rig.way_s,
            bound_for=rig.bound_for,
            actual=rig.says(self.now_s),
            actual_s=self.now_s,
            fired_s=self.fired_s,
        )

    def _do(self, deed: Deed, log: Log) -> None:
        match deed:
            case GoTo(frame, pose):
                self.moves.append(frame)
                self.rig.go(frame, pose, self.now_s)
                self.act("go")
            case Fire():
                self.fired_s = self.now_s
                self.camera.exposed.append((self.now_s, self.rig.stands(self.now_s)))
                self.act("fire")
            case Note(what="firing", frame=frame, at_s=at_s):
                log.add(Firing(frame=frame, at=at_s))
                self.act("firing")
            case Note(what="exposed", frame=frame, at_s=at_s, late_s=late_s, actual=actual):
                log.add(Exposed(frame=frame, at=at_s, late_s=late_s, actual=actual))
                self.act("exposed")
            case Say():
                self.words.append(deed)

    def act(self, what: str) -> None:
        """Count an act; be killed after it where that is its time: `what`, or `at S` for an instant."""
        self.acts += 1
        named, _, from_s = self.kill.rpartition(" ")
        if named in ("at", f"{what} after") and self.now_s >= float(from_s):
            self.rig.lose_way(self.now_s)
            raise Killed(self.kill)


def course(frames: int, interval_s: float, **other: object) -> Course:
    """Return a course of two axes that creep along, at most a unit a frame."""
    poses = [(20 * math.sin(n / 300), 0.3 * n) for n in range(frames)]
    made = Course(
        axes=("pan", "slide"),
        poses=poses,
        times_s=[n * interval_s for n in range(frames)],
        begins_s=10.0,
        exposure_s=0.4,
        camera_s=0.1,
        settle_s=1.0,
        still_s=0.2,
        tolerance=(0.02, 0.02),
    )
    return replace(made, **other)  # type: ignore[arg-type]  # the test's own fields


def killed_often(stage: Stage, kills: list[str], seed: int, *, asked: bool = True) -> tuple[State, int]:
    """Shoot to the end through all kills, each with a gap, half of them with a torn line; return how many."""
    chance = np.random.default_rng(seed)
    stage.kills, count, begun = iter(kills), 0, False
    while True:
        try:
            ended = stage.resume(asked=asked) if begun else stage.shoot()
        except Killed:
            count, begun = count + 1, True
            stage.now_s += float(chance.uniform(2, 20))
            if chance.random() < 0.5:
                with stage.path.open("ab") as file:
                    file.write(b'{"what":"exposed","fra' if chance.random() < 0.5 else b"\x00\x00\x00")
            continue
        return ended, count
