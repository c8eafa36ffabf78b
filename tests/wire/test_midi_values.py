"""Axis values as MIDI: bytes as the specification writes them, and mido as another reader of them.

Source: MIDI 1.0 Detailed Specification 4.2 (clauses from memory), named beside each check.
"""

import math
from dataclasses import replace

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.wire.midi_values import MOST, Contact, Values, Way, clash, parse_contact, parse_way

SECOND_NS = 1_000_000_000
TRAVEL = (-170.0, 170.0)


def parsed(*messages: bytes) -> list[mido.Message]:
    return [mido.parse(message) for message in messages]


def understood(messages: list[bytes], way: Way) -> int:
    """Return the code that a receiver has after `messages`, as the specification has it read them."""
    controllers: dict[int, int] = {}
    for message in parsed(*messages):
        assert message.channel == way.channel - 1
        if message.type == "pitchwheel":
            return int(message.pitch) + 8192
        if message.control < 32:
            controllers[message.control + 32] = 0  # "Control Change": who gets upper bits takes the lower as 0
        controllers[message.control] = message.value
    if way.name == "nrpn":
        assert (controllers[99] << 7) + controllers[98] == way.number
        return (controllers[6] << 7) + controllers[38]
    return (controllers[way.number] << 7) + controllers[way.number + 32]


def test_a_controller_pair_is_the_upper_bits_then_the_lower_ones() -> None:
    # "Control Change": Bn, controller, value; 16 and 48 are one pair
    way = parse_way("cc16@3", 1, TRAVEL)
    assert way.messages(0x1234) == (bytes((0xB2, 16, 0x24)), bytes((0xB2, 48, 0x34)))


def test_a_parameter_is_selected_and_then_set() -> None:
    # "Registered and Non-Registered Parameter Numbers": 63H, 62H select; 06H, 26H are the data entry
    way = parse_way("nrpn1000", 16, TRAVEL)
    assert [message.hex() for message in way.messages(0x2001)] == ["bf6307", "bf6268", "bf0640", "bf2601"]


def test_pitch_bend_has_its_lower_bits_first_and_2000h_in_the_middle() -> None:
    # "Pitch Bend Change": En, lower seven bits, upper seven bits; centre 2000H
    way = parse_way("bend@1,-90..90", 1, None)
    assert way.messages(0x2000) == (bytes((0xE0, 0x00, 0x40)),)
    assert way.code(0.0) == 0x2000
    assert parsed(*way.messages(0x2000))[0].pitch == 0


@given(
    text=st.sampled_from(["cc0", "cc31@16", "nrpn0", "nrpn16383@2", "bend@9"]),
    span=st.tuples(st.floats(-1e4, 1e4), st.floats(-1e4, 1e4)).filter(lambda one: abs(one[0] - one[1]) > 1e-3),
    part=st.floats(0, 1),
)
def test_a_reader_of_the_messages_finds_the_value_within_half_a_step(
    text: str, span: tuple[float, float], part: float
) -> None:
    first, last = span
    way = replace(parse_way(text, 1, TRAVEL), first=first, last=last)
    value = first + part * (last - first)
    code = way.code(value)
    assert code is not None
    read = first + understood(list(way.messages(code)), way) / MOST * (last - first)
    assert abs(read - value) <= way.step / 2 * (1 + 1e-6)
    assert sum(map(len, way.messages(code))) == way.size


@pytest.mark.parametrize("value", [-170.02, 170.02, 1e300, math.inf, -math.inf, math.nan])
def test_a_value_outside_of_the_span_has_no_code(value: float) -> None:
    assert parse_way("cc16", 1, TRAVEL).code(value) is None
    assert parse_way("cc16,170..-170", 1, None).code(value) is None


def test_the_ends_of_the_span_are_the_first_and_the_last_code() -> None:
    assert [parse_way("cc16", 1, TRAVEL).code(value) for value in TRAVEL] == [0, MOST]
    assert [parse_way("cc16,170..-170", 1, None).code(value) for value in TRAVEL] == [MOST, 0]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "is no way of MIDI"),
        ("cc", "is no way of MIDI"),
        ("cc32", "cc goes from 0 to 31"),
        ("nrpn16384", "nrpn goes from 0 to 16383"),
        ("bend2", "is no way of MIDI"),
        ("cc16@0", "channel 0; there are 1 to 16"),
        ("cc16@17", "channel 17; there are 1 to 16"),
        ("cc16,5..5", "a span without a length"),
        ("cc16,-1e308..1e308", "a span without a length"),
        ("cc16,5", "is no way of MIDI"),
        ("cc٣", "is no way of MIDI"),
    ],
)
def test_a_way_that_is_none_says_why(text: str, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        parse_way(text, 1, TRAVEL)


def test_an_axis_without_travel_needs_a_span() -> None:
    with pytest.raises(ValueError, match=r"cc16,-180\.\.180"):
        parse_way("cc16", 1, None)


def test_a_contact_is_a_note_or_a_controller_that_goes_on_and_off() -> None:
    # "Note On", "Note Off": 9n, 8n; "Control Change": 0 to 63 is off, 64 to 127 is on
    note, control = parse_contact("note60@10", 1), parse_contact("cc80", 2)
    assert parsed(note.on(), note.off()) == [
        mido.Message("note_on", channel=9, note=60, velocity=127),
        mido.Message("note_off", channel=9, note=60, velocity=64),
    ]
    assert parsed(control.on(), control.off()) == [
        mido.Message("control_change", channel=1, control=80, value=127),
        mido.Message("control_change", channel=1, control=80, value=0),
    ]


@pytest.mark.parametrize("text", ["note128", "cc120", "cc", "bend", "note60@0"])
def test_a_contact_that_is_none_is_refused(text: str) -> None:
    # "Channel Mode Messages": controllers 120 to 127 are none
    with pytest.raises(ValueError, match=r"note60 or cc80|goes from 0 to|there are 1 to 16"):
        parse_contact(text, 1)


@pytest.mark.parametrize(
    ("pan", "tilt", "clashes"),
    [
        ("cc16", "cc16", True),
        ("cc16", "cc16@2", False),
        ("bend", "bend", True),
        ("bend@1", "bend@2", False),
        ("nrpn1", "nrpn2", False),
        ("nrpn1", "nrpn1", True),
        ("cc6", "nrpn1", True),
        ("nrpn1", "cc6", True),
        ("cc6@2", "nrpn1", False),
    ],
)
def test_two_axes_that_would_speak_for_each_other_are_told(pan: str, tilt: str, clashes: bool) -> None:
    ways = {"pan": parse_way(pan, 1, TRAVEL), "tilt": parse_way(tilt, 1, TRAVEL)}
    words = clash(ways)
    assert (words is not None) is clashes
    assert words is None or ("pan" in words and "tilt" in words)


def test_a_contact_in_the_lower_half_of_a_pair_is_told() -> None:
    assert clash({"pan": parse_way("cc16", 1, TRAVEL), "shutter": Contact("cc", 48, 1)}) is not None


def test_only_changes_go_out_and_silent_axes_are_said_again_one_a_set() -> None:
    ways = [parse_way("cc16", 1, TRAVEL), parse_way("cc17", 1, TRAVEL), parse_way("cc18", 1, TRAVEL)]
    values = Values(ways, SECOND_NS)
    every = [message for way in ways for message in way.messages(way.code(10.0) or 0)]
    assert values.due(0, [10.0] * 3) == every
    assert values.due(4_000_000, [10.0] * 3) == []
    # 10 degrees are 8673.35 steps of 340 / 16383 degrees, so this has the same code
    assert values.due(8_000_000, [10.001, 10.0, 10.0]) == []
    moved = values.due(SECOND_NS // 2, [10.0, 20.0, 10.0])
    assert moved == list(ways[1].messages(ways[1].code(20.0) or 0))
    refreshed = [values.due(SECOND_NS + tick, [10.0, 20.0, 10.0]) for tick in range(3)]
    assert refreshed == [every[:2], every[4:], []]


def test_a_value_outside_of_the_span_is_not_clamped_but_stands_and_is_told() -> None:
    values = Values([parse_way("cc16", 1, TRAVEL), parse_way("cc17", 1, TRAVEL)], SECOND_NS)
    assert len(values.due(0, [0.0, math.nan])) == 2, "nothing of an axis whose place was never known"
    assert values.outside == 1
    assert values.due(1, [0.0, 0.0])
    assert values.outside is None
    assert values.due(2, [171.0, 0.0]) == []
    assert values.outside == 0
