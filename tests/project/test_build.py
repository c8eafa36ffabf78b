"""Every fault in a project or rig file has its place, what is wrong, and mostly the mend."""

from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from sequencer.errors import ProjectError
from sequencer.project.store import load
from sequencer.score.easing import Laws
from sequencer.score.move import Ease
from tests.project.conftest import Bezier, Tree

Folder = Callable[[], Path]


def test_a_project_is_read_into_exact_time(folder: Folder, laws: Laws) -> None:
    read = load(folder(), laws)
    pan, slide = read.move.tracks
    assert [key.at for key in pan.keys] == [25, Fraction(125, 2), 100]
    assert pan.keys[1].ease == Ease("bezier", Bezier((0.42, 0.0, 0.58, 1.0)))
    assert slide.keys[0].ease == Ease("poly345")  # the default
    assert read.move.passes[1].speed == Fraction(1, 2)
    assert read.tempo is not None
    assert read.tempo.at_s == Fraction(1, 5)
    assert read.tempo.seconds(2) == Fraction(1, 5) + Fraction(5, 4)
    assert read.rig.names == ("pan", "slide")
    assert read.rig.axes[1].backlash == 0.1
    assert read.rig.axes[0].simulated.lag_s == 0.02
    assert read.rig.camera is not None
    assert read.rig.camera.pixels == (4096, 2304)


def test_what_a_project_may_leave_out(folder: Folder, laws: Laws, project: Tree, rig: Tree) -> None:
    for name in ("tempo", "playback", "cues", "markers", "passes", "tracks"):
        del project[name]
    del rig["camera"]
    read = load(folder(), laws)
    assert (read.tempo, read.playback, read.rig.camera, read.move.tracks) == (None, None, None, ())


def put(tree: Any, path: str, value: object) -> None:
    """Set the field that `path` (`tracks.0.keys.1.at`) names; a value of `...` removes it."""
    *way, last = path.split(".")
    for step in way:
        tree = tree[int(step)] if step.isdigit() else tree[step]
    if value is ...:
        del tree[last]
    elif last.isdigit():
        tree[int(last)] = value
    else:
        tree[last] = value


@pytest.mark.parametrize(
    ("path", "value", "message"),
    [
        ("tracks.0.keys.1.at", "10:00:61:00", "tracks[0].keys[1].at: 10:00:61:00 has 61 seconds"),
        ("tracks.0.keys.1.at", "10:00:02:25", "tracks[0].keys[1].at: 10:00:02:25 has frame 25; at 25 frames run from"),
        ("tracks.0.keys.1.at", "soon", "tracks[0].keys[1].at: 'soon' is not a timecode; write one like"),
        ("tracks.0.keys.1.at", "10:00:02:12.1234567891", "is finer than a billionth of a frame; write nine decimals"),
        ("tracks.0.keys.1.at", 7, "tracks[0].keys[1].at: must be text, not a whole number"),
        ("tracks.0.keys.1.value", "5", "tracks[0].keys[1].value: must be a number, not text"),
        ("tracks.0.keys.1.value", None, "tracks[0].keys[1].value: must be a number, not null"),
        ("tracks.0.keys.1.value", True, "tracks[0].keys[1].value: must be a number, not true or false"),
        ("tracks.0.keys.1.value", ..., "tracks[0].keys[1]: value is missing; add it"),
        ("tracks.0.keys.1.vaule", 3, "tracks[0].keys[1]: there is no field 'vaule' here; correct its name or"),
        ("tracks.0.keys.1.ease", 3, "tracks[0].keys[1].ease: must be text or an object {…}, not a whole number"),
        ("tracks.0.keys.1.ease", {"points": [1]}, "tracks[0].keys[1].ease.law: is missing, or not a name"),
        ("tracks.0.keys.1.ease", {"law": 3}, "tracks[0].keys[1].ease.law: is missing, or not a name"),
        ("tracks.0.keys.1.ease", "bezier", "tracks[0].keys[1].ease: the motion law 'bezier' needs its settings"),
        ("tracks.0.keys.1.ease", "glide", "tracks[0].keys[1].ease: there is no motion law 'glide'; there are bezier,"),
        (
            "tracks.0.keys.1.ease",
            {"law": "glide", "x": 1},
            "tracks[0].keys[1].ease.law: there is no motion law 'glide'",
        ),
        ("tracks.0.keys.1.ease", "hold", "tracks[0].keys[1].ease: the axis should hold at 5, but the next key is at"),
        (
            "tracks.0.keys.1.value",
            -170.5,
            "value: -170.5 deg is outside pan's travel [-170, 170]; move the key, or widen",
        ),
        ("tracks.1.keys.1.value", 1200.1, "tracks[1].keys[1].value: 1200.1 mm is outside slide's travel [0, 1200]"),
        ("tracks.1.axis", "lift", "tracks[1].axis: the rig has no axis 'lift'; its axes are pan, slide"),
        ("tracks.1.axis", "pan", "tracks[1].axis: tracks[0] moves the axis 'pan' already"),
        ("tracks.1.axis", "x" * 10**6, "tracks[1].axis: the rig has no axis 'xxx"),
        ("tracks.1.keys", [], "tracks[1].keys: the track has no keys"),
        ("tracks.0.keys.1.at", "10:00:01:00", "tracks[0].keys[1].at: the key stands at the same instant as the one"),
        ("tracks.0.keys.1.at", "09:00:01:00", "tracks[0].keys[1].at: the key stands 90000 frames before the one"),
        ("tracks.0.keys.1.ease.points", [0, 1], "tracks[0].keys[1].ease.points: needs 4 values, has 2"),
        ("tracks.0.keys.1.ease.points", [0, 1, "x", 1], "tracks[0].keys[1].ease.points[2]: must be a number, not text"),
        ("tracks.0.keys.1.ease.points", [2, 0, 0, 1], "tracks[0].keys[1].ease: the first and third of points lie in"),
        ("tracks.0.keys.1.ease.pionts", 1, "ease.pionts: not a parameter of the law 'bezier'; it has points"),
        ("tracks.0.keys.0.ease", {"law": "hold", "for": 1}, "ease.for: not a parameter of the law 'hold'; it has none"),
        ("tracks.0.keys", {}, "tracks[0].keys: must be a list, not an object {…}"),
        ("tracks.0", [], "tracks[0]: must be an object {…}, not a list"),
        ("timebase.rate", "23.976", "timebase.rate: '23.976' is no rate; it must be one of 24000/1001, 24, 25"),
        ("timebase.drop", True, "timebase.drop: 25 is not counted so; drop-frame counting belongs to"),
        ("timebase.start", "10:00:00:00.5", "timebase.start: 10:00:00:00.5 is not a whole frame"),
        ("timebase.start", "24:00:00:00", "timebase.start: 24:00:00:00 has 24 hours"),
        ("timebase", ..., "timebase is missing; add it"),
        ("tempo", None, "tempo: must be an object {…}, not null"),
        ("tempo.bpm", 96, "tempo.bpm: must be text, not a whole number"),
        ("tempo.bpm", "0", "tempo.bpm: '0' is not a number above zero; write"),
        ("tempo.bpm", "1e999999999", "tempo.bpm: '1e999999999' is not a number above zero"),
        ("tempo.beats_per_bar", 0, "tempo: a bar has 0 beats; it needs at least one"),
        ("passes.1.speed", "1/0", "passes[1].speed: '1/0' is not a number above zero"),
        ("passes.1.speed", "-1", "passes[1].speed: '-1' is not a number above zero"),
        ("passes.1.name", "band", "passes[1].name: 'band' is also the name of passes[0]; rename one of them"),
        ("passes.1.name", " ", "passes[1].name: ' ' is no name"),
        ("markers.0.name", "\x1b[2J", r"markers[0].name: '\\x1b[2J' is no name"),
        ("cues.0.to", "10:00:01:00", "cues[0].to: 10:00:01:00 is not after 10:00:01:00; let the cue end"),
        ("cues.0.from", "10:00:01:99", "cues[0].from: 10:00:01:99 has frame 99"),
        ("playback.file", "../song.wav", "playback.file: '../song.wav' is not a file inside the project folder; copy"),
        ("playback.file", "sound/../../song.wav", "is not a file inside the project folder"),
        ("playback.file", "/music/song.wav", "playback.file: '/music/song.wav' is not a file inside"),
        ("playback.file", "C:\\song.wav", "is not a file inside the project folder"),
        ("playback.file", "C:song.wav", "is not a file inside the project folder"),
        ("playback.file", "..\\song.wav", "is not a file inside the project folder"),
        ("playback.file", "\\\\host\\song.wav", "is not a file inside the project folder"),
        ("playback.file", "", "is not a file inside the project folder"),
        ("playback.file", ".", "is not a file inside the project folder"),
        ("playback.file", "so\0ng.wav", "is not a file inside the project folder"),
        ("name", "", "name: '' is no name"),
        ("nmae", "x", "project.json: there is no field 'nmae' here"),
        ("no\x1b[2J\nway", "x", r"there is no field 'no\x1b[2J\nway' here"),
    ],
)
def test_a_fault_in_the_project_has_its_place(
    path: str, value: object, message: str, folder: Folder, laws: Laws, project: Tree
) -> None:
    put(project, path, value)
    with pytest.raises(ProjectError) as caught:
        load(folder(), laws)
    assert message in str(caught.value)
    assert str(caught.value).startswith("project.json: ")
    assert str(caught.value).isprintable()
    assert len(str(caught.value)) < 500


@pytest.mark.parametrize(
    ("path", "value", "message"),
    [
        ("axes.0.speed", -1, "axes[0]: speed is -1.0; it must be above zero"),
        ("axes.0.speed", ..., "axes[0]: speed is missing; add it"),
        ("axes.0.limts", [0, 1], "axes[0]: there is no field 'limts' here"),
        ("axes.0.unit", "furlong", "axes[0]: unit is 'furlong'; it must be one of deg, mm, part"),
        ("axes.0.kind", "dolly", "axes[0]: kind is 'dolly'; it must be one of pan, tilt, roll, slide"),
        ("axes.0.travel", [170, -170], "axes[0]: travel is [170.0, -170.0]; the low end must be below"),
        ("axes.0.travel", [170], "axes[0].travel: needs 2 values, has 1"),
        ("axes.0.home", 500, "axes[0]: home is 500.0, outside travel [-170.0, 170.0]; give it a home inside"),
        ("axes.0.travel", [10, 170], "axes[0]: home is 0.0, outside travel [10.0, 170.0]; give it a home inside"),
        ("axes.0.name", "pan left", "axes[0]: 'pan left' is no name of an axis; write a word"),
        ("axes.0.name", "slide", "axes: two axes are called 'slide'"),
        ("axes.0.simulated", {"lag_s": -1}, "axes[0].simulated: lag_s is -1.0; it must be zero or more"),
        ("axes.0.simulated", {"lag": 1}, "axes[0].simulated: there is no field 'lag' here"),
        ("axes", [], "axes: the rig has no axis; describe one at least"),
        ("camera.focal_mm", 0, "camera: focal_mm is 0; it must be above zero"),
        ("camera.pixels", [4096, 2304.5], "camera.pixels[1]: must be a whole number, not a number"),
        ("format", "twintake/project", 'format: is not "twintake/rig"; this is a file of another kind'),
    ],
)
def test_a_fault_in_the_rig_has_its_place(
    path: str, value: object, message: str, folder: Folder, laws: Laws, rig: Tree
) -> None:
    put(rig, path, value)
    with pytest.raises(ProjectError) as caught:
        load(folder(), laws)
    assert str(caught.value).startswith(f"rig.json: {message}")


def test_a_missing_endless_axis_is_not_guessed(folder: Folder, laws: Laws, rig: Tree) -> None:
    put(rig, "axes.0.travel", ...)
    with pytest.raises(ProjectError, match=r"rig\.json: axes\[0\]: travel is missing"):
        load(folder(), laws)
    put(rig, "axes.0.travel", None)
    assert load(folder(), laws).rig.axes[0].travel is None
