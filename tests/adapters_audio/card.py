"""A sound card by hand: PortAudio's stream, its flags and its clock, as far as they are looked at."""

from types import SimpleNamespace
from typing import NamedTuple

from sequencer.adapters.audio_ports.blocks import Samples
from sequencer.adapters.audio_ports.devices import AudioDevice
from sequencer.adapters.audio_ports.streams import AudioIn

RATE_HZ = 48_000
DEVICE = AudioDevice(
    name="quay", system="ALSA", channels=2, rate_hz=RATE_HZ, latency_s=0.01, is_default=False, number=0
)


class Status(NamedTuple):
    """PortAudio's flags, as far as they are looked at."""

    input_overflow: bool = False
    output_underflow: bool = False


CLEAN = Status()


class Card:
    """A stream of PortAudio's as far as it is asked; its clock is the hand's."""

    latency = 0.05

    def __init__(self, hand: list[int]) -> None:
        self._hand = hand
        self.active = True

    @property
    def time(self) -> float:
        return 1000.0 + self._hand[0] / 1e9

    def record(self, heard: AudioIn, samples: Samples, adc_s: float, status: Status = CLEAN) -> None:
        """Let `heard` have a block whose first sample was at the converter at `adc_s` of our clock."""
        heard.hear(samples, len(samples), SimpleNamespace(inputBufferAdcTime=adc_s), status)
