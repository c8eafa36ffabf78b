"""What an operator may write for where timecode comes in."""

import pytest

from sequencer.shell.kinds import carried, source_address


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


@pytest.mark.parametrize(
    ("address", "what"),
    [
        ("midi:ltc:1", "midi"),
        ("virtual:osc", "midi"),
        ("pipe:4711", "midi"),
        ("ltc:", "ltc"),
        ("file:a:b.wav", "ltc"),
        ("osc:9001", "osc"),
    ],
)
def test_the_scheme_says_what_comes_in(address: str, what: str) -> None:
    assert carried(address) == what
