"""Undo and redo: steps, merged steps; and whatever edits come in a row, the document stays one that can be saved."""

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.errors import ProjectError
from sequencer.project.build import check
from sequencer.project.history import History
from sequencer.score.edits.clip import clip, paste
from sequencer.score.edits.join import join
from sequencer.score.edits.keys import passing, pinned, placed, put, removed, shaped, turning
from sequencer.score.edits.offset import offset
from sequencer.score.edits.reverse import reverse
from sequencer.score.edits.ripple import ripple
from sequencer.score.edits.scale import mirror, scale
from sequencer.score.edits.selection import Selection
from sequencer.score.edits.snap import Grid, Stops, snap
from sequencer.score.edits.stretch import stretch
from sequencer.score.faults import faults
from sequencer.score.move import PASSINGS, TURNS, Ease, Key, Move
from tests.motion.machines import LAWS, rig
from tests.score.edits.moves import EASES, moves

RIG = rig(3, travel=None)
FRAMES = st.fractions(-200, 200, max_denominator=40)
VALUES = st.integers(-800, 800).map(lambda number: number / 8)
LAW = st.sampled_from((*EASES, Ease("hold")))


@st.composite
def selections(draw: st.DrawFn, move: Move) -> Selection:
    """Draw some keys that are there, and now and then one that is not."""
    chosen = {track.axis: draw(st.frozensets(st.integers(0, len(track.keys) - 1), max_size=4)) for track in move.tracks}
    return {**chosen, "pan0": {99}} if draw(st.integers(0, 20)) == 7 else chosen


def keyed(draw: st.DrawFn, move: Move, some: Selection) -> Move:
    """Return the move after an edit of single keys."""
    axis = draw(st.sampled_from(RIG.names))
    number = draw(st.integers(0, 3))
    edits: dict[str, Callable[[], Move]] = {
        "put": lambda: put(move, axis, Key(draw(FRAMES), draw(VALUES), draw(LAW))),
        "removed": lambda: removed(move, some),
        "placed": lambda: placed(move, axis, number, at=draw(FRAMES), value=draw(VALUES)),
        "shaped": lambda: shaped(move, some, draw(LAW), LAWS),
        "passing": lambda: passing(move, some, draw(st.sampled_from(PASSINGS))),
        "turning": lambda: turning(move, some, draw(st.sampled_from((None, *TURNS)))),
        "pinned": lambda: pinned(move, some, draw(st.booleans())),
        "paste": lambda: paste(move, clip(move, some), draw(FRAMES), clear=draw(st.booleans()))[0],
        "join": lambda: join(move, some, LAWS),
    }
    return edits[draw(st.sampled_from(sorted(edits)))]()


def retimed(draw: st.DrawFn, move: Move, some: Selection) -> Move:
    """Return the move after an edit of many keys at once."""
    factor = st.fractions(Fraction(1, 4), 4, max_denominator=8)
    edits: dict[str, Callable[[], Move]] = {
        "offset": lambda: offset(move, some, frames=draw(FRAMES), value=draw(VALUES)),
        "stretch": lambda: stretch(move, some, draw(factor), draw(FRAMES), cues=draw(st.booleans())),
        "scale": lambda: scale(move, some, LAWS, factor=draw(st.sampled_from((-2.0, -1.0, 0.5, 3.0)))),
        "mirror": lambda: mirror(move, some, LAWS, about=draw(VALUES)),
        "reverse": lambda: reverse(move, some, LAWS),
        "ripple": lambda: ripple(move, draw(FRAMES), draw(FRAMES), markers=draw(st.booleans())),
        "snap": lambda: snap(move, some, Grid(draw(factor))),
        "stops": lambda: snap(move, some, Stops(tuple(draw(st.lists(FRAMES, min_size=1, max_size=5)))), pinned=True),
    }
    return edits[draw(st.sampled_from(sorted(edits)))]()


@st.composite
def steps(draw: st.DrawFn, move: Move) -> Move | None:
    """Draw an edit of the move; None where it is refused, by itself or by what the loader asks."""
    try:
        after = draw(st.sampled_from((keyed, retimed)))(draw, move, draw(selections(move)))
    except (ProjectError, ValueError):
        return None
    wrong = [fault.path for fault in faults(after, RIG, LAWS)]
    # an edit lets a leg be that should stay where it is and does not; order, and all else, it keeps itself
    assert all(path.endswith(".ease") for path in wrong)
    return None if wrong else after


@settings(deadline=None, max_examples=40)
@given(moves(), st.data())
def test_any_edits_leave_a_document_that_can_be_saved_and_undoing_all_gives_the_first(
    first: Move, data: st.DataObject
) -> None:
    history = History(first)
    values = [first]
    for _ in range(data.draw(st.integers(1, 14))):
        what = data.draw(st.sampled_from(("edit", "edit", "edit", "undo", "redo")))
        before = repr(history.now)
        if what == "edit":
            after = data.draw(steps(history.now))
            assert repr(history.now if after is None else values[-1]) == before
            if after is None:
                continue
            if after != values[-1]:
                values = [*values, after]
                assert not history.push(after, "step").future
            history = history.push(after, "step")
        elif what == "undo" and history.past:
            history = history.undo()
            values.pop()
        elif what == "redo" and history.future:
            history = history.redo()
            values.append(history.now)
        check(history.now, RIG, LAWS)
        assert history.now == values[-1]
        assert len(history.past) == len(values) - 1
    last, undone = history.now, 0
    newest = len(history.future)
    while history.past:
        history, undone = history.undo(), undone + 1
        assert history.now == values[-1 - undone]
    assert history.now == first
    for _ in range(undone):
        history = history.redo()
    assert history.now == last
    assert len(history.future) == newest


def test_steps_in_a_row_with_the_same_name_are_one_until_the_history_is_sealed() -> None:
    history = History(0).push(1, "nudge", "n").push(2, "nudge", "n")
    assert (history.now, [step.value for step in history.past]) == (2, [0])
    history = history.sealed().push(3, "nudge", "n")
    assert [step.value for step in history.past] == [0, 2]
    assert history.sealed().sealed() == history.sealed()
    assert [step.value for step in history.push(4, "nudge", "other").past] == [0, 2, 3]
    # what was undone is not merged with what comes after
    again = history.undo().push(5, "nudge", "n")
    assert [step.value for step in again.past] == [0, 2]
    assert not again.future


def test_the_same_value_is_no_step_and_keeps_what_was_undone() -> None:
    history = History(1).push(2, "two").undo()
    assert history.push(1, "one") is history
    assert history.redo().now == 2
    assert history.redo().undo() == history


def test_words_stay_with_their_step() -> None:
    history = History(1).push(2, "two").push(3, "three")
    assert [step.words for step in history.past] == ["two", "three"]
    assert [step.words for step in history.undo().future] == ["three"]
    assert history.undo().redo() == history


def test_there_is_an_end_on_both_sides() -> None:
    with pytest.raises(ValueError, match="nothing to undo"):
        History(1).undo()
    with pytest.raises(ValueError, match="nothing to redo"):
        replace(History(1)).redo()
