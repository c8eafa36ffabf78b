"""Rows of game controllers."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.wire.pad import AXES, BUTTONS, FULL, PadRow, packed, unpacked

STEPS = st.integers(-FULL, FULL).map(lambda step: step / FULL)


@given(
    st.builds(
        PadRow,
        pad=st.integers(0, 255),
        name=st.text(),
        axes=st.lists(STEPS, max_size=32).map(tuple),
        buttons=st.frozensets(st.integers(0, 31)),
        known=st.booleans(),
        here=st.booleans(),
    )
)
def test_what_goes_in_comes_out(row: PadRow) -> None:
    assert unpacked(packed(row)) == row


def test_a_stick_pushed_further_than_it_goes_is_at_its_end() -> None:
    assert unpacked(packed(PadRow(0, "", (1.5, -7.0)))).axes == (1.0, -1.0)


@pytest.mark.parametrize("row", [PadRow(0, "", (0.0,) * 33), PadRow(0, "", (), frozenset({32})), PadRow(256, "")])
def test_more_than_there_is_room_for_is_refused(row: PadRow) -> None:
    with pytest.raises(ValueError, match="has no room"):
        packed(row)


@pytest.mark.parametrize("data", [b"", b"\x00\x01\x06\x00\x00\x00\x00\x00\x01", packed(PadRow(0, "")) + b"\xff"])
def test_other_bytes_are_no_row(data: bytes) -> None:
    with pytest.raises(ValueError, match="no row of a pad"):
        unpacked(data)


def test_every_button_of_a_known_pad_has_room() -> None:
    assert len(set(BUTTONS)) == len(BUTTONS) <= 32
    assert len(set(AXES)) == len(AXES)
