"""What ends a timelapse that is exposed on the way: the rig stops, is not there yet, or the camera does not fire."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from msgspec.structs import replace

from sequencer.project import shot_log
from sequencer.project.shot_log import Begun, Exposed
from sequencer.project.store import load
from sequencer.shell import shoot, timelapse
from sequencer.shell.crew import CrewFailed
from sequencer.shell.kinds import laws
from sequencer.shell.messages import Arm, Command, Fire, Said, Start, Status
from sequencer.shell.spread import Spread, spread
from sequencer.shell.timelapse import Teller, shoot_moving
from tests.shell.acted import Acted, Clock
from tests.shell.test_timelapse import project

FRAMES = 6
INTERVAL_S = 30.0


@dataclass
class Engine(Acted):
    """An engine that plays the timeline from where it was armed; `fires` is what it says to an order to the camera."""

    start_s: float = 0.0
    fires: Callable[[int], str] = lambda _: "fired"
    stops_at: tuple[int, float] = (FRAMES, 0.0)  # so long after this frame's instant
    joins: bool = False
    begun_s: float | None = None

    def __post_init__(self) -> None:
        self.answers = self.obey
        self.from_s = 0.0

    def obey(self, command: Command) -> None:
        match command:
            case Arm():
                self.from_s = self.start_s - command.preroll_s
                self.says = replace(self.says, phase="ready")
            case Start():
                self.begun_s = self.clock.now_s
                self.says = replace(self.says, phase="joining" if self.joins else "running", lock="locked")
            case Fire() if said := self.fires(sum(isinstance(one, Fire) for one in self.told) - 1):
                self.clock.sleep(0.002)  # it goes out with the next tick
                self.reports.append(Said(self.clock.monotonic_ns(), said, f"shutter {said}"))

    def status(self) -> Status | None:
        timeline_s = self.from_s + (0.0 if self.begun_s is None else self.clock.now_s - self.begun_s)
        frame, after_s = self.stops_at
        if self.begun_s is not None and timeline_s > self.start_s + frame * INTERVAL_S + after_s:
            return replace(self.says, phase="stopped", cause="somebody pressed stop", timeline_s=timeline_s)
        return replace(self.says, at_ns=self.clock.monotonic_ns(), timeline_s=timeline_s)


@pytest.fixture
def found(tmp_path: Path) -> Spread:
    folder = project(tmp_path, manner="continuous", interval_s=str(INTERVAL_S))
    return spread(load(folder, laws()), laws())


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    clock = Clock()
    for module in (timelapse, shoot):
        monkeypatch.setattr(module, "time", clock)
    return clock


def exposed_by(engine: Engine, found: Spread, path: Path, first: int = 0) -> shot_log.Shot:
    """Expose what is left from `first` on; return the log. Error: CrewFailed."""
    engine.start_s = found.span_s[0]
    begins = engine.clock.time() - first * INTERVAL_S
    begun = Begun(of="turn", frames=FRAMES, begins=begins, sha256=found.sha256)
    with shot_log.Log.begin(path, begun) as log:
        for frame in range(first):
            log.add(Exposed(frame=frame, at=begins + frame * INTERVAL_S))
        shoot_moving(engine, found, begins, first, log, Teller(said=lambda _: None))  # type: ignore[arg-type]  # in place of a crew
    return shot_log.read(path)


def test_every_frame_is_exposed_at_its_instant(found: Spread, clock: Clock, tmp_path: Path) -> None:
    shot = exposed_by(Engine(clock), found, tmp_path / "turn.shots.jsonl")
    assert [one.frame for one in shot.exposed] == list(range(FRAMES))
    apart_s = [after.at - before.at for before, after in zip(shot.exposed, shot.exposed[1:], strict=False)]
    assert apart_s == pytest.approx([INTERVAL_S] * (FRAMES - 1), abs=0.1)


@pytest.mark.parametrize("said", ["not fired", "perhaps fired"])
def test_a_frame_that_the_camera_did_not_get_is_named(found: Spread, clock: Clock, tmp_path: Path, said: str) -> None:
    path = tmp_path / "turn.shots.jsonl"
    engine = Engine(clock, fires=lambda number: said if number == 2 else "fired")
    words = f"^frame 2 was not exposed: shutter {said}; look after the camera, then resume$"
    with pytest.raises(CrewFailed, match=words):
        exposed_by(engine, found, path)
    shot = shot_log.read(path)
    assert (shot.next, shot.doubtful) == (2, said == "perhaps fired"), "only what nobody knows is to be asked"


def test_an_engine_that_says_nothing_of_a_frame_is_given_up(found: Spread, clock: Clock, tmp_path: Path) -> None:
    path = tmp_path / "turn.shots.jsonl"
    words = "^frame 0 was not exposed: the engine does not say why; look after the camera, then resume$"
    with pytest.raises(CrewFailed, match=words):
        exposed_by(Engine(clock, fires=lambda _: ""), found, path)
    assert shot_log.read(path).doubtful


@pytest.mark.parametrize(
    ("after_s", "fires", "doubtful"), [(-3.0, "fired", False), (1.0, "", True)], ids=["on the way", "while it fires"]
)
def test_a_stop_is_told_with_its_cause_and_what_is_exposed_is_kept(
    found: Spread, clock: Clock, tmp_path: Path, after_s: float, fires: str, doubtful: bool
) -> None:
    path = tmp_path / "turn.shots.jsonl"
    engine = Engine(clock, fires=lambda number: fires if number == 3 else "fired", stops_at=(3, after_s))
    with pytest.raises(CrewFailed, match=r"^stopped: somebody pressed stop\. Resume it when that is mended$"):
        exposed_by(engine, found, path)
    shot = shot_log.read(path)
    assert (shot.next, shot.doubtful) == (3, doubtful)


def test_a_rig_that_has_not_come_onto_the_timeline_exposes_nothing(found: Spread, clock: Clock, tmp_path: Path) -> None:
    path = tmp_path / "turn.shots.jsonl"
    engine = Engine(clock, joins=True)
    with pytest.raises(CrewFailed, match=r"^the rig had not come onto the timeline by frame 3; resume once more$"):
        exposed_by(engine, found, path, first=3)
    (armed,) = (one for one in engine.told if isinstance(one, Arm))
    assert armed.late == "join"
    assert not any(isinstance(one, Fire) for one in engine.told)
    assert shot_log.read(path).next == 3
