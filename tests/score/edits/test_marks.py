"""Edits of marks: what they keep, whatever is asked in whatever order, and what they refuse in words."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.score.edits.marks import (
    before,
    cleared,
    deleted,
    moved,
    numbered,
    overwritten,
    paced,
    renamed,
    step_to,
    stored,
)
from sequencer.score.marks import AtSpeed, Fastest, Lasting, Mark, Marks, Pace

names = st.sampled_from([f"m{number}" for number in range(6)])
positions = st.dictionaries(st.sampled_from(["pan", "tilt", "slide"]), st.floats(-100, 100), min_size=1).map(
    lambda named: tuple(named.items())
)
legs: st.SearchStrategy[Pace] = st.one_of(
    st.just(Fastest()),
    st.fractions(Fraction(1, 100), 1).map(AtSpeed),
    st.fractions(Fraction(1, 10), 100).map(Lasting),
)
all_marks = st.lists(st.builds(Mark, names, positions, legs), unique_by=lambda mark: mark.name, max_size=6).map(tuple)
some_marks = all_marks.filter(bool)


def called(marks: Marks) -> list[str]:
    return [mark.name for mark in marks]


def three() -> Marks:
    return tuple(Mark(name, (("pan", float(place)),)) for place, name in enumerate(("quay", "lamp", "shed")))


@given(all_marks, st.data())
def test_storing_and_deleting_are_opposites(marks: Marks, data: st.DataObject) -> None:
    new = Mark("new", (("pan", 1.0),))
    after = data.draw(st.sampled_from([None, *called(marks)]))
    more = stored(marks, new, after)
    place = called(more).index("new")
    assert place == (len(marks) if after is None else called(marks).index(after) + 1)
    assert deleted(more, ["new"]) == marks


@given(some_marks, st.data())
def test_another_order_loses_nothing_and_keeps_the_others_in_theirs(marks: Marks, data: st.DataObject) -> None:
    name = data.draw(st.sampled_from(called(marks)))
    other = data.draw(st.sampled_from([None, *called(marks)]))
    by = data.draw(st.integers(-8, 8))
    for after in (before(marks, name, other), moved(marks, name, by)):
        assert sorted(after, key=lambda mark: mark.name) == sorted(marks, key=lambda mark: mark.name)
        assert deleted(after, [name]) == deleted(marks, [name])
    put = called(before(marks, name, other))
    if other is None:
        assert put[-1] == name
    elif other != name:
        assert put.index(name) + 1 == put.index(other)
    place = called(marks).index(name)
    assert called(moved(marks, name, by)).index(name) == min(max(place + by, 0), len(marks) - 1)


@given(some_marks, positions, legs, st.data())
def test_an_edit_of_one_mark_leaves_the_others(
    marks: Marks, position: tuple[tuple[str, float], ...], leg: Pace, data: st.DataObject
) -> None:
    place = data.draw(st.integers(0, len(marks) - 1))
    mark = marks[place]
    edited = {
        Mark(mark.name, position, mark.leg): overwritten(marks, mark.name, position),
        Mark(mark.name, mark.position, leg): paced(marks, [mark.name], leg),
        Mark("other", mark.position, mark.leg): renamed(marks, mark.name, "other"),
    }
    for wanted, after in edited.items():
        assert after[place] == wanted
        assert after[:place] + after[place + 1 :] == marks[:place] + marks[place + 1 :]
    assert renamed(marks, mark.name, mark.name) == marks


@given(some_marks)
def test_steps_lead_through_all_marks_and_end(marks: Marks) -> None:
    for by, order in ((1, marks), (-1, marks[::-1])):
        found = [step_to(marks, None, by)]
        while len(found) < len(marks):
            found.append(step_to(marks, found[-1].name, by))
        assert tuple(found) == order
        with pytest.raises(ValueError, match=r"is the (last|first) mark; there is none (after|before) it"):
            step_to(marks, found[-1].name, by)


def test_the_ends_are_told_by_name() -> None:
    with pytest.raises(ValueError, match=r"^shed is the last mark; there is none after it$"):
        step_to(three(), "shed", 1)
    with pytest.raises(ValueError, match=r"^quay is the first mark; there is none before it$"):
        step_to(three(), "quay", -1)
    with pytest.raises(ValueError, match="there are no marks; store one first"):
        step_to((), None, 1)
    with pytest.raises(ValueError, match="no step goes by 2"):
        step_to(three(), None, 2)


def test_a_name_that_is_taken_is_refused() -> None:
    taken = "there is a mark 'lamp' already; overwrite that one, or choose another name"
    with pytest.raises(ValueError, match=taken):
        stored(three(), Mark("lamp", (("pan", 1.0),)))
    with pytest.raises(ValueError, match=taken):
        renamed(three(), "quay", "lamp")
    with pytest.raises(ValueError, match="one or more printable characters"):
        renamed(three(), "quay", " ")


def test_a_mark_that_is_not_there_is_told_with_those_that_are() -> None:
    words = "there is no mark 'pier'; there are quay, lamp, shed"
    new = Mark("new", (("pan", 1.0),))
    for edit in (
        lambda: stored(three(), new, "pier"),
        lambda: overwritten(three(), "pier", new.position),
        lambda: renamed(three(), "pier", "new"),
        lambda: paced(three(), ["quay", "pier"], Fastest()),
        lambda: deleted(three(), ["quay", "pier"]),
        lambda: before(three(), "pier", None),
        lambda: before(three(), "quay", "pier"),
        lambda: moved(three(), "pier", 1),
        lambda: step_to(three(), "pier", 1),
        lambda: numbered(three(), "pier"),
    ):
        with pytest.raises(ValueError, match=words):
            edit()
    with pytest.raises(ValueError, match="there are none"):
        numbered((), "pier")


def test_clearing_needs_marks() -> None:
    assert cleared(three()) == ()
    with pytest.raises(ValueError, match="there are no marks to clear"):
        cleared(())
