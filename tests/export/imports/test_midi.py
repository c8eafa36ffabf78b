"""MIDI files from elsewhere: tempo and markers beside mido's reading; frames for time, and format 2, are refused."""

import io
from fractions import Fraction
from itertools import accumulate

import mido
import pytest

from sequencer.errors import ImportFault
from sequencer.export.found import FoundCut
from sequencer.export.imports.midi import KIND
from sequencer.timebase.rate import Rate


def read(data: bytes, rate: Rate | None = None) -> FoundCut:
    assert KIND.cut is not None
    return KIND.cut(data, "song.mid", rate)


def song(*first: mido.MetaMessage, form: int = 1) -> bytes:
    file = mido.MidiFile(type=form, ticks_per_beat=480)
    track = file.add_track()
    track.extend(first)
    track.append(mido.MetaMessage("set_tempo", tempo=600_000))
    track.append(mido.MetaMessage("marker", text="chorus", time=480 * 8))
    track.append(mido.MetaMessage("set_tempo", tempo=500_001))
    track.append(mido.MetaMessage("marker", text="way out", time=240))
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def offset(rate: float, **label: int) -> mido.MetaMessage:
    return mido.MetaMessage("smpte_offset", frame_rate=rate, **label)


def test_markers_count_from_the_beginning_where_the_file_has_no_timecode() -> None:
    data = song()
    found = read(data)
    assert (found.rate, found.start) == (None, None)
    seconds = list(accumulate(one.time for one in mido.MidiFile(file=io.BytesIO(data))))
    assert [float(one.at) for one in found.markers] == pytest.approx([seconds[-3], seconds[-1]])
    assert [one.at for one in found.markers] == [Fraction(24, 5), Fraction(24, 5) + Fraction(500_001, 2 * 10**6)]
    assert found.tempo is not None
    assert found.tempo.bpm == 100


def test_an_smpte_offset_is_where_it_begins() -> None:
    """mido writes the offset by the standard's own table; 10:01:00;02 is frame 1080720 - 2 * (601 - 60) + 2."""
    found = read(song(offset(25, hours=10, minutes=0, seconds=2, frames=5, sub_frames=50)))
    assert (found.rate, found.drop) == (Rate(25), False)
    assert found.start == 36_002 + Fraction(11, 50)
    assert found.markers[0].at == found.start + Fraction(24, 5)
    found = read(song(offset(29.97, hours=10, minutes=1, seconds=0, frames=2)))
    assert (found.rate, found.drop) == (Rate(30000, 1001), True)
    frames = 30 * 60 * 601 + 2 - 2 * (601 - 60)
    assert found.start == Fraction(frames * 1001, 30_000)


def test_what_two_bits_cannot_say_the_operator_does() -> None:
    data = song(offset(24, hours=1, minutes=0, seconds=0, frames=0))
    assert "cannot say 24000/1001: give --rate if it is that" in " | ".join(read(data).remarks)
    found = read(data, Rate(24000, 1001))
    assert (found.rate, found.start) == (Rate(24000, 1001), Fraction(36_036, 10))
    assert "says timecode of 24; 25 counts, as you say" in " | ".join(read(data, Rate(25)).remarks)
    with pytest.raises(ImportFault, match=r"song.mid: its beginning .* has frame 24; .*give another --rate"):
        read(song(offset(25, hours=1, minutes=0, seconds=0, frames=24)), Rate(24))
    with pytest.raises(ImportFault, match="drop-frame counting belongs to"):
        read(song(offset(29.97, hours=1, minutes=0, seconds=0, frames=2)), Rate(25))


def test_time_in_frames_and_songs_side_by_side_are_refused() -> None:
    """Standard MIDI Files 1.0: a division with bit 15 set is SMPTE, here E728: 25 frames a second of 40 ticks."""
    data = song()
    with pytest.raises(ImportFault, match=r"song.mid: it counts its time in frames of timecode, not in notes.*save it"):
        read(data[:12] + b"\xe7\x28" + data[14:])
    with pytest.raises(ImportFault, match="it is of format 2: songs one beside the other"):
        read(song(form=2))
    with pytest.raises(ImportFault, match="larger than 16 MB"):
        read(bytes(16 * 2**20 + 1))
    with pytest.raises(ImportFault, match=r"song.mid: track 1: the file ends in the middle of it"):
        read(data[:-3])


def test_a_rate_for_a_file_without_timecode_is_said_to_change_nothing() -> None:
    assert "the rate 25 changes nothing" in " | ".join(read(song(), Rate(25)).remarks)
