"""Ports of a machine and what they hear: listed with their options, listened to all at once, each fault told."""

import socket
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager

import pytest

from sequencer.adapters.audio_ports import devices
from sequencer.adapters.audio_ports.devices import AudioDevice
from sequencer.adapters.contract import Chunk, Source
from sequencer.adapters.midi_ports.outs import open_out
from sequencer.adapters.pad_ports.library import started
from sequencer.errors import LinkError
from sequencer.shell import listen
from sequencer.shell.listen import Group, Heard, Port, listening, machine, quoted
from sequencer.sync.address import running
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting
from tests.adapters.controllers.virtual import Virtual
from tests.jack import jack_server
from tests.needs import needs

SOON_S = 10.0
PAL = Counting(Rate(25))


class System:
    """A MIDI system with two ports each way, as far as it is asked for names."""

    def senders(self) -> tuple[str, ...]:
        return ("Quay:MIDI 1", "lantern")

    def hearers(self) -> tuple[str, ...]:
        return ("Quay:MIDI 2",)


def device(name: str, system: str, *, default: bool = False) -> AudioDevice:
    return AudioDevice(
        name=name, system=system, channels=2, rate_hz=48_000.0, latency_s=0.05, is_default=default, number=1
    )


def missing(words: str) -> Callable[[], tuple[AudioDevice, ...]]:
    def ask() -> tuple[AudioDevice, ...]:
        raise LinkError(words)

    return ask


def group(groups: tuple[Group, ...], title: str) -> Group:
    (one,) = [one for one in groups if one.title == title]
    return one


@pytest.mark.parametrize(
    ("text", "typed"),
    [
        ("quay", "quay"),
        ("midi:Quay:1", "midi:Quay:1"),
        ("Quay 1", '"Quay 1"'),
        ('a "b" $c `d` \\e', '"a \\"b\\" \\$c \\`d\\` \\\\e"'),
        ("(hw:0)", '"(hw:0)"'),
        ("", '""'),
    ],
)
def test_names_are_shown_as_they_are_typed(text: str, typed: str) -> None:
    assert quoted(text) == typed
    assert subprocess.run(["sh", "-c", f"printf %s {typed}"], capture_output=True, check=True).stdout == text.encode()


def test_each_port_has_what_to_give_to_which_option(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(listen, "systems", lambda: (System(),))
    there = (device("quay", "ALSA", default=True), device("deck", "ALSA"), device("deck", "JACK"))
    monkeypatch.setattr(devices, "inputs", lambda: there)
    monkeypatch.setattr(devices, "outputs", lambda: there[:1])
    groups = machine()
    assert [port.options for port in group(groups, "MIDI in").ports] == [
        ('--midi-in "Quay:MIDI 1"', '--trigger "midi:Quay:MIDI 1"'),
        ("--midi-in lantern", "--trigger midi:lantern"),
        ("--midi-in virtual:NAME", "--trigger virtual:NAME"),
    ]
    assert group(groups, "MIDI out").ports[0].options == ('--give "mtc:midi:Quay:MIDI 2"',)
    # a name that two devices have needs its system too
    assert [port.options for port in group(groups, "audio in").ports] == [
        ("--audio-in quay",),
        ('--audio-in "deck, ALSA"',),
        ('--audio-in "deck, JACK"',),
    ]
    assert group(groups, "audio in").ports[0].name == "quay, ALSA (2 channels, 48000 Hz, the default)"
    assert group(groups, "audio out").ports[0].options == ("--audio-out quay", "--give ltc:quay")
    options = [option for one in groups for port in one.ports for option in port.options]
    assert "--trigger osc:9001" in options
    assert "--midi-in pipe:4711" in options


def test_a_machine_with_nothing_but_the_pipe_says_why(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(listen, "systems", missing("no MIDI here; start JACK"))
    monkeypatch.setattr(devices, "inputs", missing("no PortAudio; install it"))
    monkeypatch.setattr(devices, "outputs", lambda: ())
    groups = machine()
    assert group(groups, "MIDI in") == Group("MIDI in", (), "no MIDI here; start JACK")
    assert group(groups, "audio in").missing == "no PortAudio; install it"
    assert "plug one in" in group(groups, "audio out").missing
    assert isinstance(group(groups, "byte pipe").ports[0], Port)


@pytest.mark.parametrize(
    ("found", "names", "missing"),
    [
        (("quay pad", "lantern pad"), ["0: quay pad", "1: lantern pad"], ""),
        ((), [], "none now; plug one in, or pair it with this machine"),
        ("no library; install it", [], "no library; install it"),
    ],
)
def test_game_controllers_are_listed_by_number(
    monkeypatch: pytest.MonkeyPatch, found: tuple[str, ...] | str, names: list[str], missing: str
) -> None:
    monkeypatch.setattr(listen, "controller_names", lambda: {"pads": found})
    pads = group(machine(), "game controllers, pads")
    assert [port.name for port in pads.ports] == names
    assert pads.missing == missing
    assert all("twintake ports --watch pads:" in port.good_for for port in pads.ports)


def test_a_part_of_a_name_finds_an_input_of_any_kind(monkeypatch: pytest.MonkeyPatch) -> None:
    found = {"midi, virtual": ("midi:Quay:1", "midi:Quay:2"), "ltc": "no PortAudio", "osc": ("osc:9001",)}
    monkeypatch.setattr(listen, "source_names", lambda: found)
    monkeypatch.setattr(listen, "controller_names", lambda: {"pads": (), "sticks": "no driver"})
    there = ("midi:Quay:1", "midi:Quay:2", "osc:9001", "pads:")
    assert listen.inputs() == (there, ("ltc: no PortAudio", "sticks: no driver"))
    assert listen.address("pads") == "pads"
    assert listen.address("ads") == "pads:"
    assert listen.address("quay:2") == "midi:Quay:2"
    assert listen.address("pipe:0") == "pipe:0"
    with pytest.raises(LinkError, match="2 inputs have 'quay' in their name"):
        listen.address("quay")
    with pytest.raises(LinkError, match=r"no input has 'deck'.*midi:Quay:1, .*osc:9001, pads:; ltc: no PortAudio"):
        listen.address("deck")


def until(port: Heard, words: str) -> str:
    """Look until a line about this port has `words` in it, and return that line."""
    give_up_s = time.monotonic() + SOON_S
    lines: list[str] = []
    while time.monotonic() < give_up_s:
        now_ns = time.monotonic_ns()
        lines = [port.trouble, port.silence(now_ns), *map(str, port.look(now_ns))]
        for line in lines:
            if words in line:
                return line
        time.sleep(0.005)
    raise AssertionError(f"{words!r} was not told within {SOON_S:.0f} s, but {lines}")


def send_timecode(port: Heard, frame: int, quarters: int) -> None:
    """Send timecode into the pipe at about its speed."""
    with socket.create_connection(("127.0.0.1", int(port.name.removeprefix("pipe:"))), timeout=SOON_S) as peer:
        peer.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        for _, (_, data) in zip(range(quarters), running(PAL, frame), strict=False):
            peer.sendall(data)
            time.sleep(0.01)


def test_two_threads_never_look_at_the_ports_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """PortAudio's documentation: its functions are not thread-safe, unless they say so."""
    looks: list[str] = []

    def midi() -> tuple[System, ...]:
        looks.append("machine")
        if not other.ident:
            other.start()
            other.join(0.1)  # it would be done by then
            looks.append("machine goes on")
        return (System(),)

    def sources() -> dict[str, tuple[str, ...] | str]:
        looks.append("inputs")
        return {}

    other = threading.Thread(target=listen.inputs)
    monkeypatch.setattr(listen, "systems", midi)
    monkeypatch.setattr(listen, "source_names", sources)
    monkeypatch.setattr(devices, "inputs", lambda: ())
    monkeypatch.setattr(devices, "outputs", lambda: ())
    machine()
    other.join()
    assert looks[:2] == ["machine", "machine goes on"]
    assert "inputs" in looks


@pytest.mark.real_time
def test_what_comes_through_the_pipe_is_told() -> None:
    with listening(["pipe:0"]) as (port,):
        assert until(port, "nothing") == "nothing yet"
        send_timecode(port, 25 * 36_000, 60)
        assert "25 frames a second, stopped at 10:00:00:1" in until(port, "stopped")
        assert port.notices.popleft() == "timecode pipe: a sender is here"


@pytest.mark.real_time
def test_what_comes_as_osc_is_told() -> None:
    needs("oscsend")
    with listening(["osc:0"]) as (port,):
        number = port.name.rpartition(":")[2]
        subprocess.run(["oscsend", "127.0.0.1", number, "/mark/go", "s", "lantern"], check=True, timeout=SOON_S)
        assert until(port, "/mark") == "OSC /mark/go lantern"


@pytest.mark.real_time
def test_what_pads_say_is_told_by_name() -> None:
    with started(), listening(["pads:"]) as (port,):
        assert until(port, "nothing") == "nothing yet"
        pad = Virtual("quay pad")
        assert until(port, "pad 1 (quay pad) left x 0.00")
        pad.move(3, -0.5)
        assert "right y 0.50" in until(port, "right y 0.5")
        pad.press(9)
        assert until(port, "held: left shoulder") == "pad 1 buttons held: left shoulder; pressed last: left shoulder"
        pad.pull()
        assert until(port, "is gone") == "pad 1 (quay pad) is gone"
        assert port.notices[0] == "pad 1, quay pad, is here"


@pytest.mark.real_time
def test_a_port_that_cannot_be_opened_is_told_and_the_rest_go_on(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(listen, "source_names", lambda: {"pipe": ("pipe:0",)})
    with listening(["deck", "pipe:0", "pipe:none"]) as (deck, pipe, wrong):
        assert deck.trouble.startswith("no input has 'deck' in its name")
        assert "a number from 0 to 65535" in wrong.trouble
        assert not pipe.trouble
        send_timecode(pipe, 1000, 40)
        until(pipe, "stopped")


@pytest.mark.real_time
def test_a_port_that_vanishes_is_told_and_the_rest_go_on() -> None:
    needs("jackd")
    pytest.importorskip("jack")
    with jack_server(frames=1024), ExitStack() as sender:
        out = sender.enter_context(open_out("virtual:playback"))
        with listening(["midi:playback", "pipe:0"]) as (port, pipe):
            out.send(b"\x99\x24\x64", time.monotonic_ns() + out.ahead_ns)
            assert until(port, "note") == "note 36 channel 10, velocity 100"
            sender.close()
            assert "is gone; plug its device in" in until(port, "is gone")
            # what it has heard stays to be seen
            assert [str(fact) for fact in port.look(time.monotonic_ns())] == ["note 36 channel 10, velocity 100"]
            send_timecode(pipe, 1000, 40)
            until(pipe, "stopped")


class Faulty:
    """A source with a bug."""

    address = "midi:faulty"

    def fileno(self) -> int | None:
        return None

    def notices(self) -> tuple[str, ...]:
        return ()

    def read(self, heard_ns: int) -> tuple[Chunk, ...]:
        raise ZeroDivisionError("a bug")


@pytest.mark.real_time
def test_a_bug_in_a_source_is_not_taken_for_silence(monkeypatch: pytest.MonkeyPatch) -> None:
    @contextmanager
    def opened(address: str) -> Iterator[Source]:
        yield Faulty()

    monkeypatch.setattr(listen, "open_source", opened)
    with listening(["midi:faulty"]) as (port,), pytest.raises(ZeroDivisionError):
        until(port, "never told")
