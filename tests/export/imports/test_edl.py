"""Edit lists from elsewhere: what is in them, and a clear word for each thing that is wrong with one."""

from contextlib import suppress
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.errors import ImportFault
from sequencer.export.found import FoundCut, FoundMarker
from sequencer.export.imports.edl import KIND
from sequencer.timebase.rate import Rate

HEAD = "TITLE: QUAY\nFCM: NON-DROP FRAME\n"
CUT = "001  R001     V     C        01:00:00:00 01:00:02:00 10:00:00:00 10:00:02:00\n"
NEXT = "002  R002     V     C        01:00:00:00 01:00:03:00 10:00:02:00 10:00:05:00\n"
DROP = Rate(30000, 1001)


def read(text: str | bytes, rate: Rate | None = Rate(25)) -> FoundCut:  # noqa: B008 # a rate is a frozen value
    assert KIND.cut is not None
    return KIND.cut(text if isinstance(text, bytes) else text.encode(), "cut.edl", rate)


def said(text: str, rate: Rate | None = Rate(25)) -> str:  # noqa: B008 # a rate is a frozen value
    return " | ".join(read(text, rate).remarks)


def test_events_are_shots_and_locators_are_markers() -> None:
    """The form: common practice, no source. A locator's label is one of the record, whichever event it stands with."""
    found = read(
        HEAD + CUT + "* FROM CLIP NAME: lantern turn 002\n* LOC: 10:00:01:05 RED     first lamp\n"
        "* LOC: 10:00:04:00 Chorus; 00:01:00;00 is a name\n" + NEXT
    )
    ten = Fraction(36_000)
    assert found.markers == (
        FoundMarker("first lamp", ten + Fraction(6, 5)),
        FoundMarker("Chorus; 00:01:00;00 is a name", ten + 4),
    )
    assert [(one.name, one.start, one.end) for one in found.shots] == [
        ("lantern turn 002", ten, ten + 2),
        ("R002 002", ten + 2, ten + 5),
    ]
    assert found.shots[0].note == "event 001, reel R001, source 01:00:00:00 to 01:00:02:00"
    assert (found.rate, found.drop, found.start, found.remarks) == (Rate(25), False, ten, ())


def test_drop_frame_labels_count_as_the_standard_has_them() -> None:
    """SMPTE ST 12-1: after 00:00:59;29 comes 00:01:00;02; ten minutes are 17982 frames."""
    text = "FCM: DROP FRAME\n001  R V C 00:00:59;29 00:10:00;00 00:00:59;29 00:10:00;00\n* LOC: 00:01:00;02 RED m\n"
    found = read(text, DROP)
    assert DROP.frames(found.shots[0].start) == 1799
    assert DROP.frames(found.markers[0].at) == 1800
    assert DROP.frames(found.shots[0].end) == 17982
    assert found.drop is True


@pytest.mark.parametrize(
    ("text", "rate", "words"),
    [
        (HEAD + CUT, None, r"does not say its frame rate; say it with --rate, here one of 24000/1001, 24, 25"),
        (HEAD + CUT.replace("02:00\n", "02:24\n"), None, "one of 25, 30000/1001"),
        ("FCM: DROP FRAME\n" + CUT, None, "one of 30000/1001, 60000/1001"),
        (
            HEAD + CUT + NEXT.replace("10:00:05:00", "10:00:05:75"),
            None,
            "line 4: 10:00:05:75 has frame 75, which no rate that this program knows has; correct it, or have the edit",
        ),
        (
            "FCM: DROP FRAME\n" + CUT,
            Rate(25),
            "line 1: FCM says drop-frame, and at 25 no label is dropped; say --rate 30",
        ),
        (
            CUT.replace("10:00:02:00\n", "10:00:02;00\n"),
            Rate(24),
            "line 1: 10:00:02;00 is a drop-frame label, and at 24 none is dropped; say --rate 30000/1001",
        ),
        (
            HEAD + CUT.replace("10:00:02:00\n", "10:00:02;00\n"),
            DROP,
            "line 3: 10:00:02;00 is a drop-frame label, and line 2 says non-drop frame",
        ),
        (
            CUT + NEXT.replace("10:00:05:00", "10:00:05;00"),
            DROP,
            "line 2: 10:00:05;00 is a drop-frame label, and line 1 has labels that are not",
        ),
        (
            "FCM: DROP FRAME\n001 R V C 00:00:00;00 00:01:00;02 00:00:00;00 00:01:00;00\n",
            DROP,
            "line 2: the record out: 00:01:00;00 is left out by drop-frame counting; the next label is frame 2",
        ),
        (HEAD + CUT.replace("02:00\n", "02:25\n"), Rate(25), "line 3: the record out: 10:00:02:25 has frame 25; at 25"),
        (HEAD + CUT + "* LOC: 10:00:61:00 RED x\n", Rate(25), "line 4: the locator: 10:00:61:00 has 61 seconds"),
        (HEAD + CUT + "* LOC: here RED x\n", Rate(25), "line 4: a locator without its label"),
        (
            HEAD + CUT.replace("10:00:00:00", "10:00:03:00"),
            Rate(25),
            "line 3: event 001 ends at 10:00:02:00, before it begins at 10:00:03:00",
        ),
        (HEAD + "001 R V C 01:00:00:00 01:00:01:00\n", Rate(25), "line 3: it begins with a number and is no event"),
        (HEAD + CUT.replace(" C ", " X "), Rate(25), "line 3: 'X' is no cut, dissolve, wipe or key"),
        ("FCM: SOMETIMES\n" + CUT, Rate(25), "line 1: FCM says 'SOMETIMES'; write DROP FRAME or NON-DROP FRAME"),
        ("", Rate(25), "it has no event and no locator"),
        ("TITLE: X\n", Rate(25), "it has no event and no locator"),
        (b"\x00" * 100, Rate(25), "it has no event and no locator"),
        (b"x" * (8 * 2**20 + 1), Rate(25), "larger than 8 MB"),
        (HEAD + CUT * 20_001, Rate(25), "line 20003: more than 20000 events; export the edit in parts"),
    ],
)
def test_what_cannot_be_is_refused_with_its_line(text: str | bytes, rate: Rate | None, words: str) -> None:
    with pytest.raises(ImportFault) as caught:
        read(text, rate)
    assert words in str(caught.value)
    assert str(caught.value).startswith("cut.edl: ")


def test_overlaps_and_gaps_are_said_with_their_lines_and_frames() -> None:
    late = NEXT.replace("10:00:02:00", "10:00:01:13")
    assert (
        "overlap: event 002 (line 4) begins 12 frames before event 001 (line 3) ends; both are kept as they are written"
    ) in said(HEAD + CUT + late)
    assert len(read(HEAD + CUT + late).shots) == 2
    assert "gap: 1 frame before event 002 (line 4)" in said(HEAD + CUT + NEXT.replace("10:00:02:00", "10:00:02:01"))
    # on two tracks of pictures nothing overlaps
    assert "overlap" not in said(HEAD + CUT + late.replace(" V ", " V2 "))


def test_a_short_event_inside_a_long_one_does_not_hide_the_next_overlap() -> None:
    long = CUT.replace("10:00:02:00", "10:00:09:00")
    inside = NEXT.replace("10:00:05:00", "10:00:03:00")
    third = NEXT.replace("002 ", "003 ").replace("10:00:02:00", "10:00:04:00")
    assert said(HEAD + long + inside + third).count("begins") == 2


def test_the_wrong_order_is_put_right_and_said() -> None:
    found = read(HEAD + NEXT + CUT)
    assert "not in order of time at line 4: put in order" in found.remarks
    assert [one.name for one in found.shots] == ["R001 001", "R002 002"]
    assert not any("overlap" in one for one in found.remarks)


def test_black_sound_transitions_and_speeds_each_have_a_word() -> None:
    text = (
        HEAD + CUT + "002  R001     V     C        01:00:02:00 01:00:02:00 10:00:02:00 10:00:02:00\n"
        "002  R002     V     D    024 01:00:00:00 01:00:03:00 10:00:02:00 10:00:05:00\n"
        "* FROM CLIP NAME: one\n* TO CLIP NAME: two\n"
        "003  BL       V     C        00:00:00:00 00:00:01:00 10:00:05:00 10:00:06:00\n"
        "004  R003     V     W001 012 01:00:00:00 01:00:01:00 10:00:06:00 10:00:07:00\n"
        "005  R004     V     K B  010 01:00:00:00 01:00:01:00 10:00:07:00 10:00:08:00\n"
        "006  R005     AA/V  C        01:00:00:00 01:00:02:00 10:00:08:00 10:00:09:00\n"
        "M2   R005     050.0          01:00:00:00\n"
        "007  R006     A2    C        01:00:00:00 01:00:02:00 10:00:08:00 10:00:10:00\n"
        "008  R007     B     C        01:00:00:00 01:00:05:00 10:00:09:00 10:00:10:00\n"
        "SOMETHING OF ITS OWN\n"
    )
    found = read(text)
    assert [one.name for one in found.shots] == ["R001 001", "two", "R003 004", "R004 005", "R005 006", "R007 008"]
    assert "a dissolve of 24 frames" in found.shots[1].note
    assert "50.0" in found.shots[4].note
    words = " | ".join(found.remarks)
    for part in (
        "black, left out: line 8",
        "sound alone, left out: line 13",
        "not a cut: line 5, a dissolve of 24 frames, line 9, a wipe of 12 frames, line 10, a key of 10 frames",
        "another speed: line 11, 050.0 frames a second",
        "sources of another length than the record: line 14",
        "not understood and left out: line 15",
    ):
        assert part in words
    assert "gap" not in words
    assert "overlap" not in words


def test_no_fcm_is_said_and_a_second_one_is_of_the_sources() -> None:
    assert said(CUT) == "no FCM line: non-drop frame, as its labels are written"
    dropping = CUT.replace("10:00:00:00", "10:00:00;00").replace("10:00:02:00", "10:00:02;00")
    assert read(dropping, DROP).drop is True
    assert "another FCM at line 4: taken for the sources alone" in said(HEAD + CUT + "FCM: DROP FRAME\n" + NEXT, DROP)


def test_midnight_is_crossed_the_short_way() -> None:
    text = (
        HEAD + "001 R V C 00:00:00:00 00:00:04:00 23:59:58:00 00:00:02:00\n"
        "002 R V C 00:00:00:00 00:00:01:00 00:00:02:00 00:00:03:00\n* LOC: 00:00:01:00 RED late\n"
    )
    found = read(text)
    assert found.remarks == ()
    assert found.start == 86_398
    assert found.markers[0].at == 86_401
    assert [at for one in found.shots for at in (one.start, one.end)] == [86_398, 86_402, 86_402, 86_403]


def test_other_letters_line_ends_and_reels_with_spaces_are_read() -> None:
    text = (HEAD + CUT.replace("R001    ", "REEL 1  ") + "* FROM CLIP NAME: größe\n").replace("\n", "\r\n")
    for code in ("utf-8-sig", "latin-1"):
        found = read(text.encode(code))
        assert found.shots[0].name == "größe"
        assert found.remarks == ()
        assert "reel REEL 1," in found.shots[0].note


@given(st.binary(max_size=200), st.integers(0, 300), st.integers(0, 40))
def test_no_bytes_break_it(spoilt: bytes, at: int, cut: int) -> None:
    whole = (HEAD + CUT + "* LOC: 10:00:01:05 RED x\nM2 R001 12.0 01:00:00:00\n" + NEXT).encode()
    data = whole[: at % len(whole)] + spoilt + whole[at % len(whole) + cut :]
    for one in (data, spoilt):
        for rate in (Rate(25), DROP, None):
            with suppress(ImportFault):
                read(one, rate)
