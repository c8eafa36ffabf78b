"""The slate's beep: the tone itself, when a card is told to play it, and what is heard of it through a sound server."""

import time

import numpy as np
import pytest

from sequencer.adapters.audio_ports.blocks import Block
from sequencer.adapters.audio_ports.player import Player
from sequencer.adapters.audio_ports.streams import AudioIn, open_input
from sequencer.errors import LinkError
from sequencer.shell.companion import Companion, companion
from sequencer.shell.slate_sound import AHEAD_S, TONE_HZ, Beeper, beep
from tests.needs import needs
from tests.pulse import pulse_server

RATE_HZ, BLOCK = 48_000, 256
S = 1_000_000_000


@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
def test_the_tone_is_of_the_asked_pitch_and_begins_and_ends_at_zero(rate_hz: int) -> None:
    tone = beep(rate_hz, 0.08)[:, 0]
    assert len(tone) == round(0.08 * rate_hz)
    spectrum = np.abs(np.fft.rfft(tone))
    assert np.fft.rfftfreq(len(tone), 1 / rate_hz)[spectrum.argmax()] == pytest.approx(TONE_HZ)
    assert tone[0] == 0.0
    assert abs(tone[-1] + tone[1]) < 1e-3, "the next sample would be the zero of a whole wave"
    assert np.abs(tone).max() == pytest.approx(0.5, abs=0.01)


class Desk:
    """A card by hand: blocks leave one after another, each at its own instant."""

    def __init__(self) -> None:
        self.player = Player(beep(RATE_HZ, 0.08), RATE_HZ)
        self.beeper = Beeper(self.player)
        self.first = 0
        self.played: list[tuple[int, float]] = []

    @property
    def now_ns(self) -> int:
        return self.first * S // RATE_HZ

    def run(self, seconds: float) -> list[int | None]:
        """Let the card play for so long; return when beeps began."""
        began: list[int | None] = []
        for _ in range(round(seconds * RATE_HZ / BLOCK)):
            out = np.zeros((BLOCK, 1), np.float32)
            leaves_ns = self.now_ns
            self.player.fill(self.first, leaves_ns, out)
            loud = np.flatnonzero(out[:, 0])
            if len(loud):
                self.played.append((leaves_ns + int(loud[0]) * S // RATE_HZ, float(np.abs(out).max())))
            self.first += BLOCK
            began += self.beeper.look(self.now_ns)
        return began


def test_each_clap_is_heard_at_its_instant_and_says_so() -> None:
    desk = Desk()
    desk.run(0.5)
    for _ in range(3):
        at_ns = desk.now_ns + round(AHEAD_S * S)
        desk.beeper.clap(at_ns)
        desk.played.clear()
        (began,) = desk.run(1.0)
        assert began == pytest.approx(at_ns, abs=S / RATE_HZ)
        # the first sample of a sine is zero, and the tone is faded in: the next one or two can be heard
        assert desk.played[0][0] == pytest.approx(at_ns, abs=3 * S / RATE_HZ)


def test_a_clap_that_comes_too_late_did_not_sound_on_time() -> None:
    desk = Desk()
    desk.run(0.5)
    desk.beeper.clap(desk.now_ns - S)
    assert desk.run(3.0) == [None]


def test_a_card_that_is_not_there_is_told() -> None:
    with (
        companion("slate's sound", "sequencer.shell.slate_sound", "--device", "no such card") as one,
        pytest.raises(LinkError, match=r"sound device|PortAudio|sounddevice"),
    ):
        one.wait_for("device")


@pytest.mark.real_time
def test_what_is_heard_through_a_sound_server_is_where_it_says() -> None:
    needs("pulseaudio")
    needs("pactl")
    with (
        pulse_server(),
        companion("slate's sound", "sequencer.shell.slate_sound", "--device", "quay") as one,
        open_input("quay_heard", RATE_HZ, 1) as came,
    ):
        assert "quay" in one.wait_for("device")
        blocks: list[Block] = []
        _listen(came, blocks, 1.0)
        at_ns = time.monotonic_ns() + round(AHEAD_S * S)
        one.say({"clap": at_ns})
        sounded_ns = _sounded(one, came, blocks)
    heard_ns = next(
        block.stamp_ns + int(loud[0]) * S // RATE_HZ
        for block in blocks
        if len(loud := np.flatnonzero(np.abs(block.samples[:, 0]) > 0.01))
    )
    # nearer, on a busy machine too, than what the device has in hand, which is 60 ms
    assert abs(sounded_ns - at_ns) < 0.04 * S
    assert abs(heard_ns - sounded_ns) < 0.04 * S


def _listen(came: AudioIn, blocks: list[Block], seconds: float) -> None:
    ends_s = time.monotonic() + seconds
    while time.monotonic() < ends_s:
        blocks += came.read(0)
        time.sleep(0.01)


def _sounded(one: Companion, came: AudioIn, blocks: list[Block]) -> int:
    for _ in range(50):
        _listen(came, blocks, 0.1)
        for line in one.hear():
            if "sounded" in line:
                _listen(came, blocks, 0.5)
                return int(line["sounded"])
    raise AssertionError("it said nothing of the beep")
