"""Standard MIDI Files: tempo, metre and markers exactly, beside the general library; files that lie are refused."""

import io
import struct
from contextlib import suppress
from fractions import Fraction
from itertools import accumulate

import mido
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.errors import ImportFault
from sequencer.music.smf import Offset, read_song
from sequencer.timebase.rate import Rate
from sequencer.timebase.tempo import Change, TempoMap
from sequencer.timebase.timecode import Counting, Timecode

END = bytes((0, 0xFF, 0x2F, 0))


def chunk(kind: bytes, data: bytes) -> bytes:
    return kind + struct.pack(">I", len(data)) + data


def smf(*tracks: bytes, form: int = 1, division: int = 96, count: int | None = None) -> bytes:
    header = struct.pack(">HHH", form, len(tracks) if count is None else count, division)
    return chunk(b"MThd", header) + b"".join(chunk(b"MTrk", track) for track in tracks)


def saved(file: mido.MidiFile) -> bytes:
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def test_the_standards_own_example() -> None:
    """The format 0 example of Standard MIDI Files 1.0: 4/4, 500,000 microseconds, 96 ticks, notes on three channels.

    Its bytes are from memory: metre, tempo, notes with and without running status, end of track.
    """
    track = bytes.fromhex(
        "00ff580404021808 00ff510307a120 00c005 00c12e 00c246 00923060 003c60 60914340 60904c20"
        "8160823040 003c40 00814340 00804c40 00ff2f00"
    )
    song = read_song(smf(track, form=0), "song.mid")
    assert song.tempo == TempoMap(Fraction(120), 4)
    assert (song.markers, song.words) == ((), ())


def test_where_nothing_is_said_it_is_120_in_four_four() -> None:
    song = read_song(smf(END), "song.mid", Fraction(3, 2))
    assert song.tempo == TempoMap(Fraction(120), 4, Fraction(3, 2))
    assert len(song.words) == 2


def test_tempi_are_exact_and_metres_set_the_beat() -> None:
    """500,001 microseconds are no decimal number of beats a minute; 6/8 counts eighths, twice as many."""
    file = mido.MidiFile(ticks_per_beat=480)
    track = file.add_track()
    track.append(mido.MetaMessage("set_tempo", tempo=500_001))
    track.append(mido.MetaMessage("time_signature", numerator=6, denominator=8, time=480 * 8))
    track.append(mido.MetaMessage("set_tempo", tempo=600_000, time=240))
    song = read_song(saved(file), "song.mid")
    assert song.tempo.bpm == Fraction(60_000_000, 500_001)
    assert song.tempo.changes == (
        Change(beat=Fraction(8), beats_per_bar=6, beat_note=8),
        Change(beat=Fraction(9), bpm=Fraction(200)),
    )
    assert song.tempo.stretches[1].bpm == 2 * song.tempo.bpm
    assert song.tempo.seconds(9) == Fraction(500_001 * 17, 2 * 10**6)


def test_any_track_may_say_it_and_the_last_word_at_a_tick_counts() -> None:
    one = bytes.fromhex("00ff510307a120 60ff510309 27c0") + END
    other = bytes.fromhex("60ff51030493e0 60ff58040302 1808") + END
    song = read_song(smf(END, one, other), "song.mid")
    assert song.tempo.bpm == 120
    # a metre of three in the middle of a bar begins one
    assert song.tempo.changes == (
        Change(beat=Fraction(1), bpm=Fraction(200)),
        Change(beat=Fraction(2), beats_per_bar=3),
    )


def test_what_is_said_again_is_no_change() -> None:
    again = bytes.fromhex("00ff510307a120 8300ff510307a120 00ff580404021808 60ff580404021808") + END
    song = read_song(smf(again), "song.mid")
    # 384 ticks are a bar of four; the last one begins a bar in the middle of another
    assert song.tempo.changes == (Change(beat=Fraction(5), beats_per_bar=4),)
    # a quarter note of half a second is said twice in 6/8, then one of a quarter of a second
    compound = bytes.fromhex("00ff580406031808 00ff510307a120 60ff510307a120 60ff510303d090") + END
    song = read_song(smf(compound), "song.mid")
    assert (song.tempo.bpm, song.tempo.beats_per_bar, song.tempo.beat_note) == (Fraction(240), 6, 8)
    assert song.tempo.changes == (Change(beat=Fraction(4), bpm=Fraction(480)),)


def test_events_that_nobody_knows_keep_their_time_and_unknown_chunks_are_skipped() -> None:
    """The general library loses the time before an unknown meta event; the standard says: skip it by its length."""
    odd = bytes.fromhex("60ff0a0141 60ff59020941 60f003010203 60f7020405 60ff06036f6e65") + END
    data = smf(odd)
    data = data[:14] + chunk(b"XFIH", b"anything") + data[14:]
    song = read_song(data, "song.mid")
    assert song.markers == (("one", Fraction(5)),)


def test_a_longer_header_is_skipped_by_its_length() -> None:
    """Standard MIDI Files 1.0: more may be added to the header, and its length is to be heeded."""
    data = smf(bytes.fromhex("60ff06036f6e65") + END)
    data = data[:4] + struct.pack(">I", 10) + data[8:14] + bytes(4) + data[14:]
    assert read_song(data, "song.mid").markers == (("one", Fraction(1)),)


def test_a_running_status_is_carried_on_over_other_events() -> None:
    """The standard ends it there, and not all who write files do."""
    track = bytes.fromhex("00903c40 00ff7f0141 603c00 00f00201f7 603e40 00ff06036f6e65") + END
    assert read_song(smf(track), "song.mid").markers == (("one", Fraction(2)),)


def test_markers_of_all_tracks_are_in_order_of_time() -> None:
    late, early = bytes.fromhex("60ff06036f6e65") + END, bytes.fromhex("30ff060374776f") + END
    assert read_song(smf(late, early), "song.mid").markers == (("two", Fraction(1, 2)), ("one", Fraction(1)))


def test_markers_have_their_beats_and_printable_names() -> None:
    names = [b"verse", "größe".encode(), "größe".encode("latin-1"), b" two\n lines\x07 ", b"", b"\x00"]
    track = b"".join(bytes((48, 0xFF, 6, len(name))) + name for name in names) + END
    song = read_song(smf(track), "song.mid")
    found = [("verse", Fraction(1, 2)), ("größe", Fraction(1)), ("größe", Fraction(3, 2)), ("two lines", Fraction(2))]
    assert song.markers == tuple(found)


@given(
    st.lists(
        st.tuples(
            st.integers(0, 5000),
            st.one_of(
                st.integers(1, 0xFFFFFF).map(lambda us: mido.MetaMessage("set_tempo", tempo=us)),
                st.tuples(st.integers(1, 16), st.sampled_from([1, 2, 4, 8, 16, 32])).map(
                    lambda metre: mido.MetaMessage("time_signature", numerator=metre[0], denominator=metre[1])
                ),
                st.just(mido.MetaMessage("marker", text="here")),
                st.sampled_from(
                    [
                        mido.Message("note_on", note=60),
                        mido.Message("note_off", note=60),
                        mido.Message("polytouch", note=60, value=5),
                        mido.Message("control_change", control=7, value=5),
                        mido.Message("program_change", program=5),
                        mido.Message("aftertouch", value=5),
                        mido.Message("pitchwheel", pitch=300),
                        mido.Message("sysex", data=(1, 2, 3)),
                    ]
                ),
            ),
        ),
        max_size=20,
    ),
    st.integers(1, 0x7FFF),
    st.sampled_from([0, 1]),
)
def test_markers_stand_where_the_general_library_plays_them(
    events: list[tuple[int, mido.Message]], division: int, form: int
) -> None:
    """mido's own playing of the file, which adds up seconds in floating point."""
    file = mido.MidiFile(type=form, ticks_per_beat=division)
    track = file.add_track()
    for delta, event in events:
        track.append(event.copy(time=delta))
    seconds = list(accumulate(message.time for message in file))
    wanted = [at for at, message in zip(seconds, file, strict=True) if message.type == "marker"]
    if max(seconds, default=0) >= 43_200:
        return
    song = read_song(saved(file), "song.mid")
    assert [float(song.tempo.seconds(beat)) for _, beat in song.markers] == pytest.approx(wanted, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize(
    ("event", "label", "counting"),
    [
        ("00ff5405 0a00020c00", Timecode(10, 0, 2, 12), Counting(Rate(24))),
        ("00ff5405 2a00020c32", Timecode(10, 0, 2, 12, Fraction(1, 2)), Counting(Rate(25))),
        ("00ff5405 4a01000200", Timecode(10, 1, 0, 2, drop=True), Counting(Rate(30000, 1001), True)),
        ("00ff5405 77003b1d00", Timecode(23, 0, 59, 29), Counting(Rate(30))),
    ],
)
def test_the_offset_says_where_the_file_begins(event: str, label: Timecode, counting: Counting) -> None:
    """Standard MIDI Files 1.0, FF 54 05: hr mn se fr ff, the hour with the rate in two bits as in quarter frames."""
    song = read_song(smf(bytes.fromhex(event) + END), "song.mid")
    assert song.offset == Offset(label, counting)


def test_an_offset_that_is_none_is_said_and_no_harm() -> None:
    for event in ("00ff5405 4a01000000", "00ff5405 2a003c0000", "00ff5405 2a00001900", "00ff5404 2a000000"):
        song = read_song(smf(bytes.fromhex(event + "60ff06036f6e65") + END), "song.mid")
        assert (song.offset, song.markers) == (None, (("one", Fraction(1)),))
        assert "track 1: its SMPTE offset is no timecode and is left out" in song.words


SOUND = smf(bytes.fromhex("00ff510307a120 60ff06036f6e65") + END)


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"", "song.mid: it is not a Standard MIDI File; export one"),
        (b"RIFF....", "song.mid: it is not a Standard MIDI File"),
        (SOUND[:10], "song.mid: it is not a Standard MIDI File"),
        (smf(END, form=2), "song.mid: it is of format 2: songs one beside the other, each with its own time; save the"),
        (smf(END, form=3), "song.mid: its header is not that of a Standard MIDI File"),
        (smf(END, division=0xE728), "song.mid: it counts its time in frames of timecode, not in notes"),
        (smf(END, division=0), "song.mid: it has no ticks in a quarter note"),
        (smf(END, count=3), "song.mid: it ends after 1 of the 3 tracks that it says it has"),
        (SOUND[:-3], "song.mid: track 1: the file ends in the middle of it; copy or export it again"),
        (smf(bytes.fromhex("00ff5103000000")), "song.mid: track 1, byte 29: a tempo that is none"),
        (smf(bytes.fromhex("00ff51020100")), "track 1, byte 28: a tempo that is none"),
        (smf(bytes.fromhex("00ff580400021808")), "track 1, byte 30: a metre that is none"),
        (smf(bytes.fromhex("00ff580403ff1808")), "a metre that is none"),
        (smf(bytes.fromhex("00ff58 00")), "a metre that is none"),
        (
            smf(bytes.fromhex("8080808000 ff2f00")),
            "track 1, byte 26: a length of time or of data that is longer than any",
        ),
        (smf(bytes.fromhex("00ff067f41")), "track 1, byte 26: it ends in the middle of an event"),
        (smf(bytes.fromhex("00")), "it ends in the middle of an event"),
        (smf(bytes.fromhex("0040 40")), "an event that begins with 00 has no place in a file"),
        (smf(bytes.fromhex("00f1 00")), "an event that begins with F1 has no place in a file"),
        (
            smf(bytes.fromhex("ffffff7f ff510307a120 ffffff7f ff06 0141"), division=1),
            "it goes on for half a day or more",
        ),
    ],
)
def test_a_file_that_lies_is_refused_in_words(data: bytes, message: str) -> None:
    with pytest.raises(ImportFault) as caught:
        read_song(data, "song.mid")
    assert message in str(caught.value)


@settings(max_examples=300)
@given(st.binary(max_size=60), st.integers(0, 200), st.integers(0, 40))
def test_no_bytes_break_it(spoilt: bytes, at: int, cut: int) -> None:
    whole = SOUND + SOUND[14:]
    data = whole[: at % len(whole)] + spoilt + whole[at % len(whole) + cut :]
    for one in (data, smf(spoilt), smf(spoilt, END)):
        # any other exception than this one fails the test
        with suppress(ImportFault):
            assert read_song(one, "song.mid").tempo.bpm > 0
