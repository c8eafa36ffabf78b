"""Sound devices: which one is meant, what is said where there are none, and a fresh look at each call."""

import ctypes
import os
import signal
import subprocess
import sys
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from importlib.machinery import ModuleSpec
from types import ModuleType

import pytest

from sequencer.adapters.audio_ports.devices import AudioDevice, find, inputs, outputs
from sequencer.adapters.audio_ports.streams import open_output
from sequencer.errors import LinkError
from tests.jack import jack_server
from tests.needs import needs
from tests.pulse import pulse_server


def device(name: str, system: str = "ALSA", *, is_default: bool = False, number: int = 0) -> AudioDevice:
    return AudioDevice(
        name=name, system=system, channels=2, rate_hz=48e3, latency_s=0.01, is_default=is_default, number=number
    )


QUAY, HEARD, OTHER = device("quay"), device("quay heard", is_default=True), device("quay", "Other", number=3)


@pytest.mark.parametrize(
    ("wanted", "there", "found"),
    [
        ("quay", (QUAY, HEARD), QUAY),
        ("HEARD", (QUAY, HEARD), HEARD),
        ("", (QUAY, HEARD), HEARD),
        ("default", (QUAY, HEARD), HEARD),
        ("quay, oth", (QUAY, OTHER), OTHER),
    ],
)
def test_a_part_of_a_name_finds_the_device(wanted: str, there: tuple[AudioDevice, ...], found: AudioDevice) -> None:
    assert find(wanted, there, "input") is found


@pytest.mark.parametrize(
    ("wanted", "there", "said"),
    [
        ("ua", (QUAY, HEARD), r"2 sound devices to record from have 'ua'.*'quay, ALSA', 'quay heard, ALSA'; give more"),
        ("quay", (QUAY, OTHER), r"'quay, ALSA', 'quay, Other'; give more"),
        (
            "lantern",
            (QUAY, HEARD),
            r"has 'lantern' in its name; the machine has 'quay, ALSA', 'quay heard, ALSA'; plug",
        ),
        ("", (QUAY,), r"no default sound device to record from; name one of 'quay, ALSA'"),
        ("quay", (), "this machine has no sound device to record from; plug one in"),
    ],
)
def test_what_cannot_be_found_is_told_with_the_devices_there_are(
    wanted: str, there: tuple[AudioDevice, ...], said: str
) -> None:
    with pytest.raises(LinkError, match=said):
        find(wanted, there, "input")


class NoLibrary:
    """Finds the binding as it is where the package is installed, but not the library under it."""

    def find_spec(
        self, name: str, path: Sequence[str] | None = None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        if name == "sounddevice":
            raise OSError("PortAudio library not found")
        return None


def test_a_missing_library_or_package_says_how_to_mend_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    with pytest.raises(LinkError, match="pip install sounddevice"):
        inputs()
    monkeypatch.delitem(sys.modules, "sounddevice")
    monkeypatch.setattr(sys, "meta_path", [NoLibrary(), *sys.meta_path])
    with pytest.raises(LinkError, match="apt install libportaudio2"):
        outputs()


def named(there: tuple[AudioDevice, ...]) -> set[str]:
    return {one.name for one in there}


@pytest.mark.real_time
def test_each_look_is_fresh_but_never_ends_a_stream() -> None:
    needs("pulseaudio")
    ours = {"quay", "quay_heard", "lantern", "lantern_heard"}
    assert not named(outputs()) & ours
    with pulse_server():
        assert named(outputs()) >= ours
        assert named(inputs()) >= ours
        blocks = []
        with open_output("quay", 48_000, 2, lambda first, dac_ns, out: blocks.append(first)) as going:
            assert named(outputs()) >= ours
            so_far = len(blocks)
            while len(blocks) < so_far + 20:
                going.check()
    assert not named(outputs()) & ours


LOOKING = """
from sequencer.adapters.audio_ports.devices import inputs, outputs
print([one.label for one in (*inputs(), *outputs())], flush=True)
input()
inputs()
"""


def told_in_the_end(script: str, change: Callable[[], None]) -> list[str]:
    """Run a script that prints one line and waits for another; return its lines, `change` made when it waits.

    What hangs or aborts fails.
    """
    with subprocess.Popen(
        [sys.executable, "-c", script], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        try:
            begun = process.stdout.readline()
            change()
            rest, _ = process.communicate("\n", timeout=20)
        finally:
            process.kill()
    assert process.returncode == 0
    return (begun + rest).splitlines()


@pytest.mark.real_time
def test_a_jack_server_may_end_since_no_sound_goes_through_it() -> None:
    needs("jackd")
    with ExitStack() as running:
        running.enter_context(jack_server())
        around = dict(os.environ)
        inputs()
        assert dict(os.environ) == around
        (labels,) = told_in_the_end(LOOKING, running.close)
    assert "JACK" not in labels


HELD = """
import time
from sequencer.adapters.audio_ports.devices import inputs
from sequencer.adapters.audio_ports.streams import open_output
from sequencer.errors import LinkError
with open_output("quay", 48_000, 2, lambda first, dac_ns, out: None) as going:
    while not going.first:
        time.sleep(0.01)
    print("open", flush=True)
    input()
print("closed")
try:
    inputs()
except LinkError as fault:
    print(fault)
"""


@pytest.mark.real_time
def test_a_server_that_hangs_is_left_to_itself() -> None:
    needs("pulseaudio")
    with pulse_server() as serving:
        try:
            told = told_in_the_end(HELD, lambda: serving.process.send_signal(signal.SIGSTOP))
        finally:
            serving.process.send_signal(signal.SIGCONT)
    assert told[:2] == ["open", "closed"]
    assert told[2].startswith("the sound system cannot be looked at again, since a server of it hangs; end or restart")


def test_alsa_prints_nothing_between_our_own_words(capfd: pytest.CaptureFixture[str]) -> None:
    needs("pulseaudio")  # and with it ALSA
    inputs()
    card = ctypes.c_void_p()
    assert ctypes.CDLL("libasound.so.2").snd_pcm_open(ctypes.byref(card), b"no such card", 0, 0) < 0
    assert capfd.readouterr().err == ""
