"""Which master a project cannot follow, since what it counts by is not there."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from sequencer.errors import ProjectError
from sequencer.project.document import Project, SyncOffset
from sequencer.project.store import load
from sequencer.shell.kinds import laws
from sequencer.shell.masters import master
from sequencer.shell.memory import Ring
from sequencer.shell.messages import Setup
from sequencer.sync.internal import InternalFollower
from tests.shell.small import small_project


@pytest.fixture
def project(tmp_path: Path) -> Project:
    """Return one without music and without a tempo."""
    return load(small_project(tmp_path / "small"), laws())


def followed(project: Project, tmp_path: Path, sync: Any, **said: Any) -> Any:
    setup = Setup(project=str(tmp_path / "small"), run=None, output="osc://127.0.0.1:9", sync=sync, **said)
    return master(setup, project, Ring(tmp_path / "wishes", size=1000))


@pytest.mark.parametrize(
    ("sync", "words"),
    [
        ("audio", "project.json: playback: is missing; name the music's file, or choose another --sync"),
        ("clock", "project.json: tempo: is missing, and MIDI clock counts beats; give the project a tempo"),
    ],
)
def test_what_the_project_must_have_for_it_is_named(project: Project, tmp_path: Path, sync: str, words: str) -> None:
    with pytest.raises(ProjectError) as refused:
        followed(project, tmp_path, sync)
    assert str(refused.value) == words


@pytest.mark.parametrize(
    ("said", "words"),
    [
        (
            {"offset_frames": "99999999"},
            "command line: --offset-frames: offset_s is 3999999.96; it must lie within a day",
        ),
        ({"delay_ms": 3000.0}, "command line: --delay-ms: delay_s is 3.0; it must lie within a second either way"),
    ],
)
def test_an_option_that_cannot_be_is_named_and_not_the_project(
    project: Project, tmp_path: Path, said: dict[str, Any], words: str
) -> None:
    with pytest.raises(ProjectError) as refused:
        followed(project, tmp_path, "mtc", **said)
    assert str(refused.value).startswith(words)


def test_what_the_project_says_that_cannot_be_is_named_there(project: Project, tmp_path: Path) -> None:
    """Its reader refuses such a file; one that is edited is followed as it is."""
    odd = replace(project, sync=(SyncOffset("mtc", delay_ms=3000.0),))
    with pytest.raises(ProjectError, match=r"project\.json: sync: delay_s is 3\.0; it must lie within a second"):
        followed(odd, tmp_path, "mtc")


def test_the_programs_own_clock_needs_neither(project: Project, tmp_path: Path) -> None:
    own, desk = followed(project, tmp_path, "internal")
    assert isinstance(own, InternalFollower)
    assert desk is own
