"""MIDI files of markers: the standard's bytes computed by hand, mido's own reading, and our exact reading."""

import io
from dataclasses import replace
from fractions import Fraction
from itertools import accumulate

import mido
import pytest

from sequencer.errors import ExportError
from sequencer.export.contract import Wanted
from sequencer.export.formats.markers import KIND
from sequencer.export.imports.midi import KIND as BACK
from sequencer.export.placed import Asked, place
from sequencer.score.move import Cue, Marker
from sequencer.timebase.rate import RATES, Rate
from sequencer.timebase.tempo import Change, TempoMap
from tests.export.edits import edited

PLAIN = Wanted()
SONG = TempoMap(
    Fraction(96),
    4,
    Fraction(3, 2),
    changes=(Change(beat=Fraction(8), bpm=Fraction(937, 10)), Change(beat=Fraction(12), beats_per_bar=3, beat_note=8)),
)


def test_the_bytes_are_those_of_the_standard() -> None:
    """Standard MIDI Files 1.0, computed by hand from its tables.

    Header of format 1 with one track and 960 (03C0) ticks. 96 quarter notes a minute are 625000 microseconds
    (098968). 10:00:00:00 at 25 is rate 01 in bits 5 and 6 of the hour: 2A. Frame 250 is 10 s, 16 beats, tick 15360,
    as a quantity F8 00.
    """
    given = replace(
        edited(markers=(Marker("one", Fraction(250)),), cues=(), tempo=TempoMap(Fraction(96), 4)), project="p"
    )
    track = bytes.fromhex(
        "00 ff0301 7000 ff5405 2a0000000000 ff5804 0402180800 ff5103 098968f800 ff0603 6f6e6500 ff2f00"
    )
    header = bytes.fromhex("4d546864 00000006 0001 0001 03c0")
    assert KIND.make(given, ".mid", PLAIN) == header + b"MTrk" + len(track).to_bytes(4) + track


def test_mido_plays_the_markers_when_they_are_due() -> None:
    """mido adds up seconds in floating point by its own reading of the tempo map."""
    markers = tuple(Marker(f"m{at}", Fraction(at)) for at in (40, 300, 301, 1200))
    data = KIND.make(edited(markers=markers, tempo=SONG), ".mid", PLAIN)
    file = mido.MidiFile(file=io.BytesIO(data), charset="utf-8")
    seconds = list(accumulate(message.time for message in file))
    found = {one.text: at for at, one in zip(seconds, file, strict=True) if one.type == "marker"}
    # the file begins with the first beat, 1.5 s after the project's start; a tick is 0.65 ms
    for marker in markers:
        assert found[marker.name] == pytest.approx(float(marker.at) / 25 - 1.5, abs=0.0004)
    assert [one.text for one in file.tracks[0] if one.type == "cue_marker"] == [
        "lantern turn",
        "crowd sweep",
        "last light",
    ]


def test_the_greatest_error_is_what_is_said() -> None:
    markers = tuple(Marker(f"m{at}", Fraction(at)) for at in range(40, 9000, 37))
    given = edited(markers=markers, cues=(), tempo=SONG)
    file = mido.MidiFile(file=io.BytesIO(KIND.make(given, ".mid", PLAIN)))
    seconds = list(accumulate(message.time for message in file))
    found = {one.text: at for at, one in zip(seconds, file, strict=True) if one.type == "marker"}
    worst = max(abs(found[one.name] - (float(one.at) / 25 - 1.5)) for one in markers)
    assert f"markers are off by up to {worst * 1000:.3g} ms" in " | ".join(KIND.remarks(given, PLAIN))


def test_a_marker_on_a_beat_stays_on_it_whatever_the_tempo_is_rounded_to() -> None:
    tempo = TempoMap(Fraction(937, 10), 4)
    frame = Rate(25).frames(tempo.seconds(1000))
    given = edited(markers=(Marker("beat 1000", frame),), cues=(), tempo=tempo)
    file = mido.MidiFile(file=io.BytesIO(KIND.make(given, ".mid", PLAIN)))
    assert sum(one.time for one in file.tracks[0]) == 1000 * 960
    said = " | ".join(KIND.remarks(given, PLAIN))
    # 60e6 / 93.7 = 640341.5 microseconds; 640342 are 93.69992910...
    assert "93.7 quarter notes a minute are 93.699929" in said
    assert "markers are off by up to 0.485 ms" in said


def test_what_is_before_the_first_beat_makes_the_file_begin_whole_bars_earlier() -> None:
    given = edited(markers=(Marker("count in", Fraction(-30)),), cues=(), tempo=SONG)
    data = KIND.make(given, ".mid", PLAIN)
    assert BACK.cut is not None
    cut = BACK.cut(data, "song.mid", None)
    found = place(cut, given.timebase, Asked(), "song.mid")
    # 2.7 s before beat 0 are 4.32 beats: two bars of four, each 2.5 s
    assert found.start == 25 * (Fraction(3, 2) - 5)
    assert found.tempo is not None
    assert found.tempo.seconds(8) == SONG.seconds(0)
    assert abs(found.markers[0].at + 30) < Fraction(1, 50)


@pytest.mark.parametrize(
    ("name", "drop", "rate"),
    [
        ("24", False, None),
        ("25", False, None),
        ("30", False, None),
        ("30000/1001", True, None),
        ("24000/1001", False, "24000/1001"),
        ("30000/1001", False, "30000/1001"),
    ],
)
def test_tempo_and_markers_are_read_back_at_their_timecode(name: str, drop: bool, rate: str | None) -> None:
    """At 24000/1001 and 30000/1001 without drop-frame the offset's two bits say 24 and 30: whoever reads must know."""
    given = edited(rate=RATES[name], drop=drop, tempo=SONG)
    assert BACK.cut is not None
    cut = BACK.cut(KIND.make(given, ".mid", PLAIN), "song.mid", None if rate is None else RATES[rate])
    found = place(cut, given.timebase, Asked(), "song.mid")
    assert (cut.rate, cut.drop) == (RATES[name], drop)
    hundredth = Fraction(1, 100)  # of a frame, as the offset has it
    for marker, wanted in zip(found.markers, given.markers, strict=True):
        assert marker.name == wanted.name
        assert abs(marker.at - wanted.at) < hundredth + given.timebase.rate.frames(Fraction(4, 10_000))
    assert found.tempo is not None
    assert [one.metre for one in found.tempo.stretches] == ["4/4", "4/4", "3/8"]
    assert abs(found.tempo.at_s - SONG.at_s) < given.timebase.rate.seconds(hundredth)


def test_what_the_format_cannot_say_is_said() -> None:
    assert "cannot say timecode at 50: put the file's beginning at 10:00:00:00" in " | ".join(
        KIND.remarks(edited(rate=Rate(50)), Wanted())
    )
    said = " | ".join(KIND.remarks(edited(rate=Rate(24000, 1001)), Wanted(first=1)))
    assert "it says 24, since it cannot say 24000/1001" in said
    assert "the project has no tempo: the file says 120 BPM in 4/4" in said
    assert "frames are not renumbered" in said


def test_what_has_no_number_in_the_format_is_refused() -> None:
    for tempo, words in (
        (TempoMap(Fraction(1), 4), "1 quarter notes a minute have no number"),
        (TempoMap(Fraction(120), 300), "a bar of 300 beats has no number"),
    ):
        with pytest.raises(ExportError, match=words):
            KIND.make(edited(tempo=tempo), ".mid", PLAIN)
    far = edited(markers=(Marker("far", Fraction(25 * 200_000)),), cues=(), tempo=TempoMap(Fraction(900), 4))
    with pytest.raises(ExportError, match="longer than any"):
        KIND.make(far, ".mid", PLAIN)


def test_cues_stand_as_cue_points() -> None:
    given = edited(cues=(Cue("größe", Fraction(0), Fraction(5)),), markers=())
    file = mido.MidiFile(file=io.BytesIO(KIND.make(given, ".mid", PLAIN)), charset="utf-8")
    assert [one.text for one in file.tracks[0] if one.type == "cue_marker"] == ["größe"]
