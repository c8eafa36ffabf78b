"""What ends the waiting for a crew, and for a place to keep takes in, with a crew of the test's own."""

from pathlib import Path

import pytest
from msgspec.structs import replace

from sequencer.errors import LinkError
from sequencer.playback.state import Phase
from sequencer.project.store import load
from sequencer.shell import shoot
from sequencer.shell.crew import CrewFailed
from sequencer.shell.kinds import laws
from sequencer.shell.messages import Arm, Kept, Said, Status
from tests.shell.acted import Acted
from tests.shell.conftest import quiet
from tests.shell.small import small_project


@pytest.fixture
def crew(monkeypatch: pytest.MonkeyPatch) -> Acted:
    """Return one whose clock is that of the waiting."""
    one = Acted()
    monkeypatch.setattr(shoot, "time", one.clock)
    return one


def watching(crew: Acted) -> shoot.Watch:
    return shoot.Watch(crew, quiet)  # type: ignore[arg-type]  # in place of a crew


def test_an_engine_that_does_not_come_to_it_is_given_up(crew: Acted) -> None:
    with pytest.raises(CrewFailed, match=r"^the engine was not ready after 20 s; is the machine very busy\?$"):
        watching(crew).until(Phase.READY, 20.0)


def test_the_way_to_the_start_is_not_counted_as_waiting(crew: Acted) -> None:
    began_s = crew.clock.now_s
    crew.says = replace(crew.says, phase=Phase.LOCATING.value)

    def arrive(*_: object) -> None:
        if crew.clock.now_s - began_s > 100.0:
            crew.says = replace(crew.says, phase=Phase.IDLE.value)

    watch = watching(crew)
    watch.tell = arrive
    with pytest.raises(CrewFailed, match="the engine was not ready after 20 s"):
        watch.until(Phase.READY, 20.0)
    assert crew.clock.now_s - began_s == pytest.approx(120.0, abs=0.1)


def test_a_file_that_nobody_closes_is_given_up(crew: Acted) -> None:
    watch = watching(crew)
    watch.arm(Arm(cue="turn", take="turn_001.mcap"))
    with pytest.raises(CrewFailed, match=r"^the take was not written to the end; is the disk very slow\?$"):
        watch.until_kept()


@pytest.mark.parametrize("closed_s", [0.5, 10.0])
def test_who_waits_for_a_slow_disk_is_told_once(crew: Acted, closed_s: float) -> None:
    begun_s = crew.clock.now_s
    told: list[str] = []

    def tell(status: Status | None, said: list[Said]) -> None:
        told.extend(one.text for one in said)
        if crew.clock.now_s - begun_s > closed_s:
            crew.reports = [Kept("takes/turn_001.mcap", "")]

    watch = watching(crew)
    watch.tell = tell
    watch.until_kept()
    words = "the take is over, and the disk has not taken all of it yet; wait, and leave it where it is"
    assert told == ([words] if closed_s > 2.0 else [])


def test_a_take_that_is_not_whole_is_named_with_what_the_disk_said(crew: Acted) -> None:
    trouble = "no space left on the disk; make room, and record it again"
    crew.reports = [Kept("takes/turn_001.mcap", trouble)]
    with pytest.raises(CrewFailed, match=f"^take turn_001.mcap is not whole: {trouble}$"):
        watching(crew).until_kept()


def test_a_folder_of_takes_that_cannot_be_is_named(tmp_path: Path) -> None:
    project = load(small_project(tmp_path / "small"), laws())
    place = tmp_path / "takes"
    place.write_text("a file of this name stands where the folder is to be")
    plan = shoot.Plan(project=project, cue=project.cue(None), run=project.run(None), folder=place)
    with pytest.raises(LinkError) as refused:
        plan.next_path()
    words = str(refused.value)
    assert words.startswith(f"takes cannot be kept in {place}: ")
    assert words.endswith("; name another folder")
    assert len(words.removeprefix(f"takes cannot be kept in {place}: ").removesuffix("; name another folder")) > 3
