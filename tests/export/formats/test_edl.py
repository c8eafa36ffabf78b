"""Edit lists as others read them: the OpenTimelineIO adapter for the CMX 3600 form, and the timecode package."""

import re
from dataclasses import replace
from fractions import Fraction

import pytest
from timecode.timecode import Timecode as OtherTimecode

from sequencer.errors import ExportError
from sequencer.export.contract import Wanted
from sequencer.export.formats.edl import KIND
from sequencer.export.imports.edl import KIND as BACK
from sequencer.export.placed import Asked, place
from sequencer.score.move import Cue, Marker
from sequencer.timebase.rate import RATES, Rate
from tests.export.edits import MARKERS, SWEEP, TURN, edited, take

otio = pytest.importorskip("opentimelineio", reason="OpenTimelineIO has no wheels for this Python")

PLAIN = Wanted()


def text(**how: object) -> str:
    return KIND.make(edited(**how), ".edl", PLAIN).decode("ascii")  # type: ignore[arg-type] # passed on as they are


def test_the_list_reads_as_the_form_has_it() -> None:
    """The form's columns: common practice, no source. Outs are exclusive: a cue of frames 185 to 385 ends at 386."""
    lines = text().split("\r\n")
    assert lines[:4] == [
        "TITLE: Harbour lanterns",
        "FCM: NON-DROP FRAME",
        "",
        "001  LANTD002 V     C        10:00:07:10 10:00:15:11 10:00:07:10 10:00:15:11",
    ]
    assert "* FROM CLIP NAME: lantern turn band 002" in lines
    assert "* COMMENT: CUE lantern turn, PASS band, TAKE 2, CIRCLED" in lines
    assert "* COMMENT: OTHER TAKE lantern turn band 003" in lines
    assert "* LOC: 10:00:10:00 WHITE   first lamp" in lines
    assert "003  AX       V     C        10:00:27:00 10:00:39:01 10:00:27:00 10:00:39:01" in lines
    assert lines[-1] == ""


@pytest.mark.parametrize("rate", [Rate(24), Rate(25), Rate(30), Rate(24000, 1001), Rate(50), Rate(60)])
def test_the_adapter_of_opentimelineio_reads_the_same_frames(rate: Rate) -> None:
    """otio-cmx3600-adapter, an independent reader; it puts locators in its clips at their absolute record label."""
    given = edited(rate=rate)
    read = otio.adapters.read_from_string(text(rate=rate), "cmx_3600", rate=rate.nominal)
    start = 10 * 3600 * rate.nominal
    clips = list(read.find_clips())
    assert [(one.name, one.source_range.start_time.value, one.source_range.duration.value) for one in clips] == [
        ("lantern turn band 002", start + 185, 201),
        ("crowd sweep band 004", start + 415, 221),
        ("last light", start + 675, 301),
    ]
    assert clips[0].metadata["cmx_3600"]["reel"] == "LANTD002"
    marks = [(one.name, one.marked_range.start_time.value) for clip in clips for one in clip.markers]
    wanted = [start + at for at in (188, 250, 500, 940)]
    assert marks == list(zip(["verse", "first lamp", "Grosse; 10:00:00;00", "lamps out"], wanted, strict=True))
    assert [one.at for one in given.markers] == [Fraction(375, 2), 250, 500, 940]


def test_drop_frame_labels_are_those_of_the_timecode_package_and_of_opentimelineio() -> None:
    """The PyPI package timecode 1.5, and OpenTimelineIO's opentime: two independent counts of drop-frame."""
    rate = Rate(30000, 1001)
    cue = Cue("quay", Fraction(1790), Fraction(1_078_919))
    written = text(
        rate=rate, drop=True, start="00:00:00:00", takes=(), cues=(cue,), markers=(Marker("m", Fraction(1800)),)
    )
    assert "FCM: DROP FRAME" in written
    event = next(line.split() for line in written.splitlines() if line.startswith("001"))
    for label, frame in ((event[-2], 1790), (event[-1], 1_078_920)):
        other = OtherTimecode("29.97", frames=frame + 1)  # counted from one
        assert label == str(other)
        assert otio.opentime.from_timecode(label, 30000 / 1001).value == frame
    assert "* LOC: 00:01:00;02 WHITE   m" in written


@pytest.mark.parametrize(
    ("name", "drop"), [*((name, False) for name in sorted(RATES)), ("30000/1001", True), ("60000/1001", True)]
)
def test_what_is_written_is_read_back(name: str, drop: bool) -> None:
    rate = RATES[name]
    given = edited(rate=rate, drop=drop, start="09:59:58:00")
    cut = BACK.cut(KIND.make(given, ".edl", PLAIN), "edit.edl", rate) if BACK.cut else None
    assert cut is not None
    found = place(cut, given.timebase, Asked(), "edit.edl")
    assert (cut.rate, cut.drop) == (rate, drop)
    assert [one.at for one in found.markers] == [188, 250, 500, 940]
    assert [at for one in found.cues for at in (one.start, one.end)] == [185, 385, 415, 635, 675, 975]


def test_reels_are_short_and_none_is_there_twice() -> None:
    cues = [Cue(f"quay {number}", Fraction(10 * number), Fraction(10 * number + 5)) for number in range(40)]
    takes = [take(1, cue) for cue in cues] + [replace(take(7, Cue("q", Fraction(900), Fraction(910))), name="bl")]
    events = [line.split() for line in text(takes=tuple(takes), cues=()).splitlines() if re.match(r"\d{3} ", line)]
    reels = [event[1] for event in events]
    assert len(events) == len(set(reels)) == 41
    assert all(len(reel) <= 8 and reel not in ("BL", "AX") for reel in reels)


def test_what_the_form_cannot_hold_is_said() -> None:
    given = edited(takes=(take(1, TURN), take(2, Cue("early", Fraction(300), Fraction(420))), take(3, SWEEP, "plate")))
    said = " | ".join(KIND.remarks(given, Wanted(first=1001)))
    for words in (
        "does not say its rate: tell the reader 25, non-drop frame",
        "markers between frames: 1, put on the nearest one, by up to 0.5 frame",
        "names have letters that the form does not",
        "cannot stand beside another at the same timecode, left out: early band 002",
        "one list is one pass, here 'band'; others with --pass: plate",
        "frames are not renumbered",
    ):
        assert words in said
    assert "early" not in KIND.make(given, ".edl", PLAIN).decode()


def test_a_marker_before_every_event_is_with_the_first() -> None:
    lines = text(markers=(Marker("early", Fraction(-5)),), start="00:00:00:00").splitlines()
    assert lines.index("* LOC: 23:59:59:20 WHITE   early") < lines.index(
        next(line for line in lines if line.startswith("002"))
    )


def test_too_much_and_too_little_are_refused() -> None:
    many = tuple(Cue(f"q{number}", Fraction(2 * number), Fraction(2 * number)) for number in range(1000))
    with pytest.raises(ExportError, match=r"1000 events are more than the 999.*use otio"):
        text(takes=(), cues=many)
    with pytest.raises(ExportError, match="an edit list needs an event; a MIDI file holds markers alone"):
        text(takes=(), cues=(), markers=MARKERS)


def test_a_take_stands_before_a_cue_around_it_that_has_none() -> None:
    """A cue over the whole song that nobody shot as a whole: the takes inside it are what an edit wants."""
    song = Cue("whole song", Fraction(0), Fraction(1000))
    how = {"takes": (take(1, TURN), take(2, SWEEP)), "cues": (song, TURN, SWEEP)}
    names = re.findall(r"FROM CLIP NAME: (.*)\r", text(**how))
    assert names == ["lantern turn band 001", "crowd sweep band 002"]
    assert any("left out: whole song" in one for one in KIND.remarks(edited(**how), PLAIN))  # type: ignore[arg-type] # as above


def test_letters_that_the_form_does_not_have_leave_a_mark() -> None:
    assert "* LOC: 10:00:07:10 WHITE   ? Grosse\r\n" in text(takes=(), markers=(Marker("港 Größe", TURN.start),))
