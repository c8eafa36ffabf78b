"""Which takes an edit begins with, and that nothing is lost beside them."""

from dataclasses import replace
from fractions import Fraction

from sequencer.export.selects import PLANNED, frames, lanes, selects
from tests.export.edits import SWEEP, TAKES, TURN, edited, take


def test_the_circled_take_is_meant_and_else_the_last() -> None:
    """Common practice, no source."""
    assert [one.number for one in selects(TAKES[:4])] == [2, 4]
    assert [one.number for one in selects([take(1, TURN), take(2, TURN)])] == [2]
    both = [take(1, TURN, circled=True), take(3, TURN), take(2, TURN, circled=True)]
    assert [one.number for one in selects(both)] == [2]


def test_each_pass_has_a_lane_of_selects_and_lanes_of_others_and_nothing_is_lost() -> None:
    rows = lanes(edited())
    assert [(row.run, row.selects, [clip.name for clip in row.clips]) for row in rows] == [
        ("band", True, ["lantern turn band 002", "crowd sweep band 004"]),
        ("band", False, ["lantern turn band 001"]),
        ("band", False, ["lantern turn band 003"]),
        ("clean plate", True, ["lantern turn clean plate 005"]),
        (PLANNED, True, ["last light"]),
    ]


def test_selects_that_overlap_lie_in_lanes_of_their_own() -> None:
    early = replace(take(6, SWEEP), span=(Fraction(300), Fraction(420)))
    rows = lanes(edited(takes=(take(1, TURN), early), cues=()))
    assert [[clip.first for clip in row.clips] for row in rows] == [[185], [300]]


def test_a_stretch_has_the_whole_frames_around_it_and_one_at_the_least() -> None:
    assert frames(Fraction(185), Fraction(385)) == (185, 386)
    assert frames(Fraction(369, 2), Fraction(771, 2)) == (184, 386)
    assert frames(Fraction(-3, 2), Fraction(-3, 2)) == (-2, -1)
