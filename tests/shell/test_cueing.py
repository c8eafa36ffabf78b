"""What an order to arm means: which part of the move in a pass, which axes hands perform, what plays without keys."""

from dataclasses import replace
from fractions import Fraction
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from sequencer.motion.compile import compile_move
from sequencer.project.document import Project
from sequencer.project.passed import in_pass
from sequencer.project.store import load
from sequencer.score.move import Cue, Marker, Pass
from sequencer.shell.cueing import as_it_stands, call_up, from_marker, of_cue, performing, whole
from sequencer.shell.kinds import laws
from sequencer.shell.messages import Arm
from tests.shell.small import small_project


@pytest.fixture
def project(tmp_path: Path) -> Project:
    """Return the small project: the pan has keys, the tilt has none."""
    return load(small_project(tmp_path / "small"), laws())


def test_an_axis_without_keys_stays_where_it_stands_from_the_first_instant_to_the_last(project: Project) -> None:
    timeline = compile_move(project.rig, project.move, project.timebase.rate, laws())
    cued = call_up(project.rig, project, timeline, whole(project, timeline), project.run(None).speed, None).cued
    stays = as_it_stands(cued, project, (False, True), (5.0, 12.0))
    assert stays.position.tolist() == [0.0, 12.0]
    assert stays.approach.tolist() == [cued.approach[0], 12.0]
    # also where the hands are punched out before it begins: nothing may lead the axis home then
    for t_s in np.linspace(cued.start_s - 1, cued.rest_s + 1, 50).tolist():
        position, velocity = stays.ahead(t_s, 1.0)
        played, fast = cued.ahead(t_s, 1.0)
        assert position.tolist() == [played[0], 12.0]
        assert velocity.tolist() == [fast[0], 0.0]


def test_an_axis_with_keys_and_one_that_nobody_performs_play_what_is_written(project: Project) -> None:
    timeline = compile_move(project.rig, project.move, project.timebase.rate, laws())
    cued = call_up(project.rig, project, timeline, whole(project, timeline), project.run(None).speed, None).cued
    assert as_it_stands(cued, project, (True, False), (5.0, 12.0)) is cued
    assert as_it_stands(cued, project, (), (5.0, 12.0)) is cued


@pytest.mark.parametrize(
    ("order", "words"),
    [
        (Arm(by_hand=("pan",), remote=True), "what triggers choose cannot be performed by hand"),
        (Arm(by_hand=("pan",), late="join"), "where timecode may be joined"),
        (Arm(by_hand=("tilt",), punched=False), "nothing to play on tilt before the punch in"),
        (Arm(by_hand=("crane",)), "no axis 'crane'"),
    ],
)
def test_what_cannot_be_performed_is_refused_in_words(project: Project, order: Arm, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        performing(project.rig, project, order)


@pytest.fixture
def of_first(project: Project) -> Project:
    """Return a project of two cues and a marker in each, in a pass that belongs to the first of them."""
    cues = (Cue("turn", Fraction(0), Fraction(50)), Cue("finale", Fraction(60), Fraction(100)))
    markers = (Marker("crane", Fraction(10)), Marker("bell", Fraction(70)))
    passes = (Pass("band"), Pass("plate", of="turn"))
    return replace(project, move=replace(project.move, cues=cues, markers=markers, passes=passes))


@pytest.mark.parametrize("name", ["finale", "bell"])
def test_in_a_pass_of_a_cue_what_lies_in_another_is_refused_by_the_passs_name(of_first: Project, name: str) -> None:
    shot, own = in_pass(of_first, "plate", laws())
    timeline = compile_move(shot.rig, shot.move, shot.timebase.rate, laws())
    ask = partial(from_marker, shot, timeline) if name == "bell" else partial(of_cue, shot)
    with pytest.raises(ValueError, match=f"the pass plate belongs to the cue turn; {name} is not in it"):
        ask(name, own.name)
    assert of_cue(shot, "turn", own.name) == of_cue(of_first, "turn")
    assert from_marker(shot, timeline, "crane", own.name).end_s == 2.0


def test_a_marker_that_is_not_there_is_refused_with_those_that_are(project: Project) -> None:
    timeline = compile_move(project.rig, project.move, project.timebase.rate, laws())
    with pytest.raises(ValueError, match=r"^no marker 'bell' in Small; markers: on the way$"):
        from_marker(project, timeline, "bell")
    bare = replace(project, move=replace(project.move, markers=()))
    with pytest.raises(ValueError, match=r"^no marker 'bell' in Small; markers: none$"):
        from_marker(bare, timeline, "bell")


def test_in_a_pass_of_no_cue_all_are_there(of_first: Project) -> None:
    shot, _ = in_pass(of_first, "band", laws())
    assert of_cue(shot, "finale", "band").end_s == 4.0
    with pytest.raises(ValueError, match="no cue 'none' in Small; cues: turn, finale"):
        of_cue(shot, "none", "band")
