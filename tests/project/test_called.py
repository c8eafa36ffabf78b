"""Triggers keep calling the cue or the marker that they were made for."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from sequencer.errors import ProjectError
from sequencer.project.called import refuse_uncalled, with_called_cue, with_called_marker
from sequencer.project.document import Project, Triggers
from sequencer.project.store import load
from sequencer.score.move import Marker
from sequencer.shell.kinds import laws
from sequencer.sync.orders import GoToMark, Mapped, StartClock, TakeCue

CUE = Mapped(message="note", number=60, order=TakeCue("last light"))
MARK = Mapped(message="program", number=3, channel=2, order=GoToMark("refrain"))
START = Mapped(message="note", number=61, order=StartClock())


@pytest.fixture
def project() -> Project:
    return replace(load(Path("projects/harbour-lanterns"), laws()), triggers=Triggers((START, CUE, MARK), 5))


def test_a_trigger_follows_the_new_name_and_nothing_else_of_it_changes(project: Project) -> None:
    cued = with_called_cue(project, "last light", "dusk")
    assert cued.triggers == Triggers((START, replace(CUE, order=TakeCue("dusk")), MARK), 5)
    marked = with_called_marker(project, "refrain", "boats")
    assert marked.triggers == Triggers((START, CUE, replace(MARK, order=GoToMark("boats"))), 5)


def test_names_that_no_trigger_calls_change_nothing(project: Project) -> None:
    assert with_called_cue(project, "refrain", "dusk") is project
    assert with_called_marker(project, "last light", "dusk") is project


def test_what_a_trigger_calls_is_there_once(project: Project) -> None:
    refuse_uncalled(project)
    move = project.move
    with pytest.raises(ProjectError, match="note 60 needs the cue last light"):
        refuse_uncalled(replace(project, move=replace(move, cues=move.cues[:2])))
    with pytest.raises(ProjectError, match="program 3 needs the marker refrain"):
        refuse_uncalled(replace(project, move=replace(move, markers=())))
    twice = (*move.markers, Marker("refrain", Fraction(0)))
    with pytest.raises(ProjectError, match="which marker refrain is meant"):
        refuse_uncalled(replace(project, move=replace(move, markers=twice)))
