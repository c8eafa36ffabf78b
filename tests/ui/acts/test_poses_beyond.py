"""A mark that the rig could not go to is not stored, though the move is there at the playhead."""

from fractions import Fraction

from sequencer.score.laws.bezier import Bezier
from tests.ui.acts.test_poses import Rig, rig
from ui.acts.keys import stands
from ui.acts.laws import shape_legs

__all__ = ["rig"]


def test_no_mark_is_stored_where_a_leg_swings_beyond_the_travel(rig: Rig) -> None:
    desk, before = rig.desk, rig.names()
    pan = desk.track("pan")
    assert pan is not None
    number = max(range(len(pan.keys) - 1), key=lambda number: pan.keys[number + 1].value - pan.keys[number].value)
    assert shape_legs(desk, {"pan": {number}}, "bezier", Bezier((0.3, 0.0, 0.6, 12.0)))
    first, last = pan.keys[number].at, pan.keys[number + 1].at
    instants = [first + (last - first) * Fraction(part, 20) for part in range(21)]
    desk.place(max(instants, key=lambda at: stands(desk, "pan", at)))
    assert not rig.poses.store()
    words = rig.notes[-1].words
    assert words.startswith(f"no mark is stored from the playhead: {stands(desk, 'pan', desk.playhead):.4g}")
    assert "deg is outside pan's travel [-170, 170]; " in words
    assert rig.notes[-1].weight == "refused"
    assert rig.names() == before
    desk.place(first)
    assert rig.poses.store()
