"""Linear timecode on an audio input: addresses, instants, gaps, notices; and through a real sound server.

Outside check: the tone is libltc's.
"""

import time

import numpy as np
import pytest

from sequencer.adapters.audio_ports.blocks import Samples
from sequencer.adapters.audio_ports.player import Player
from sequencer.adapters.audio_ports.streams import BLOCK, AudioIn, Watch, open_output
from sequencer.adapters.sources.ltc_in import KIND, LtcIn
from sequencer.errors import LinkError
from sequencer.wire.ltc import Heard, unpacked
from sequencer.wire.ltc_word import Word, decode, encode
from tests.adapters_audio.card import DEVICE, RATE_HZ, Card
from tests.libltc import encode as theirs
from tests.pulse import PulseServer

S = 1_000_000_000
FPS = 25
FRAME = RATE_HZ // FPS


def words(count: int) -> list[bytes]:
    return [encode(Word(10, 0, number // FPS, number % FPS), FPS) for number in range(count)]


def tone(count: int) -> Samples:
    return theirs(words(count), FPS, FPS, RATE_HZ)


@pytest.mark.parametrize("text", ["channel=0", "channel=x", "rate=", "rate=48k", "channels=2", "channel=300"])
def test_an_address_that_is_not_understood_is_refused_with_an_example(text: str) -> None:
    with (
        pytest.raises(LinkError, match=r"is not understood; write it as ltc:NAME\?channel=2&rate=48000"),
        KIND.open(f"ltc:quay?{text}"),
    ):
        pass


class Bench:
    """A source that hears channel 2 of a card by hand, whose sample 0 is at the converter at 0."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.hand = [0]
        monkeypatch.setattr(time, "monotonic_ns", lambda: self.hand[0])
        self._card = Card(self.hand)
        watch = Watch(DEVICE, "input", RATE_HZ)
        watch.begin(self._card)
        self._heard = AudioIn(watch)
        self.source = LtcIn(self._heard, 2, RATE_HZ)
        self._at = 0

    def hear(self, sound: Samples, *, read: bool = True) -> list[tuple[int, Heard]]:
        """Let whole blocks come in, each as soon as it is whole; return the words with their arrival."""
        found = []
        for block in np.split(sound, len(sound) // BLOCK):
            begun_s = self._at / RATE_HZ
            self._at += BLOCK
            self.hand[0] = self._at * S // RATE_HZ
            both = np.stack((np.zeros(BLOCK, np.float32), block), axis=1)
            self._card.record(self._heard, both, 1000.0 + begun_s)
            if read:
                chunks = self.source.read(self.hand[0])
                found += [(chunk.stamp_ns, unpacked(chunk.data).heard) for chunk in chunks]
        return found


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch) -> Bench:
    return Bench(monkeypatch)


def cut(sound: Samples) -> Samples:
    return sound[: len(sound) // BLOCK * BLOCK]


def test_each_word_is_heard_with_the_instants_of_its_boundaries(bench: Bench) -> None:
    found = bench.hear(cut(tone(50)))
    bits = [heard.bits for _, heard in found]
    first = words(50).index(bits[0])
    assert first <= 4
    assert bits == words(50)[first : first + len(bits)]
    assert len(bits) >= 48 - first
    for number, (arrived_ns, heard) in enumerate(found, first):
        due_ns = [(number + part / 4) * FRAME * S / RATE_HZ for part in range(5)]
        # half a sample for libltc's own whole ones
        np.testing.assert_allclose(np.array(heard.marks) + arrived_ns, due_ns, atol=0.75 * S / RATE_HZ)
    assert bench.source.notices() == ()


def test_what_was_not_read_in_time_leaves_a_gap_and_times_go_on(bench: Bench) -> None:
    sound = cut(tone(350))
    bench.hear(sound[: 50 * BLOCK])
    # eleven seconds come in, of which ten are kept
    bench.hear(sound[50 * BLOCK : 2100 * BLOCK], read=False)
    later = bench.hear(sound[2100 * BLOCK : 2200 * BLOCK])
    assert len(later) > 230
    for arrived_ns, heard in later[3:]:
        word = decode(heard.bits, FPS)
        due_ns = (word.seconds * FPS + word.frames) * FRAME * S / RATE_HZ
        assert arrived_ns + heard.marks[0] == pytest.approx(due_ns, abs=0.75 * S / RATE_HZ)


def test_silence_and_clipping_are_told_in_plain_words(bench: Bench) -> None:
    bench.hear(np.zeros(300 * BLOCK, np.float32))
    (silent,) = bench.source.notices()
    assert silent.startswith("timecode on channel 2 of 'quay' is silent; check the cable")
    bench.hear(cut(np.clip(4 * tone(50), -1, 1)))
    (clipped,) = bench.source.notices()
    assert "is clipped; turn it down" in clipped


@pytest.mark.real_time
def test_timecode_is_heard_through_a_sound_server(server: PulseServer) -> None:
    assert "ltc:quay_heard, ALSA" in KIND.names()
    player = Player(tone(100)[:, None], RATE_HZ)
    with (
        KIND.open("ltc:quay_heard?channel=1") as source,
        open_output("quay", RATE_HZ, player.channels, player.fill) as going,
    ):
        assert source.address == "ltc:quay_heard, ALSA?channel=1&rate=48000"
        begins_ns = time.monotonic_ns() + S // 2
        player.play(begins_ns, 0)
        found: list[tuple[int, Heard]] = []
        while time.monotonic_ns() < begins_ns + 3 * S:
            chunks = source.read(time.monotonic_ns())
            found += [(chunk.stamp_ns, unpacked(chunk.data).heard) for chunk in chunks]
            going.check()
            time.sleep(0.005)
        source.notices()
    sent = words(100)
    numbers = [sent.index(heard.bits) for _, heard in found]
    assert len(numbers) >= 60
    # a busy machine may lose one, but none comes twice or in another order
    assert numbers == sorted(set(numbers))
    late_ns = [
        arrived_ns + heard.marks[0] - begins_ns - number * S / FPS
        for number, (arrived_ns, heard) in zip(numbers, found, strict=True)
    ]
    # nearer, on a busy machine too, than what the device has in hand, which is 60 ms
    assert abs(np.median(late_ns)) < 0.04 * S
    assert not any(heard.backward for _, heard in found)


@pytest.mark.real_time
def test_a_device_of_another_name_is_refused(server: PulseServer) -> None:
    with pytest.raises(LinkError, match="no sound device to record from has 'harbour'"), KIND.open("ltc:harbour"):
        pass
