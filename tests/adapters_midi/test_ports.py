"""MIDI ports: which one is meant, what is said where there are none, and real ones through a JACK server."""

import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import ExitStack
from multiprocessing import get_context

import mido
import pytest

from sequencer.adapters.contract import Chunk, Source
from sequencer.adapters.midi_ports import jack_ports, rtmidi_ports, systems
from sequencer.adapters.midi_ports.names import chosen
from sequencer.adapters.midi_ports.outs import open_out
from sequencer.adapters.midi_ports.rtmidi_ports import RtmidiIn
from sequencer.adapters.sources.midi import KIND, names
from sequencer.errors import LinkError
from tests.jack import jack_server
from tests.needs import needs

MS = 1_000_000
PORTS = ("Quay Interface:MIDI 1", "Quay Interface:MIDI 2", "Playback:out", "Playback:out B")


@pytest.mark.parametrize(
    ("wanted", "port"),
    [("midi 2", PORTS[1]), ("Playback:out", PORTS[2]), ("out b", PORTS[3]), ("lantern", None), (PORTS[0], PORTS[0])],
)
def test_a_part_of_a_name_finds_the_port(wanted: str, port: str | None) -> None:
    assert chosen(wanted, PORTS) == port


def test_a_part_that_fits_two_ports_is_refused_with_both() -> None:
    with pytest.raises(LinkError, match=r"2 MIDI ports.*'Quay Interface:MIDI 1', 'Quay Interface:MIDI 2'; give more"):
        chosen("quay", PORTS)


@pytest.mark.parametrize("address", ["midi:", "virtual:"])
def test_an_address_without_a_name_is_refused(address: str) -> None:
    with pytest.raises(LinkError, match="NAME"):
        KIND.open(address)


def test_a_machine_without_midi_says_how_to_mend_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(systems, "running", lambda: False)
    monkeypatch.setattr(rtmidi_ports, "drivers", lambda: ())
    for call in (names, lambda: KIND.open("virtual:twintake"), lambda: KIND.open("midi:quay")):
        monkeypatch.setattr(rtmidi_ports, "installed", lambda: True)
        with pytest.raises(LinkError, match=r"no MIDI system now.*or use pipe:PORT"):
            call()
        monkeypatch.setattr(rtmidi_ports, "installed", lambda: False)
        with pytest.raises(LinkError, match=r"pip install 'twintake\[midi\]'; or use pipe:PORT"):
            call()


def test_missing_packages_are_no_crash(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "rtmidi", None)
    monkeypatch.setitem(__import__("sys").modules, "jack", None)
    assert not rtmidi_ports.installed()
    assert not jack_ports.running()
    with pytest.raises(LinkError, match=r"pip install 'twintake\[midi\]'"):
        names()


class Scripted:
    """RtMidi's `MidiIn` as far as it is polled: messages wait until they are asked for, and the port may go away."""

    def __init__(self, messages: list[tuple[list[int], float]]) -> None:
        self.messages = messages
        self.ports = ["quay"]

    def get_message(self) -> tuple[list[int], float] | None:
        return self.messages.pop(0) if self.messages else None

    def get_ports(self) -> list[str]:
        return self.ports


@pytest.fixture
def now(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The monotonic clock of the RtMidi adapter, set by hand."""
    hand = [0]
    monkeypatch.setattr(time, "monotonic_ns", lambda: hand[0])
    return hand


def test_active_sensing_keeps_its_distance_in_the_chain_but_is_not_passed_on(now: list[int]) -> None:
    port = Scripted([])
    source = RtmidiIn(port, "virtual:quay")
    assert source.read(0) == ()
    port.messages = [([0xF1, 0x00], 0.0), ([0xFE], 0.004), ([0xF1, 0x10], 0.006)]
    now[0] = 12 * MS
    assert [chunk.data for chunk in source.read(0)] == [b"\xf1\x00", b"\xf1\x10"]
    # the last of these came at 12 ms at the latest; the next one came 10 ms later and is taken out after 12
    port.messages = [([0xF1, 0x20], 0.010)]
    now[0] = 24 * MS
    assert source.read(0) == (Chunk(22 * MS, b"\xf1\x20"),)


def test_a_port_that_goes_away_is_told_after_a_silent_second(now: list[int]) -> None:
    port = Scripted([])
    source = RtmidiIn(port, "midi:quay", "quay")
    now[0] = 1500 * MS
    assert source.read(now[0]) == ()
    port.ports = []
    now[0] = 2400 * MS
    assert source.read(now[0]) == ()
    now[0] = 2600 * MS
    with pytest.raises(LinkError, match="'quay' is gone; plug its device in"):
        source.read(now[0])


@pytest.fixture
def server() -> Iterator[dict[str, str]]:
    """A server with long periods: the short ones of a real rig lose a message now and then on a busy machine."""
    needs("jackd")
    pytest.importorskip("rtmidi", reason="python-rtmidi has no wheel for this Python")
    with jack_server(frames=1024) as variables:
        yield variables


def hear(source: Source, wanted: int) -> list[Chunk]:
    """Read until `wanted` chunks are here or nothing more has come for a while."""
    chunks: list[Chunk] = []
    last_s = time.monotonic()
    while len(chunks) < wanted and time.monotonic() - last_s < 2.0:
        new = source.read(time.monotonic_ns())
        if new:
            chunks += new
            last_s = time.monotonic()
        time.sleep(0.001)
    return chunks


def sent_and_heard(out: systems.MidiOut, source: Source) -> None:
    """Send a full frame and eighty quarter frames; they must arrive whole, each once, with their stamps in order."""
    full = mido.Message("sysex", data=(0x7F, 0x7F, 1, 1, 0x2A, 0, 2, 0))
    messages = [full, *(mido.Message("quarter_frame", frame_type=k % 8, frame_value=k % 16) for k in range(80))]
    due_ns = began_ns = time.monotonic_ns() + 20 * MS
    for message in messages:
        while time.monotonic_ns() < due_ns - out.ahead_ns:
            time.sleep(0.0005)
        out.send(bytes(message.bin()), due_ns)
        due_ns += 5 * MS
    chunks = hear(source, len(messages))
    assert [mido.parse(chunk.data) for chunk in chunks] == messages
    stamps = [chunk.stamp_ns for chunk in chunks]
    assert stamps == sorted(stamps)
    assert began_ns - 1000 * MS < stamps[0] < stamps[-1] < time.monotonic_ns() + 1000 * MS


@pytest.mark.real_time
@pytest.mark.parametrize("scheme", ["rtmidi", "virtual"])
def test_a_port_of_another_program_is_heard_through_jack(server: dict[str, str], scheme: str) -> None:
    with open_out(f"{scheme}:playback") as out:
        assert names() == ("midi:twintake:playback",)
        with KIND.open("midi:playback") as source:
            assert isinstance(source, jack_ports.JackIn)
            assert source.address == "midi:twintake:playback"
            sent_and_heard(out, source)


@pytest.mark.real_time
def test_a_port_of_ours_is_found_and_sent_to(server: dict[str, str]) -> None:
    with KIND.open("virtual:timecode in") as source, open_out("midi:timecode in") as out:
        sent_and_heard(out, source)


def rtmidi_both_ways() -> None:
    system = rtmidi_ports.to_jack()
    with system.speak_virtual("playback") as out, system.listen("twintake:playback") as source:
        sent_and_heard(out, source)


@pytest.mark.real_time
def test_rtmidi_hears_what_rtmidi_sends(server: dict[str, str]) -> None:
    # in a process of its own: a server that misses cycles can bring RtMidi down, and its process with it
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        pool.submit(rtmidi_both_ways).result()


@pytest.mark.real_time
def test_a_missing_and_an_ambiguous_port_are_told_with_the_ports_there_are(server: dict[str, str]) -> None:
    with open_out("virtual:playback A"), open_out("rtmidi:playback B"):
        with pytest.raises(LinkError, match=r"no MIDI port has 'lantern'.*playback A'.*playback B'"):
            KIND.open("midi:lantern")
        with pytest.raises(LinkError, match="2 MIDI ports have 'playback'"):
            KIND.open("midi:playback")


@pytest.mark.real_time
def test_a_sender_that_ends_is_a_link_that_is_gone(server: dict[str, str]) -> None:
    with ExitStack() as sending, ExitStack() as link:
        sending.enter_context(open_out("virtual:playback"))
        source = link.enter_context(KIND.open("midi:playback"))
        sending.close()
        with pytest.raises(LinkError, match="'twintake:playback' is gone"):
            hear(source, 1)


@pytest.mark.real_time
def test_what_was_handed_over_goes_out_before_the_port_closes(server: dict[str, str]) -> None:
    with KIND.open("virtual:timecode in") as source:
        with open_out("midi:timecode in") as out:
            out.send(b"\xf1\x05", time.monotonic_ns() + out.ahead_ns)
        assert [chunk.data for chunk in hear(source, 1)] == [b"\xf1\x05"]


@pytest.mark.real_time
def test_a_server_that_ends_is_a_link_that_is_gone() -> None:
    needs("jackd")
    with ExitStack() as serving, ExitStack() as link:
        serving.enter_context(jack_server(frames=1024))
        source = link.enter_context(KIND.open("virtual:timecode in"))
        serving.close()
        with pytest.raises(LinkError, match="JACK server ended"):
            hear(source, 1)
