"""Homes an axis from the editor: to its switch, driven as a hand would, or by the operator's word for where it stands.

What comes next `live.homing` decides; the engine drives, so its guard and its stops are those of every move, and it
lets go where the window's thread says nothing more. The rig is told where it stands only while no engine runs.
"""

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

from PyQt6.QtCore import QObject, pyqtSignal

from sequencer.errors import SequencerError
from sequencer.live.homing import ENDED, SLOW, Search, Stage, begin, demand_place, furthest, given_up, slowed
from sequencer.project.document import Project
from sequencer.project.store import save
from sequencer.rig.axis import Axis
from sequencer.score.move import Move
from sequencer.shell import homing
from sequencer.shell.messages import Status
from sequencer.shell.outlets import without_files
from sequencer.shell.trials import Ground
from ui.language import translate
from ui.link.choice import Choice
from ui.link.company import Load, Make, own
from ui.link.link import Link
from ui.link.standing import Errand

_MOVES = ("driving", "stopping")
_QUIET = ("idle", "finished")
_WAITS_FOR = "stopped"

Declare = Callable[[Ground, Axis, float], str]


class Homing(QObject):
    """One axis at a time. `changed`: `lines` say more, or it is over; they begin anew with each axis."""

    changed = pyqtSignal()

    def __init__(self, link: Link, parent: QObject | None = None, *, declare: Declare = homing.declare) -> None:
        super().__init__(parent)
        self._link, self._declare = link, declare
        self.lines: tuple[str, ...] = ()
        self._axis: Axis | None = None  # that is being homed
        self._search: Search | None = None
        self._place_of = (0, 0)  # its place among all axes, and their number
        self._made = False  # the engine that was there is being replaced for the errand
        self._slow = False  # the engine that is there is one for homing
        self._telling = False  # the rig may have been told
        self._stopping = False  # a stop was asked for that the engine has not taken in yet
        self._place: TemporaryDirectory[str] | None = None
        self._value = 0.0  # at which it is told to stand
        self._outcome: list[str] = []  # what the rig answered, written by the thread that told it
        link.status.connect(self._look)
        link.stopping.connect(self._stopped)
        link.standing.connect(self._stand)

    @property
    def busy(self) -> bool:
        return self._axis is not None

    def why_not(self) -> str:
        """Return why no axis can be homed now, in words with the mend; empty where one can."""
        link, status = self._link, self._link.newest
        why = link.why_not_drive()
        if why:
            return why
        if status is None or status.phase not in _QUIET:
            return translate("run", "it moves; let it come to rest first")
        if link.hands.taken:
            return translate("run", "game controllers are in hand; give them back first")
        if status.link != "up":
            return translate("run", "the rig does not answer; look after its power and its cable first")
        if not status.actual or None in status.actual:
            return translate("run", "the rig does not say where each axis stands; let it send each /rig/AXIS/actual")
        return ""

    def why_no_search(self, axis: Axis) -> str:
        """Return why this axis cannot be homed by a switch now; empty where it can."""
        return unfit(axis) or self.why_not()

    def begin(self, axis: Axis) -> None:
        """Drive the axis to its switch and off it, and tell the rig where it then stands. The others stand."""
        why, status = self.why_no_search(axis), self._link.newest
        if why or status is None:
            self._say(translate("run", "Not homed: {why}.").format(why=why), anew=True)
            return
        names = self._link.desk.project.rig.names
        places = {name: place for name, place in zip(names, status.actual, strict=True) if place is not None}
        self._axis, self._search, self._outcome, self._telling = axis, begin(axis), [], False
        self._place_of = names.index(axis.name), len(names)
        self._place = TemporaryDirectory(prefix="twintake-homing-", ignore_cleanup_errors=True)
        self._say(translate("run", "{axis} is made ready to be homed.").format(axis=axis.name), anew=True)
        self._lend("home", partial(self._slowly, axis, places, Path(self._place.name) / "project"))

    def declare(self, axis: Axis, value: float) -> None:
        """Tell the rig that the axis stands at `value`; nothing moves. Error: ValueError for where it cannot stand."""
        demand_place(axis, value)
        why = self.why_not()
        if why:
            raise ValueError(why)
        self._axis, self._search, self._outcome, self._telling = axis, None, [], False
        self._say(translate("run", "The rig is told where {axis} stands.").format(axis=axis.name), anew=True)
        self._tell_rig(axis, value)

    def _lend(self, errand: Errand, make: Make) -> None:
        self._made = False

        def made(project: Project, choice: Choice, folder: Path) -> Load:
            self._made, self._slow = True, errand == "home"
            return make(project, choice, folder)

        self._link.lend(errand, made)

    def _slowly(
        self, axis: Axis, places: dict[str, float], folder: Path, project: Project, choice: Choice, _: Path
    ) -> Load:
        """Return what an engine is started with that goes at the homing speed at most, without ends."""
        rig = without_files(slowed(project.rig, axis.name, places))
        name = f"Homing of {axis.name}"
        bare = Project(
            name=name,
            timebase=project.timebase,
            rig=rig,
            move=Move(tracks=()),
            triggers=project.triggers,  # a stop by any of them, or by a pad, is obeyed as always
            hands=project.hands,
        )
        clock = choice.clock if choice.clock == "osc" else "own"
        laws = self._link.desk.laws
        plain = replace(choice, clock=clock, run=None, give=())
        return Load(bare, plain, folder, project.rig, lambda _: save(folder, bare, laws))

    def _look(self, status: Status) -> None:
        before, axis = self._search, self._axis
        if before is None or axis is None or not self._made or self._link.errand != "home":
            return  # an engine that was there before goes faster
        place, axes = self._place_of
        found = self._search = homing.looked(before, status, place)
        if found.stage is not before.stage:
            self._say(_words(found))
        order = homing.pushed(before, found, place, axes)
        if order is not None:
            self._link.tell(order)
        if found.stage in ENDED:
            self._end(found, status)

    def _end(self, found: Search, status: Status) -> None:
        """Give the rig back once it stands, and no stop is latched any more."""
        if status.phase in _MOVES or status.phase == _WAITS_FOR:
            self._stopping = False
            return
        if self._stopping:
            return
        if found.stage is Stage.FOUND:
            self._tell_rig(found.axis, found.value)
        else:
            self._lend("back", own)

    def _tell_rig(self, axis: Axis, value: float) -> None:
        self._value = value
        self._lend("tell", partial(self._to_tell, axis, value))

    def _to_tell(self, axis: Axis, value: float, project: Project, choice: Choice, folder: Path) -> Load:
        def tell(output: str | None) -> None:
            ground = Ground(project=project, output=output or "", folder=folder, takes=folder)
            try:
                trouble = (
                    self._declare(ground, axis, value)
                    if output is not None
                    else translate("run", "there is no rig any more")
                )
            except (SequencerError, OSError) as fault:
                trouble = str(fault)
            self._outcome.append(trouble)

        self._telling = True
        return replace(own(project, choice, folder), prepare=tell)

    def _stopped(self) -> None:
        """Give up where a stop was asked for, whether or not anything moved."""
        if self._axis is None:
            return
        left = self._slow and not self._made  # the engine that homed was to be replaced, and stays instead
        if self._search is not None and (left or self._search.stage not in ENDED):
            self._search = given_up(self._search, translate("run", "a stop was asked for"))
            self._say(_words(self._search))
        if left:
            self._made, self._link.errand = True, "home"
            self._stopping = True
        elif not self._made:  # the engine that was there stays, and has the stop
            self._link.errand = ""
        elif self._link.newest is None and self._link.errand == "home":  # its engine has not begun
            self._lend("back", own)
        elif self._link.errand == "home":
            self._stopping = True

    def _stand(self) -> None:
        """Say what came of it, once the rig is not lent any more."""
        axis = self._axis
        if axis is None or self._link.errand:
            return
        self._axis, self._search, self._slow, self._stopping = None, None, False, False
        if self._place is not None:
            self._place.cleanup()
            self._place = None
        self._say(self._result(axis))

    def _result(self, axis: Axis) -> str:
        if self._outcome and self._outcome[0]:
            return self._outcome[0]
        if self._outcome:
            words = translate("run", "{axis} counts from here: it stands at {value} {unit}.")
            return words.format(axis=axis.name, value=f"{self._value:.4g}", unit=axis.unit)
        if self._telling:
            words = translate("run", "Whether {axis} counts from there is not known: its answer was not waited for.")
            return words.format(axis=axis.name)
        if self._link.connected:
            return translate("run", "{axis} was not homed; it counts as before.").format(axis=axis.name)
        cause = self._link.now.cause or translate("run", "it was disconnected")
        words = translate("run", "{axis} was not homed: {why}. It counts as before.")
        return words.format(axis=axis.name, why=cause.rstrip("."))

    def _say(self, words: str, *, anew: bool = False) -> None:
        self.lines = (words,) if anew else (*self.lines, words)
        self.changed.emit()


def unfit(axis: Axis) -> str:
    """Return what of an axis's setup speaks against homing it by a switch; empty where nothing does."""
    if axis.homing is None:
        words = translate("run", "{axis}: no switch is set up for it; say where it stands")
        return words.format(axis=axis.name)
    try:
        begin(axis)
    except ValueError as fault:
        return str(fault)
    return ""


def _words(found: Search) -> str:
    """Return what an axis that is homed does now, in a sentence."""
    if found.stage is Stage.FAILED:
        return translate("run", "Given up: {why}.").format(why=found.trouble.rstrip("."))
    return {
        Stage.ASKING: translate("run", "The rig is asked for its switch."),
        Stage.SEEKING: translate("run", "It goes to its switch."),
        Stage.BRAKING: translate("run", "It brakes on its switch."),
        Stage.LEAVING: translate("run", "It comes off its switch."),
        Stage.ENTERING: translate("run", "It comes into its travel."),
        Stage.SETTLING: translate("run", "It comes to rest."),
        Stage.FOUND: translate("run", "Its switch was found."),
    }[found.stage]


def foreseen(axis: Axis) -> str:
    """Return what will move, how far at most and how fast, before an axis is homed by its switch."""
    found = begin(axis)
    words = translate(
        "run",
        "{axis} will go towards its {end} end at {speed} {unit} a second until its switch closes, by {furthest} {unit} "
        "at most, and come off it and into its travel at {slow}. Where it says that it stands means nothing before: "
        "watch it, and keep its whole way clear. The others stand.",
    )
    speed = found.homing.speed
    return words.format(
        axis=axis.name,
        end=found.homing.towards,
        unit=axis.unit,
        speed=f"{speed:.4g}",
        furthest=f"{furthest(found):.4g}",
        slow=f"{speed * SLOW:.3g}",
    )
