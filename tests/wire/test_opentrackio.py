"""Samples and packets of OpenTrackIO 1.0.1, by its schema, the table of its header, and RFC 1146."""

import copy
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.wire.opentrackio import SEGMENT, Label, Sample, checksum, group, packets, tree
from tests.opentrackio import check_schema, unpacked

URN = "urn:uuid:f0aa0cd6-539d-8859-94ec-000000000001"
PLAIN = Sample(
    sample_id=URN,
    source_id=URN,
    source=14,
    number=5,
    ptp_ns=1_796_030_277_480_737_445,
    position_m=(1.0, 2.0, 3.0),
    angles_deg=(-400.0, 10.0, 0.5),
    status="setpoints, not measured",
)
FULL = replace(
    PLAIN,
    rate=(24_000, 1001),
    label=Label(10, 59, 58, 23, (24_000, 1001)),
    focal_mm=35.0,
    focus_m=2.5,
    encoders={"iris": 0.25},
    static={"camera": {"label": "A", "activeSensorResolution": {"height": 2160, "width": 3840}}},
)


@pytest.mark.parametrize("sample", [PLAIN, FULL])
def test_a_sample_follows_the_published_schema(sample: Sample) -> None:
    """Source: OpenTrackIO's schema.json."""
    check_schema(tree(sample))


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("transforms", 0, "translation", "x"), "1"),
        (("timing", "timecode", "hours"), 24),
        (("timing", "synchronization", "source"), "quartz"),
        (("lens", "pinholeFocalLength"), 0.0),
        (("sampleId",), "f0aa0cd6"),
        (("surprise",), 1),
    ],
)
def test_the_schema_would_find_a_fault(path: tuple[str | int, ...], value: object) -> None:
    wrong = copy.deepcopy(tree(FULL))
    place: object = wrong
    for step in path[:-1]:
        place = place[step]  # type: ignore[index]  # a tree of dicts and lists
    place[path[-1]] = value  # type: ignore[index]  # as above
    with pytest.raises(AssertionError):
        check_schema(wrong)


def test_what_the_schema_does_not_say_is_as_the_standard_has_it() -> None:
    """Source: the schema's descriptions; what it does not check itself: protocol, names of transforms, units."""
    said = tree(FULL)
    assert said["protocol"] == {"name": "OpenTrackIO", "version": [1, 0, 1]}
    assert (said["sampleId"], said["sourceId"], said["sourceNumber"]) == (URN, URN, 14)
    assert said["transforms"] == [
        {
            "translation": {"x": 1.0, "y": 2.0, "z": 3.0},
            "rotation": {"pan": -400.0, "tilt": 10.0, "roll": 0.5},  # degrees, with all turns
            "id": "Camera",
        }
    ]
    assert said["lens"] == {
        "entrancePupilOffset": 0.0,
        "encoders": {"iris": 0.25},
        "pinholeFocalLength": 35.0,  # mm
        "focusDistance": 2.5,  # m
    }
    assert said["timing"] == {
        "mode": "internal",  # the transport carries no time, so the sample does
        "sampleTimestamp": {"seconds": 1_796_030_277, "nanoseconds": 480_737_445},
        "sequenceNumber": 5,
        "synchronization": {"locked": False, "source": "ntp"},
        "sampleRate": {"num": 24_000, "denom": 1001},
        "timecode": {
            "hours": 10,
            "minutes": 59,
            "seconds": 58,
            "frames": 23,
            "frameRate": {"num": 24_000, "denom": 1001},
            "dropFrame": False,
        },
    }


def test_what_is_not_known_is_left_out() -> None:
    said = tree(PLAIN)
    assert "static" not in said
    assert said["lens"] == {"entrancePupilOffset": 0.0}
    timing = said["timing"]
    assert isinstance(timing, dict)
    assert not {"sampleRate", "timecode"} & timing.keys()


def test_a_sample_without_a_pose_or_a_clock_says_neither() -> None:
    sample = replace(PLAIN, position_m=None, clock=None, notes="counted from timecode", f_number=2.8)
    check_schema(tree(sample))
    said = tree(sample)
    assert "transforms" not in said
    assert said["tracker"] == {"status": "setpoints, not measured", "notes": "counted from timecode"}
    assert said["lens"] == {"entrancePupilOffset": 0.0, "fStop": 2.8}
    timing = said["timing"]
    assert isinstance(timing, dict)
    assert "synchronization" not in timing


def test_the_sequence_number_wraps_at_32_bits() -> None:
    timing = tree(replace(PLAIN, number=(1 << 32) + 3))["timing"]
    assert isinstance(timing, dict)
    assert timing["sequenceNumber"] == 3


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_no_number_is_no_pose(value: float) -> None:
    with pytest.raises(ValueError, match="no pose"):
        tree(replace(PLAIN, angles_deg=(0.0, value, 0.0)))


@given(st.binary(min_size=1, max_size=5000), st.integers(0, 0xFFFF), st.integers(1, 2000))
def test_segments_put_together_are_the_payload(payload: bytes, sequence: int, segment: int) -> None:
    """Source: OpenTrackIO 1.0.1, packet header: segment offset, last segment, payload length, sequence number."""
    read = [unpacked(data) for data in packets(payload, "cbor", sequence, segment)]
    assert b"".join(one.payload for one in read) == payload
    assert [one.offset for one in read] == list(range(0, len(payload), segment))
    assert [one.last for one in read] == [False] * (len(read) - 1) + [True]
    assert [one.sequence for one in read] == [(sequence + number) % 65_536 for number in range(len(read))]
    assert {one.encoding for one in read} == {2}


def test_a_header_is_the_tables_bit_by_bit() -> None:
    """Source: OpenTrackIO 1.0.1, packet header: identifier, reserved, encoding 1 for JSON, sequence, offset, length."""
    (data,) = packets(b"{}", "json", 0x1234)
    assert data[:14] == b"OTrk" + b"\0" + b"\x01" + b"\x12\x34" + bytes(4) + b"\x80\x02"
    assert data[16:] == b"{}"


def test_one_segment_fills_an_ethernet_frame_and_no_more() -> None:
    """Source: RFC 894 (1500 bytes), RFC 791 (20 bytes of header), RFC 768 (8)."""
    assert [len(data) + 20 + 8 for data in packets(bytes(SEGMENT), "json", 0)] == [1500]
    assert len(packets(bytes(SEGMENT + 1), "json", 0)) == 2


@pytest.mark.parametrize(
    ("data", "first", "second"),
    [
        # by hand: 1, 3, 6 are the sums; 1 + 3 + 6 = 10
        (b"\x01\x02\x03", 6, 10),
        (b"\xff\x01", 0, 255),  # modulo 255 would be 1 and 1
        (b"abcde", 0xEF, 0xC3),
    ],
)
def test_the_checksum_is_fletchers_modulo_256(data: bytes, first: int, second: int) -> None:
    """Source: RFC 1146, appendix I: A is the sum of the bytes, B the sum of all A; the moduli are 256 here."""
    assert checksum(data) == second << 8 | first


def test_an_empty_payload_is_a_bug() -> None:
    with pytest.raises(ValueError, match="nothing to send"):
        packets(b"", "json", 0)


def test_a_source_has_its_group() -> None:
    """Source: OpenTrackIO 1.0.1, IP addressing, example: source 14; in the local scope of RFC 2365, section 6.1."""
    assert group(14) == "239.135.1.14"
