"""OpenTimelineIO, read again by its own library: clips at their timecode, exactly; what it cannot hold is said."""

import sys
from fractions import Fraction

import pytest

from sequencer.errors import ExportError
from sequencer.export.contract import Wanted
from sequencer.export.formats.otio import KIND
from sequencer.export.imports.otio import KIND as BACK
from sequencer.export.placed import Asked, place
from sequencer.score.move import Marker
from sequencer.timebase.rate import RATES, Rate
from tests.export.edits import edited

otio = pytest.importorskip("opentimelineio", reason="OpenTimelineIO has no wheels for this Python")

PLAIN = Wanted()


def test_an_editor_finds_a_track_for_each_pass_and_takes_at_their_timecode() -> None:
    read = otio.adapters.read_from_string(KIND.make(edited(), ".otio", PLAIN).decode(), "otio_json")
    assert read.name == "Harbour lanterns"
    assert read.global_start_time == otio.opentime.from_timecode("10:00:00:00", 25)
    assert [(one.name, one.enabled, one.kind) for one in read.tracks] == [
        ("band", True, "Video"),
        ("band, other takes", False, "Video"),
        ("band, other takes", False, "Video"),
        ("clean plate", True, "Video"),
        ("planned", True, "Video"),
    ]
    clips = {one.name: one for one in read.find_clips()}
    assert len(clips) == 6
    circled = clips["lantern turn band 002"]
    assert otio.opentime.to_timecode(circled.source_range.start_time, 25) == "10:00:07:10"
    assert circled.source_range.duration.value == 201  # frames 185 to 385
    assert circled.media_reference.is_missing_reference
    assert circled.media_reference.name == "lantern turn-band-002.mcap"
    assert circled.metadata["twintake"]["circled"] is True
    assert circled.metadata["twintake"]["note"] == "the one"
    # by the library's own arithmetic each clip stands on the timeline at its own timecode
    for clip in clips.values():
        at = clip.transformed_time(clip.source_range.start_time, read.tracks)
        assert at + read.global_start_time == clip.source_range.start_time


def test_markers_are_on_the_timeline_where_the_project_has_them() -> None:
    read = otio.adapters.read_from_string(KIND.make(edited(), ".otio", PLAIN).decode(), "otio_json")
    assert [(one.name, one.marked_range.start_time.value) for one in read.tracks.markers] == [
        ("verse", 187.5),
        ("first lamp", 250),
        ("Größe; 10:00:00;00", 500),
        ("lamps out", 940),
    ]


def test_what_is_before_the_start_makes_the_timeline_begin_earlier() -> None:
    given = edited(markers=(Marker("count in", Fraction(-101, 2)),), start="00:00:00:00")
    read = otio.adapters.read_from_string(KIND.make(given, ".otio", PLAIN).decode(), "otio_json")
    assert otio.opentime.to_timecode(read.global_start_time, 25) == "23:59:57:24"
    assert read.tracks.markers[0].marked_range.start_time.value == 0.5


def test_after_midnight_a_take_has_the_labels_of_the_new_day() -> None:
    read = otio.adapters.read_from_string(KIND.make(edited(start="23:59:50:00"), ".otio", PLAIN).decode(), "otio_json")
    clips = {one.name: one.source_range.start_time for one in read.find_clips()}
    assert otio.opentime.to_timecode(clips["lantern turn band 002"], 25) == "23:59:57:10"
    assert otio.opentime.to_timecode(clips["crowd sweep band 004"], 25) == "00:00:06:15"


def test_just_before_midnight_at_a_thousandth_less_is_read_back() -> None:
    """At 24000/1001 the label 23:59:50:00 is 86476.39 real seconds after 00:00:00:00, more than a day has."""
    given = edited(rate=Rate(24000, 1001), start="23:59:50:00")
    assert BACK.cut is not None
    read = BACK.cut(KIND.make(given, ".otio", PLAIN), "cut.otio", None)
    assert read.start == Fraction((24 * 3600 - 10) * 1001, 1000)


@pytest.mark.parametrize("name", sorted(RATES))
def test_what_is_written_is_read_back_exactly(name: str) -> None:
    rate = RATES[name]
    given = edited(rate=rate)
    assert BACK.cut is not None
    cut = BACK.cut(KIND.make(given, ".otio", PLAIN), "edit.otio", None)
    found = place(cut, given.timebase, Asked(), "edit.otio")
    assert cut.rate == rate
    assert found.markers == given.markers
    spans = {one.name: [one.start, one.end] for one in found.cues}
    assert spans["lantern turn band 002"] == [185, 385]
    assert spans["last light"] == [675, 975]


def test_the_same_takes_give_the_same_bytes() -> None:
    assert KIND.make(edited(), ".otio", PLAIN) == KIND.make(edited(), ".otio", PLAIN)


def test_what_the_format_cannot_hold_is_said() -> None:
    given = edited(rate=Rate(30000, 1001), drop=True)
    said = " | ".join(KIND.remarks(given, Wanted(first=1)))
    for words in (
        "the rate is 30000/1001; the format has 29.97002997002997, and the exact one in metadata",
        "does not say drop-frame",
        "markers between frames: 1, the first verse at 10:00:06;07.5",
        "frames are not renumbered",
    ):
        assert words in said


def test_nothing_to_write_and_a_missing_library_are_said(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(ExportError, match="has no take, no cue and no marker"):
        KIND.make(edited(takes=(), cues=(), markers=()), ".otio", PLAIN)
    monkeypatch.setitem(sys.modules, "opentimelineio", None)
    with pytest.raises(ExportError, match=r"pip install 'twintake\[otio\]', on Python up to 3.13"):
        KIND.make(edited(), ".otio", PLAIN)
