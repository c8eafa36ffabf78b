"""What a sound system refuses, each with its words and the mend; and that a later try is a fresh one."""

import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager
from importlib.machinery import ModuleSpec
from types import ModuleType

import pytest

from sequencer.adapters.audio_ports import devices
from sequencer.adapters.audio_ports.devices import inputs, outputs
from sequencer.adapters.audio_ports.streams import AudioIn, AudioOut, open_input, open_output
from sequencer.errors import LinkError
from tests.adapters_audio.portaudio import Fault, Library

RATE_HZ = 48_000
OPENERS: dict[str, Callable[[], AbstractContextManager[AudioIn | AudioOut]]] = {
    "input": lambda: open_input("quay", RATE_HZ, 2),
    "output": lambda: open_output("quay", RATE_HZ, 2, lambda first, dac_ns, out: None),
}


@pytest.fixture
def library(monkeypatch: pytest.MonkeyPatch) -> Iterator[Library]:
    there = Library()
    monkeypatch.setitem(sys.modules, "sounddevice", there)
    monkeypatch.setattr(devices, "_running", [])
    monkeypatch.setattr(devices, "_left", [])
    yield there
    there.closes.set()


def opened(way: str) -> None:
    with OPENERS[way]():
        pass


@pytest.mark.parametrize("look", [inputs, outputs])
def test_a_sound_system_that_does_not_start_is_said_and_looked_at_again(
    look: Callable[[], Sequence[devices.AudioDevice]], library: Library
) -> None:
    library.starts = False
    why = r"Error initializing PortAudio: Unanticipated host error \[PaErrorCode -9999\]"
    for _ in range(2):  # the first failure is no reason for another one
        with pytest.raises(LinkError, match=rf"^the sound system cannot be asked \({why}\); check that it runs$"):
            look()
    library.starts = True
    assert [one.name for one in look()] == ["quay"]


class Fails:
    """Finds a binding that starts its library as it is imported, in vain."""

    def find_spec(
        self, name: str, path: Sequence[str] | None = None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        if name == "sounddevice":
            raise Fault("Error initializing PortAudio: Insufficient memory")
        return None


def test_a_sound_system_that_does_not_start_at_all_is_said_too(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr(sys, "meta_path", [Fails(), *sys.meta_path])
    words = r"^the sound system cannot be asked \(Error initializing PortAudio: Insufficient memory\); check that it"
    with pytest.raises(LinkError, match=words):
        inputs()


@pytest.mark.parametrize("way", OPENERS)
@pytest.mark.parametrize(
    ("refuses", "why"),
    [
        ("open", "Error opening stream: Device unavailable"),
        ("start", "Error starting stream: Unanticipated host error"),
    ],
)
def test_a_device_that_another_program_takes_first_is_named_with_the_mend(
    refuses: str, why: str, way: str, library: Library
) -> None:
    library.refuses = refuses
    words = rf"^sound {way} 'quay' refuses \({why}\); close what else uses it, or name another device$"
    with pytest.raises(LinkError, match=words):
        opened(way)
    assert library.closed == (refuses == "start")  # what was opened is closed again
    library.refuses = ""
    opened(way)


@pytest.mark.parametrize("way", OPENERS)
def test_a_stream_of_another_rate_than_asked_for_is_never_run(way: str, library: Library) -> None:
    library.runs_at_hz = 44_100
    words = f"^sound {way} 'quay' would run at 44100 samples a second, not 48000; set it to that rate in its own set"
    with pytest.raises(LinkError, match=words):
        opened(way)
    assert library.closed == 1


def test_after_a_stream_that_never_closed_no_fresh_look_is_made(
    library: Library, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(devices, "_CLOSES_WITHIN_S", 0.01)
    library.closes.clear()
    opened("output")
    words = "cannot be looked at again, since a server of it hangs; end or restart that, then start this program anew$"
    for look in (inputs, outputs):
        with pytest.raises(LinkError, match=f"^the sound system {words}"):
            look()
