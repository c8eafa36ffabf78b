"""Shoots a timelapse on a rig: brings it to each frame's pose, has the camera expose it, and keeps the log.

What comes next is decided in `playback.timelapse`; the engine moves the rig and fires, so its guard and its stops are
those of every move. The schedule is the system's clock's, also where that is set, or the machine slept.
"""

import contextlib
import math
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path

from sequencer.motion.lapse import name_of
from sequencer.motion.to_mark import to_mark
from sequencer.playback import timelapse as core
from sequencer.playback.state import Phase
from sequencer.project.shot_log import Doubt, Exposed, Firing, Log, Moved
from sequencer.project.store import save
from sequencer.score.marks import AtSpeed, Mark
from sequencer.shell import shoot
from sequencer.shell.crew import Crew, CrewFailed
from sequencer.shell.kinds import laws
from sequencer.shell.messages import Arm, Fire, Go, Late, Said, Start, Status
from sequencer.shell.outlets import without_files
from sequencer.shell.spread import Spread

_CLOCKS_APART_S, _WORTH_SAYING_S = 0.02, 0.5
_PATIENCE_S = 30.0
_RUN_IN_S = 5.0
_RESTS = frozenset({Phase.IDLE.value, Phase.FINISHED.value})
_SILENT = frozenset(
    {"going", "at mark", "fired", "not fired", "perhaps fired"}
)  # two words for each of thousands of frames


@dataclass(slots=True, kw_only=True)
class Teller:
    """Who watches. `said` gets words; `exposed` each frame with how late it was; `ask` waits for the operator."""

    said: Callable[[str], None]
    exposed: Callable[[int, float], None] = lambda _frame, _late_s: None
    ask: Callable[[str], None] = lambda _words: None


@dataclass(slots=True)
class _Ears:
    """What the engine said of the camera. Unit: seconds of the monotonic clock.

    `certain`: an order that did not go out is known not to have, as far as a link that broke with it tells.
    """

    teller: Teller
    fired_s: float | None = None
    not_fired: str = ""
    certain: bool = False
    watch: shoot.Watch = field(init=False)

    def hear(self, status: Status | None, said: list[Said]) -> None:
        for one in said:
            if one.code == "fired":
                self.fired_s = one.at_ns * 1e-9
            elif one.code in ("not fired", "perhaps fired"):
                self.not_fired, self.certain = one.text, one.code == "not fired"
            elif one.code not in _SILENT:
                self.teller.said(one.text)


def shoot_frames(
    running: Crew, spread: Spread, course: core.Course, first: core.State, log: Log, teller: Teller
) -> None:
    """Expose all frames from `first` on, moving between them. `course` begins on the system's clock.

    Error: CrewFailed where the rig stops, does not come to rest, or no output reaches a camera; TakeError of the log.
    """
    driver = _Driver(running, spread, course, log, teller)
    try:
        driver.shoot(first)
    except KeyboardInterrupt:
        driver.ears.watch.stop()
        raise


@contextlib.contextmanager
def ground(spread: Spread) -> Iterator[Path]:
    """Yield a folder with the move and the rig alone: no pass changes the move, and no camera cue fires beside it."""
    project = spread.project
    move, rig = replace(project.move, passes=()), without_files(project.rig)
    plain = replace(project, move=move, rig=rig, playback=None, camera=(), timelapse=None)
    with tempfile.TemporaryDirectory(prefix="twintake-timelapse-") as temporary:
        folder = Path(temporary) / "project"
        save(folder, plain, laws())
        yield folder


def wall_s() -> float:
    """Return by how much the system's clock is ahead of the monotonic one."""
    return time.time() - time.monotonic()


class _Driver:
    def __init__(self, running: Crew, spread: Spread, course: core.Course, log: Log, teller: Teller) -> None:
        self.ears = _Ears(teller)
        self.ears.watch = shoot.Watch(running, self.ears.hear)
        self._crew, self._spread, self._log, self._teller = running, spread, log, teller
        self._wall = course
        self._offset_s = math.inf
        self._course = course
        self._go_on = False

    def shoot(self, state: core.State) -> None:
        """Fold what is seen until all is done. Unit inside: seconds of the monotonic clock."""
        self._keep_time()
        if math.isfinite(state.free_s):
            state = core.begin(self._course, state.frame, state.free_s - self._offset_s)
        while state.phase is not core.Phase.DONE:
            self._keep_time()
            status = self.ears.watch.look()
            if status is None:
                continue
            if status.phase == Phase.STOPPED:
                raise CrewFailed(f"stopped: {status.cause}. Resume it when that is mended")
            state, deeds = core.step(self._course, state, self._seen(status))
            self._go_on = False
            for deed in deeds:
                self._do(deed)
            if state.phase is core.Phase.FAILED:
                self._failed(state)
            if state.phase is core.Phase.HELD:
                self._teller.ask(f"Frame {state.frame} is next, and waits. Go on?")
                self._go_on = True

    def _keep_time(self) -> None:
        offset_s = wall_s()
        if not abs(offset_s - self._offset_s) < _CLOCKS_APART_S:
            by_s = offset_s - self._offset_s
            if _WORTH_SAYING_S < abs(by_s) < math.inf:
                self._teller.said(f"the system's clock was set by {by_s:+.2f} s, or this machine slept")
            self._offset_s, self._course = offset_s, self._wall.moved(-offset_s)

    def _seen(self, status: Status) -> core.Seen:
        prefix = name_of(0)[:-1]
        bound_for = status.mark.removeprefix(prefix)
        return core.Seen(
            now_s=time.monotonic(),
            standing=status.phase in _RESTS,
            bound_for=int(bound_for) if status.mark.startswith(prefix) and bound_for.isdecimal() else None,
            actual=status.actual,
            actual_s=status.at_ns * 1e-9 - status.silent_s,
            fired_s=self.ears.fired_s,
            not_fired=self.ears.not_fired,
            go_on=self._go_on,
        )

    def _do(self, deed: core.Deed) -> None:
        match deed:
            case core.GoTo(frame, pose):
                position = tuple(zip(self._spread.project.rig.names, pose, strict=True))
                self._crew.tell(Go(name=name_of(frame), position=position, part=str(self._spread.timelapse.speed)))
            case core.Fire():
                self._crew.tell(Fire("shutter"))
            case core.Say(text=text):
                self._teller.said(text)
            case core.Note():
                note(self._log, deed, self._offset_s, self._teller)

    def _failed(self, state: core.State) -> None:
        if self.ears.certain:
            # so that nobody is asked whether it was
            self._log.add(Doubt(frame=state.frame, taken=False, asked=True))
        raise CrewFailed(f"frame {state.frame} was not exposed: {state.trouble}")


def note(log: Log, what: core.Note, offset_s: float, teller: Teller) -> None:
    """Have the log hold it, on the system's clock."""
    at = what.at_s + offset_s
    match what.what:
        case "firing":
            log.add(Firing(frame=what.frame, at=at))
        case "exposed":
            log.add(Exposed(frame=what.frame, at=at, late_s=round(what.late_s, 6), actual=what.actual))
            teller.exposed(what.frame, what.late_s)
        case "moved":
            log.add(Moved(frame=what.frame, by_s=what.late_s))


def shoot_moving(running: Crew, spread: Spread, begins: float, first: int, log: Log, teller: Teller) -> None:
    """Expose all frames from `first` on while the rig moves on its own clock; frame 0 is at `begins`, system's clock.

    Begun in mid-move, the rig comes onto the timeline before the first frame, and what is left is as much later: a
    frame's pose is its instant's, so that a gap cannot be made up for.
    Error: CrewFailed, TakeError.
    """
    ears = _Ears(teller)
    ears.watch = shoot.Watch(running, ears.hear)
    try:
        _shoot_moving(running, ears, spread, begins, first, log)
    except KeyboardInterrupt:
        ears.watch.stop()
        raise


def _shoot_moving(running: Crew, ears: _Ears, spread: Spread, begins: float, first: int, log: Log) -> None:
    plan, start_s = spread.plan, spread.span_s[0]
    times_s = [float(plan.at(frame)) for frame in range(plan.frames)]
    run_in_s = min(times_s[first], _way_s(spread, first) + _RUN_IN_S) if first else 0.0
    from_s = times_s[first] - run_in_s
    late: Late = "join" if from_s > 0 else "refuse"
    ears.watch.arm(Arm(cue=spread.cue.name, speed=str(spread.pace), late=late, preroll_s=-from_s))
    ears.watch.until(Phase.READY, _PATIENCE_S)
    while time.time() < begins + from_s:
        ears.watch.look()
    running.tell(Start())
    begun_at, moved = math.nan, False
    for frame in range(first, plan.frames):
        due_s = start_s + times_s[frame]
        while (status := _on_the_way(ears)).timeline_s + (time.monotonic_ns() - status.at_ns) * 1e-9 < due_s:
            pass
        if math.isnan(begun_at):
            begun_at = time.time() - times_s[frame]
        if not moved and abs(begun_at - begins) > 1.0:
            log.add(Moved(frame=frame, by_s=begun_at - begins))
        moved = True
        if status.phase == Phase.JOINING:
            raise CrewFailed(f"the rig had not come onto the timeline by frame {frame}; resume once more")
        _fire(running, ears, frame, begun_at + times_s[frame], log)


def _on_the_way(ears: _Ears) -> Status:
    while True:
        status = ears.watch.look()
        if status is None:
            continue
        if status.phase == Phase.STOPPED:
            raise CrewFailed(f"stopped: {status.cause}. Resume it when that is mended")
        if status.lock in ("locked", "freewheel"):
            return status


def _fire(running: Crew, ears: _Ears, frame: int, due: float, log: Log) -> None:
    log.add(Firing(frame=frame, at=time.time()))
    asked_s, deadline_s = time.monotonic(), time.monotonic() + _PATIENCE_S
    running.tell(Fire("shutter"))
    while ears.fired_s is None or ears.fired_s < asked_s:
        status = ears.watch.look()
        if ears.not_fired or time.monotonic() > deadline_s:
            if ears.certain:
                log.add(Doubt(frame=frame, taken=False, asked=True))
            why = ears.not_fired or "the engine does not say why"
            raise CrewFailed(f"frame {frame} was not exposed: {why}; look after the camera, then resume")
        if status is not None and status.phase == Phase.STOPPED:
            raise CrewFailed(f"stopped: {status.cause}. Resume it when that is mended")
    at = ears.fired_s + wall_s()
    actual = () if (now := running.status()) is None else now.actual
    log.add(Exposed(frame=frame, at=at, late_s=round(max(0.0, at - due), 6), actual=actual))
    ears.teller.exposed(frame, max(0.0, at - due))


def _way_s(spread: Spread, frame: int) -> float:
    """Return how long the way from the first pose to this frame's takes at half of the speed."""
    rig = spread.project.rig
    still = 0.0 * spread.poses[0]
    mark = Mark(
        name_of(frame), tuple(zip(rig.names, spread.poses[frame].tolist(), strict=True)), AtSpeed(Fraction(1, 2))
    )
    return to_mark(rig, spread.poses[0], still, still, mark).end_s
