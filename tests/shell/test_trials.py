"""Trials on the simulated rig as the operator has them: the real processes, take files, real time."""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from sequencer.errors import LinkError, ProjectError
from sequencer.project.store import load
from sequencer.shell import shoot
from sequencer.shell.kinds import laws
from sequencer.shell.trials import Ground, run_course, run_step, stands
from sequencer.takes.trials.course import Tried, begin, nudge
from sequencer.takes.trials.found import measured
from sequencer.takes.trials.steps import Most
from tests.shell.small import small_project

pytestmark = pytest.mark.real_time
# short ramps, so that the whole course is short
MOST = Most(speed=30.0, acceleration=240.0, begin=0.8)


@dataclass(slots=True)
class Noted:
    """Who notes what is said."""

    steps: list[Tried] = field(default_factory=list)
    words: list[str] = field(default_factory=list)

    def tried(self, one: Tried) -> None:
        self.steps.append(one)

    def said(self, words: str) -> None:
        self.words.append(words)


@contextmanager
def ground(tmp_path: Path, *faults: str, **simulated: float) -> Iterator[Ground]:
    """Start a simulated rig whose pan truly is as `simulated` says."""
    folder = small_project(tmp_path / "small")
    project = load(folder, laws())
    tree = json.loads((folder / "rig.json").read_text())
    tree["axes"][0]["simulated"] = {"lag_s": 0.02, "transport_s": 0.012, "noise": 0.003} | simulated
    (folder / "rig.json").write_text(json.dumps(tree))
    with shoot.simulated_rig(folder / "rig.json", 1, 0, *faults) as (_, output):
        yield Ground(project=project, output=output, folder=tmp_path / "ours", takes=tmp_path / "takes")


def test_an_axis_is_measured_by_itself(tmp_path: Path) -> None:
    noted = Noted()
    with ground(tmp_path, speed=27.5, acceleration=200.0, backlash=0.06) as place:
        places = stands(place)
        course = run_course(place, "pan", MOST, places, noted)
        after = stands(place)
    assert course.trouble == ""
    found = measured(course, "2026-11-30").figures
    truth = {"speed": 27.5, "acceleration": 200.0, "backlash": 0.06}
    for name, value in truth.items():
        assert found[name].value == pytest.approx(value, rel=0.05), name
    # on a busy machine setpoints truly are late now and then, which the rig then is too
    assert found["latency_s"].value == pytest.approx(0.012, abs=0.003)
    assert [one.step for one in noted.steps] == [one.step for one in course.tried]
    assert after["tilt"] == pytest.approx(places["tilt"], abs=1e-3), "the other axis stood"
    assert len(list((tmp_path / "takes").glob("*.mcap"))) == len(course.tried), "each step is a take"


def test_a_motor_that_is_off_ends_it_at_the_first_step(tmp_path: Path) -> None:
    with ground(tmp_path, speed=1e-9) as place:
        course = run_course(place, "pan", MOST, stands(place), Noted())
    assert "is the motor on, is the axis blocked, does the encoder report?" in course.trouble
    assert [one.step for one in course.tried] == ["a small move"]


def test_a_rig_that_falls_silent_ends_a_step(tmp_path: Path) -> None:
    """A machine that is late itself ends it too, for another cause: then it is tried again."""
    for attempt in range(3):
        noted, there = Noted(), tmp_path / str(attempt)
        there.mkdir()
        with ground(there, "--vanish-after-s", "4.5") as place:
            step = nudge(begin(place.project.rig.axes[0], Most(speed=6.0, acceleration=24.0, begin=1.0), 0.0))
            seen = run_step(place, "pan", step, {"pan": 0.0, "tilt": 0.0}, noted)
        if "ms late" not in seen.stopped:
            break
    assert "has not answered" in seen.stopped
    assert any("has not answered" in one for one in noted.words)


def test_a_rig_that_never_answers_is_not_tried(tmp_path: Path) -> None:
    with ground(tmp_path, "--mute") as place, pytest.raises(LinkError, match="does not answer"):
        stands(place)


def test_an_axis_that_stands_outside_its_travel_is_named(tmp_path: Path) -> None:
    with ground(tmp_path) as place:
        step = nudge(begin(place.project.rig.axes[0], MOST, 0.0))
        with pytest.raises(ProjectError, match=r"axes\[1\]\.travel: tilt stands at 95"):
            run_step(place, "pan", step, {"pan": 0.0, "tilt": 95.0}, Noted())
