"""Has the operator drive an axis to both ends of its way with a game controller, and says where these are.

The axis goes slowly and has no soft limits meanwhile, since they are what is looked for; it moves only while its stick
is pushed. The others stand. Nothing moves here that an operator has not armed.
"""

from collections.abc import Callable
from dataclasses import replace

from sequencer.live.handling import Deed, Handling, default_handlings
from sequencer.live.homing import unbounded
from sequencer.playback.state import STOPS, UNARMED
from sequencer.project.document import Project
from sequencer.project.store import save
from sequencer.rig.axis import Rig
from sequencer.score.move import Move
from sequencer.shell import shoot
from sequencer.shell.crew import Crew, CrewFailed, crew
from sequencer.shell.kinds import laws
from sequencer.shell.messages import Pressed, Said, Setup, Status, TakeHands
from sequencer.shell.outlets import without_files
from sequencer.shell.trials import TIMEBASE, Ground

PADS = "pads:"
_DIGITS = 6  # of a reading in single precision; what is beyond is none of the axis's doing
_WORTH_SAYING = frozenset({"stopping", "link", "refused", "hands"})


def handlings(project: Project, axis: str) -> tuple[Handling, ...]:
    """Return how pads are handled that drive this axis and no other. Error: ValueError where none drives it."""
    own = project.hands or default_handlings(project.rig)
    found = tuple(replace(one, sticks=tuple(each for each in one.sticks if each.axis == axis)) for one in own)
    if not any(one.sticks for one in found):
        raise ValueError(f"no stick is assigned to {axis}; assign one in the setup of the project, or type the travel")
    if not any(does is Deed.STORE for one in found for _, does in one.buttons):
        raise ValueError("no button is assigned to store a mark, which says where an end is; assign one, or type it")
    return found


def driven(
    ground: Ground,
    axis: str,
    places: dict[str, float],
    speed: float,
    tell: Callable[[str], None],
    pads: str = PADS,
) -> tuple[tuple[float, float], float]:
    """Have both ends driven to, and the axis brought back between them; return the ends, and where it then stands.

    Each end is where the axis stands as the button is pressed that stores marks. Error: ValueError where no stick
    drives it; LinkError, CrewFailed where the rig or the pads cannot be reached, or the rig is stopped.
    """
    hands = handlings(ground.project, axis)
    rig = without_files(unbounded(ground.project.rig, axis, places, speed))
    project = Project(name=f"Travel of {axis}", timebase=TIMEBASE, rig=rig, move=Move(tracks=()), hands=hands)
    save(ground.folder, project, laws())
    setup = Setup(
        project=str(ground.folder),
        run=None,
        output=ground.output,
        sync="internal",
        controllers=pads,
        tick_hz=ground.tick_hz,
    )
    with crew(setup) as running:
        opened = running.wait_opened()
        if setup.pads_port not in opened["io"].sources:
            raise CrewFailed("no game controllers were opened, so nothing can be driven; type the travel")
        finder = _Finder(running, rig, rig.index(axis), tell)
        try:
            return finder.find()
        except KeyboardInterrupt:
            finder.watch.stop()
            raise


class _Finder:
    """Takes the ends in, one after the other."""

    def __init__(self, running: Crew, rig: Rig, place: int, tell: Callable[[str], None]) -> None:
        self.watch = shoot.Watch(running, self._tell, act=self._press)
        self.watch.been_ready = True  # what is refused here ends nothing
        self._crew, self._axis, self._place, self._say = running, rig.axes[place], place, tell
        self._ends: list[float] = []
        self._newest: Status | None = None
        self._begun = False

    def find(self) -> tuple[tuple[float, float], float]:
        self._crew.tell(TakeHands(on=True))
        while True:
            status = self._newest = self.watch.look() or self._newest
            if status is None:
                continue
            if status.hands and not self._begun:
                self._begun = True
                self._say("in hand; drive it to one end")
            if status.phase in {phase.value for phase in STOPS}:
                raise CrewFailed(f"stopped: {status.cause}")
            there = self._stands(status)
            if len(self._ends) == 2 and there is not None and min(self._ends) < there < max(self._ends):
                return (min(self._ends), max(self._ends)), there

    def _stands(self, status: Status) -> float | None:
        """Return where the axis stands, or None while it moves or does not say."""
        at_rest = status.phase in {phase.value for phase in UNARMED}
        there = status.actual[self._place] if at_rest and status.actual else None
        return None if there is None else float(f"{there:.{_DIGITS}g}")

    def _press(self, pressed: Pressed) -> None:
        if pressed.deed != Deed.STORE or len(self._ends) == 2:
            return
        status = self._crew.status()
        there = None if status is None else self._stands(status)
        name, unit = self._axis.name, self._axis.unit
        if there is None:
            self._say(f"let go of the stick first; {name} must stand where its end is")
        elif self._ends == [there]:
            self._say(f"that is the end that is known, {there:g} {unit}; drive {name} to the other one")
        elif not self._ends:
            self._ends.append(there)
            self._say(f"one end at {there:g} {unit}; drive {name} to the other one")
        else:
            self._ends.append(there)
            self._say(f"the other end at {there:g} {unit}; bring {name} back between them, and let go")

    def _tell(self, status: Status | None, said: list[Said]) -> None:
        for one in said:
            if one.code in _WORTH_SAYING:
                self._say(one.text)
