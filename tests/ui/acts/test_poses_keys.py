"""Marks become keys: at an instant, on beats, evenly; seen as a proposal before they are taken."""

import re
from dataclasses import replace
from fractions import Fraction

import pytest

from sequencer.score.marks import Mark
from sequencer.score.move import Move
from ui.acts.poses_keys import Laid, propose_keys
from ui.desk import Desk

DOORWAY = Mark("doorway", (("pan", -20.0), ("tilt", 2.0)))
WINDOW = Mark("window", (("pan", 35.0),))
MARKS = (DOORWAY, WINDOW)
AFTER = Fraction(1010)  # frames: the move is over


def keys(move: Move, axis: str, since: Fraction = AFTER) -> list[tuple[Fraction, float, str]]:
    track = next(track for track in move.tracks if track.axis == axis)
    return [(key.at, key.value, key.ease.law) for key in track.keys if key.at >= since]


def proposed(desk: Desk) -> Move:
    assert desk.proposal is not None
    return desk.proposal.move


def test_one_mark_becomes_keys_at_the_instant(desk: Desk) -> None:
    first = desk.project
    propose_keys(desk, (DOORWAY,), Laid(when="instant", start=AFTER, law="cycloidal"))
    assert desk.project is first
    assert keys(proposed(desk), "pan") == [(AFTER, -20.0, "cycloidal")]
    assert keys(proposed(desk), "tilt") == [(AFTER, 2.0, "cycloidal")]
    assert desk.proposal is not None
    assert "doorway 10:00:40:10" in desk.proposal.lines[0]
    desk.take_proposal()
    assert keys(desk.project.move, "pan") == [(AFTER, -20.0, "cycloidal")]
    desk.undo()
    assert desk.project == first


def test_they_come_on_every_second_beat(desk: Desk) -> None:
    """96 beats a minute at 25 frames a second: 15.625 frames a beat, so that 1010 frames are nearest to beat 65."""
    propose_keys(desk, MARKS, Laid(when="beats", start=AFTER, every=2))
    assert [at for at, _, _ in keys(proposed(desk), "pan")] == [65 * Fraction(125, 8), 67 * Fraction(125, 8)]


def test_they_come_evenly_between_two_instants_and_an_axis_that_is_not_named_stays(desk: Desk) -> None:
    propose_keys(desk, (*MARKS, replace(DOORWAY, name="back")), Laid(when="evenly", start=AFTER, end=AFTER + 200))
    assert keys(proposed(desk), "pan") == [
        (AFTER, -20.0, "poly345"),
        (AFTER + 100, 35.0, "poly345"),
        (AFTER + 200, -20.0, "poly345"),
    ]
    assert [value for _, value, _ in keys(proposed(desk), "tilt")] == [2.0, 2.0, 2.0]
    assert desk.span_s[1] >= 48.4, "what is proposed is in sight"


def test_keys_in_between_are_taken_out_where_that_is_asked_for(desk: Desk) -> None:
    there = [key.at for key in desk.project.move.tracks[0].keys]
    inner = Laid(when="evenly", start=there[0], end=there[3], clear=True)
    pan = (Mark("a", (("pan", -48.0),)), Mark("b", (("pan", 52.0),)))
    propose_keys(desk, pan, inner)
    assert [at for at, _, _ in keys(proposed(desk), "pan", Fraction(0))][:3] == [there[0], there[3], there[4]]


def test_it_is_said_where_motors_could_not_do_it(desk: Desk) -> None:
    propose_keys(desk, MARKS, Laid(when="evenly", start=AFTER, end=AFTER + 5))
    assert desk.proposal is not None
    assert "over a limit then: pan" in desk.proposal.lines[1]
    propose_keys(desk, MARKS, Laid(when="evenly", start=AFTER, end=AFTER + 400))
    assert len(desk.proposal.lines) == 1


@pytest.mark.parametrize(
    ("marks", "how", "says"),
    [
        ((), Laid(when="instant", start=AFTER), "no mark is chosen"),
        (MARKS, Laid(when="instant", start=AFTER), "cannot all be at one instant"),
        (MARKS, Laid(when="evenly", start=AFTER, end=AFTER), "choose a later end"),
        (MARKS, Laid(when="beats", start=AFTER, every=0), "marks cannot come every"),
        ((Mark("far", (("pan", 900.0),)),), Laid(when="instant", start=AFTER), "the rig cannot go to far"),
        ((Mark("crane", (("crane", 1.0),)),), Laid(when="instant", start=AFTER), "no axis 'crane'"),
        ((WINDOW,), Laid(when="instant", start=Fraction(10**8)), "half a day"),
        ((WINDOW,), Laid(when="instant", start=Fraction(405)), "pan at 10:00:15:00: the axis should hold"),
        ((WINDOW,), Laid(when="instant", start=AFTER, law="swing"), "swing"),
    ],
)
def test_what_cannot_be_is_refused_in_words(desk: Desk, marks: tuple[Mark, ...], how: Laid, says: str) -> None:
    first = desk.project
    with pytest.raises(ValueError, match=re.escape(says)):
        propose_keys(desk, marks, how)
    assert desk.project is first
    assert desk.proposal is None


def test_a_project_without_a_tempo_has_no_beats(desk: Desk) -> None:
    desk.edit("no tempo", replace(desk.project, tempo=None))
    with pytest.raises(ValueError, match="give the project a tempo first"):
        propose_keys(desk, MARKS, Laid(when="beats", start=AFTER))


def test_a_locked_desk_is_proposed_nothing(desk: Desk) -> None:
    desk.lock("the rig is armed; stop it to edit")
    with pytest.raises(ValueError, match="stop it to edit"):
        propose_keys(desk, MARKS, Laid(when="evenly", start=AFTER, end=AFTER + 400))
