"""What an operator may write for where timecode comes in."""

import pytest

from sequencer.shell.kinds import source_address


@pytest.mark.parametrize(
    ("written", "address"),
    [
        ("USB box", "midi:USB box"),
        ("USB box:USB box MIDI 1 20:0", "midi:USB box:USB box MIDI 1 20:0"),
        ("midi:USB box", "midi:USB box"),
        ("virtual:twintake", "virtual:twintake"),
        ("pipe:4711", "pipe:4711"),
    ],
)
def test_a_port_s_name_may_hold_colons(written: str, address: str) -> None:
    assert source_address(written) == address
