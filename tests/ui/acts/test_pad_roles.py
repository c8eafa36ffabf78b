"""Roles of controls, line by line: what is there, what is taken away or turned, and what has lost its control."""

import pytest

from sequencer.live.handling import Deed, Drives, Handling, Held, Stick, default_handlings, remapped
from ui.acts.pad_roles import lines, lost, manner_words, modified, role_words, swung, taken_away, turned_round
from ui.desk import Desk


@pytest.fixture
def first(desk: Desk) -> Handling:
    return default_handlings(desk.project.rig)[0]


def test_every_role_has_a_line_also_without_a_control(desk: Desk) -> None:
    rig = desk.project.rig
    bare = lines(Handling(enabling=None, modifier=None), rig)
    assert [one.role for one in bare] == [*Held, *(Drives(name) for name in rig.names), *Deed]
    assert {one.control for one in bare} == {""}
    assert len({role_words(one.role) for one in bare}) == len(bare)


def test_lines_name_the_controls_and_axes_that_are_gone_come_last(desk: Desk, first: Handling) -> None:
    both = Handling(
        sticks=(
            Stick(control="right trigger", axis="slide"),
            Stick(control="lower", axis="slide", reverse=True),
            Stick(control="left x", axis="boom"),
        )
    )
    found = [(one.role, one.control) for one in lines(both, desk.project.rig) if one.stick is not None]
    assert found == [(Drives("slide"), "right trigger"), (Drives("slide"), "lower"), (Drives("boom"), "left x")]
    controls = {role_words(one.role): one.control for one in lines(first, desk.project.rig)}
    assert controls["move roll"] == "left x"
    assert controls["stop the rig"] == "start"


def test_a_control_is_taken_away_from_each_line_alone(desk: Desk, first: Handling) -> None:
    rig = desk.project.rig
    for line in lines(first, rig):
        if line.role is Held.MODIFIER:
            with pytest.raises(ValueError, match="roll needs a modifier"):
                taken_away(first, line)
            continue
        after = taken_away(first, line)
        before = [(role_words(one.role), one.control) for one in lines(first, rig)]
        left = [(role_words(one.role), one.control) for one in lines(after, rig)]
        assert set(before) - set(left) == {(role_words(line.role), line.control)}
        assert (role_words(line.role), "") in left


def test_a_stick_is_turned_modified_and_given_a_range(desk: Desk, first: Handling) -> None:
    rig = desk.project.rig
    slide = next(one for one in lines(first, rig) if one.role == Drives("slide"))
    turned = turned_round(first, slide)
    assert next(one for one in turned.sticks if one.axis == "slide").reverse
    again = next(one for one in lines(turned, rig) if one.role == Drives("slide"))
    assert turned_round(turned, again) == first
    assert next(one for one in modified(first, slide, True).sticks if one.axis == "slide").with_modifier
    assert next(one for one in swung(first, slide, 200.0).sticks if one.axis == "slide").range == 200.0
    with pytest.raises(ValueError, match="nothing moves this axis"):
        turned_round(first, lines(Handling(), rig)[2])


def test_two_sticks_on_one_control_are_refused(desk: Desk, first: Handling) -> None:
    roll = next(one for one in lines(first, desk.project.rig) if one.role == Drives("roll", True))
    with pytest.raises(ValueError, match="left x moves pan and roll"):
        modified(first, roll, False)


def test_what_lost_its_control_is_named(first: Handling) -> None:
    after = remapped(first, Drives("tilt"), "left x")
    assert lost(first, after) == ("left x did “move pan” before; give that another control.",)
    after = remapped(first, Deed.STOP, "upper")
    assert lost(first, after) == ("upper did “return to the origin” before; give that another control.",)
    assert lost(first, remapped(first, Deed.STOP, "left stick")) == ()


def test_how_a_pad_drives_is_one_sentence() -> None:
    assert manner_words(Handling()) == "rate control: a stick says how fast; up to 50% of full speed, 10% where fine"
    swings = manner_words(Handling(manner="spring", range_deg=45.0, top=1.0))
    assert swings == "spring-back over 45 degrees, 22.5 to each side; up to 100% of full speed, 20% where fine"
