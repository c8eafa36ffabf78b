"""A timelapse whose interval nobody gave: how many frames hangs on the ways between them, and these on how many."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from sequencer.errors import ProjectError
from sequencer.motion.lapse import longest_way
from sequencer.project.document import Project
from sequencer.project.store import load
from sequencer.score.interval import Known
from sequencer.score.timelapse import Timelapse
from sequencer.shell.kinds import laws
from sequencer.shell.spread import spread
from tests.shell.small import small_project

EXPOSURE_S = Fraction(1, 20)


@pytest.fixture
def project(tmp_path: Path) -> Project:
    return load(small_project(tmp_path / "small"), laws())


def lapse(project: Project, event_s: int, interval_s: Fraction | None = None) -> Project:
    """Return the project with a timelapse of an event that lasts so long."""
    lengths = Known(event_s=Fraction(event_s), exposure_s=EXPOSURE_S, settle_s=Fraction(0), interval_s=interval_s)
    return replace(project, timelapse=Timelapse(known=lengths, speed=Fraction(1)))


@pytest.mark.parametrize("event_s", [2, 8])
def test_what_settles_after_some_turns_is_a_plan_whose_ways_fit(project: Project, event_s: int) -> None:
    found = spread(lapse(project, event_s), laws())
    way_s, _ = longest_way(project.rig, found.poses, Fraction(1))
    assert len(found.poses) == found.plan.frames
    assert found.plan.move_s == way_s
    assert found.plan.shortest_s == EXPOSURE_S + way_s
    assert found.plan.frames * found.plan.shortest_s <= event_s < (found.plan.frames + 1) * found.plan.shortest_s
    assert found.refused == ""


def test_where_it_does_not_settle_the_interval_is_asked_for(project: Project) -> None:
    """Five frames have ways for which there is only time for four, and four have time for a fifth."""
    with pytest.raises(ProjectError) as refused:
        spread(lapse(project, 3), laws())
    assert str(refused.value) == (
        "project.json: timelapse: how many frames there are hangs on the ways between them, and these on that; "
        "give the interval"
    )
    found = spread(lapse(project, 3, Fraction(3, 4)), laws())
    assert (found.plan.frames, found.refused) == (4, "")
