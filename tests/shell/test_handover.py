"""What cannot be handed over, since it is not said of what, or two things that exclude each other are asked for."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from sequencer.errors import ExportError, ProjectError
from sequencer.project.document import Project
from sequencer.project.store import load
from sequencer.score.move import Cue, Pass
from sequencer.shell.handover import Asked, gather
from sequencer.shell.kinds import laws
from tests.shell.small import small_project


@pytest.fixture
def project(tmp_path: Path) -> Project:
    """Return the small project with a second cue, and a pass that belongs to the first one."""
    small = load(small_project(tmp_path / "small"), laws())
    cues = (*small.move.cues, Cue("finale", Fraction(62), Fraction(80)))
    return replace(small, move=replace(small.move, cues=cues, passes=(Pass("plate", of="turn"),)))


def test_of_nothing_there_is_nothing_to_hand_over() -> None:
    with pytest.raises(ExportError, match=r"^name a project's folder, or a take file$"):
        gather(Asked(), "camera")


def test_a_pass_of_another_cue_is_refused_with_both_names(project: Project) -> None:
    with pytest.raises(ProjectError) as refused:
        gather(Asked(edited=project, cue="finale", run="plate"), "camera")
    assert str(refused.value) == (
        "project.json: the pass plate belongs to the cue turn, not to finale; choose that cue, or another pass"
    )
    delivery, _ = gather(Asked(edited=project, cue="turn", run="plate"), "camera")
    assert (delivery.cue.name, delivery.run) == ("turn", "plate")
