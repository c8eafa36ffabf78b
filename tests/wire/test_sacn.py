"""Packets of streaming ACN: byte for byte those of the library `sacn`, field by field the tables of ANSI E1.31-2018.

Clauses and tables are named as others quote them; the text itself was not at hand.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sacn.messages.data_packet import DataPacket, calculate_multicast_addr
from sacn.messages.sync_packet import SyncPacket
from sacn.messages.universe_discovery import UniverseDiscoveryPacket

from sequencer.wire.sacn import (
    MOST_HZ,
    SLOTS,
    STREAM_TERMINATED,
    Look,
    Place,
    discovery,
    group,
    source_name,
    synchronisation,
)

CID = bytes(range(16))
PAN = Place(1, 24, -170.0, 170.0)
TILT = Place(4, 16, -90.0, 90.0)
IRIS = Place(512, 8, 0.0, 1.0)
PLACES = (PAN, TILT, IRIS)
UNIVERSES = st.integers(1, 63_999)


def slots(packet: bytes) -> bytes:
    """Return the 512 slots. Source: E1.31, table 4-1: property values from octet 125, the start code first."""
    return packet[126:]


def said(packet: bytes, place: Place) -> float:
    """Return the value that slots say, read the plain way: coarse slot first (common practice, no source)."""
    code = int.from_bytes(slots(packet)[place.first - 1 : place.first - 1 + place.bits // 8], "big")
    value: float = place.low + code / (2**place.bits - 1) * (place.high - place.low)
    return value


@given(
    st.lists(st.floats(0, 1), min_size=3, max_size=3),
    UNIVERSES,
    st.integers(0, 200),
    st.integers(0, 63_999),
    st.integers(0, 255),
    st.booleans(),
    st.text(max_size=15),
)
def test_a_data_packet_is_the_librarys_byte_for_byte(
    parts: list[float], universe: int, priority: int, sync: int, sequence: int, ends: bool, name: str
) -> None:
    """Source: E1.31, table 4-1; the library `sacn`, which knows how to write it. A name ends at its first null."""
    name = name.replace("\0", "")
    look = Look(CID, name, universe, PLACES, priority, sync)
    look.fill(
        np.array([place.low + part * (place.high - place.low) for place, part in zip(PLACES, parts, strict=True)])
    )
    ours = look.packet(sequence, STREAM_TERMINATED if ends else 0)
    theirs = DataPacket(
        tuple(CID), name, universe, tuple(slots(ours)), priority, sequence, streamTerminated=ends, sync_universe=sync
    )
    assert ours == bytes(theirs.getBytes())
    for place, part in zip(PLACES, parts, strict=True):
        assert said(ours, place) == pytest.approx(place.low + part * (place.high - place.low), abs=place.step * 0.501)


@given(UNIVERSES, st.integers(0, 255))
def test_a_synchronisation_packet_is_the_librarys_byte_for_byte(universe: int, sequence: int) -> None:
    """Source: E1.31, table 4-2 and section 6.3."""
    assert synchronisation(CID, universe, sequence) == bytes(SyncPacket(tuple(CID), universe, sequence).getBytes())


@given(st.lists(UNIVERSES, min_size=1, max_size=20, unique=True))
def test_a_discovery_packet_is_the_librarys_byte_for_byte_and_sorted(universes: list[int]) -> None:
    """Source: E1.31, table 4-3, sections 6.4 and 8.5 (numerically sorted)."""
    theirs = UniverseDiscoveryPacket(tuple(CID), "quay", tuple(universes))
    assert discovery(CID, "quay", universes) == bytes(theirs.getBytes())


def test_fields_lie_where_the_standards_table_has_them() -> None:
    """Source: E1.31, table 4-1, octet by octet; sections 5.1 to 5.6, 6.2.1 to 6.2.7 and 7.1 to 7.7."""
    look = Look(CID, "quay", 0x1234, PLACES, 150, 0x0708)
    look.fill(np.array([170.0, -90.0, 1.0]))
    packet = look.packet(0x1FE)
    assert len(packet) == 638
    assert packet[0:4] == b"\x00\x10\x00\x00"  # preamble and post-amble size
    assert packet[4:16] == b"ASC-E1.17\0\0\0"
    assert packet[16:18] == b"\x72\x6e"  # 0x7 and the length from here on, 622
    assert packet[18:22] == b"\0\0\0\x04"  # VECTOR_ROOT_E131_DATA
    assert packet[22:38] == CID
    assert packet[38:40] == b"\x72\x58"  # 600
    assert packet[40:44] == b"\0\0\0\x02"  # VECTOR_E131_DATA_PACKET
    assert packet[44:108] == b"quay" + bytes(60)
    assert packet[108] == 150
    assert packet[109:111] == b"\x07\x08"  # synchronisation address
    assert packet[111] == 0xFE  # the sequence number is one byte
    assert packet[112] == 0  # neither preview, nor terminated, nor forced synchronisation
    assert packet[113:115] == b"\x12\x34"
    assert packet[115:117] == b"\x72\x0b"  # 523
    assert packet[117:125] == b"\x02\xa1\x00\x00\x00\x01\x02\x01"  # set property, type, first, increment, count 513
    assert packet[125] == 0  # null start code
    assert slots(packet)[:6] == b"\xff\xff\xff\0\0\0"
    assert slots(packet)[511] == 255
    assert look.packet(0, STREAM_TERMINATED)[112] == 0b0100_0000  # bit 6, section 6.2.6


@pytest.mark.parametrize(
    ("universe", "address"),
    [(1, "239.255.0.1"), (256, "239.255.1.0"), (63_999, "239.255.249.255"), (7962, "239.255.31.26")],
)
def test_a_universe_has_its_group(universe: int, address: str) -> None:
    """Source: E1.31, section 9.3.1, table 9-10: 239.255, then the universe's high and low byte."""
    assert group(universe) == address == calculate_multicast_addr(universe)


@pytest.mark.parametrize("bits", [8, 16, 24])
def test_every_code_of_an_axis_is_within_half_a_step(bits: int) -> None:
    place = Place(7, bits, -33.0, 90.5)
    look = Look(CID, "quay", 1, [place])
    for value in np.linspace(-33.0, 90.5, 997):
        look.fill(np.array([value]))
        assert said(look.packet(0), place) == pytest.approx(value, abs=place.step * 0.5001)
    assert place.step == pytest.approx(123.5 / (2**bits - 1))


def test_an_axis_may_count_down_as_its_slots_count_up() -> None:
    place = Place(1, 16, 170.0, -170.0)
    look = Look(CID, "quay", 1, [place])
    look.fill(np.array([170.0]))
    assert slots(look.packet(0))[:2] == b"\0\0"
    look.fill(np.array([-170.0]))
    assert slots(look.packet(0))[:2] == b"\xff\xff"
    assert place.span == (-170.0, 170.0)


def test_what_lies_outside_the_span_is_said_as_its_end_and_never_wraps() -> None:
    look = Look(CID, "quay", 1, [PAN, TILT])
    look.fill(np.array([171.0, -1e9]))
    assert slots(look.packet(0))[:6] == b"\xff\xff\xff\0\0\0"


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_no_number_is_a_bug_and_not_a_place_to_go(value: float) -> None:
    look = Look(CID, "quay", 1, [PAN, TILT])
    look.fill(np.array([10.0, 20.0]))
    before = look.packet(0)
    with pytest.raises(ValueError, match="no slot can say"):
        look.fill(np.array([1.0, value]))
    assert look.packet(0) == before


def test_only_slots_of_axes_are_written_and_a_change_is_told() -> None:
    look = Look(CID, "quay", 1, PLACES)
    assert look.fill(np.array([1.0, 2.0, 0.5]))
    assert not look.fill(np.array([1.0, 2.0, 0.5]))
    assert not look.fill(np.array([1.0 + PAN.step / 100, 2.0, 0.5]))  # below what the slots can say
    assert look.fill(np.array([1.0 + 2 * PAN.step, 2.0, 0.5]))
    taken = {slot for place in PLACES for slot in place.slots}
    assert not any(slots(look.packet(0))[slot - 1] for slot in range(1, SLOTS + 1) if slot not in taken)


def test_a_long_name_is_cut_at_a_whole_character_and_ends_with_a_null() -> None:
    """Source: E1.31, section 6.2.2: 64 octets of UTF-8, null-terminated."""
    assert source_name("ä" * 40) == ("ä" * 31).encode() + b"\0\0"
    assert source_name("") == bytes(64)


def test_the_rate_is_that_of_a_full_line() -> None:
    """Source: ANSI E1.11 (from memory): break 92 us, mark after break 12 us, 513 slots of 11 bits at 250 kbit/s."""
    assert int(1e6 / (92 + 12 + 513 * 44)) == MOST_HZ
