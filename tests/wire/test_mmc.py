"""MIDI Machine Control against the layout of RP-013.

The command numbers and the bytes of LOCATE are those of published implementation charts; the bits of the time code
(rate in bits 5 and 6 of the hours, sign and kind of the last byte in bits 6 and 5 of the frames) are from memory.
"""

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.wire.mmc import ALL_CALL, Locate, Message, Other, Transport, decode, encode


def read(text: str) -> Message:
    message = decode(bytes.fromhex(text))
    assert message is not None
    return message


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("F0 7F 7F 06 01 F7", Message(ALL_CALL, (Transport.STOP,))),
        ("F0 7F 7F 06 02 F7", Message(ALL_CALL, (Transport.PLAY,))),
        ("F0 7F 01 06 03 F7", Message(1, (Transport.DEFERRED_PLAY,))),
        ("F0 7F 00 06 09 F7", Message(0, (Transport.PAUSE,))),
        # 01:00:00:00 at 25 frames: rate code 1 above five bits of hours
        ("F0 7F 7F 06 44 06 01 21 00 00 00 00 F7", Message(ALL_CALL, (Locate(1, 1, 0, 0, 0),))),
        ("F0 7F 10 06 44 06 01 6A 01 02 03 32 F7", Message(0x10, (Locate(3, 10, 1, 2, 3, 50),))),
        ("F0 7F 10 06 44 06 01 57 3B 3B 1D 63 F7", Message(0x10, (Locate(2, 23, 59, 59, 29, 99),))),
        ("F0 7F 10 06 44 06 01 0A 01 02 17 00 F7", Message(0x10, (Locate(0, 10, 1, 2, 23),))),
        # colour frames in the minutes, and a last byte that is a status and no subframes
        ("F0 7F 10 06 44 06 01 2A 41 02 23 7F F7", Message(0x10, (Locate(1, 10, 1, 2, 3),))),
    ],
)
def test_one_command(text: str, message: Message) -> None:
    assert read(text) == message


def test_several_commands_in_one_message_keep_their_order() -> None:
    message = read("F0 7F 01 06 01 44 06 01 2A 00 05 0C 00 03 F7")
    assert message == Message(1, (Transport.STOP, Locate(1, 10, 0, 5, 12), Transport.DEFERRED_PLAY))


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("06", ["record strobe"]),
        ("0D", ["reset"]),
        ("44 02 00 08 02", ["locate to a stored point", "play"]),
        ("47 03 01 00 00 01", ["shuttle", "stop"]),  # a count says how many bytes of data there are
        ("53 05 01 02 03 04 05 02", ["number 53", "play"]),
        ("40 01 01 02", ["write", "play"]),
        ("77 02 01 01 02", ["number 77", "play"]),  # the last with a count
        ("78 02", ["number 78", "play"]),
        ("3F 02", ["number 3F", "play"]),
        ("7C 02", ["wait", "play"]),
    ],
)
def test_other_commands_have_names_and_do_not_hide_what_follows(text: str, names: list[str]) -> None:
    message = read(f"F0 7F 01 06 {text} F7")
    assert [str(command) for command in message.commands] == names
    assert not message.fault


@pytest.mark.parametrize(
    ("text", "commands", "fault"),
    [
        ("", (), "holds no command"),
        ("44", (), "locate is cut short"),
        ("02 44 06 01 2A 00", (Transport.PLAY,), "locate is cut short"),
        ("44 05 01 2A 00 00 00", (), "5 bytes of data instead of 6"),
        ("44 07 01 2A 00 00 00 00 00", (), "7 bytes of data instead of 6"),
        ("44 06 01 2A 00 00 40 00 02", (), "before zero"),
        ("44 06 01 2A 00 00 00 64", (), "subframe 100"),
        ("01 00 02", (Transport.STOP,), "extended set"),
    ],
)
def test_a_fault_ends_the_reading_in_plain_words(text: str, commands: tuple[object, ...], fault: str) -> None:
    message = read(f"F0 7F 01 06 {text} F7")
    assert message.commands == commands
    assert fault in message.fault


@pytest.mark.parametrize(
    "text",
    [
        "F0 7F 7F 06 F7",
        "F0 7F 7F 07 02 F7",  # a response
        "F0 7F 7F 01 01 21 00 00 00 F7",  # a full frame of MIDI timecode
        "F0 7E 7F 06 01 F7",  # not real time: asks for identity
        "F0 43 7F 06 02 F7",
        "90 3C 40",
        "",
    ],
)
def test_what_is_no_machine_control_command(text: str) -> None:
    message = decode(bytes.fromhex(text))
    assert message is None or (message.commands == () and message.fault)


COMMANDS = st.one_of(
    st.sampled_from(list(Transport)),
    st.builds(
        Locate,
        st.integers(0, 3),
        st.integers(0, 23),
        st.integers(0, 59),
        st.integers(0, 59),
        st.integers(0, 29),
        st.integers(0, 99),
    ),
)


@given(commands=st.lists(COMMANDS, min_size=1, max_size=6), device=st.integers(0, 127))
def test_what_is_written_is_read_and_is_a_message_to_mido(commands: list[Transport | Locate], device: int) -> None:
    data = encode(commands, device)
    assert decode(data) == Message(device, tuple(commands))
    (message,) = mido.parse_all(data)
    assert message.type == "sysex"
    assert message.data[:3] == (0x7F, device, 0x06)


@given(body=st.binary(max_size=60))
def test_random_bytes_never_raise(body: bytes) -> None:
    message = decode(b"\xf0\x7f\x01\x06" + bytes(byte & 0x7F for byte in body) + b"\xf7")
    assert message is not None
    assert bool(message.fault) or message.commands
    assert all(isinstance(one, Transport | Locate | Other) for one in message.commands)
    decode(body)
