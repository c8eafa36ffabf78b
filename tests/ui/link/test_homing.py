"""Homing from the editor: what the engine is told, when nothing more is, and what the operator reads of it."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import msgspec
import pytest
from PyQt6.QtCore import Qt

from sequencer.errors import LinkError
from sequencer.project.store import load
from sequencer.rig.axis import Axis, Homing, Rig
from sequencer.shell.crew import CrewFailed
from sequencer.shell.kinds import laws
from sequencer.shell.messages import Drive, Reset
from sequencer.shell.trials import Ground
from tests.ui.link.fakes import Bench, Straight
from ui.desk import Desk
from ui.link import homing
from ui.link.company import Company, Simulated, Then

SLIDE = 3
SPEED = 40.0
STOOD = (1.0, 2.0, 3.0, 837.0, 0.3)


class Home:
    """The harbour desk, of which the slide has a switch, with fake engines that a test has say what it wants."""

    def __init__(self, desk: Desk) -> None:
        axis = replace(desk.project.rig.axes[SLIDE], homing=Homing(towards="low", speed=SPEED, at=-4.0))
        axes = (*desk.project.rig.axes[:SLIDE], axis, *desk.project.rig.axes[SLIDE + 1 :])
        desk.edit("a switch", replace(desk.project, rig=replace(desk.project.rig, axes=axes)))
        self.desk, self.bench = desk, Bench(desk)
        self.rigs: list[tuple[Rig, str]] = []  # that engines were loaded with, and from where
        self.deaf = ""
        self.told: list[tuple[str, float, str]] = []
        gather = self.bench.link._crews._gather

        def keeping(choice: object, folder: Path, rig: Rig, simulated: Simulated | None) -> Company:
            self.rigs.append((load(folder, laws()).rig, str(folder)))
            return gather(choice, folder, rig, simulated)  # type: ignore[arg-type]  # passed on as it came

        self.bench.link._crews._gather = keeping
        self.homing = homing.Homing(self.bench.link, declare=self._declare)
        self.connect()

    def _declare(self, ground: Ground, axis: Axis, value: float) -> str:
        assert self.bench.crew.ended, "no engine runs while the rig is told"
        self.told.append((axis.name, value, ground.output))
        if self.deaf == "silent":
            raise LinkError("the rig does not answer")
        return self.deaf

    def connect(self) -> None:
        self.bench.connect()
        self.say()

    def say(self, phase: str = "idle", *, at: float | None = None, closed: bool | None = False, **more: object) -> None:
        """Have the engine say where the slide stands, and how its switch is."""
        place = STOOD[SLIDE] if at is None else at
        stood = (*STOOD[:SLIDE], place, *STOOD[SLIDE + 1 :])
        switches = (None,) * SLIDE + (closed, None)
        self.bench.phase(phase, actual=stood, asked=stood, switches=switches, link="up", **more)

    def begin(self) -> None:
        self.homing.begin(self.axis)
        self.bench.go()

    @property
    def axis(self) -> Axis:
        return self.desk.project.rig.axes[SLIDE]

    @property
    def drives(self) -> list[Drive]:
        return [one for one in self.bench.crew.told if isinstance(one, Drive)]

    @property
    def newest(self) -> str:
        return self.homing.lines[-1]

    def found(self) -> None:
        """Have the slide go to its switch, off it, and stand."""
        self.begin()
        self.search()
        self.settle()

    def search(self) -> None:
        """Have the slide go to its switch, and off it."""
        self.say()
        self.say("driving", at=800.0)
        self.say("driving", at=790.0, closed=True)
        self.say("idle", at=788.0, closed=True)
        for _ in range(40):
            self.say("idle", at=788.0, closed=True)
        assert self.drives[-1].parts[SLIDE] == pytest.approx(0.1)
        self.say("driving", at=790.5)
        self.say("driving", at=794.9)

    def settle(self) -> None:
        """Have it stand."""
        for _ in range(40):
            self.say("idle", at=795.5)


@pytest.fixture
def home(desk: Desk) -> Iterator[Home]:
    one = Home(desk)
    yield one
    one.bench.link.end()


def test_the_axis_is_driven_to_its_switch_and_off_it_and_the_rig_is_told(home: Home) -> None:
    before = home.rigs[-1]
    home.begin()
    assert home.bench.crews[0].ended == 1
    slow, folder = home.rigs[-1]
    assert folder != before[1]
    assert slow.axes[SLIDE].travel is None
    assert slow.axes[SLIDE].speed == SPEED
    assert slow.axes[0] == home.desk.project.rig.axes[0]
    assert home.bench.link.now.state == "armed"
    assert home.bench.link.dangerous
    home.say()
    assert home.drives[-1] == Drive((0.0, 0.0, 0.0, -1.0, 0.0))
    home.say("driving", at=800.0)
    assert home.bench.link.now.how == "homing an axis"
    assert len(home.drives) == 2, "it is said anew all the time"
    home.say("driving", at=790.0, closed=True)
    assert home.drives[-1] == Drive((0.0,) * 5, held=False)
    silent = len(home.drives)
    for _ in range(5):
        home.say("driving", at=789.0, closed=True)
    assert len(home.drives) == silent


def test_what_was_found_is_told_while_no_engine_runs_and_the_rig_is_connected_again(home: Home) -> None:
    home.found()
    ((name, value, output),) = home.told
    assert (name, output) == ("slide", "osc://127.0.0.1:1")
    assert value == pytest.approx(1.0)
    assert home.bench.rigs_ended == 0, "the simulated rig stays where it stands"
    home.bench.go()
    assert home.rigs[-1] == home.rigs[0]
    assert home.newest == "slide counts from here: it stands at 1 mm."
    assert home.bench.link.now.state == "idle"
    home.say()
    assert not home.homing.busy
    assert not home.bench.link.why_not_drive()


@pytest.mark.parametrize(
    ("deaf", "words"), [("slide was told 1, and says 795", "says 795"), ("silent", "the rig does not answer")]
)
def test_a_rig_that_does_not_obey_is_told_of(home: Home, deaf: str, words: str) -> None:
    home.deaf = deaf
    home.found()
    home.bench.go()
    assert words in home.newest
    assert not home.homing.busy


def test_nothing_else_moves_the_rig_meanwhile(home: Home) -> None:
    home.begin()
    home.say()
    link = home.bench.link
    assert "an axis is being homed" in link.why_not_drive()
    assert "an axis is being homed" in link.why_not()
    link.arm()
    assert not link.hands.home(home.desk.project.rig)
    assert not link.hands.take(on=True)
    assert all(isinstance(one, Drive) for one in home.bench.crew.told)
    assert home.desk.locked
    home.homing.begin(home.axis)
    assert "being homed" in home.newest


def test_a_stop_ends_it_for_good_and_waits_for_a_reset(home: Home) -> None:
    home.begin()
    home.say()
    home.say("driving", at=800.0)
    home.bench.link.stop()
    assert home.bench.crew.stops == 1
    said = len(home.drives)
    home.say("stopping", at=799.0, cause="the operator pressed stop")
    for _ in range(3):
        home.say("stopped", at=799.0, cause="the operator pressed stop")
    assert home.bench.link.now.state == "stopped"
    assert len(home.drives) == said
    assert len(home.bench.crews) == 2, "the latched stop is not forgotten"
    home.bench.link.reset()
    assert home.bench.crew.told[-1] == Reset()
    home.say("idle", at=799.0)
    home.bench.go()
    assert home.told == []
    assert home.newest == "slide was not homed; it counts as before."
    assert home.rigs[-1] == home.rigs[0]
    home.say()
    assert not home.bench.link.why_not_drive()


def test_an_engine_that_was_there_before_is_driven_by_nothing(home: Home) -> None:
    home.bench.slow = True
    home.homing.begin(home.axis)
    for _ in range(3):
        home.say()
    assert home.bench.link.dangerous
    assert home.bench.crew.told == []


def test_a_stop_while_the_document_is_saved_stays_with_the_engine_that_is_there(home: Home) -> None:
    home.bench.slow = True
    home.homing.begin(home.axis)
    home.bench.link.stop()
    for then, _ in home.bench.held:
        then()
    home.say("stopped", cause="the operator pressed stop")
    assert home.newest == "slide was not homed; it counts as before."
    assert home.bench.crew.told == []
    assert len(home.bench.crews) == 1
    assert home.bench.link.now.state == "stopped"


def test_a_stop_before_its_engine_has_begun_ends_it_too(home: Home) -> None:
    home.homing.begin(home.axis)
    assert home.bench.link.newest is None
    home.bench.link.stop()
    home.bench.go()
    assert home.newest == "slide was not homed; it counts as before."
    assert home.drives == []
    assert home.rigs[-1] == home.rigs[0]


def test_who_leaves_the_window_stops_it(home: Home) -> None:
    home.begin()
    home.say()
    home.bench.link._turned_to(Qt.ApplicationState.ApplicationInactive)
    home.say("driving", at=800.0)
    assert home.bench.crew.stops == 1
    assert "the window was left while an axis was homed" in home.bench.words()


def test_a_switch_of_which_the_rig_says_nothing_ends_it_without_a_move(home: Home) -> None:
    home.begin()
    for _ in range(80):
        home.say(closed=None)
    home.bench.go()
    assert home.drives == []
    assert any("does not say how the switch of slide is" in line for line in home.homing.lines)
    assert home.newest == "slide was not homed; it counts as before."
    assert home.told == []


def test_an_engine_that_dies_is_a_fault_and_nothing_is_told(home: Home) -> None:
    home.begin()
    home.say()
    home.bench.crew.fault = CrewFailed("the engine process ended by itself")
    home.bench.go()
    assert home.bench.link.now.state == "fault"
    assert "the engine process ended by itself" in home.newest
    assert not home.homing.busy
    assert home.told == []


def test_the_operators_word_is_told_and_moves_nothing(home: Home) -> None:
    pan = home.desk.project.rig.axes[0]
    home.homing.declare(pan, 12.5)
    home.bench.go()
    assert home.told == [("pan", 12.5, "osc://127.0.0.1:1")]
    assert home.drives == []
    assert home.newest == "pan counts from here: it stands at 12.5 deg."
    with pytest.raises(ValueError, match="outside its travel"):
        home.homing.declare(pan, 500.0)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"link": "down"}, "does not answer"),
        ({"link": "unknown"}, "does not answer"),
        ({"phase": "driving"}, "it moves"),
        ({"hands": True}, "give them back first"),
        ({"actual": ()}, "does not say where each axis stands"),
        ({"actual": (None, 0.0, 0.0, 0.0, 0.0)}, "does not say where each axis stands"),
        ({"phase": "stopped"}, "reset first"),
        ({"phase": "running"}, "stop it first"),
    ],
)
def test_it_is_refused_in_words_where_the_rig_is_not_idle_and_in_touch(
    home: Home, more: dict[str, object], words: str
) -> None:
    home.bench.crew.now = msgspec.structs.replace(home.bench.crew.now, **more)
    home.bench.go()
    assert words in home.homing.why_not()
    home.homing.begin(home.axis)
    with pytest.raises(ValueError, match=words):
        home.homing.declare(home.axis, 10.0)
    assert len(home.bench.crews) == 1
    assert home.bench.crew.told == []


def test_a_document_that_cannot_be_saved_homes_nothing(home: Home) -> None:
    home.bench.slow = True
    home.homing.begin(home.axis)
    home.bench.held[-1][1]()
    home.bench.go()
    assert "could not be saved" in home.bench.words()
    assert not home.homing.busy
    assert not home.bench.link.connected


def test_an_axis_without_a_switch_says_so(home: Home) -> None:
    assert "no switch is set up" in home.homing.why_no_search(home.desk.project.rig.axes[0])
    assert home.homing.why_no_search(home.axis) == ""
    words = homing.foreseen(home.axis)
    assert "slide will go towards its low end at 40 mm a second" in words
    assert "by 1320 mm at most, and come off it and into its travel at 4." in words


def test_an_axis_that_is_taken_out_of_the_setup_while_a_stop_is_latched_hinders_nothing(home: Home) -> None:
    home.begin()
    home.say()
    home.bench.link.stop()
    home.say("stopped", cause="the operator pressed stop")
    project = home.desk.project
    rig, move = replace(project.rig, axes=project.rig.axes[:SLIDE]), replace(project.move, tracks=())
    home.desk.edit("fewer axes", replace(project, rig=rig, move=move))
    home.say("stopped", cause="the operator pressed stop")
    home.say("idle")
    home.bench.go()
    assert home.newest == "slide was not homed; it counts as before."
    assert home.bench.link.loaded == home.desk.project


def test_a_stop_is_not_forgotten_where_a_status_from_before_it_is_read_after_it(home: Home) -> None:
    home.begin()
    home.say()
    home.bench.link.stop()
    home.say("idle")
    assert len(home.bench.crews) == 2
    home.say("stopped", cause="the operator pressed stop")
    assert home.bench.link.now.state == "stopped"
    home.say("idle")
    assert len(home.bench.crews) == 3


def test_a_stop_after_the_switch_was_found_tells_the_rig_nothing_and_waits_for_a_reset(home: Home) -> None:
    home.bench.slow = True
    home.homing.begin(home.axis)
    home.bench.held.pop()[0]()
    home.bench.slow = False
    home.search()
    home.bench.slow = True
    home.settle()
    assert home.bench.held
    home.bench.link.stop()
    while home.bench.held:
        home.bench.held.pop()[0]()
    home.say("stopped", at=795.5, cause="the operator pressed stop")
    assert home.bench.link.now.state == "stopped"
    assert home.homing.busy
    assert len(home.bench.crews) == 2, "the engine that homed stays, with the stop"
    home.bench.slow = False
    home.say("idle", at=795.5)
    home.bench.go()
    assert home.told == []
    assert home.newest == "slide was not homed; it counts as before."
    assert home.rigs[-1] == home.rigs[0]


def test_the_way_back_is_not_called_telling_where_nothing_is_told(home: Home) -> None:
    hows: list[str] = []
    home.bench.link.standing.connect(lambda now: hows.append(now.how))
    home.begin()
    for _ in range(80):
        home.say(closed=None)
    assert "connecting" in hows
    assert "being told where it stands" not in hows


def test_who_disconnects_while_the_rig_is_told_reads_that_it_is_not_known(home: Home) -> None:
    class Later(Straight):
        """Begins nothing, as a thread that is slow."""

        def do(self, work: Callable[[], object], then: Then = None) -> None:
            pass

    home.bench.link._crews._aside = Later()
    home.homing.declare(home.desk.project.rig.axes[0], 12.5)
    home.bench.link.leave()
    assert home.newest == "Whether pan counts from there is not known: its answer was not waited for."
