"""What is told of a level: each state once when it has lasted, again when it changes, and nothing of a good start."""

import numpy as np
import pytest

from sequencer.adapters.audio_ports.blocks import Samples
from sequencer.adapters.audio_ports.level import Level

RATE_HZ = 48_000


def tone(level_db: float) -> Samples:
    """Half a second of 1 kHz, as loud as the scale goes at most."""
    loud = 10 ** (level_db / 20) * np.sin(np.arange(RATE_HZ // 2) * (2 * np.pi * 1000 / RATE_HZ))
    clipped: Samples = np.clip(loud, -1, 1).astype(np.float32)
    return clipped


def told(*windows: tuple[float, int]) -> list[str]:
    """Return what is told of these half seconds: the level of each, and the words read in it."""
    level = Level(RATE_HZ, "it")
    said: list[str] = []
    for level_db, words in windows:
        for block in np.array_split(tone(level_db), 94):
            level.feed(block, 0)
        level.feed(np.zeros(0, np.float32), words)
        said += level.notices()
    return said


@pytest.mark.parametrize(
    ("level_db", "words", "says"),
    [(-70, 0, "is silent"), (-70, 9, "is silent"), (-46, 12, "very low"), (12, 12, "clipped"), (-12, 0, "no timecode")],
)
def test_what_is_wrong_is_told_once_when_it_has_lasted(level_db: float, words: int, says: str) -> None:
    assert told((level_db, words)) == []
    (once,) = told(*[(level_db, words)] * 6)
    assert once.startswith("it ")
    assert says in once
    assert ";" in once  # and the mend


def test_a_good_level_is_told_only_after_a_bad_one() -> None:
    good, silent = (-12.0, 12), (-90.0, 0)
    assert told(*[good] * 4) == []
    said = told(good, silent, silent, good, silent, silent, good, good, good, silent, silent)
    assert [one.split(";")[0] for one in said] == ["it is silent", "it is heard at a good level", "it is silent"]


def test_a_tone_that_just_fills_the_scale_is_not_clipped() -> None:
    assert told(*[(0.0, 12)] * 3) == []
