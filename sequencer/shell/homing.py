"""Homes an axis on the rig itself: drives it as a hand would, slowly, and tells the rig where it then stands.

What it does next is decided in `live.homing`. The engine drives, so its guard and its stops are those of every move.
The rig is told where it stands only while no engine runs: a setpoint of the old count behind it would send the axis
away.
"""

import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass
from statistics import median, pstdev

import numpy as np

from sequencer.adapters.contract import Output
from sequencer.errors import LinkError
from sequencer.live.homing import ENDED, Search, Seen, Stage, begin, given_up, look, part, slowed
from sequencer.playback.state import STOPS, UNARMED, Phase
from sequencer.project.document import Project
from sequencer.project.store import save
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.signals import Feedback
from sequencer.score.move import Move
from sequencer.shell import shoot
from sequencer.shell.crew import Crew, crew
from sequencer.shell.kinds import laws
from sequencer.shell.messages import Drive, Said, Setup, Status
from sequencer.shell.outlets import parts, without_files
from sequencer.shell.several import opened
from sequencer.shell.trials import TIMEBASE, Ground

_SAYS_S = 2.0  # for the rig's words on where it stands
_LISTENS_S = 0.3  # long enough for some readings
_ASK_S = 0.1
_LOOK_S = 0.01
_WORTH_SAYING = frozenset({"stopping", "stopped", "link", "refused"})
_STEP_OFF = 1.5  # encoder steps that a count may be off once it was told
_WRITTEN = 1e-6  # of a value, as numbers of 32 bits carry it


@dataclass(frozen=True, slots=True)
class Readings:
    """What the rig said for a moment, newest last: where its axes stand, and how their switches are."""

    heard: tuple[Feedback, ...]
    rig: Rig

    @property
    def stands(self) -> dict[str, float]:
        """Where each axis stands. Error: LinkError that names those of which the rig says nothing."""
        places = {axis.name: self.of(axis.name) for axis in self.rig.axes}
        silent = [name for name, said in places.items() if not said]
        if silent:
            raise LinkError(f"the rig does not say where {', '.join(silent)} stands; let it send each /rig/AXIS/actual")
        return {name: float(median(said)) for name, said in places.items()}

    def of(self, axis: str) -> list[float]:
        """Return all that was said of where one axis stands."""
        place = self.rig.index(axis)
        said = (float(one.position[place]) for one in self.heard)
        return [value for value in said if np.isfinite(value)]


def stands(ground: Ground) -> dict[str, float]:
    """Return where each axis says it stands; no setpoint is sent. Error: LinkError where one does not say."""
    with _reached(ground) as output:
        return _said(output, ground.project.rig).stands


def _reached(ground: Ground) -> AbstractContextManager[Output]:
    """Return the outputs by which the rig is reached, to be opened."""
    served = parts(ground.output, ground.project.rig)
    return opened([part for part in served if part.kind.drives], len(ground.project.rig.axes))


def search(ground: Ground, axis: Axis, places: dict[str, float], tell: Callable[[str], None]) -> Search:
    """Drive the axis to its switch, and off it; return what came of it, a stop included. The others stand.

    Error: ValueError for an axis without a switch; LinkError, CrewFailed where the rig cannot be reached.
    """
    found = begin(axis)
    rig = without_files(slowed(ground.project.rig, axis.name, places))
    project = Project(name=f"Homing of {axis.name}", timebase=TIMEBASE, rig=rig, move=Move(tracks=()))
    save(ground.folder, project, laws())
    setup = Setup(project=str(ground.folder), run=None, output=ground.output, sync="internal", tick_hz=ground.tick_hz)
    with crew(setup) as running:
        running.wait_opened()
        driver = _Driver(running, rig.index(axis.name), len(rig.axes), tell)
        try:
            return driver.drive(found)
        except KeyboardInterrupt:
            driver.watch.stop()
            raise


def looked(found: Search, status: Status, place: int) -> Search:
    """Return the search after what the engine says; `place` is the axis's among all."""
    if status.phase in {phase.value for phase in STOPS}:
        return given_up(found, f"stopped: {status.cause}")
    actual = status.actual[place] if status.actual else None
    if actual is None:
        return found
    switch = status.switches[place] if status.switches else None
    at_rest = status.phase in {phase.value for phase in UNARMED}
    return look(found, Seen(now_s=status.at_ns * 1e-9, position=actual, switch=switch, stands=at_rest))


def pushed(before: Search, now: Search, place: int, axes: int) -> Drive | None:
    """Return the order that holds the axis at its speed, or lets go of it; None where nothing is to be said."""
    if not (part(before) or part(now)):
        return None
    return Drive(tuple(part(now) if one == place else 0.0 for one in range(axes)), held=bool(part(now)))


class _Driver:
    """A hand on one axis, as far as the engine knows."""

    def __init__(self, running: Crew, place: int, axes: int, tell: Callable[[str], None]) -> None:
        self.watch = shoot.Watch(running, self._tell)
        self.watch.been_ready = True  # what is refused is told, and seen by the axis that does not go
        self._crew, self._place, self._axes, self._say = running, place, axes, tell
        self._seen_ns = 0

    def drive(self, found: Search) -> Search:
        """Fold what the rig says until the search has ended; the axis stands then."""
        while found.stage not in ENDED:
            status = self.watch.look()
            if status is None or status.at_ns == self._seen_ns:
                continue
            before, self._seen_ns = found, status.at_ns
            found = looked(found, status, self._place)
            if found.stage is not before.stage and found.stage is not Stage.FAILED:
                self._say(found.stage.value)
            order = pushed(before, found, self._place, self._axes)
            if order is not None:
                self._crew.tell(order)
        self._rest()
        return found

    def _rest(self) -> None:
        """Wait until the rig stands, or its stop holds it."""
        while (status := self.watch.look()) is None or status.phase in (Phase.DRIVING, Phase.STOPPING):
            pass

    def _tell(self, status: Status | None, said: list[Said]) -> None:
        for one in said:
            if one.code in _WORTH_SAYING:
                self._say(one.text)


def declare(ground: Ground, axis: Axis, value: float) -> str:
    """Tell the rig that the axis stands at `value`; return in words what is wrong where it then says something else.

    Error: LinkError where the rig does not answer.
    """
    rig = ground.project.rig
    says = 0.0
    with _reached(ground) as output:
        for heard in _listening(output, rig, lambda: output.here(axis.name, value)):
            said = heard.of(axis.name)
            if not said:
                continue
            says = float(median(said))
            room = max(_STEP_OFF * axis.resolution, pstdev(said), _WRITTEN * (1 + abs(value)))
            if abs(says - value) <= room:
                return ""
        heard = _said(output, rig)
        says = heard.stands[axis.name]
    return (
        f"{axis.name} was told that it stands at {value:.6g}, and says {says:.6g}: "
        f"does the rig know /rig/{axis.name}/here, does it stand still, does nothing else send it setpoints?"
    )


def _said(output: Output, rig: Rig) -> Readings:
    """Return what the rig says as soon as it says it of each axis, or what it said until patience ended."""
    heard = Readings((), rig)
    for heard in _listening(output, rig, lambda: None):
        if all(heard.of(axis.name) for axis in rig.axes):
            break
    if not heard.heard:
        raise LinkError("the rig does not answer; check its power, its cable and the address")
    return heard


def _listening(output: Output, rig: Rig, act: Callable[[], None]) -> Iterator[Readings]:
    """Yield what the rig said in each moment; before each it is asked, and `act` is done."""
    deadline_s = time.monotonic() + _SAYS_S
    while time.monotonic() < deadline_s:
        output.ask()
        act()
        heard: list[Feedback] = []
        until_s = time.monotonic() + _LISTENS_S
        while time.monotonic() < until_s:
            heard += output.read(time.monotonic_ns())
            time.sleep(_LOOK_S)
        yield Readings(tuple(heard), rig)
