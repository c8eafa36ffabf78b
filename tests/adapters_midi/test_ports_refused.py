"""What MIDI ports refuse, each with its words and the mend, on stand-ins for RtMidi and for a JACK server."""

import sys
import time
from collections.abc import Callable
from contextlib import AbstractContextManager
from types import SimpleNamespace
from typing import Any

import pytest

from sequencer.adapters.midi_ports import rtmidi_ports
from sequencer.adapters.midi_ports.jack_ports import Jack
from sequencer.adapters.midi_ports.rtmidi_ports import RtMidi, RtmidiOut
from sequencer.errors import LinkError

ALSA, JACK = 2, 3
TIMING = b"\xf1\x00"


def opened(port: AbstractContextManager[object]) -> None:
    with port:
        pass


class Refused(Exception):
    """An error of the library's own."""


class Driver:
    """A stand-in for the package `rtmidi`, and for its only port. `refuses`: the calls that fail."""

    RtMidiError = Refused
    API_RTMIDI_DUMMY, API_UNIX_JACK = 4, JACK

    def __init__(self) -> None:
        self.ports = ["quay"]
        self.refuses: set[str] = set()
        self.deleted = 0

    def _did(self, call: str) -> None:
        if call in self.refuses:
            raise Refused(f"{call} failed")

    def MidiIn(self, api: int, name: str) -> "Driver":  # noqa: N802 - the package's own name
        self._did("create")
        return self

    MidiOut = MidiIn

    def get_compiled_api(self) -> list[int]:
        return [ALSA]

    def get_ports(self) -> list[str]:
        return self.ports

    def ignore_types(self, **_: bool) -> None:
        pass

    def open_port(self, number: int, name: str) -> None:
        self._did("open")

    def open_virtual_port(self, name: str) -> None:
        self._did("open")

    def send_message(self, data: bytes) -> None:
        self._did("send")

    def close_port(self) -> None:
        pass

    def delete(self) -> None:
        self.deleted += 1


@pytest.fixture
def driver(monkeypatch: pytest.MonkeyPatch) -> Driver:
    there = Driver()
    monkeypatch.setitem(sys.modules, "rtmidi", there)
    return there


OPENERS: dict[str, Callable[[RtMidi], AbstractContextManager[object]]] = {
    "listen": lambda system: system.listen("quay"),
    "listen_virtual": lambda system: system.listen_virtual("quay"),
    "speak": lambda system: system.speak("quay"),
    "speak_virtual": lambda system: system.speak_virtual("quay"),
}


@pytest.mark.parametrize("how", OPENERS)
def test_a_midi_system_that_does_not_work_says_so_before_and_after_it_is_open(how: str, driver: Driver) -> None:
    driver.refuses = {"create"}
    words = r"the MIDI system cannot be opened \(create failed\); check that it runs, or use pipe:PORT"
    with pytest.raises(LinkError, match=f"^{words}$"):
        opened(OPENERS[how](RtMidi(ALSA)))
    driver.refuses = {"open"}
    with pytest.raises(LinkError, match=r"^the MIDI port failed \(open failed\); open it again$"):
        opened(OPENERS[how](RtMidi(ALSA)))
    assert driver.deleted == 1
    driver.refuses = set()
    opened(OPENERS[how](RtMidi(ALSA)))


def test_a_port_that_fails_while_it_sends_says_so(driver: Driver) -> None:
    with RtMidi(ALSA).speak("quay") as out:
        out.send(TIMING, 0)
        driver.refuses = {"send"}
        with pytest.raises(LinkError, match=r"^the MIDI port failed \(send failed\); open it again$"):
            out.send(TIMING, 0)


@pytest.mark.parametrize("how", ["listen", "speak"])
def test_a_port_that_went_since_it_was_found_is_named(how: str, driver: Driver) -> None:
    driver.ports = ["lantern"]
    words = "the MIDI port 'quay' went away just now; plug its device in or start its program again"
    with pytest.raises(LinkError, match=f"^{words}$"):
        opened(OPENERS[how](RtMidi(ALSA)))


def test_a_listener_that_goes_is_told_within_a_second(driver: Driver, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(time, "monotonic_ns", lambda: 0)
    out = RtmidiOut(driver, "quay")
    driver.ports = []
    out.check(999_000_000)
    with pytest.raises(LinkError, match=r"'quay' is gone; plug its device in or start its program again$"):
        out.check(1_000_000_000)


def test_without_the_package_each_way_to_a_port_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "rtmidi", None)
    mend = r"pip install 'twintake\[midi\]'; or use pipe:PORT$"
    with pytest.raises(LinkError, match=f"^MIDI ports need a package: {mend}"):
        RtMidi(ALSA).senders()
    with pytest.raises(LinkError, match=f"^RtMidi with JACK is not installed: {mend}"):
        rtmidi_ports.to_jack()


def test_a_package_that_was_built_without_jack_says_what_to_install(driver: Driver) -> None:
    with pytest.raises(LinkError, match=r"^RtMidi with JACK is not installed: pip install 'twintake\[midi\]'"):
        rtmidi_ports.to_jack()


class Server:
    """A stand-in for the package `jack`, and for a client of a server. `connects`: whether its ports can be had."""

    JackError = Refused
    JackOpenError = LookupError
    samplerate, blocksize, realtime = 48_000, 256, True

    def __init__(self) -> None:
        self.connects = True
        self.closed = 0
        self.midi_inports = self.midi_outports = SimpleNamespace(register=lambda name: SimpleNamespace(name=name))
        self.shut_down: Callable[[object, str], None] = lambda status, reason: None

    def Client(self, name: str, no_start_server: bool) -> "Server":  # noqa: N802 - the package's own name
        return self

    def set_error_function(self, act: Callable[[str], None]) -> None:
        pass

    set_info_function = set_error_function

    def set_process_callback(self, act: Callable[[int], None]) -> None:
        pass

    def set_shutdown_callback(self, act: Callable[[object, str], None]) -> None:
        self.shut_down = act

    def activate(self) -> None:
        pass

    def connect(self, source: Any, destination: Any) -> None:
        if not self.connects:
            raise Refused("Cannot connect")

    def deactivate(self) -> None:
        pass

    def close(self) -> None:
        self.closed += 1


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> Server:
    there = Server()
    monkeypatch.setitem(sys.modules, "jack", there)
    return there


@pytest.mark.parametrize("how", [Jack.listen, Jack.speak])
def test_a_port_that_jack_does_not_connect_is_refused_with_the_mend(
    how: Callable[[Jack, str], AbstractContextManager[object]], server: Server
) -> None:
    server.connects = False
    words = r"JACK refused \(Cannot connect\); look whether the port is there, or take another name"
    with pytest.raises(LinkError, match=f"^{words}$"):
        opened(how(Jack(), "quay"))
    assert server.closed == 1


def test_a_server_that_ends_is_told_to_who_listens_and_who_speaks(server: Server) -> None:
    words = r"^the JACK server ended \(killed by hand\); start it again$"
    with Jack().listen_virtual("quay") as source:
        assert source.read(0) == ()
        server.shut_down(None, "killed by hand")
        with pytest.raises(LinkError, match=words):
            source.read(0)
    with Jack().speak_virtual("quay") as sink:
        sink.check(0)
        server.shut_down(None, "killed by hand")
        with pytest.raises(LinkError, match=words):
            sink.check(0)
