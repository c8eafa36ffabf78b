"""What ends a trial before it begins: an axis that does not arrive, and a rig of which not all is known."""

from contextlib import nullcontext
from pathlib import Path

import pytest
from msgspec.structs import replace

from sequencer.errors import LinkError
from sequencer.playback.state import Phase
from sequencer.project.store import load
from sequencer.shell import shoot, trials
from sequencer.shell.kinds import laws
from sequencer.shell.messages import Arm
from sequencer.shell.trials import Ground
from sequencer.takes.trials.course import begin, nudge
from tests.shell.acted import Acted
from tests.shell.small import small_project
from tests.shell.test_trials import MOST, Noted

OUTPUT = "osc://127.0.0.1:9"


@pytest.fixture
def ground(tmp_path: Path) -> Ground:
    project = load(small_project(tmp_path / "small"), laws())
    return Ground(project=project, output=OUTPUT, folder=tmp_path / "ours", takes=tmp_path / "takes")


@pytest.fixture
def crew(monkeypatch: pytest.MonkeyPatch) -> Acted:
    """Return the crew that any trial has, on a clock of its own."""
    one = Acted()
    monkeypatch.setattr(trials, "crew", lambda setup: nullcontext(one))
    for module in (trials, shoot):
        monkeypatch.setattr(module, "time", one.clock)
    return one


def test_an_axis_that_never_comes_to_where_the_trial_begins_ends_it(ground: Ground, crew: Acted) -> None:
    crew.says = replace(crew.says, phase=Phase.LOCATING.value)
    began_s = crew.clock.now_s
    step = nudge(begin(ground.project.rig.axes[0], MOST, 0.0))
    seen = trials.run_step(ground, "pan", step, {"pan": 0.0, "tilt": 0.0}, Noted())
    assert seen.stopped == (
        "pan did not come to where the trial begins; is its play larger than rig.json says, or does something hold it?"
    )
    assert not seen.begun
    assert not len(seen.actual)
    # 180 degrees at half of the speed that is tried, and more
    assert crew.clock.now_s - began_s > 180.0 / (MOST.speed / 2)
    assert [type(one) for one in crew.told] == [Arm], "nothing is started"


@pytest.mark.parametrize("actual", [(), (0.0, None)], ids=["nothing", "not the tilt"])
def test_a_rig_that_does_not_say_where_all_stand_is_refused_by_its_address(
    ground: Ground, crew: Acted, actual: tuple[float | None, ...]
) -> None:
    crew.says = replace(crew.says, actual=actual)
    with pytest.raises(LinkError) as refused:
        trials.stands(ground)
    assert str(refused.value) == (
        f"the rig at {OUTPUT} does not say where every axis stands; let it send each /rig/AXIS/actual"
    )
    assert crew.told == []


def test_a_rig_that_says_where_all_stand_is_taken_at_its_word(ground: Ground, crew: Acted) -> None:
    crew.says = replace(crew.says, actual=(3.0, -1.5))
    assert trials.stands(ground) == {"pan": 3.0, "tilt": -1.5}
