"""Messages between our processes: whole, typed, and a peer that reads nothing holds nobody up."""

import socket
from collections.abc import Iterator

import pytest

from sequencer.shell.control import Control
from sequencer.shell.messages import COMMANDS, REPORTS, Arm, Command, Quit, Report, Reset, Said, Unframer, frame
from sequencer.takes.rows import Heading

HEADING = Heading(
    name="one",
    project="quay",
    cue="turn",
    run="band",
    cue_s=(6.25, 14.0),
    rate="25",
    drop=False,
    start="10:00:00:00",
    axes=("pan",),
    kinds=("pan",),
    units=("deg",),
    sensor_mm=None,
    pixels=None,
    focal_mm=None,
    subject_m=None,
    started="2026-01-01T00:00:00+00:00",
)


@pytest.fixture
def links() -> Iterator[tuple[Control[Command], Control[Report]]]:
    listener = socket.create_server(("127.0.0.1", 0))
    near = socket.create_connection(listener.getsockname())
    far, _ = listener.accept()
    listener.close()
    engine, command = Control(near, COMMANDS), Control(far, REPORTS)
    yield engine, command
    engine.close()
    command.close()


def wait_for(control: Control[Command], number: int) -> list[Command]:
    got: list[Command] = []
    for _ in range(10_000):
        got += control.read()
        if len(got) >= number:
            break
    return got


def test_commands_arrive_as_they_were_sent(links: tuple[Control[Command], Control[Report]]) -> None:
    engine, command = links
    sent: list[Command] = [Arm(cue="turn", take="a.mcap", heading=HEADING), Reset(), Quit()]
    for message in sent:
        command.say(message)
    assert wait_for(engine, 3) == sent


@pytest.mark.parametrize("piece", [1, 2, 3, 7])
def test_messages_survive_any_split(piece: int) -> None:
    stream = frame(Arm(cue="a")) + frame(Arm(cue="b"))
    unframer = Unframer(COMMANDS)
    got = [message for at in range(0, len(stream), piece) for message in unframer.feed(stream[at : at + piece])]
    assert got == [Arm(cue="a"), Arm(cue="b")]


def test_a_peer_that_ended_is_gone(links: tuple[Control[Command], Control[Report]]) -> None:
    engine, command = links
    command.close()
    wait_for(engine, 1)
    assert engine.gone


def test_a_peer_that_reads_nothing_does_not_block_and_is_gone_in_the_end(
    links: tuple[Control[Command], Control[Report]],
) -> None:
    engine, _ = links
    text = "x" * 50_000
    for _ in range(1000):
        engine.say(Said(0, "word", text))
        if engine.gone:
            break
    assert engine.gone


@pytest.mark.parametrize(
    "rubbish",
    [
        b"\xff\xff\xff\xff",
        b"\x04\x00\x00\x00\xc1\xc1\xc1\xc1",
        frame(Said(0, "a", "b")),
        # of a field that nobody knows, what is in it is nested without end
        b"\xca\x0b\x00\x00\x82\xa4type\xa4quit\xa4more" + b"\x91" * 3001 + b"\xc0" * 2,
    ],
)
def test_rubbish_ends_the_link_and_nothing_else(rubbish: bytes) -> None:
    listener = socket.create_server(("127.0.0.1", 0))
    with listener, socket.create_connection(listener.getsockname()) as near:
        far, _ = listener.accept()
        control = Control(far, COMMANDS)
        near.sendall(rubbish)
        for _ in range(10_000):
            assert control.read() == []
            if control.gone:
                break
        assert control.gone
        control.close()
