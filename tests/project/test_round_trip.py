"""What is saved is what is loaded, for any project that the files can hold."""

import json
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.errors import ProjectError
from sequencer.project.document import Playback, Project
from sequencer.project.store import dump, load, save
from sequencer.rig.axis import Axis, Camera, Rig, Simulated
from sequencer.score.easing import Laws
from sequencer.score.move import Cue, Ease, Key, Marker, Move, Pass, Track
from sequencer.timebase.rate import RATES, Rate
from sequencer.timebase.tempo import TempoMap
from sequencer.timebase.timecode import Counting, Timebase, label
from tests.project.conftest import LAWS, Bezier, Ramp, Tree
from tests.project.test_hands_file import handlings
from tests.project.test_stage import stages

Folder = Callable[[], Path]

number = st.floats(allow_nan=False, allow_infinity=False, width=64)
name = st.text(st.characters(exclude_categories=["C", "Z"]), min_size=1, max_size=12)
counting = st.sampled_from([*(Counting(rate) for rate in RATES.values()), Counting(Rate(30000, 1001), drop=True)])
instant = st.integers(-(10**15), 10**15).map(lambda billionths: Fraction(billionths, 10**9))
exact = st.builds(Fraction, st.integers(1, 10**9 - 1), st.integers(1, 10**9 - 1))
ease = st.one_of(
    st.sampled_from([Ease("through"), Ease("poly345"), Ease("trapezoid")]),
    st.floats(0, 0.5).map(lambda ramp: Ease("trapezoid", Ramp(ramp))),
    st.tuples(st.floats(0, 1), number, st.floats(0, 1), number).map(lambda points: Ease("bezier", Bezier(points))),
)


@st.composite
def axes(draw: st.DrawFn, word: str) -> Axis:
    above = st.floats(1e-6, 1e9)
    low, high = sorted(draw(st.lists(st.floats(-1e6, 1e6), min_size=2, max_size=2, unique=True)))
    return Axis(
        name=word,
        kind=draw(st.sampled_from(["pan", "slide", "focus"])),
        unit=draw(st.sampled_from(["deg", "mm", "part"])),
        travel=draw(st.sampled_from([None, (low, high)])),
        speed=draw(above),
        acceleration=draw(above),
        jerk=draw(above),
        latency_s=draw(above),
        backlash=draw(above),
        home=low,
        simulated=Simulated(lag_s=draw(above), noise=draw(above)),
    )


@st.composite
def projects(draw: st.DrawFn) -> Project:
    how = draw(counting)
    rig = Rig(
        name=draw(name),
        axes=tuple(draw(axes(word)) for word in ("pan", "höhe")),
        camera=draw(
            st.none()
            | st.just(
                Camera(sensor_mm=(24.9, 14.0), pixels=(4096, 2304), focal_mm=draw(st.floats(1, 900)), subject_m=3)
            )
        ),
    )
    # keys closer than a millionth of a frame are one instant, and a fault
    whole = draw(st.lists(st.integers(-(10**6), 10**6), min_size=1, max_size=8, unique=True))
    times = [frame + Fraction(draw(st.integers(0, 999_999_000)), 10**9) for frame in whole]
    # values stay inside the travel, where there is one
    tracks = tuple(
        Track(
            axis.name,
            tuple(
                Key(at, draw(st.floats(-9e6, 9e6) if axis.travel is None else st.floats(*axis.travel)), draw(ease))
                for at in sorted(times)
            ),
        )
        for axis in rig.axes
    )
    cues = tuple(Cue(word, min(times), min(times) + 5) for word in draw(st.lists(name, max_size=3, unique=True)))
    return Project(
        name=draw(name),
        timebase=Timebase(how, label(draw(st.integers(0, how.day - 1)), how)),
        rig=rig,
        move=Move(
            tracks=tracks,
            cues=cues,
            markers=tuple(Marker(word, at) for word, at in draw(st.lists(st.tuples(name, instant), max_size=3))),
            passes=tuple(Pass(word, draw(exact)) for word in draw(st.lists(name, max_size=3, unique=True))),
        ),
        tempo=draw(st.none() | st.builds(TempoMap, exact, st.integers(1, 12), instant.map(how.rate.seconds))),
        playback=draw(st.none() | st.builds(Playback, file=st.just("sound/größe.wav"), at=instant)),
        aspect=draw(st.none() | st.integers(200, 5000).map(lambda part: Fraction(part, 1000))),
        stage=draw(stages),
        hands=tuple(draw(st.lists(handlings, max_size=2))),
    )


@given(projects())
def test_what_is_saved_is_what_is_loaded(tmp_path_factory: pytest.TempPathFactory, project: Project) -> None:
    folder = tmp_path_factory.mktemp("move")
    save(folder, project, LAWS)
    assert load(folder, LAWS) == project
    assert {name: text.encode() for name, text in dump(project).items()} == {
        path.name: path.read_bytes() for path in folder.iterdir()
    }


def test_an_instant_finer_than_the_file_is_written_to_a_billionth_of_a_frame(folder: Folder, laws: Laws) -> None:
    read = load(folder(), laws)
    third = replace(read, move=replace(read.move, markers=(Marker("third", Fraction(1, 3)),)))
    place = folder()
    save(place, third, laws)
    assert load(place, laws).move.markers[0].at == Fraction(333_333_333, 10**9)


@pytest.mark.parametrize(
    ("written", "again"),
    [
        ("96", "96"),
        ("119.88", "119.88"),
        ("3/2", "1.5"),
        ("4/3", "4/3"),
        ("1/2", "1/2"),
        ("0.25", "1/4"),
        ("0.000000001", "1/1000000000"),
        ("999999999.999999999", "999999999.999999999"),
    ],
)
def test_an_exact_number_stays_exact_and_readable(
    written: str, again: str, folder: Folder, laws: Laws, project: Tree
) -> None:
    project["tempo"]["bpm"] = project["passes"][1]["speed"] = written
    place = folder()
    read = load(place, laws)
    save(place, read, laws)
    document = json.loads((place / "project.json").read_text())
    assert (document["tempo"]["bpm"], document["passes"][1]["speed"]) == (again, again)
    assert load(place, laws) == read


def test_an_instant_that_no_label_tells_apart_is_refused(folder: Folder, laws: Laws) -> None:
    read = load(folder(), laws)
    far = replace(read, move=replace(read.move, markers=(Marker("next day", Fraction(25 * 86_400)),)))
    with pytest.raises(ProjectError, match=r"markers\[0\]\.at: 10:00:00:00 is half a day or more from"):
        save(folder(), far, laws)
