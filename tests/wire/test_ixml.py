"""iXML of a recording: what it says of time beside an independent reader, and what a stranger may not do with it."""

from contextlib import suppress
from pathlib import Path

import pytest
import wavinfo
from hypothesis import given
from hypothesis import strategies as st

from sequencer.wire.ixml import Ixml, ixml
from tests.wire.test_bext import FORMAT, SOUND, chunk, wav

# the elements of SPEED. Source: the iXML specification 3.0
SPEED = """<?xml version="1.0" encoding="UTF-8"?>
<BWFXML><IXML_VERSION>3.0</IXML_VERSION><SCENE>quay</SCENE><SPEED><NOTE>x</NOTE>
<TIMECODE_RATE>24000/1001</TIMECODE_RATE><TIMECODE_FLAG>NDF</TIMECODE_FLAG>
<TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>1</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>
<TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>5</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>
<TIMESTAMP_SAMPLE_RATE>48048</TIMESTAMP_SAMPLE_RATE></SPEED><TRACK_LIST/></BWFXML>"""


def test_the_time_is_read() -> None:
    assert ixml(SPEED.encode()) == Ixml("24000/1001", False, 2**32 + 5, 48048)
    assert ixml(SPEED.replace("NDF", "DF").encode() + b"\0").drop is True
    assert ixml(b"<BWFXML><SPEED/></BWFXML>") == Ixml()
    # what stands elsewhere is none of it
    assert ixml(b"<BWFXML><USER><TIMECODE_RATE>25/1</TIMECODE_RATE></USER></BWFXML>") == Ixml()


def test_an_independent_reader_finds_the_same(tmp_path: Path) -> None:
    path = tmp_path / "take.wav"
    path.write_bytes(wav(FORMAT, chunk(b"iXML", SPEED.encode()), SOUND))
    other = wavinfo.WavInfoReader(path).ixml
    ours = ixml(SPEED.encode())
    assert other.parsed.findtext("SPEED/TIMECODE_RATE") == ours.timecode_rate
    assert int(other.parsed.findtext("SPEED/TIMESTAMP_SAMPLE_RATE")) == ours.samples_a_second


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b'<!DOCTYPE x [<!ENTITY a "aaaa">]><BWFXML>&a;</BWFXML>', "declares a document type or an entity is refused"),
        (b'<!DOCTYPE x SYSTEM "file:///etc/hostname"><BWFXML/>', "is refused"),
        (b"<a>" * 40 + b"</a>" * 40, "nested deeper than 32"),
        (b"<BWFXML>", "cannot be read: no element found: line 1"),
        (b"", "cannot be read"),
        (b"<a>&nbsp;</a>", "cannot be read: undefined entity"),
        (b'<?xml version="1.0" encoding="UTF-88"?><a/>', "cannot be read: unknown encoding"),
        (b"x" * (2**20 + 1), "larger than any"),
        (SPEED.replace("48048", "-3").encode(), "TIMESTAMP_SAMPLE_RATE '-3', which is no whole number"),
    ],
)
def test_what_cannot_be_is_named(content: bytes, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        ixml(content)


@given(st.binary(max_size=40), st.integers(0, 600), st.integers(0, 30))
def test_no_bytes_end_in_another_fault(spoilt: bytes, at: int, cut: int) -> None:
    whole = SPEED.encode()
    with suppress(ValueError):
        ixml(whole[: at % len(whole)] + spoilt + whole[at % len(whole) + cut :])
