"""Edits of single keys: put, take out, move, shape; and copies of keys that are pasted."""

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.errors import ProjectError
from sequencer.score.edits.clip import clip, paste
from sequencer.score.edits.keys import passing, pinned, placed, put, removed, shaped, turning
from sequencer.score.edits.offset import offset
from sequencer.score.edits.selection import CLOSEST, everything
from sequencer.score.edits.snap import Stops, snap
from sequencer.score.laws.bezier import Bezier
from sequencer.score.move import Ease, Key, Move, Track
from tests.motion.machines import LAWS, track
from tests.score.edits.moves import moves

SMALL = Move(tracks=(track([0, 25, 50], [0, 10, 20], "poly345"), track([10, 50], [1, 1], "linear", "pan1")))
FRAMES = st.fractions(-1000, 1000, max_denominator=1001)


def one(at: float, value: float = 5.0, law: str = "linear") -> Key:
    return Key(Fraction(at), value, Ease(law))


def instants(move: Move, axis: int = 0) -> list[Fraction]:
    return [key.at for key in move.tracks[axis].keys]


@given(moves(), FRAMES)
def test_a_key_that_was_put_in_and_taken_out_leaves_nothing(move: Move, at: Fraction) -> None:
    try:
        more = put(move, "pan1", one(0)) if at in instants(move, 1) else put(move, "pan1", replace(one(0), at=at))
    except ProjectError:
        assert any(abs(key.at - at) < CLOSEST or key.at == 0 for key in move.tracks[1].keys)
        return
    assert instants(more, 1) == sorted(instants(more, 1))
    (number,) = [number for number, key in enumerate(more.tracks[1].keys) if key not in move.tracks[1].keys]
    assert removed(more, {"pan1": {number}}) == move
    assert more.tracks[0] is move.tracks[0]


def test_a_key_begins_a_track_where_there_is_none_and_the_last_one_takes_it_away() -> None:
    more = put(SMALL, "zoom", one(7))
    assert [track.axis for track in more.tracks] == ["pan0", "pan1", "zoom"]
    assert removed(more, {"zoom": {0}}) == SMALL


@pytest.mark.parametrize("at", [Fraction(25), Fraction(25) + CLOSEST / 2, Fraction(25) - CLOSEST / 2])
def test_a_key_is_not_put_onto_another(at: Fraction) -> None:
    with pytest.raises(ProjectError, match=r"tracks\[0\]\.keys\[1\]\.at.*pan0 has a key at @25"):
        put(SMALL, "pan0", replace(one(0), at=at))
    near = put(SMALL, "pan0", replace(one(0), at=Fraction(25) + CLOSEST))
    assert instants(near) == [0, 25, 25 + CLOSEST, 50]


@pytest.mark.parametrize("value", [float("nan"), float("inf"), 1e7, -1e308])
def test_a_key_stands_where_an_axis_can_be(value: float) -> None:
    with pytest.raises(ValueError, match="cannot stand at"):
        put(SMALL, "pan0", one(7, value))
    with pytest.raises(ValueError, match="cannot stand at"):
        placed(SMALL, "pan0", 1, value=value)


def test_keys_at_the_ends_are_taken_out_and_pinned_ones_are_not() -> None:
    assert instants(removed(SMALL, {"pan0": {0, 2}})) == [25]
    assert removed(SMALL, {"pan0": {0, 2}}).tracks[1] is SMALL.tracks[1]
    with pytest.raises(ProjectError, match=r"tracks\[0\]\.keys\[1\].*@25 is pinned"):
        removed(pinned(SMALL, {"pan0": {1}}, True), {"pan0": {0, 1}})
    with pytest.raises(ValueError, match="pan0 has no key 3"):
        removed(SMALL, {"pan0": {3}})


@given(moves(), st.data())
def test_a_key_that_is_placed_is_where_it_was_put_or_nothing_happens(move: Move, data: st.DataObject) -> None:
    number = data.draw(st.integers(0, len(move.tracks[0].keys) - 1))
    at, value = data.draw(FRAMES), data.draw(st.floats(-90, 90))
    keys = list(move.tracks[0].keys)
    keys[number] = replace(keys[number], at=at, value=value)
    apart = [later.at - key.at for key, later in pairwise(keys)]
    if any(gap < CLOSEST for gap in apart):
        with pytest.raises(ProjectError, match="would come"):
            placed(move, "pan0", number, at=at, value=value)
        return
    found = placed(move, "pan0", number, at=at, value=value)
    assert found == replace(move, tracks=(Track("pan0", tuple(keys)), move.tracks[1]))
    assert found.tracks[1] is move.tracks[1]


def test_a_key_is_placed_in_time_alone_or_in_value_alone() -> None:
    assert placed(SMALL, "pan0", 1, at=Fraction(30)).tracks[0].keys[1] == replace(
        SMALL.tracks[0].keys[1], at=Fraction(30)
    )
    assert placed(SMALL, "pan0", 1, value=3.0).tracks[0].keys[1] == replace(SMALL.tracks[0].keys[1], value=3.0)
    with pytest.raises(ProjectError, match=r"tracks\[0\]\.keys\[2\]\.at.*@50 would come at the same instant.*@25"):
        placed(SMALL, "pan0", 1, at=Fraction(50))
    with pytest.raises(ProjectError, match=r"tracks\[0\]\.keys\[1\]\.at.*@25 would come before the one at @0"):
        placed(SMALL, "pan0", 1, at=Fraction(-3))
    with pytest.raises(ValueError, match="pan0 has no key 3"):
        placed(SMALL, "pan0", 3, value=0.0)
    with pytest.raises(ValueError, match="no track moves 'tilt'"):
        placed(SMALL, "tilt", 0, value=0.0)


def test_legs_get_a_law_that_they_can_have() -> None:
    bezier = Ease("bezier", Bezier((0.3, 0.1, 0.6, 0.9)))
    found = shaped(SMALL, {"pan0": {1}}, bezier, LAWS)
    assert [key.ease for key in found.tracks[0].keys] == [Ease("poly345"), bezier, Ease("poly345")]
    with pytest.raises(ValueError, match="no motion law 'wobble'"):
        shaped(SMALL, {"pan0": {1}}, Ease("wobble"), LAWS)
    with pytest.raises(ValueError, match="cannot use the settings"):
        shaped(SMALL, {"pan0": {1}}, Ease("linear", 3), LAWS)
    assert shaped(SMALL, {"pan1": {0}, "pan0": {2}}, Ease("hold"), LAWS).tracks[1].keys[0].ease == Ease("hold")
    with pytest.raises(
        ProjectError, match=r"tracks\[0\]\.keys\[1\]\.ease.*would hold from @25 on, but goes from 10 to"
    ):
        shaped(SMALL, {"pan0": {1}}, Ease("hold"), LAWS)


def test_keys_choose_how_they_are_passed_which_way_the_axis_turns_and_whether_they_may_move() -> None:
    found = pinned(turning(passing(SMALL, {"pan0": {1}}, "stop"), {"pan0": {1}}, "up"), {"pan0": {1}}, True)
    assert found.tracks[0].keys[1] == replace(SMALL.tracks[0].keys[1], passing="stop", turn="up", pin=True)
    assert found.tracks[1] is SMALL.tracks[1]
    assert pinned(turning(passing(found, {"pan0": {1}}, "pass"), {"pan0": {1}}, None), {"pan0": {1}}, False) == SMALL
    with pytest.raises(ValueError, match="no passing 'jump'"):
        passing(SMALL, {"pan0": {1}}, "jump")  # type: ignore[arg-type]  # what a caller without types may do
    with pytest.raises(ValueError, match="no turn 'left'"):
        turning(SMALL, {"pan0": {1}}, "left")  # type: ignore[arg-type]  # as above


@given(moves(), FRAMES)
def test_what_was_copied_and_pasted_where_it_was_changes_nothing(move: Move, at: Fraction) -> None:
    free = pinned(move, everything(move), False)
    begin = min(key.at for track in free.tracks for key in track.keys)
    copy = clip(free, everything(free))
    assert paste(free, copy, begin) == (free, everything(free))
    assert paste(Move(tracks=()), copy, at)[0].tracks == offset(free, everything(free), frames=at - begin).tracks


@given(moves(), st.data())
def test_pasted_keys_are_chosen_and_keys_between_them_stay(move: Move, data: st.DataObject) -> None:
    move = pinned(move, everything(move), False)
    some = {
        track.axis: data.draw(st.frozensets(st.integers(0, len(track.keys) - 1), min_size=1)) for track in move.tracks
    }
    copy, at = clip(move, some), data.draw(FRAMES)
    found, chosen = paste(move, copy, at)
    for before, after, copied in zip(move.tracks, found.tracks, copy.tracks, strict=True):
        new = [key for number, key in enumerate(after.keys) if number in chosen[after.axis]]
        assert new == [replace(key, at=key.at + at) for key in copied.keys]
        old = [key for number, key in enumerate(after.keys) if number not in chosen[after.axis]]
        assert old == [key for key in before.keys if all(abs(key.at - one.at) >= CLOSEST for one in new)]
        assert instants(Move(tracks=(after,))) == sorted(instants(Move(tracks=(after,))))
    cleared, _ = paste(move, copy, at, clear=True)
    for before, after, copied in zip(move.tracks, cleared.tracks, copy.tracks, strict=True):
        first, last = (copied.keys[end].at + at for end in (0, -1))
        assert [key for key in after.keys if first <= key.at <= last] == [
            replace(key, at=key.at + at) for key in copied.keys
        ]
        beside = [key for key in before.keys if key.at <= first - CLOSEST or key.at >= last + CLOSEST]
        assert [key for key in after.keys if not first <= key.at <= last] == beside


def test_a_copy_goes_to_another_axis() -> None:
    copy = clip(SMALL, {"pan0": {1, 2}})
    assert copy.lasts == 25
    assert copy.count == 2
    found, chosen = paste(SMALL, copy, Fraction(40), axes={"pan0": "pan1"})
    assert instants(found, 1) == [10, 40, 50, 65]
    assert chosen == {"pan1": {1, 3}}
    assert found.tracks[0] is SMALL.tracks[0]
    assert paste(SMALL, copy, Fraction(40), axes={"pan0": "pan1"}, clear=True)[0].tracks[1].keys[1:] == tuple(
        replace(key, at=key.at + 15) for key in SMALL.tracks[0].keys[1:]
    )
    with pytest.raises(ValueError, match="no keys of 'tilt' were copied"):
        paste(SMALL, copy, Fraction(0), axes={"tilt": "pan0"})
    with pytest.raises(ValueError, match="two axes would come to one"):
        paste(SMALL, clip(SMALL, everything(SMALL)), Fraction(0), axes={"pan0": "pan1"})
    with pytest.raises(ValueError, match="no key is chosen"):
        clip(SMALL, {"pan0": set()})


def test_a_pinned_key_is_not_pasted_over_and_no_pin_is_copied() -> None:
    move = pinned(SMALL, {"pan0": {1}}, True)
    copy = clip(move, {"pan0": {0, 1}})
    assert not any(key.pin for key in copy.tracks[0].keys)
    with pytest.raises(ProjectError, match=r"tracks\[0\]\.keys\[1\].*@25 is pinned"):
        paste(move, copy, Fraction(25))
    assert instants(paste(move, copy, Fraction(20))[0]) == [0, 20, 25, 45, 50]
    with pytest.raises(ProjectError, match="@25 is pinned"):
        paste(move, copy, Fraction(20), clear=True)


@given(st.lists(FRAMES, min_size=1), FRAMES)
def test_stops_are_the_nearest_of_what_is_given(stops: list[Fraction], at: Fraction) -> None:
    found = Stops(tuple(stops)).nearest(at)
    assert abs(found - at) == min(abs(stop - at) for stop in stops)
    assert found in stops
    assert Stops((at - 1, at + 1)).nearest(at) == at + 1


def test_keys_snap_to_stops() -> None:
    found = snap(SMALL, {"pan0": {1}}, Stops((Fraction(40), Fraction(77, 3), Fraction(-5))))
    assert instants(found) == [0, Fraction(77, 3), 50]
    with pytest.raises(ValueError, match="no instant"):
        Stops(())
