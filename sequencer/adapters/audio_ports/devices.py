"""The sound devices of this machine through PortAudio, and which of them the operator means. It opens none.

PortAudio lists devices once, when it begins; so a fresh look ends it and begins again, but never under a stream of ours
that runs: it would fall silent. Its JACK system is left out: it makes a process part of the server's own cycle, where
Python would hold up the sound of all others, and when that server ends it hangs or aborts the process. What JACK plays
and records is reached where PulseAudio or PipeWire bridges it.
"""

import atexit
import ctypes
import os
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal

from sequencer.adapters.midi_ports.names import chosen, listed
from sequencer.errors import LinkError

Way = Literal["input", "output"]
DEFAULT = ("", "default")

_CLOSES_WITHIN_S = 2.0
# by these no JACK library finds a server, or starts one
_NO_JACK = {"JACK_DEFAULT_SERVER": "none-for-sound", "JACK_NO_START_SERVER": "1", "PIPEWIRE_NOJACK": "1"}

_running: list[Any] = []  # streams of this process
_left: list[Any] = []  # those of them that could not be closed


@dataclass(frozen=True, slots=True, kw_only=True)
class AudioDevice:
    """A device as one of the machine's sound systems offers it, in one way: to record from or to play to.

    `rate_hz` is the sample rate that its system prefers, `latency_s` the one that is safe against gaps. `is_default`
    says whether it is what the system takes where nothing is named. `number` is PortAudio's, until the next look.
    """

    name: str
    system: str
    channels: int
    rate_hz: float
    latency_s: float
    is_default: bool
    number: int

    @property
    def label(self) -> str:
        """The name that tells it from the same device in another system: `quay, ALSA`."""
        return f"{self.name}, {self.system}"


def binding() -> Any:
    """Return the PortAudio binding. Error: LinkError where it or its library is missing, or does not start."""
    try:
        with _without_jack():  # to import it is to look for the first time
            import sounddevice
    except ImportError as error:
        raise LinkError("audio needs a package that is not here; pip install sounddevice") from error
    except OSError as error:
        raise LinkError(
            "audio needs the PortAudio library, which is not here; install it (on Debian: apt install libportaudio2)"
        ) from error
    except Exception as error:  # PortAudio's own kind has no name before it is imported
        raise _unasked(error) from error
    _quieten_alsa()
    return sounddevice


@contextmanager
def _without_jack() -> Iterator[None]:
    before = {name: os.environ.get(name) for name in _NO_JACK}
    os.environ.update(_NO_JACK)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


@cache
def _quieten_alsa() -> None:
    """Keep ALSA from printing on standard error: of gaps, and of devices that are gone, we tell in our own words.

    PortAudio's few lines at a device's end stay: they cannot be had out without those of a crash.
    """
    try:
        alsa, nothing = ctypes.CDLL("libasound.so.2"), ctypes.CDLL(None).getpid
    except (OSError, AttributeError, TypeError):  # another system than Linux
        return
    # a function of C's that looks at no argument, since the card's thread may have to wait for one of Python's
    alsa.snd_lib_error_set_handler(nothing)


@contextmanager
def running(stream: Any) -> Iterator[None]:
    """Keep fresh looks from ending PortAudio while `stream` is open, and close it at the end.

    Where its server hangs, closing never returns: then it is left as it is, and so is PortAudio, to the process's end.
    """
    _running.append(stream)
    try:
        yield
    finally:
        closing = threading.Thread(target=stream.close, args=(True,), name="closing sound", daemon=True)
        closing.start()
        try:
            closing.join(_CLOSES_WITHIN_S)
        finally:
            if closing.is_alive():
                _left.append(stream)
                atexit.unregister(binding()._exit_handler)
            else:
                _running.remove(stream)


def inputs() -> tuple[AudioDevice, ...]:
    """Return what can be recorded from now. Error: LinkError where PortAudio is missing or does not start."""
    return _look("input")


def outputs() -> tuple[AudioDevice, ...]:
    """Return what can be played to now. Error: LinkError where PortAudio is missing or does not start."""
    return _look("output")


def _look(way: Way) -> tuple[AudioDevice, ...]:
    sounddevice = binding()
    if _left:
        raise LinkError(
            "the sound system cannot be looked at again, since a server of it hangs; end or restart that, then start "
            "this program anew"
        )
    try:
        if not _running:
            if sounddevice._initialized:  # not after a look that failed
                sounddevice._terminate()
            with _without_jack():
                sounddevice._initialize()
        systems = sounddevice.query_hostapis()
        # the first system that has devices of this kind is the one that PortAudio itself takes
        default = next((number for one in systems if (number := one[f"default_{way}_device"]) >= 0), -1)
        return tuple(
            AudioDevice(
                name=one["name"],
                system=systems[one["hostapi"]]["name"],
                channels=one[f"max_{way}_channels"],
                rate_hz=one["default_samplerate"],
                latency_s=one[f"default_high_{way}_latency"],
                is_default=one["index"] == default,
                number=one["index"],
            )
            for one in sounddevice.query_devices()
            if one[f"max_{way}_channels"] > 0
        )
    except sounddevice.PortAudioError as error:
        raise _unasked(error) from error


def _unasked(error: Exception) -> LinkError:
    return LinkError(f"the sound system cannot be asked ({error}); check that it runs")


def find(wanted: str, there: Sequence[AudioDevice], way: Way) -> AudioDevice:
    """Return the device called `wanted`, or the only one with it in its name or label; the default one for "".

    Error: LinkError that lists the devices there are, where none fits or more than one.
    """
    good_for = {"input": "record from", "output": "play to"}[way]
    if not there:
        raise LinkError(f"this machine has no sound device to {good_for}; plug one in, or start its sound server")
    if wanted in DEFAULT:
        usual = [one for one in there if one.is_default]
        if usual:
            return usual[0]
        raise LinkError(f"the system has no default sound device to {good_for}; name one of {_names(there)}")
    called = [one for one in there if one.name == wanted]
    if len(called) == 1:
        return called[0]
    label = chosen(wanted, tuple(one.label for one in there), f"sound devices to {good_for}")
    if label is None:
        raise LinkError(
            f"no sound device to {good_for} has {wanted!r} in its name; the machine has {_names(there)}; "
            f"plug the device in or start its sound server, or name one of these"
        )
    return next(one for one in there if one.label == label)


def _names(there: Sequence[AudioDevice]) -> str:
    return listed([one.label for one in there])
