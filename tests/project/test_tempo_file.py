"""Tempo, sync offsets and triggers in a project file: read exactly, written back as they were, faults with places."""

import json
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.errors import ProjectError
from sequencer.project.document import Project, SyncOffset, Triggers
from sequencer.project.schema import schemas
from sequencer.project.store import dump, load, save
from sequencer.rig.axis import Axis, Rig
from sequencer.score.easing import Laws
from sequencer.score.move import Cue, Marker, Move
from sequencer.sync.orders import GoToMark, Locate, Mapped, Order, StartClock, StopClock, StopRig, TakeCue
from sequencer.timebase.rate import Rate
from sequencer.timebase.tempo import BEAT_NOTES, Change, TempoMap
from sequencer.timebase.timecode import Counting, Timebase, Timecode
from tests.project.conftest import LAWS, Tree
from tests.project.test_build import put

Folder = Callable[[], Path]

CHANGES = [
    {"bar": 3, "bpm": "120"},
    {"bar": 3, "beat": "2.5", "bpm": "119.88"},
    {"bar": 5, "beats_per_bar": 3},
    {"bar": 9, "beat": "2", "bpm": "240", "beats_per_bar": 6, "beat_note": 8},
]
SYNC = [
    {"source": "ltc", "offset_frames": "-2", "delay_ms": 1.5},
    {"source": "mtc", "offset_frames": "1/2"},
    {"source": "clock"},
]
TRIGGERS: Tree = {
    "mmc_device": 12,
    "midi": [
        {"note": 36, "channel": 10, "do": "start"},
        {"program": 5, "do": "cue", "name": "one"},
        {"note": 37, "do": "locate", "at": "10:00:07:12"},
        {"note": 40, "do": "mark", "name": "hit"},
        {"note": 0, "do": "stop clock"},
        {"note": 1, "do": "stop rig"},
        {"note": 36, "channel": 11, "do": "stop clock"},
    ],
}


@pytest.fixture
def rich(project: Tree) -> Tree:
    """Give the small project a changing tempo, offsets and triggers."""
    project["tempo"]["changes"] = json.loads(json.dumps(CHANGES))
    project |= {"sync": json.loads(json.dumps(SYNC)), "triggers": json.loads(json.dumps(TRIGGERS))}
    return project


def test_everything_is_read(rich: Tree, folder: Folder, laws: Laws) -> None:
    read = load(folder(), laws)
    assert read.tempo is not None
    assert read.tempo.changes == (
        Change(beat=Fraction(8), bpm=Fraction(120)),
        Change(beat=Fraction(19, 2), bpm=Fraction(11988, 100)),
        Change(beat=Fraction(16), beats_per_bar=3),
        Change(beat=Fraction(29), bpm=Fraction(240), beats_per_bar=6, beat_note=8),
    )
    assert read.sync == (SyncOffset("ltc", Fraction(-2), 1.5), SyncOffset("mtc", Fraction(1, 2)), SyncOffset("clock"))
    orders: list[Order] = [
        StartClock(),
        TakeCue("one"),
        Locate(7.48),
        GoToMark("hit"),
        StopClock(),
        StopRig(),
        StopClock(),
    ]
    assert [one.order for one in read.triggers.mapped] == orders
    assert read.triggers.mapped[0] == Mapped(message="note", number=36, channel=10, order=StartClock())
    assert (read.triggers.mapped[1].message, read.triggers.mapped[1].channel) == ("program", None)
    assert read.triggers.mmc_device == 12


def test_everything_is_written_as_it_was_read(rich: Tree, folder: Folder, laws: Laws) -> None:
    place = folder()
    read = load(place, laws)
    save(place, read, laws)
    document = json.loads((place / "project.json").read_text())
    assert (document["tempo"]["changes"], document["sync"], document["triggers"]) == (CHANGES, SYNC, TRIGGERS)
    lines = (place / "project.json").read_text().splitlines()
    assert '      {"bar": 3, "bpm": "120"},' in lines
    assert '      {"note": 36, "channel": 10, "do": "start"},' in lines
    assert load(place, laws) == read
    jsonschema.Draft202012Validator(schemas()["project.json"]).validate(document)


def test_a_file_without_the_new_fields_has_none_after_a_save(project: Tree, folder: Folder, laws: Laws) -> None:
    place = folder()
    read = load(place, laws)
    assert (read.sync, read.triggers) == ((), Triggers())
    written = json.loads(dump(read)["project.json"])
    assert written["tempo"] == project["tempo"]
    assert written.keys() == project.keys()


FAULTS: list[tuple[str, Any, str]] = [
    ("tempo.changes.0.bar", 0, "tempo.changes[0].bar: there is no bar 0; bars are counted from one"),
    ("tempo.changes.0.bar", 1, "tempo.changes[0]: bar 1, beat 1 is not after bar 1, beat 1, where the tempo before it"),
    ("tempo.changes.1.bar", 2, "tempo.changes[1]: bar 2, beat 2.5 is not after bar 3, beat 1"),
    (
        "tempo.changes.1.beat",
        "5",
        "tempo.changes[1].beat: bar 3 has no beat 5; it is in 4/4, with beats from 1 to below",
    ),
    ("tempo.changes.1.beat", "1/2", "tempo.changes[1].beat: bar 3 has no beat 1/2"),
    ("tempo.changes.1.beat", 2, "tempo.changes[1].beat: must be text, not a whole number"),
    ("tempo.changes.0.bpm", "-1", "tempo.changes[0].bpm: '-1' is not a number above zero"),
    ("tempo.changes.0.bpm", ..., "tempo.changes[0]: the change at bar 3, beat 1 changes nothing"),
    ("tempo.changes.2.beats_per_bar", 0, "tempo.changes[2]: a bar has 0 beats; it needs at least one"),
    ("tempo.changes.3.beat_note", 6, "tempo.changes[3]: a beat cannot be a note of 1/6; the lower numbers of a metre"),
    ("tempo.changes.3.bar", 10**9, "tempo.changes[3]: "),
    ("tempo.beat_note", 5, "tempo: a beat cannot be a note of 1/5"),
    ("tempo.changes.0.bra", 5, "tempo.changes[0]: there is no field 'bra' here"),
    ("sync.0.source", "osc", "sync[0].source: 'osc' is no source with an offset; there are mtc, ltc, audio, clock"),
    ("sync.1.source", "ltc", "sync[1].source: ltc has an offset in sync[0] already; keep one"),
    ("sync.0.offset_frames", "1e3", "sync[0].offset_frames: '1e3' is not a number; write"),
    ("sync.0.offset_frames", "--1", "sync[0].offset_frames: '--1' is not a number"),
    ("sync.0.offset_frames", "-2160000", "sync[0].offset_frames: -2160000 frames are a day or more"),
    ("sync.0.delay_ms", 1000.5, "sync[0].delay_ms: 1000.5 ms is more than a second"),
    ("triggers.mmc_device", 127, "triggers.mmc_device: 127 is no device number; write 0 to 126, or leave it out to"),
    ("triggers.mmc_device", -1, "triggers.mmc_device: -1 is no device number"),
    ("triggers.midi.0.note", 128, "triggers.midi[0]: note 128 is no number of MIDI; it must be from 0 to 127"),
    ("triggers.midi.1.program", -1, "triggers.midi[1]: program -1 is no number of MIDI; it must be from 0 to 127"),
    ("triggers.midi.0.channel", 17, "triggers.midi[0]: channel 17 is no channel of MIDI; it must be from 1 to 16"),
    ("triggers.midi.0.program", 1, "triggers.midi[0]: it is neither one note nor one program; write"),
    ("triggers.midi.0.note", ..., "triggers.midi[0]: it is neither one note nor one program"),
    (
        "triggers.midi.0.do",
        "fly",
        "triggers.midi[0].do: there is no order 'fly'; there are start, stop clock, stop rig",
    ),
    ("triggers.midi.0.name", "one", "triggers.midi[0].name: 'start' needs none; remove it"),
    ("triggers.midi.1.at", "10:00:00:00", "triggers.midi[1].at: 'cue' needs none"),
    ("triggers.midi.1.name", ..., "triggers.midi[1].name: 'cue' needs it, and it is missing; add it"),
    ("triggers.midi.1.name", "two", "triggers.midi[1].name: there is no cue 'two'; there are one"),
    ("triggers.midi.3.name", "one", "triggers.midi[3].name: there is no marker 'one'; there are hit"),
    ("triggers.midi.2.at", ..., "triggers.midi[2].at: 'locate' needs it, and it is missing"),
    ("triggers.midi.2.at", "10:00:07:25", "triggers.midi[2].at: 10:00:07:25 has frame 25"),
    ("triggers.midi.6.channel", 10, "triggers.midi[6]: note 36 on channel 10 has an order in triggers.midi[0] already"),
    (
        "triggers.midi.6.channel",
        ...,
        "triggers.midi[6]: note 36 on any channel has an order in triggers.midi[0] already",
    ),
    ("markers", [], "triggers.midi[3].name: there is no marker 'hit'; there are none"),
    ("markers.1", ..., "triggers.midi[3].name: more than one marker has the name 'hit'; rename the others"),
]


@pytest.mark.parametrize(("path", "value", "message"), FAULTS)
def test_a_fault_has_its_place_and_mend(
    path: str, value: Any, message: str, rich: Tree, folder: Folder, laws: Laws
) -> None:
    if path == "markers.1":
        rich["markers"].append(rich["markers"][0])
    else:
        put(rich, path, value)
    with pytest.raises(ProjectError) as caught:
        load(folder(), laws)
    assert message in str(caught.value)


def test_the_schema_refuses_most_of_them_too(rich: Tree) -> None:
    """What a schema cannot say is left: order in time, names that are elsewhere, one order for a message."""
    validator = jsonschema.Draft202012Validator(schemas()["project.json"])
    validator.validate(rich)
    for path, value in (
        ("tempo.changes.0.bar", 0),
        ("tempo.changes.0.bpm", ...),
        ("tempo.changes.3.beat_note", 6),
        ("sync.0.source", "osc"),
        ("sync.0.offset_frames", "1e3"),
        ("sync.0.delay_ms", 1000.5),
        ("triggers.mmc_device", 127),
        ("triggers.midi.0.note", 128),
        ("triggers.midi.0.program", 1),
        ("triggers.midi.0.do", "fly"),
        ("triggers.midi.1.name", ...),
        ("triggers.midi.2.at", ...),
    ):
        spoilt = json.loads(json.dumps(rich))
        put(spoilt, path, value)
        with pytest.raises(jsonschema.ValidationError):
            validator.validate(spoilt)


def test_a_save_refuses_triggers_that_lost_their_marker(rich: Tree, folder: Folder, laws: Laws) -> None:
    place = folder()
    read = load(place, laws)
    before = (place / "project.json").read_bytes()
    with pytest.raises(ProjectError, match=r"triggers\.midi\[3\]\.name: there is no marker 'hit'"):
        save(place, replace(read, move=replace(read.move, markers=())), laws)
    assert (place / "project.json").read_bytes() == before


RIG = Rig(name="rig", axes=(Axis(name="pan", kind="pan", unit="deg", travel=None, speed=1, acceleration=1, jerk=1),))


@st.composite
def maps(draw: st.DrawFn) -> TempoMap:
    """Draw what a file can hold: changes within some minutes of the first beat."""
    tempo = st.fractions(20, 400, max_denominator=10**4)
    changes = []
    for beat in sorted(draw(st.sets(st.fractions(Fraction(1, 960), 900, max_denominator=960), max_size=5))):
        new = draw(
            st.tuples(st.none() | tempo, st.none() | st.integers(1, 12), st.none() | st.sampled_from(BEAT_NOTES))
        )
        if new != (None, None, None):
            changes.append(Change(beat=beat, bpm=new[0], beats_per_bar=new[1], beat_note=new[2]))
    at_s = Fraction(draw(st.integers(-1000, 1000)), 25)
    note = draw(st.sampled_from(BEAT_NOTES))
    return TempoMap(draw(tempo), draw(st.integers(1, 12)), at_s, note, tuple(changes))


@st.composite
def triggers(draw: st.DrawFn) -> Triggers:
    frames = st.integers(-(10**15), 10**15).map(lambda billionths: float(Fraction(billionths, 25 * 10**9)))
    order: st.SearchStrategy[Order] = st.one_of(
        st.sampled_from([StartClock(), StopClock(), StopRig(), TakeCue("one"), GoToMark("hit")]), frames.map(Locate)
    )
    messages = draw(
        st.sets(st.tuples(st.sampled_from(["note", "program"]), st.integers(0, 127), st.integers(1, 16)), max_size=8)
    )
    mapped = tuple(
        Mapped(message="note" if message == "note" else "program", number=number, channel=channel, order=draw(order))
        for message, number, channel in sorted(messages)
    )
    return Triggers(mapped, draw(st.none() | st.integers(0, 126)))


@st.composite
def offsets(draw: st.DrawFn) -> tuple[SyncOffset, ...]:
    sources = draw(st.lists(st.sampled_from(["mtc", "ltc", "audio", "clock"]), unique=True))
    number = st.builds(Fraction, st.integers(-(10**5), 10**5), st.integers(1, 1000))
    return tuple(SyncOffset(one, draw(number), draw(st.floats(-1000, 1000))) for one in sources)


@settings(max_examples=40)
@given(tempo=maps(), orders=triggers(), sync=offsets())
def test_what_is_saved_is_what_is_loaded(
    tmp_path_factory: pytest.TempPathFactory, tempo: TempoMap, orders: Triggers, sync: tuple[SyncOffset, ...]
) -> None:
    place = tmp_path_factory.mktemp("move")
    move = Move(tracks=(), cues=(Cue("one", Fraction(0), Fraction(5)),), markers=(Marker("hit", Fraction(3)),))
    start = Timebase(Counting(Rate(25)), Timecode(10, 0, 0, 0))
    project = Project(name="all", timebase=start, rig=RIG, move=move, tempo=tempo, triggers=orders, sync=sync)
    save(place, project, LAWS)
    assert load(place, LAWS) == project
