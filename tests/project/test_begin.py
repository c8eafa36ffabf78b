"""A project from a few answers: valid, within its guesses, and with something to shoot."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.errors import ProjectError
from sequencer.motion.check import check
from sequencer.project.begin import GUESSED, GUESSES, Answers, begin, demos, empty, guess, is_guessed
from sequencer.project.store import load, save
from sequencer.rig.axis import KINDS
from sequencer.shell.kinds import laws
from sequencer.timebase.rate import RATES, Rate


@settings(max_examples=40, deadline=None)
@given(axes=st.sets(st.sampled_from(KINDS), min_size=1), rate=st.sampled_from(list(RATES.values())))
def test_every_choice_gives_a_move_within_its_limits(axes: set[str], rate: Rate) -> None:
    project = begin(Answers(name="Test", axes=tuple(kind for kind in KINDS if kind in axes), rate=rate))
    found = check(project.rig, project.move, rate, laws())
    assert found.ok
    assert found.reserve >= 0.5
    assert {track.axis for track in project.move.tracks} == axes
    assert all(track.keys[0].value != track.keys[1].value for track in project.move.tracks)
    cue = project.cue(None)
    assert all(cue.start < key.at < cue.end for track in project.move.tracks for key in track.keys)


def test_it_is_saved_and_loaded_as_it_is(tmp_path: Path) -> None:
    project = begin(Answers(name="Quay", axes=KINDS, rate=RATES["30000/1001"], drop=True, start="01:00:00:00"))
    save(tmp_path / "quay", project, laws())
    assert load(tmp_path / "quay", laws()) == project


def test_guesses_say_that_they_are(tmp_path: Path) -> None:
    project = begin(Answers(name="Quay", axes=("pan", "slide")))
    assert GUESSED in project.rig.name
    assert all(is_guessed(axis) for axis in project.rig.axes)
    assert not is_guessed(load(Path("projects/harbour-lanterns"), laws()).rig.axes[0])
    assert guess("pan", "pan-2").name == "pan-2"
    assert set(GUESSES) == set(KINDS)


@pytest.mark.parametrize(
    ("answers", "path"),
    [
        (Answers(name="  ", axes=("pan",)), "name"),
        (Answers(name="Quay", axes=()), "axes"),
        (Answers(name="Quay", axes=("pan",), drop=True), "drop"),
        (Answers(name="Quay", axes=("pan",), start="ten o'clock"), "start"),
        (Answers(name="Quay", axes=("pan",), start="10:00:00:25"), "start"),
        (Answers(name="Quay", axes=("pan",), start="10:00:00:12.5"), "start"),
    ],
)
def test_an_answer_that_cannot_be_names_itself(answers: Answers, path: str) -> None:
    with pytest.raises(ProjectError) as told:
        begin(answers)
    assert told.value.path == path
    assert told.value.mend


def test_an_empty_desk_has_a_rig_and_no_move() -> None:
    project = empty()
    assert not project.move.tracks
    assert len(project.rig.axes) == 1


def test_the_demos_are_found_and_load() -> None:
    found = demos(Path("projects"))
    assert [path.name for path in found] == ["harbour-lanterns", "low-tide", "paper-boats"]
    assert demos(Path("nowhere")) == ()
