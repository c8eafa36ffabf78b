"""The playback is started, placed and stopped from another process, in order."""

from pathlib import Path

from sequencer.shell.desk import Halt, Place, Play, PlaybackDesk, wishes
from sequencer.shell.memory import Ring


def test_wishes_arrive_in_order_and_exactly(tmp_path: Path) -> None:
    ring = Ring(tmp_path / "wishes", size=4096)
    desk = PlaybackDesk(ring)
    desk.start(123_456_789_012_345)
    desk.halt()
    desk.start(5)
    assert wishes(Ring(tmp_path / "wishes")) == [Play(123_456_789_012_345, None), Halt(), Play(5, None)]
    assert wishes(Ring(tmp_path / "wishes")) == []


def test_a_start_goes_from_where_the_music_was_placed_whatever_the_card_still_says(tmp_path: Path) -> None:
    ring = Ring(tmp_path / "wishes", size=4096)
    desk = PlaybackDesk(ring)
    desk.locate(1.0)
    desk.locate(7.25)
    desk.start(5)
    assert wishes(ring) == [Place(1.0), Place(7.25), Play(5, 7.25)]
    # once it has run, only the card knows where it stands
    desk.halt()
    desk.start(6)
    assert wishes(ring) == [Halt(), Play(6, None)]


def test_a_full_ring_loses_wishes_and_blocks_nobody(tmp_path: Path) -> None:
    ring = Ring(tmp_path / "wishes", size=64)
    desk = PlaybackDesk(ring)
    for _ in range(100):
        desk.halt()
    assert 0 < len(wishes(ring)) < 100
