"""How pads are handled, in project.json: read, refused with its place, and written so that a colleague can read it."""

import json
from collections.abc import Callable
from dataclasses import fields, replace
from pathlib import Path

import msgspec
import pytest
from hypothesis import strategies as st

from sequencer.errors import ProjectError
from sequencer.live.handling import MANNERS, Deed, Handling, Stick, default_handlings
from sequencer.project import amend
from sequencer.project.differ import differences
from sequencer.project.hands_file import HandlingFile, StickFile
from sequencer.project.store import dump, load, save
from sequencer.score.easing import Laws
from sequencer.wire.pad import AXES, BUTTONS
from tests.project.conftest import Tree

Folder = Callable[[], Path]

HANDS = [
    {
        "pad": "Garden pad",
        "manner": "spring",
        "range_deg": 45.0,
        "enabling": None,
        "modifier": "button 4",
        "sticks": [
            {"control": "axis 0", "axis": "pan", "reverse": True},
            {"control": "axis 0", "axis": "slide", "with_modifier": True, "range": 120.5},
        ],
        "buttons": {"button 0": "stop", "axis 5": "coarse or fine"},
    },
    {"priority": 2, "top": 0.25, "dead_band": 0.2, "response": 1.0, "smoothing_s": 0.0, "fine": 0.1},
]

part = st.floats(0.01, 1)
controls = st.sampled_from([*AXES[:4], "axis 0", "axis 31"])
buttons = st.dictionaries(st.sampled_from([*BUTTONS[:6], "button 31"]), st.sampled_from(list(Deed)), max_size=4)
sticks = st.lists(
    st.builds(
        Stick,
        control=controls,
        axis=st.sampled_from(["pan", "slide", "an axis that is gone"]),
        with_modifier=st.booleans(),
        reverse=st.booleans(),
        range=st.none() | st.floats(0.1, 500),
    ),
    max_size=4,
    unique_by=lambda stick: (stick.control, stick.with_modifier),
)
handlings = st.builds(
    Handling,
    pad=st.sampled_from(["", "Garden pad", "Pad für zwei"]),
    sticks=sticks.map(tuple),
    buttons=buttons.map(lambda found: tuple(found.items())),
    enabling=st.sampled_from([None, "left trigger", "button 20"]),
    modifier=st.sampled_from(["left shoulder", "button 21"]),
    manner=st.sampled_from(MANNERS),
    range_deg=st.floats(1, 360),
    dead_band=st.floats(0, 0.9),
    response=st.floats(0, 1),
    smoothing_s=st.floats(0, 2),
    top=part,
    fine=part,
    priority=st.integers(-5, 5),
)


def test_hands_are_read_and_written_as_they_were(folder: Folder, laws: Laws, project: Tree) -> None:
    project["hands"] = HANDS
    place = folder()
    read = load(place, laws)
    first, second = read.hands
    assert first.sticks == (
        Stick(control="axis 0", axis="pan", reverse=True),
        Stick(control="axis 0", axis="slide", with_modifier=True, range=120.5),
    )
    assert first.buttons == (("button 0", Deed.STOP), ("axis 5", Deed.COARSE_FINE))
    assert (first.manner, first.enabling, first.modifier, first.range_deg) == ("spring", None, "button 4", 45.0)
    assert second == Handling(priority=2, top=0.25, dead_band=0.2, response=1.0, smoothing_s=0.0, fine=0.1)
    save(place, read, laws)
    assert json.loads((place / "project.json").read_text(encoding="utf-8"))["hands"] == HANDS
    assert load(place, laws) == read


def test_a_stick_is_a_line(folder: Folder, laws: Laws) -> None:
    read = load(folder(), laws)
    text = dump(replace(read, hands=default_handlings(read.rig)))["project.json"]
    assert '        {"control": "left x", "axis": "pan"},\n' in text


def test_a_project_that_says_nothing_of_hands_has_none(folder: Folder, laws: Laws) -> None:
    read = load(folder(), laws)
    assert read.hands == ()
    assert "hands" not in json.loads(dump(read)["project.json"])


@pytest.mark.parametrize(
    ("way", "value", "words"),
    [
        (("top",), 2.0, "hands[0]: top is 2; it must be above 0 and at most 1"),
        (("top",), "half", "hands[0].top: must be a number, not text"),
        (("manner",), "jog", "hands[0].manner: 'jog' is nothing that a stick says"),
        (("enabling",), "thumb", "hands[0]: there is no control 'thumb'"),
        (("thumb",), 1, "hands[0]: there is no field 'thumb' here"),
        (("sticks", 0, "control"), "axis 40", "hands[0].sticks[0]: axis 40 is beyond what is read of a pad"),
        (("sticks", 1, "range"), -1, "hands[0].sticks[1]: range is -1.0; it must be above zero, in the unit of slide"),
        (("sticks", 1, "with_modifier"), False, "hands[0]: axis 0 moves pan and slide; keep one"),
        (("buttons", "button 0"), "shoot", "hands[0].buttons.button 0: there is no 'shoot' for a button to do"),
        (("buttons", "button 4"), "stop", "hands[0]: button 4 is the modifier and the button for stop"),
    ],
)
def test_a_fault_is_named_with_its_place(
    way: tuple[str | int, ...], value: object, words: str, folder: Folder, laws: Laws, project: Tree
) -> None:
    hands = json.loads(json.dumps(HANDS))
    place = hands[0]
    for step in way[:-1]:
        place = place[step]
    place[way[-1]] = value
    project["hands"] = hands
    with pytest.raises(ProjectError) as found:
        load(folder(), laws)
    assert str(found.value).startswith(f"project.json: {words}")


def test_an_axis_that_the_rig_does_not_have_is_kept(folder: Folder, laws: Laws, project: Tree) -> None:
    project["hands"] = [{"sticks": [{"control": "left x", "axis": "jib"}]}]
    assert load(folder(), laws).hands[0].sticks[0].axis == "jib"


def test_an_axis_that_is_renamed_keeps_its_stick(folder: Folder, laws: Laws) -> None:
    read = load(folder(), laws)
    read = replace(read, hands=default_handlings(read.rig))
    number = read.rig.index("pan")
    called = amend.with_axis(read, number, replace(read.rig.axes[number], name="swing"))
    assert next(stick.axis for stick in called.hands[0].sticks if stick.control == "left x") == "swing"
    assert "how pads are handled" in differences(read, called)


@pytest.mark.parametrize(("piece", "mirrored"), [(HandlingFile, Handling), (StickFile, Stick)])
def test_a_field_of_a_handling_is_a_field_of_its_file(piece: type[msgspec.Struct], mirrored: type[Handling]) -> None:
    """A field added to the type without its place in the file would be lost by a save."""
    assert {one.encode_name for one in msgspec.structs.fields(piece)} == {one.name for one in fields(mirrored)}


def test_the_file_has_the_handling_s_own_defaults() -> None:
    usual = Handling()
    for one in msgspec.structs.fields(HandlingFile):
        if one.name not in ("sticks", "buttons"):
            assert one.default == getattr(usual, one.name)
