"""Every fault of a move, with its place in the document."""

from fractions import Fraction

import pytest

from sequencer.errors import ProjectError
from sequencer.motion.compile import compile_move
from sequencer.score.easing import LawKind, NoSettings, UnitCurve
from sequencer.score.faults import faults
from sequencer.score.move import Ease, Key, Move, Track
from tests.motion.machines import LAWS, SECONDS, rig, track

GOOD = track([0, 1], [0, 1], "linear", "pan1")


def found(*tracks: Track) -> list[ProjectError]:
    return list(faults(Move(tracks=tracks), rig(2), LAWS))


@pytest.mark.parametrize(
    ("bad", "path", "words"),
    [
        (track([0, 1], [0, 1], "linear", "tilt"), "tracks[1].axis", "no axis 'tilt'"),
        (track([0, 1], [0, 1], "linear", "pan1"), "tracks[1].axis", "moves the axis 'pan1' already"),
        (Track("pan0", ()), "tracks[1].keys", "no keys"),
        (track([0, 2, 2], [0, 1, 2], "linear"), "tracks[1].keys[2].at", "same instant"),
        (track([0, 3, 2], [0, 1, 2], "linear"), "tracks[1].keys[2].at", "1 frames before"),
        (track([0, Fraction(1, 10**9)], [0, 1], "linear"), "tracks[1].keys[1].at", "millionth of a frame"),
        (track([0, 10**400], [0, 1], "linear"), "tracks[1].keys[1].at", "further away"),
        (track([10**400], [0], "linear"), "tracks[1].keys[0].at", "further away"),
        (track([0, 1], [0, float("nan")], "linear"), "tracks[1].keys[1].value", "nan"),
        (track([0, 1], [float("-inf"), 0], "linear"), "tracks[1].keys[0].value", "-inf"),
        (track([0, 1], [0, 1], "swoop"), "tracks[1].keys[0].ease", "there are bezier"),
        (track([0, 1], [0, 1], [Ease("linear"), Ease("swoop")]), "tracks[1].keys[1].ease", "no motion law"),
        (track([0, 1], [0, 1], "bezier"), "tracks[1].keys[0].ease", "needs its settings"),
        (track([0, 1], [0, 1], Ease("through", 3)), "tracks[1].keys[0].ease", "cannot use the settings"),
        (track([0, 1, 2], [0, 0, 1], "hold"), "tracks[1].keys[1].ease", "hold at 0, but the next key is at 1"),
    ],
)
def test_a_fault_is_named_with_its_place(bad: Track, path: str, words: str) -> None:
    first = found(GOOD, bad)[0]
    assert first.path == path
    assert words in first.what
    with pytest.raises(ProjectError) as refused:
        compile_move(rig(2), Move(tracks=(GOOD, bad)), SECONDS, LAWS)
    assert refused.value.path == path


def test_a_hold_to_or_from_no_number_is_one_fault_not_two() -> None:
    eases = [Ease("hold"), Ease("linear"), Ease("linear")]
    for values, key in (([0, float("nan"), 1], 1), ([float("inf"), 0, 0], 0)):
        assert [fault.path for fault in found(track([0, 1, 2], values, eases))] == [f"tracks[0].keys[{key}].value"]


def test_all_faults_are_named_not_only_the_first() -> None:
    bad = Track(
        "pan0",
        (
            Key(Fraction(0), 0.0, Ease("swoop")),
            Key(Fraction(2), float("nan"), Ease("linear")),
            Key(Fraction(1), 1.0, Ease("hold")),
            Key(Fraction(3), 2.0, Ease("linear")),
        ),
    )
    paths = [fault.path for fault in found(bad, Track("pan1", ()))]
    assert sorted(paths) == [
        "tracks[0].keys[0].ease",
        "tracks[0].keys[1].value",
        "tracks[0].keys[2].at",
        "tracks[0].keys[2].ease",
        "tracks[1].keys",
    ]


def test_the_last_key_may_carry_hold_and_a_hold_may_stay() -> None:
    assert found(track([0, 1, 2], [0, 0, 1], [Ease("hold"), Ease("linear"), Ease("hold")])) == []


def test_a_move_without_tracks_has_no_fault() -> None:
    assert found() == []


def test_a_law_that_cannot_make_its_curve_is_a_fault_of_the_key() -> None:
    def refuse(how: NoSettings) -> UnitCurve:
        raise ValueError("too steep to draw")

    stubborn = {"stubborn": LawKind("stubborn", NoSettings, refuse)}
    first = next(faults(Move(tracks=(track([0, 1], [0, 1], "stubborn"),)), rig(), stubborn))
    assert (first.path, first.what) == ("tracks[0].keys[0].ease", "too steep to draw")
