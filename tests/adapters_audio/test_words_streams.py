"""What is said of a sound device that another program holds."""

from types import SimpleNamespace

import pytest

from sequencer.adapters.audio_ports import streams
from sequencer.adapters.audio_ports.devices import AudioDevice
from sequencer.errors import LinkError

QUAY = AudioDevice(name="quay", system="ALSA", channels=2, rate_hz=48_000.0, latency_s=0.01, is_default=True, number=0)


class Held(Exception):
    """As the library says it."""


def test_a_device_that_is_in_use_is_named_with_the_mend(monkeypatch: pytest.MonkeyPatch) -> None:
    def ask(*_: object, **__: object) -> None:
        raise Held("Device unavailable", -9985)

    monkeypatch.setattr(streams, "binding", lambda: SimpleNamespace(PortAudioError=Held, check_output_settings=ask))
    with pytest.raises(LinkError) as caught:
        streams.best_rate(QUAY, "output")
    assert str(caught.value) == (
        "sound output 'quay' refuses (Device unavailable); close what else uses it, or name another device"
    )
