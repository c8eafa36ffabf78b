"""How pads are handled, as data: what is refused, what any pad does on any rig, and assigning by moving."""

from dataclasses import replace

import pytest

from sequencer.live.handling import (
    SPARE,
    Deed,
    Drives,
    Handling,
    Held,
    Stick,
    default_handlings,
    remapped,
    renamed_axis,
    strangers,
    swing,
)
from sequencer.rig.axis import Rig
from tests.live.rigs import FOCUS, PAN, RIG, ROLL, SLIDE, TILT

LIFT = replace(SLIDE, name="lift", kind="lift", travel=(0, 300))
ZOOM = replace(FOCUS, name="zoom", kind="zoom")
IRIS = replace(FOCUS, name="iris", kind="iris")


def of(*axes: object) -> dict[str, tuple[str, bool]]:
    """Return which control moves each axis by default, and whether with the modifier."""
    (first, _) = default_handlings(Rig(name="quay", axes=axes))  # type: ignore[arg-type]  # any axes
    return {stick.axis: (stick.control, stick.with_modifier) for stick in first.sticks}


def test_a_rig_with_everything_has_all_of_it_on_one_pad() -> None:
    assert of(FOCUS, PAN, TILT, ROLL, SLIDE, LIFT, ZOOM, IRIS) == {
        "pan": ("left x", False),
        "tilt": ("left y", False),
        "roll": ("left x", True),
        "slide": ("right x", False),
        "lift": ("right y", False),
        "zoom": ("right x", True),
        "focus": ("right y", True),
        "iris": ("left y", True),
    }


def test_a_lens_is_on_the_right_stick_where_that_is_free() -> None:
    assert of(PAN, TILT, FOCUS, ZOOM)["focus"] == ("right y", False)
    assert of(PAN, TILT, FOCUS, ZOOM)["zoom"] == ("right x", False)


def test_a_second_axis_of_a_kind_is_left_to_be_assigned() -> None:
    assert of(PAN, replace(PAN, name="turntable")) == {"pan": ("left x", False)}


def test_the_second_pad_only_stops_and_the_first_has_priority() -> None:
    first, second = default_handlings(RIG)
    assert second == SPARE
    assert (second.sticks, second.buttons) == ((), (("start", Deed.STOP),))
    assert first.priority > second.priority
    assert first.enabling == "left trigger"
    assert {deed for _, deed in first.buttons} == set(Deed)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"dead_band": 1.0}, "dead_band is 1; it must be from 0 to 0.9"),
        ({"dead_band": float("nan")}, "dead_band is nan"),
        ({"response": -0.1}, "response is -0.1"),
        ({"smoothing_s": 3.0}, "smoothing_s is 3"),
        ({"top": 1.5}, "top is 1.5; it must be above 0 and at most 1"),
        ({"fine": 0.0}, "fine is 0; it must be above 0"),
        ({"range_deg": float("inf")}, "range_deg is inf"),
        ({"manner": "jog"}, "manner is 'jog'; it must be one of rate, spring"),
        ({"enabling": "thumb"}, "there is no control 'thumb'; there are left x, left y"),
        ({"enabling": "axis 32"}, "axis 32 is beyond what is read of a pad; the last one is axis 31"),
        ({"modifier": "left trigger"}, "left trigger is the enabling control and the modifier"),
        ({"buttons": (("lower", Deed.STOP), ("lower", Deed.NEXT))}, "the button for stop and the button for next mark"),
        ({"sticks": (Stick(control="left trigger", axis="pan"),)}, "left trigger moves pan, and is also the enabling"),
        (
            {"sticks": (Stick(control="left x", axis="pan"), Stick(control="left x", axis="roll"))},
            "left x moves pan and roll; keep one",
        ),
        (
            {"modifier": None, "sticks": (Stick(control="left x", axis="roll", with_modifier=True),)},
            "roll needs a modifier, and there is none",
        ),
    ],
)
def test_a_wrong_handling_is_refused_with_its_field(wrong: dict[str, object], words: str) -> None:
    with pytest.raises(ValueError, match=words.replace("(", r"\(")):
        Handling(**wrong)  # type: ignore[arg-type]  # wrong on purpose


def test_a_range_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match="range is 0; it must be above zero, in the unit of slide"):
        Stick(control="left x", axis="slide", range=0)


def test_a_control_that_is_assigned_leaves_what_it_did() -> None:
    (first, _) = default_handlings(RIG)
    moved = remapped(first, Drives("slide"), "left y", reverse=True)
    assert Stick(control="left y", axis="slide", reverse=True) in moved.sticks
    assert [stick.axis for stick in moved.sticks if stick.control == "left y"] == ["slide"]
    assert not [stick for stick in moved.sticks if stick.axis == "tilt"]
    assert [stick.control for stick in moved.sticks if stick.axis == "slide"] == ["left y"]


def test_a_stick_keeps_its_other_axis_with_the_modifier() -> None:
    (first, _) = default_handlings(RIG)
    moved = remapped(first, Drives("slide"), "left x")
    assert {(stick.axis, stick.with_modifier) for stick in moved.sticks if stick.control == "left x"} == {
        ("slide", False),
        ("roll", True),
    }


def test_two_buttons_drive_an_axis_one_each_way() -> None:
    both = remapped(remapped(SPARE, Drives("focus"), "pad up"), Drives("focus"), "pad down", reverse=True)
    assert [(stick.control, stick.reverse) for stick in both.sticks] == [("pad up", False), ("pad down", True)]
    again = remapped(both, Drives("focus"), "upper")
    assert [(stick.control, stick.reverse) for stick in again.sticks] == [("pad down", True), ("upper", False)]
    assert [stick.control for stick in remapped(both, Drives("focus"), "right y").sticks] == ["right y"]


def test_deeds_and_what_is_held_are_assigned_too() -> None:
    (first, _) = default_handlings(RIG)
    moved = remapped(first, Deed.STOP, "button 7")
    assert ("button 7", Deed.STOP) in moved.buttons
    assert [control for control, deed in moved.buttons if deed is Deed.STOP] == ["button 7"]
    held = remapped(first, Held.ENABLING, "right shoulder")
    assert held.enabling == "right shoulder"
    assert "right shoulder" not in dict(held.buttons)
    assert remapped(first, Held.MODIFIER, "axis 4").modifier == "axis 4"


def test_what_is_held_to_enable_moves_nothing() -> None:
    (first, _) = default_handlings(RIG)
    with pytest.raises(ValueError, match="left trigger is the enabling control; choose another control"):
        remapped(first, Drives("pan"), "left trigger")
    with pytest.raises(ValueError, match="left shoulder is the modifier"):
        remapped(first, Held.ENABLING, "left shoulder")
    with pytest.raises(ValueError, match="there is no control 'stick 1'"):
        remapped(first, Drives("pan"), "stick 1")


def test_a_range_stays_with_its_axis() -> None:
    handling = Handling(sticks=(Stick(control="right x", axis="slide", range=200.0),))
    (stick,) = remapped(handling, Drives("slide"), "left x").sticks
    assert stick.range == 200.0


def test_the_range_is_the_whole_sweep() -> None:
    assert swing(90, Stick(control="left x", axis="pan"), PAN) == 45
    assert swing(90, Stick(control="left x", axis="pan", range=30), PAN) == 15
    assert swing(90, Stick(control="left x", axis="slide"), SLIDE) is None
    assert swing(90, Stick(control="left x", axis="slide", range=200), SLIDE) == 100


def test_axes_are_followed_by_name() -> None:
    (first, _) = default_handlings(RIG)
    (called,) = renamed_axis((first,), "pan", "swing")
    assert [stick.axis for stick in called.sticks if stick.control == "left x"] == ["swing", "roll"]
    assert strangers(called, RIG) == ("swing",)
    assert strangers(first, RIG) == ()
