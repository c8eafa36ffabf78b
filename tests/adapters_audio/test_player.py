"""Playback: begun at an instant, halted without a click, and where it says it is; then as it is recorded."""

import time

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from sequencer.adapters.audio_ports.blocks import Samples
from sequencer.adapters.audio_ports.player import Player
from sequencer.adapters.audio_ports.streams import open_input, open_output
from sequencer.wire.played import Playing, unpacked
from tests.adapters_audio.coded import coded, numbers
from tests.pulse import PulseServer

RATE_HZ = 48_000
FADE = 240  # samples: 5 ms
KNOWN = 31  # blocks until the card's clock is known
S = 1_000_000_000


class Card:
    """A card without jitter: its sample 0 is at the converter at `zero_ns`."""

    def __init__(self, player: Player, zero_ns: int = 7 * S, block: int = 256) -> None:
        self.player = player
        self.zero_ns = zero_ns
        self.first = 0
        self._block = block

    def instant(self, sample: int) -> int:
        return self.zero_ns + sample * S // RATE_HZ

    def run(self, blocks: int) -> Samples:
        """Let blocks go out; return them joined."""
        out = np.zeros((blocks * self._block, self.player.channels), np.float32)
        for block in np.split(out, blocks):
            self.player.fill(self.first, self.instant(self.first), block)
            self.first += self._block
        return out

    def records(self) -> list[tuple[int, Playing]]:
        return [(chunk.stamp_ns, unpacked(chunk.data)) for chunk in self.player.read(0)]


def ramp(length: int) -> Samples:
    """Samples of which each is unlike every other, and none is 0."""
    return np.linspace(0.25, 0.75, length, dtype=np.float32)[:, None]


@pytest.fixture
def card() -> Card:
    ready = Card(Player(ramp(RATE_HZ), RATE_HZ))
    ready.run(KNOWN)
    ready.player.read(0)
    return ready


def test_it_stands_silent_at_its_first_sample(card: Card) -> None:
    assert not card.run(3).any()
    assert card.records() == [(card.instant((KNOWN + n) * 256), Playing(0, RATE_HZ, False)) for n in range(3)]


@pytest.mark.parametrize("sample", [0, 12_345, -1000])
def test_it_begins_at_the_instant_to_the_sample(card: Card, sample: int) -> None:
    begin = card.first + 1000
    card.player.play(card.instant(begin), sample)
    heard = card.run(40)[:, 0]
    music = ramp(RATE_HZ)[:, 0]
    assert not heard[:1000].any()
    faded_in = 1000 + FADE
    expected = np.array([music[n] if n >= 0 else 0 for n in range(sample + FADE, sample + len(heard) - 1000)])
    np.testing.assert_array_equal(heard[faded_in:], expected)


def test_it_enters_in_mid_audio_where_it_would_be_by_now(card: Card) -> None:
    card.player.play(card.instant(card.first - 3001), 500)
    heard = card.run(4)[:, 0]
    np.testing.assert_array_equal(heard[FADE:], ramp(RATE_HZ)[3501 + FADE :][: 1024 - FADE, 0])
    assert card.records()[0][1] == Playing(3501, RATE_HZ, True)


def test_it_waits_until_the_clock_of_the_card_is_known() -> None:
    fresh = Card(Player(ramp(RATE_HZ), RATE_HZ))
    fresh.player.play(fresh.zero_ns, 0)
    heard = fresh.run(KNOWN + 1)[:, 0]
    begin = (KNOWN - 1) * 256
    assert not heard[:begin].any()
    np.testing.assert_array_equal(heard[begin + FADE :], ramp(RATE_HZ)[begin + FADE :][: 512 - FADE, 0])


def test_stamps_that_jitter_do_not_move_the_beginning() -> None:
    random = np.random.default_rng(5)
    player = Player(ramp(RATE_HZ), RATE_HZ)
    begin = 20_000
    player.play(begin * S // RATE_HZ, 0)
    out = np.zeros((25_600, 1), np.float32)
    for number, block in enumerate(np.split(out, 100)):
        late_ns = round(random.normal(0, 300_000))
        player.fill(number * 256, number * 256 * S // RATE_HZ + late_ns, block)
    # a stamp's jitter is 14 samples, the median's of 31 of them is 3.3
    assert abs(int(np.flatnonzero(out[:, 0])[0]) - begin) <= 14


def test_after_the_last_sample_there_is_silence_in_which_time_runs_on(card: Card) -> None:
    card.player.play(card.instant(card.first), RATE_HZ - 300)
    heard = card.run(4)[:, 0]
    assert heard[299] == np.float32(0.75)
    assert not heard[300:].any()
    assert [playing.sample for _, playing in card.records()] == [RATE_HZ - 300 + 256 * n for n in range(4)]


def test_a_halt_fades_out_and_stands_where_the_sound_ended(card: Card) -> None:
    card.player.play(card.instant(card.first), 0)
    card.run(4)
    card.player.halt()
    heard = card.run(3)[:, 0]
    assert not heard[256:].any()
    card.player.read(0)
    card.run(1)
    assert card.records()[0][1] == Playing(5 * 256, RATE_HZ, False)


@pytest.mark.parametrize("late", [0, 3001])
def test_without_a_place_it_plays_on_from_where_it_stands_with_nothing_left_out(card: Card, late: int) -> None:
    card.player.locate(500)
    card.player.play(card.instant(card.first + 256 - late))
    heard = card.run(5)[:, 0]
    begin = 0 if late else 256
    assert not heard[:begin].any()
    np.testing.assert_array_equal(heard[begin + FADE : begin + 1024], ramp(RATE_HZ)[500 + FADE : 1524, 0])


def test_it_plays_on_where_a_halt_left_it(card: Card) -> None:
    card.player.play(card.instant(card.first), 0)
    card.run(4)
    card.player.halt()
    card.player.play(card.instant(card.first))  # before the card's thread has seen the halt
    card.run(1)
    card.player.read(0)
    card.run(2)
    assert [playing for _, playing in card.records()] == [
        Playing(5 * 256, RATE_HZ, True),
        Playing(6 * 256, RATE_HZ, True),
    ]


def test_what_plays_already_runs_on_undisturbed_when_told_to_play_on(card: Card) -> None:
    card.player.play(card.instant(card.first), 0)
    card.run(2)
    card.player.play(card.instant(card.first + 5000))
    np.testing.assert_array_equal(card.run(4)[:, 0], ramp(RATE_HZ)[512:1536, 0])


def test_a_halt_before_the_beginning_stands_there(card: Card) -> None:
    card.player.locate(700)
    card.player.play(card.instant(card.first + 5000))
    card.player.halt()
    assert not card.run(40).any()
    assert {playing for _, playing in card.records()} == {Playing(700, RATE_HZ, False)}


def test_beginning_halting_and_leaping_never_click() -> None:
    # a constant: whatever steps there are come from us
    loud = Card(Player(np.ones((RATE_HZ, 2), np.float32), RATE_HZ))
    loud.run(KNOWN)
    pieces = []
    for begin, sample in ((700, 0), (900, 20_000), (None, 4000), (-9000, 0), (0, 100), (None, 0)):
        if begin is None:
            loud.player.locate(sample)
        else:
            loud.player.play(loud.instant(loud.first + begin), sample)
        pieces.append(loud.run(8))
    loud.player.halt()
    pieces.append(loud.run(8))
    heard = np.concatenate(pieces)
    assert heard.max() == 1
    assert float(np.abs(np.diff(heard, axis=0)).max()) < 2 / FADE  # the steepest of a sine squared over the fade


def test_locating_while_it_stands_is_told_at_once(card: Card) -> None:
    card.player.locate(-777)
    assert not card.run(1).any()
    assert card.records()[0][1] == Playing(-777, RATE_HZ, False)


def test_a_generator_is_asked_for_what_belongs_beside_the_music() -> None:
    asked: list[tuple[int, int]] = []

    def generator(sample: int, out: Samples) -> None:
        asked.append((sample, len(out)))
        out[:] = np.arange(sample, sample + len(out))

    both = Card(Player(np.ones((500, 2), np.float32), RATE_HZ, generator))
    assert both.player.channels == 3
    both.run(KNOWN)
    assert not asked
    both.player.play(both.instant(both.first + 100), -50)
    heard = both.run(3)
    assert asked == [(-50, 156), (106, 256), (362, 256)]
    np.testing.assert_array_equal(heard[100:, 2], np.arange(-50, 618))
    assert not heard[:100].any()
    assert not heard[650:, :2].any()  # the music is over, the other goes on


ORDERS = st.one_of(
    st.tuples(st.just("play"), st.integers(-3000, 3000), st.integers(-2000, 30_000)),
    st.tuples(st.just("play on"), st.integers(-3000, 3000), st.just(0)),
    st.tuples(st.just("halt"), st.just(0), st.just(0)),
    st.tuples(st.just("locate"), st.just(0), st.integers(-2000, 30_000)),
)


@given(st.lists(st.tuples(ORDERS, st.integers(1, 9)), max_size=8), st.sampled_from([64, 200, 256, 1024]))
def test_what_is_heard_is_always_what_the_records_say(
    script: list[tuple[tuple[str, int, int], int]], block: int
) -> None:
    # the second channel tells the gain of the first
    music = np.concatenate((ramp(20_000), np.ones((20_000, 1), np.float32)), axis=1)
    card = Card(Player(music, RATE_HZ), block=block)
    card.run(KNOWN)
    card.player.read(0)
    for (what, ahead, sample), blocks in script:
        if what == "play":
            card.player.play(card.instant(card.first + ahead), sample)
        elif what == "play on":
            card.player.play(card.instant(card.first + ahead))
        elif what == "halt":
            card.player.halt()
        else:
            card.player.locate(sample)
        heard = np.split(card.run(blocks), blocks)
        records = card.records()
        assert len(records) == blocks
        for (_, playing), piece in zip(records, heard, strict=True):
            places = np.arange(playing.sample, playing.sample + block)
            inside = (places >= 0) & (places < len(music))
            gain = piece[:, 1]
            assert playing.running or not gain.any()
            assert not gain[~inside].any()
            assert ((gain >= 0) & (gain <= 1)).all()
            np.testing.assert_allclose(piece[:, 0], gain * music[np.clip(places, 0, 19_999), 0], atol=1e-6)


@pytest.mark.real_time
def test_what_is_recorded_is_where_the_records_say_and_began_when_it_should(server: PulseServer) -> None:
    player = Player(coded(np.arange(5 * RATE_HZ)), RATE_HZ)
    records: list[tuple[int, Playing]] = []
    heard: list[tuple[int, NDArray[np.int64]]] = []
    with (
        open_input("quay_heard", RATE_HZ, 2) as ears,
        open_output("quay", RATE_HZ, player.channels, player.fill) as going,
    ):
        begins_ns = time.monotonic_ns() + S
        player.play(begins_ns, 1000)
        while time.monotonic_ns() < begins_ns + 2 * S:
            heard += [(block.stamp_ns, numbers(block.samples)) for block in ears.read(0)]
            records += [(chunk.stamp_ns, unpacked(chunk.data)) for chunk in player.read(0)]
            going.check()
            time.sleep(0.01)
    running = [(stamp_ns, playing.sample) for stamp_ns, playing in records if playing.running]
    stamps_ns, samples = (np.array(column) for column in zip(*running, strict=True))
    # the fade spoils the code of the first block only
    whole = [(stamp_ns, found[0]) for stamp_ns, found in heard if found[0] > 2000 and (np.diff(found) == 1).all()]
    assert len(whole) > RATE_HZ // 256
    told = [np.interp(stamp_ns, stamps_ns, samples) - sample for stamp_ns, sample in whole]
    due = [1000 + (stamp_ns - begins_ns) * RATE_HZ / S - sample for stamp_ns, sample in whole]
    # nearer, on a busy machine too, than what the device has in hand, which is 60 ms
    assert abs(np.median(told)) < 0.04 * RATE_HZ
    assert abs(np.median(due)) < 0.04 * RATE_HZ
