"""Sound in and out, block by block, each with the monotonic instant at which it was or will be at the converter.

It knows no music and no timecode. PortAudio calls from the card's own thread and holds Python's lock meanwhile, so a
block that came is only copied and put away.
"""

import os
import time
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any

from sequencer.adapters.audio_ports.blocks import Block, Fill
from sequencer.adapters.audio_ports.devices import AudioDevice, Way, binding, find, inputs, outputs, running
from sequencer.adapters.audio_ports.stamps import CardClock, Wander
from sequencer.errors import LinkError

BLOCK = 256
_LATENCY_S = 0.05  # what the system keeps in hand, so that a machine that is busy for so long makes no gap
_KEPT_S = 10  # of what came in and was not read
_SILENT_NS = 500_000_000  # without a block: the device has stopped
_STARTS_WITHIN_NS = 5_000_000_000  # a server that was idle may first play out seconds of silence
_GAPS_TOLD_EVERY_NS = 10_000_000_000
_WANDER_TOLD_EVERY_NS = 60_000_000_000
_STEADY_S = 2e-3  # in ten seconds; a bad crystal makes 1 ms
_PRIORITY = 70  # below the tick's
_RATES_HZ = (16_000, 22_050, 32_000, 44_100, 48_000, 88_200, 96_000, 176_400, 192_000)
_BEST_HZ = 48_000
_WRONG_RATE = -9997  # PortAudio's paInvalidSampleRate
_RATE_SLACK = 1e-3  # what a system may round a rate by; a wrong one is off by 80 times as much


class Watch:
    """Whether a stream still runs, and what its operator should know of it."""

    def __init__(self, device: AudioDevice, way: Way, rate_hz: int) -> None:
        self.device = device
        self.way = way
        self.rate_hz = rate_hz
        self.gaps = 0  # blocks with sound lost before or in them
        self._clock = CardClock(way)
        self._wander = Wander(rate_hz)
        self._wander_told_ns = 0
        self._where = f"sound {way} {device.name!r}"
        self._stream: Any = None
        self._heard_ns = time.monotonic_ns() + _STARTS_WITHIN_NS - _SILENT_NS
        self._gaps_told, self._gaps_told_ns = 0, 0
        self.fault: BaseException | None = None  # of ours, in the card's thread

    def begin(self, stream: Any) -> None:
        """Take the stream, which is about to run."""
        self._stream = stream
        self._clock.latency_s = stream.latency

    def stamp(self, first: int, said_s: float, status: Any) -> int:
        """Return the stamp of a block that is just here, as the card says it; called in the card's thread."""
        before_ns = time.monotonic_ns()
        card_s = self._stream.time
        now_ns = time.monotonic_ns()
        self._heard_ns = max(now_ns, self._heard_ns)
        if status and (status.input_overflow or status.output_underflow):
            self.gaps += 1
        stamp_ns = self._clock.stamp(said_s, card_s, before_ns, now_ns)
        self._wander.feed(first, stamp_ns)
        return stamp_ns

    def check(self) -> None:
        """Raise LinkError once the device has stopped, or the fault of ours."""
        if self.fault is not None:
            raise self.fault
        if time.monotonic_ns() - self._heard_ns > _SILENT_NS or not self._stream.active:
            raise LinkError(f"{self._where} has stopped; plug it in or start its sound server again, and open it anew")

    def notices(self) -> tuple[str, ...]:
        """Return what happened since the last call, in words for the operator."""
        said = self._clock.notices()
        now_ns = time.monotonic_ns()
        if self.gaps > self._gaps_told and now_ns - self._gaps_told_ns > _GAPS_TOLD_EVERY_NS:
            self._gaps_told, self._gaps_told_ns = self.gaps, now_ns
            words = f"{self._where}: {self.gaps} gaps so far, since the machine was too busy; close other programs"
            said += (words,)
        moved_s = self._wander.moved_s
        if moved_s > _STEADY_S and now_ns - self._wander_told_ns > _WANDER_TOLD_EVERY_NS:
            self._wander_told_ns = now_ns
            words = f"{self._where}: its time moved by {1e3 * moved_s:.0f} ms against its samples"
            mend = (
                "name the card itself and not its server, give the server real-time scheduling, or close other programs"
            )
            said += (f"{words}; {mend}",)
        return said


class AudioIn:
    """Sound that comes in."""

    def __init__(self, watch: Watch) -> None:
        self.device = watch.device
        self.rate_hz = watch.rate_hz
        self.first = 0  # the number of the next block's first sample
        self._watch = watch
        self._blocks: deque[Block] = deque(maxlen=round(_KEPT_S * watch.rate_hz / BLOCK))

    @property
    def gaps(self) -> int:
        """How many blocks came with sound lost before or in them."""
        return self._watch.gaps

    def hear(self, samples: Any, count: int, times: Any, status: Any) -> None:
        """Put a block away; PortAudio calls it."""
        first, self.first = self.first, self.first + count
        self._blocks.append(Block(first, self._watch.stamp(first, times.inputBufferAdcTime, status), samples.copy()))

    def read(self, heard_ns: int) -> tuple[Block, ...]:
        """Return the blocks since the last call; what was not read within ten seconds is lost, as `first` shows."""
        return tuple(self._blocks.popleft() for _ in range(len(self._blocks)))

    def check(self) -> None:
        """Raise LinkError once the device has stopped: it was unplugged, or its server ended."""
        self._watch.check()

    def notices(self) -> tuple[str, ...]:
        """Return what happened since the last call, in words for the operator."""
        return self._watch.notices()


class AudioOut:
    """Sound that goes out: `fill` is asked for each block."""

    def __init__(self, watch: Watch, fill: Fill) -> None:
        self.device = watch.device
        self.rate_hz = watch.rate_hz
        self.first = 0  # the number of the next block's first sample
        self._watch = watch
        self._fill = fill

    @property
    def gaps(self) -> int:
        """How many blocks came too late, as far as the system tells."""
        return self._watch.gaps

    def play(self, out: Any, count: int, times: Any, status: Any) -> None:
        """Fill a block; PortAudio calls it."""
        out.fill(0)
        first, self.first = self.first, self.first + count
        try:
            self._fill(first, self._watch.stamp(first, times.outputBufferDacTime, status), out)
        except BaseException as fault:
            # nobody is above this thread who could hear of it: `check` raises it
            self._watch.fault = fault
            out.fill(0)
            raise binding().CallbackAbort from fault

    def check(self) -> None:
        """Raise LinkError once the device has stopped, as for AudioIn; and what `fill` raised."""
        self._watch.check()

    def notices(self) -> tuple[str, ...]:
        """Return what happened since the last call, in words for the operator."""
        return self._watch.notices()


@contextmanager
def open_input(name: str, rate_hz: int, channels: int) -> Iterator[AudioIn]:
    """Record from the device that `name` means (see `find`).

    Error: LinkError where there is none or it cannot do that: never is a rate taken for another.
    """
    device = _fit_for(find(name, inputs(), "input"), "input", rate_hz, channels)
    watch = Watch(device, "input", rate_hz)
    came = AudioIn(watch)
    with _open(watch, "InputStream", rate_hz, channels, came.hear):
        yield came


@contextmanager
def open_output(name: str, rate_hz: int, channels: int, fill: Fill) -> Iterator[AudioOut]:
    """Play to the device that `name` means (see `find`) what `fill` makes.

    Error: LinkError where there is none or it cannot do that: never is anything played at another speed.
    """
    device = _fit_for(find(name, outputs(), "output"), "output", rate_hz, channels)
    watch = Watch(device, "output", rate_hz)
    going = AudioOut(watch, fill)
    with _open(watch, "OutputStream", rate_hz, channels, going.play):
        yield going


def best_rate(device: AudioDevice, way: Way) -> int:
    """Return the rate to open it at where nothing asks for another: 48 kHz, as beside pictures, or else its own.

    Error: LinkError where the device refuses to be asked.
    """
    return _BEST_HZ if _able(device, way, min(2, device.channels), (_BEST_HZ,)) else round(device.rate_hz)


def _able(device: AudioDevice, way: Way, channels: int, rates_hz: tuple[int, ...]) -> list[int]:
    """Return which of the rates the device can do. Error: LinkError."""
    sounddevice = binding()
    ask = sounddevice.check_input_settings if way == "input" else sounddevice.check_output_settings
    able = []
    for rate_hz in rates_hz:
        try:
            ask(device.number, channels, "float32", samplerate=rate_hz)
            able.append(rate_hz)
        except sounddevice.PortAudioError as error:
            if _WRONG_RATE not in error.args:
                raise LinkError(_refused(device, way, error)) from error
    return able


def _fit_for(device: AudioDevice, way: Way, rate_hz: int, channels: int) -> AudioDevice:
    """Return the device where it can do that. Error: LinkError."""
    if channels > device.channels:
        has = f"sound {way} {device.name!r} has {device.channels} channels, not {channels}"
        raise LinkError(f"{has}; name another channel or device")
    if _able(device, way, channels, (rate_hz,)):
        return device
    able = ", ".join(map(str, _able(device, way, channels, _RATES_HZ))) or "none of the usual rates"
    raise LinkError(
        f"sound {way} {device.name!r} cannot do {rate_hz} samples a second, but {able}; take one of these, set it "
        "to another rate in its own settings, or name another device"
    )


@contextmanager
def _open(watch: Watch, kind: str, rate_hz: int, channels: int, callback: Any) -> Iterator[None]:
    sounddevice = binding()
    device = watch.device
    try:
        with _real_time_threads():
            stream = getattr(sounddevice, kind)(
                device=device.number,
                samplerate=rate_hz,
                channels=channels,
                dtype="float32",
                blocksize=BLOCK,
                latency=_LATENCY_S,
                callback=callback,
            )
    except sounddevice.PortAudioError as error:
        raise LinkError(_refused(device, watch.way, error)) from error
    with running(stream):
        try:
            if abs(stream.samplerate / rate_hz - 1) > _RATE_SLACK:
                raise LinkError(
                    f"sound {watch.way} {device.name!r} would run at {stream.samplerate:.0f} samples a second, not "
                    f"{rate_hz}; set it to that rate in its own settings"
                )
            watch.begin(stream)
            with _real_time_threads():
                stream.start()
            yield
        except sounddevice.PortAudioError as error:
            raise LinkError(_refused(device, watch.way, error)) from error


@contextmanager
def _real_time_threads() -> Iterator[None]:
    """Give threads that the sound system begins meanwhile real-time scheduling: those of new streams.

    Without, a busy machine makes gaps. Where the system refuses, nothing changes; other systems than Linux give it
    unasked.
    """
    if not hasattr(os, "SCHED_RESET_ON_FORK"):
        yield
        return
    before = os.sched_getscheduler(0), os.sched_getparam(0)
    with suppress(OSError):
        os.sched_setscheduler(0, os.SCHED_FIFO, os.sched_param(_PRIORITY))
    try:
        yield
    finally:
        os.sched_setscheduler(0, *before)


def _refused(device: AudioDevice, way: Way, error: Exception) -> str:
    return f"sound {way} {device.name!r} refuses ({error.args[0]}); close what else uses it, or name another device"
