"""A recording as a source: its words come in real time, on the channel where they are, and it ends with a notice."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile

from sequencer.adapters.contract import Chunk, Source
from sequencer.adapters.sources.file import KIND
from sequencer.errors import LinkError
from sequencer.sync.ltc import ltc_follower
from sequencer.sync.reading import Lock
from sequencer.wire.ltc import unpacked
from sequencer.wire.ltc_word import Word, decode, encode
from tests import libltc
from tests.sync.master import COUNTINGS, timebase

S = 1_000_000_000
BEGAN_NS = 77 * S
RATE_HZ = 48_000


def words(seconds: int, frames: int = 25) -> list[bytes]:
    """Return the words from 10:00:03:00 on, as libltc counts them."""
    found = [encode(Word(10, 0, 3, 0), frames)]
    while len(found) < seconds * frames:
        found.append(libltc.after(found[-1], frames))
    return found


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    """A second of silence, then five seconds of timecode by libltc, on the second of two channels."""
    tone = libltc.encode(words(5), 25, 25.0, RATE_HZ)
    sound = np.zeros((RATE_HZ + len(tone), 2), np.float32)
    sound[RATE_HZ:, 1] = tone
    sound[:, 0] = 0.1 * np.random.default_rng(3).standard_normal(len(sound))
    path = tmp_path / "quay take.wav"
    soundfile.write(path, sound, RATE_HZ, subtype="PCM_24")
    return path


def played(source: Source, seconds: float, step_ns: int = 5_000_000) -> Iterator[Chunk]:
    """Read as the io process does, for so long."""
    for passed_ns in range(0, int(seconds * S), step_ns):
        yield from source.read(BEGAN_NS + passed_ns)


@pytest.mark.parametrize("options", ["", "?channel=2"])
def test_words_come_when_they_have_been_played(recording: Path, options: str) -> None:
    with KIND.open(f"file:{recording}{options}") as source:
        assert source.address == f"file:{recording}"
        chunks = list(played(source, 8.0))
        assert source.notices() == (f"the recording is over: file:{recording}",)
        assert source.read(BEGAN_NS + 20 * S) == ()
        assert source.notices() == ()
    heard = [(chunk.stamp_ns, unpacked(chunk.data).heard) for chunk in chunks]
    # the first word may be needed to find the rate of the bits
    assert 122 <= len(heard) <= 125
    begin = 125 - len(heard)
    for number, (stamp_ns, word) in enumerate(heard, begin):
        said = decode(word.bits, 25)
        assert (said.seconds - 3) * 25 + said.frames == number
        # its marks are where the recording has it, and it came soon after its end
        ends_ns = BEGAN_NS + S + (number + 1) * S // 25
        assert stamp_ns + word.marks[4] == pytest.approx(ends_ns, abs=40_000)
        assert 0 < stamp_ns - ends_ns < 60_000_000


def test_timecode_on_two_channels_is_heard_once(tmp_path: Path) -> None:
    tone = libltc.encode(words(3), 25, 25.0, RATE_HZ)
    path = tmp_path / "both.wav"
    soundfile.write(path, np.column_stack([tone, np.roll(tone, 960)]), RATE_HZ)
    with KIND.open(f"file:{path}") as source:
        assert 72 <= len(list(played(source, 4.0))) <= 75


def test_a_follower_locks_to_it(recording: Path) -> None:
    follower = ltc_follower(timebase(COUNTINGS["25"]))
    with KIND.open(f"file:{recording}") as source:
        for now_ns in range(BEGAN_NS, BEGAN_NS + 5 * S, 4_000_000):
            for chunk in source.read(now_ns):
                follower.feed(chunk.stamp_ns, chunk.data)
            clock = follower.at(now_ns)
    assert clock.lock is Lock.LOCKED
    # four seconds after a second of silence, at 10:00:03:00
    assert clock.position_s == pytest.approx(3.0 + (clock.at_ns - BEGAN_NS) * 1e-9 - 1.0, abs=0.001)


def test_it_may_begin_later_so_that_a_rig_gets_ready(recording: Path) -> None:
    with KIND.open(f"file:{recording}?after=10") as source:
        assert list(played(source, 11.0)) == []
        assert next(iter(source.read(BEGAN_NS + 12 * S)))


def test_a_reader_that_was_held_up_loses_nothing(recording: Path) -> None:
    with KIND.open(f"file:{recording}") as source:
        source.read(BEGAN_NS)
        late = [chunk for k in range(8) for chunk in source.read(BEGAN_NS + 9 * S + k)]
    assert len(late) >= 122


def test_what_cannot_be_opened_is_named_with_the_mend(recording: Path, tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("la")
    slow = tmp_path / "slow.wav"
    soundfile.write(slow, np.zeros(100), 1000)
    for address, words in (
        ("file:", "there is no file ''"),
        (f"file:{tmp_path}/none.wav", "there is no file"),
        (f"file:{tmp_path}", "there is no file"),
        (f"file:{tmp_path}/notes.txt", "no audio file.*export it as WAV"),
        (f"file:{recording}?channel=3", "has 2 channels, and none with the number 3"),
        (f"file:{recording}?channel=0", "none with the number 0"),
        (f"file:{recording}?channel=two", "channel=two is not understood"),
        (f"file:{recording}?speed=2", "speed=2 is not understood"),
        (f"file:{slow}", "cannot carry timecode"),
    ):
        with pytest.raises(LinkError, match=words), KIND.open(address):
            pass
