"""A stand-in for PortAudio and its binding: one device, and what a sound system may refuse or do wrong."""

from threading import Event
from typing import Any

NOT_INITIALIZED, UNANTICIPATED, UNAVAILABLE = -10_000, -9999, -9985


class Fault(Exception):
    """As the binding says it: the words, and PortAudio's number."""

    def __str__(self) -> str:
        words, *number = self.args
        return f"{words} [PaErrorCode {number[0]}]" if number else words


class Stream:
    latency = 0.05
    time = 0.0
    active = True

    def __init__(self, library: "Library", samplerate: float) -> None:
        self._library = library
        self.samplerate = library.runs_at_hz or samplerate

    def start(self) -> None:
        """Begin to run, but for a device that is gone meanwhile."""
        if self._library.refuses == "start":
            raise Fault("Error starting stream: Unanticipated host error", UNANTICIPATED)

    def close(self, ignore_errors: bool) -> None:
        """Close it, which a server that hangs never lets end."""
        self._library.closes.wait()
        self._library.closed += 1


class Library:
    """`starts`: whether the sound system runs; `refuses`: open or start; `runs_at_hz`: whatever is asked for."""

    PortAudioError = Fault

    def __init__(self) -> None:
        self.starts, self.refuses, self.runs_at_hz = True, "", 0
        self.closes = Event()
        self.closes.set()
        self.closed = 0
        self._initialized = 1

    def _initialize(self) -> None:
        if not self.starts:
            raise Fault("Error initializing PortAudio: Unanticipated host error", UNANTICIPATED)
        self._initialized += 1

    def _terminate(self) -> None:
        if not self._initialized:
            raise Fault("Error terminating PortAudio: PortAudio not initialized", NOT_INITIALIZED)
        self._initialized -= 1

    def _exit_handler(self) -> None:
        pass

    def query_hostapis(self) -> tuple[dict[str, Any], ...]:
        if not self._initialized:
            raise Fault("Error querying host APIs: PortAudio not initialized", NOT_INITIALIZED)
        return ({"name": "ALSA", "default_input_device": 0, "default_output_device": 0},)

    def query_devices(self) -> tuple[dict[str, Any], ...]:
        one = {"name": "quay", "hostapi": 0, "index": 0, "default_samplerate": 48_000.0}
        for way in ("input", "output"):
            one |= {f"max_{way}_channels": 2, f"default_high_{way}_latency": 0.05}
        return (one,)

    def check_input_settings(self, *_: object, **__: object) -> None:
        pass

    check_output_settings = check_input_settings

    def _stream(self, samplerate: float, **_: object) -> Stream:
        if self.refuses == "open":
            raise Fault("Error opening stream: Device unavailable", UNAVAILABLE)
        return Stream(self, samplerate)

    InputStream = OutputStream = _stream
