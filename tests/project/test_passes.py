"""Passes in project.json: what is left out follows from the rest, what is written stays, faults have their place."""

import json
import math
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.errors import ProjectError
from sequencer.project.amend import with_axis
from sequencer.project.build_passes import build_passes, plain_passes
from sequencer.project.called import with_called_cue
from sequencer.project.journal import Reading, framed, step, unframed
from sequencer.project.passed import in_pass
from sequencer.project.store import load, save
from sequencer.score.easing import Laws
from sequencer.score.move import Pass, Scaled
from sequencer.shell.kinds import laws as real_laws
from sequencer.timebase.rate import RATES, Rate

Tree = dict[str, Any]
Folder = Callable[[], Path]
PROJECTS = Path(__file__).parents[2] / "projects"

name = st.text(st.characters(categories=["L", "N"]), min_size=1, max_size=5)
exact = st.integers(1, 10**9 - 1).map(lambda part: Fraction(part, 10**6)) | st.fractions(
    Fraction(1, 10**4), 10**4, max_denominator=10**4
)
values = st.dictionaries(name, st.floats(-1e6, 1e6), max_size=2).map(lambda found: tuple(found.items()))
passes = st.builds(
    Pass,
    name,
    exact,
    of=st.none() | name,
    reversed=st.booleans(),
    offset=values,
    scale=st.none() | st.builds(Scaled, exact, values, st.booleans()),
    rate=st.none() | exact,
    note=st.text(st.characters(categories=["L", "Zs"], exclude_characters="\u2028\xa0"), max_size=8).filter(
        str.isprintable
    ),
)


@given(st.lists(passes, max_size=3), st.sampled_from(sorted(RATES.values(), key=str)))
def test_what_is_written_is_what_is_read(ones: list[Pass], rate: Rate) -> None:
    assert build_passes(plain_passes(ones, rate), rate) == tuple(ones)


def test_a_rate_that_would_follow_from_a_scale_is_written_where_the_speed_does_not() -> None:
    ones = (Pass("model", Fraction(1), scale=Scaled(Fraction(1, 4), time=True), rate=Fraction(50)),)
    (written,) = plain_passes(ones, RATES["25"])
    assert (written.rate, written.speed) == ("50", "1")
    assert build_passes([written], RATES["25"]) == ones


def read(folder: Folder, laws: Laws, project: Tree, **written: object) -> Pass:
    project["passes"] = [{"name": "first"}, {"name": "one", **written}]
    return load(folder(), laws).move.passes[1]


def test_without_anything_it_is_the_move_as_it_is(folder: Folder, laws: Laws, project: Tree) -> None:
    assert read(folder, laws, project) == Pass("one")


@pytest.mark.parametrize(
    ("written", "speed", "rate"),
    [
        ({"rate": "50"}, Fraction(2), Fraction(50)),  # the project counts 25: the same positions at the same frames
        ({"rate": "12.5"}, Fraction(1, 2), Fraction(25, 2)),
        ({"rate": "50", "speed": "1"}, Fraction(1), Fraction(50)),
        ({"scale": {"factor": "1/4", "time": True}}, Fraction(2), Fraction(50)),
        ({"scale": {"factor": "1/6", "time": True}}, Fraction(61237, 25000), Fraction(61237, 1000)),
        ({"scale": {"factor": "1/6", "time": True}, "rate": "60"}, Fraction(12, 5), Fraction(60)),
        ({"scale": {"factor": "1/6", "time": True}, "speed": "1/2"}, Fraction(1, 2), None),
        ({"scale": {"factor": "1/6"}}, Fraction(1), None),
    ],
)
def test_speed_and_rate_follow_from_what_is_written(
    written: Tree, speed: Fraction, rate: Fraction | None, folder: Folder, laws: Laws, project: Tree
) -> None:
    found = read(folder, laws, project, **written)
    assert (found.speed, found.rate) == (speed, rate)
    place = folder()
    whole = load(place, laws)
    save(place, whole, laws)
    assert load(place, laws) == whole
    again = json.loads((place / "project.json").read_text(encoding="utf-8"))["passes"][1]
    assert {field: value for field, value in again.items() if field not in ("name", "speed")} == {
        field: value for field, value in written.items() if field != "speed"
    }


@pytest.mark.parametrize(
    ("written", "place", "words"),
    [
        ({"scale": {"factor": "0"}}, "passes[1].scale.factor", "not a number above zero"),
        ({"scale": {"factor": "-1/2"}}, "passes[1].scale.factor", "not a number above zero"),
        ({"scale": {}}, "passes[1].scale", "factor is missing"),
        ({"rate": "0"}, "passes[1].rate", "not a number above zero"),
        ({"speed": "0"}, "passes[1].speed", "not a number above zero"),
        ({"speed": 0.5}, "passes[1].speed", "must be text"),
        ({"of": " "}, "passes[1].of", "is no name"),
        ({"note": "two\nlines"}, "passes[1].note", "one line"),
        ({"offset": {"slide": "far"}}, "passes[1].offset", "must be a number"),
        ({"offset": {"": 1.0}}, "passes[1].offset", "is no name"),
        ({"mirrored": True}, "passes[1]", "there is no field 'mirrored' here"),
    ],
)
def test_what_cannot_be_is_refused_with_its_place(
    written: Tree, place: str, words: str, folder: Folder, laws: Laws, project: Tree
) -> None:
    with pytest.raises(ProjectError) as fault:
        read(folder, laws, project, **written)
    assert str(fault.value).startswith(f"project.json: {place}")
    assert words in str(fault.value)


@pytest.mark.parametrize("value", [math.inf, -math.inf, math.nan, 1e7, -1e300])
def test_a_value_where_no_axis_can_be_is_not_recovered_with_the_rest(value: float) -> None:
    """No file holds what is no number, but the records of unsaved edits can."""
    mend = "give it a number in the axis's unit, below ten million either way"
    project = load(PROJECTS / "harbour-lanterns", real_laws())
    reading = Reading(real_laws(), project)
    for one, place in (
        (Pass("wide", offset=(("slide", value),)), "passes[0].offset.slide"),
        (Pass("wide", scale=Scaled(Fraction(1, 2), (("slide", value),))), "passes[0].scale.about.slide"),
    ):
        entry = step(project, replace(project, move=replace(project.move, passes=(one,))), 0.0)
        assert entry is not None
        assert reading.feed(next(unframed(framed(entry))))
        words = f"project.json: {place}: the value is {value}; {mend}"
        assert reading.troubles.pop() == f"a change to the project or its rig cannot be used: {words}"
        assert reading.newest() == project


def test_a_pass_of_an_axis_or_a_cue_that_is_gone_loads_and_is_said_when_it_is_chosen() -> None:
    harbour = load(PROJECTS / "harbour-lanterns", real_laws())
    gone = (Pass("eye", offset=(("crane", 65.0),)), Pass("end", of="finale"), Pass("plain"))
    harbour = replace(harbour, move=replace(harbour.move, passes=gone))
    with pytest.raises(ProjectError, match=r"passes\[0\]\.offset\.crane: the rig has no axis 'crane'"):
        in_pass(harbour, "eye", real_laws())
    with pytest.raises(ProjectError, match=r"passes\[1\]\.of: there is no cue 'finale'"):
        in_pass(harbour, "end", real_laws())
    with pytest.raises(ProjectError, match="no pass 'none' in Harbour lanterns; passes: eye, end, plain"):
        in_pass(harbour, "none", real_laws())
    assert in_pass(harbour, "plain", real_laws()) == (harbour, gone[2])


def test_faults_of_a_pass_speak_in_timecode() -> None:
    harbour = load(PROJECTS / "harbour-lanterns", real_laws())
    far = replace(harbour, move=replace(harbour.move, passes=(Pass("eye", offset=(("slide", 500.0),)),)))
    with pytest.raises(ProjectError, match=r"slide would be at 1580 mm at 10:00:20:15\.625, travel"):
        in_pass(far, None, real_laws())


def test_passes_follow_a_new_name_of_an_axis_or_a_cue() -> None:
    harbour = load(PROJECTS / "harbour-lanterns", real_laws())
    one = Pass("eye", of="last light", offset=(("slide", 65.0),))
    harbour = replace(harbour, move=replace(harbour.move, passes=(one,)))
    number = harbour.rig.index("slide")
    renamed = with_axis(harbour, number, replace(harbour.rig.axes[number], name="track"))
    assert renamed.move.passes[0].offset == (("track", 65.0),)
    assert with_called_cue(harbour, "last light", "finale").move.passes[0].of == "finale"
