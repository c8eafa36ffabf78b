"""Sound in and out of real streams, and what is told when the device is wrong, is gone, or is not kept up with."""

import time
from contextlib import ExitStack
from types import SimpleNamespace

import numpy as np
import pytest

from sequencer.adapters.audio_ports.blocks import Block, Samples
from sequencer.adapters.audio_ports.devices import find, outputs
from sequencer.adapters.audio_ports.streams import BLOCK, AudioIn, AudioOut, Watch, best_rate, open_input, open_output
from sequencer.errors import LinkError
from tests.adapters_audio.card import CLEAN, DEVICE, Card, Status
from tests.adapters_audio.coded import coded, numbers
from tests.needs import needs
from tests.pulse import PulseServer, pulse_server

RATE_HZ = 48_000
MS = 1_000_000


@pytest.fixture
def hand(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The monotonic clock, set by hand."""
    now = [0]
    monkeypatch.setattr(time, "monotonic_ns", lambda: now[0])
    return now


@pytest.fixture
def came(hand: list[int]) -> tuple[AudioIn, Card]:
    watch, card = Watch(DEVICE, "input", RATE_HZ), Card(hand)
    watch.begin(card)
    return AudioIn(watch), card


def hear(heard: AudioIn, card: Card, blocks: int = 1, status: Status = CLEAN) -> None:
    for _ in range(blocks):
        card.record(heard, np.zeros((BLOCK, 1), np.float32), card.time - 0.005, status)


def test_blocks_come_in_order_with_their_stamps(came: tuple[AudioIn, Card], hand: list[int]) -> None:
    heard, card = came
    hand[0] = 100 * MS
    hear(heard, card)
    hand[0] = 110 * MS
    hear(heard, card)
    blocks = heard.read(hand[0])
    assert [block.first for block in blocks] == [0, BLOCK]
    assert [block.stamp_ns for block in blocks] == pytest.approx([95 * MS, 105 * MS], abs=1000)
    assert heard.read(hand[0]) == ()


def test_a_device_that_falls_silent_is_gone_after_half_a_second(came: tuple[AudioIn, Card], hand: list[int]) -> None:
    heard, card = came
    # to begin it may take its time: a server that was idle plays out what it has
    hand[0] = 4900 * MS
    heard.check()
    hear(heard, card)
    hand[0] += 490 * MS
    heard.check()
    hand[0] += 20 * MS
    with pytest.raises(LinkError, match=r"sound input 'quay' has stopped; plug it in"):
        heard.check()


def test_a_device_that_never_begins_is_told_too(came: tuple[AudioIn, Card], hand: list[int]) -> None:
    heard, _ = came
    hand[0] = 5100 * MS
    with pytest.raises(LinkError, match="has stopped"):
        heard.check()


def test_a_stream_that_says_it_has_ended_is_believed_at_once(came: tuple[AudioIn, Card]) -> None:
    heard, card = came
    hear(heard, card)
    card.active = False
    with pytest.raises(LinkError, match="has stopped"):
        heard.check()


def test_gaps_are_counted_and_told_now_and_then(came: tuple[AudioIn, Card], hand: list[int]) -> None:
    heard, card = came
    hand[0] = 60_000 * MS
    hear(heard, card, 3, Status(input_overflow=True))
    assert heard.notices() == (
        "sound input 'quay': 3 gaps so far, since the machine was too busy; close other programs",
    )
    hear(heard, card, 2, Status(input_overflow=True))
    assert heard.notices() == ()
    hand[0] += 10_001 * MS
    (notice,) = heard.notices()
    assert "5 gaps so far" in notice
    hand[0] += 10_001 * MS
    assert heard.notices() == ()


@pytest.mark.parametrize(
    ("ppm", "stands_ns", "told"),
    [(0, 0, ""), (150, 0, ""), (0, 12 * MS, "moved by 12 ms"), (-5000, 0, "moved by 45 ms")],
)
def test_a_card_whose_time_does_not_go_with_its_samples_is_told(
    came: tuple[AudioIn, Card], hand: list[int], ppm: int, stands_ns: int, told: str
) -> None:
    heard, card = came
    for number in range(20 * RATE_HZ // BLOCK):
        late_ns = stands_ns if number > 15 * RATE_HZ // BLOCK else 0
        # as long as a system does not know what it holds its stamps may be anywhere
        late_ns += 300 * MS if number < RATE_HZ // BLOCK else 0
        hand[0] = 60_000 * MS + round(number * BLOCK * (1 + ppm / 1e6) * 1e9 / RATE_HZ) + late_ns
        hear(heard, card)
    said = heard.notices()
    assert len(said) == bool(told)
    assert all(told in one and "; name the card itself" in one for one in said)
    assert heard.notices() == ()


def test_what_is_not_read_is_lost_from_its_beginning_and_the_numbers_show_it(came: tuple[AudioIn, Card]) -> None:
    heard, card = came
    kept = round(10 * RATE_HZ / BLOCK)
    hear(heard, card, kept + 7)
    blocks = heard.read(0)
    assert [block.first for block in blocks] == [BLOCK * number for number in range(7, kept + 7)]


def test_a_fill_that_fails_sends_silence_and_its_fault_is_not_lost(hand: list[int]) -> None:
    def fill(first: int, dac_ns: int, out: Samples) -> None:
        out[:] = 0.5
        raise ValueError("no such sample")

    import sounddevice

    watch, card = Watch(DEVICE, "output", RATE_HZ), Card(hand)
    watch.begin(card)
    going = AudioOut(watch, fill)
    out = np.ones((BLOCK, 2), np.float32)
    with pytest.raises(sounddevice.CallbackAbort):
        going.play(out, BLOCK, SimpleNamespace(outputBufferDacTime=card.time), CLEAN)
    assert not out.any()
    with pytest.raises(ValueError, match="no such sample"):
        going.check()


@pytest.mark.real_time
def test_what_is_played_is_recorded_sample_by_sample_at_the_same_instants(server: PulseServer) -> None:
    leaves: list[tuple[int, int]] = []
    before: list[bool] = []

    def fill(first: int, dac_ns: int, out: Samples) -> None:
        leaves.append((first, dac_ns))
        before.append(bool(out.any()))
        out[:] = coded(np.arange(first, first + len(out)))

    blocks: list[Block] = []
    with open_input("quay_heard", RATE_HZ, 2) as heard, open_output("quay", RATE_HZ, 2, fill) as going:
        while len(blocks) < 2 * RATE_HZ // BLOCK:
            blocks += heard.read(time.monotonic_ns())
            heard.check()
            going.check()
            time.sleep(0.01)
    assert not any(before)
    assert [first for first, _ in leaves] == [BLOCK * number for number in range(len(leaves))]
    assert [block.first for block in blocks] == [BLOCK * number for number in range(len(blocks))]
    leaves_ns, early_ns = dict(leaves), []
    for block in blocks:
        first = int(numbers(block.samples)[0])
        if first > BLOCK and np.array_equal(numbers(block.samples), np.arange(first, first + BLOCK)):
            into = first % BLOCK
            early_ns.append(leaves_ns[first - into] + into * 1e9 / RATE_HZ - block.stamp_ns)
    # both stamps are of the same instant: nearer, on a busy machine too, than what the device has in hand, 60 ms
    assert len(early_ns) > RATE_HZ // BLOCK
    assert abs(np.median(early_ns)) < 40 * MS


@pytest.mark.real_time
def test_sound_of_another_rate_than_the_device_keeps_its_pitch(server: PulseServer) -> None:
    played_hz, recorded_hz, tone_hz = 44_100, RATE_HZ, 1000

    def fill(first: int, dac_ns: int, out: Samples) -> None:
        out[:] = 0.5 * np.sin(2 * np.pi * tone_hz / played_hz * np.arange(first, first + len(out)))[:, None]

    pieces: list[Samples] = []
    with open_input("quay_heard", recorded_hz, 1) as heard, open_output("quay", played_hz, 1, fill):
        while len(pieces) < 1.2 * recorded_hz / BLOCK:
            pieces += [block.samples[:, 0] for block in heard.read(0)]
            heard.check()
            time.sleep(0.01)
    sound = np.concatenate(pieces)[-recorded_hz // 2 :]
    loudness = np.abs(np.fft.rfft(sound * np.hanning(len(sound))))
    assert int(loudness.argmax()) * recorded_hz / len(sound) == pytest.approx(tone_hz, abs=4)  # the wrong speed: 1088


@pytest.mark.real_time
def test_what_a_device_cannot_do_is_refused_in_plain_words(server: PulseServer) -> None:
    def refused(said: str, rate_hz: int = RATE_HZ, channels: int = 2, name: str = "quay") -> None:
        with (
            pytest.raises(LinkError, match=said),
            open_output(name, rate_hz, channels, lambda first, dac_ns, out: None),
        ):
            pass

    refused(r"'quay' cannot do 1000000 samples a second, but .*44100, 48000, .*; take one of these", rate_hz=1_000_000)
    refused("'quay' has 32 channels, not 33", channels=33)
    refused("no sound device to play to has 'harbour' in its name", name="harbour")
    # PortAudio itself would say 44100
    assert best_rate(find("quay", outputs(), "output"), "output") == RATE_HZ


@pytest.mark.real_time
def test_a_server_that_ends_is_a_link_that_is_gone_within_a_second() -> None:
    needs("pulseaudio")
    with pulse_server() as serving, ExitStack() as links:
        heard = links.enter_context(open_input("quay_heard", RATE_HZ, 1))
        going = links.enter_context(open_output("quay", RATE_HZ, 2, lambda first, dac_ns, out: None))
        while not heard.read(0) or not going.first:
            time.sleep(0.01)
        serving.end()
        time.sleep(1)
        for stream, way in ((heard, "input"), (going, "output")):
            with pytest.raises(LinkError, match=f"sound {way} .* has stopped; plug it in or start its sound server"):
                stream.check()
        links.close()
        with pytest.raises(LinkError, match=r"'quay'|no sound device"), open_input("quay", RATE_HZ, 1):
            pass
