"""Shared memory between processes: what is read is whole, in order, and nobody waits."""

import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.shell.memory import Page, Ring


@pytest.fixture
def page_path(tmp_path: Path) -> Path:
    Page(tmp_path / "page", new=True).close()
    return tmp_path / "page"


def test_a_page_shows_the_newest_row_to_another_map_of_it(page_path: Path) -> None:
    writer, reader = Page(page_path), Page(page_path)
    assert reader.newest() is None
    for number in range(20):
        writer.publish(f"row {number}".encode())
        assert reader.newest() == f"row {number}".encode()


def test_a_row_that_is_being_written_is_not_taken(page_path: Path) -> None:
    writer = Page(page_path)
    writer.publish(b"whole")
    data = page_path.read_bytes()
    at = data.index(b"whole")
    with page_path.open("r+b") as file:
        file.seek(at)
        file.write(b"whale")
    assert Page(page_path).newest() is None


def test_words_are_shared(page_path: Path) -> None:
    one, other = Page(page_path), Page(page_path)
    one.ask_stop()
    one.set_word(Page.ENGINE_BEAT, 2**62)
    assert other.word(Page.STOP) == 1
    assert other.word(Page.ENGINE_BEAT) == 2**62


@pytest.mark.real_time
def test_a_word_is_whole_whenever_another_process_reads_it(page_path: Path) -> None:
    beats = "import sys; from pathlib import Path; from sequencer.shell.memory import Page\n"
    beats += "page = Page(Path(sys.argv[1]))\n"
    beats += "for beat in range(2**40, 2**40 + 600_000): page.set_word(Page.OPERATOR_BEAT, beat)"
    page = Page(page_path)
    page.set_word(Page.OPERATOR_BEAT, 2**40)
    with subprocess.Popen([sys.executable, "-c", beats, str(page_path)]) as writer:
        newest = 2**40
        while writer.poll() is None:
            for _ in range(1000):
                beat = page.word(Page.OPERATOR_BEAT)
                assert beat >= newest
                newest = beat
    assert newest > 2**40


def test_a_status_that_fits_no_slot_is_refused(page_path: Path) -> None:
    with pytest.raises(ValueError, match="does not fit"):
        Page(page_path).publish(bytes(4096))


@settings(max_examples=50)
@given(records=st.lists(st.binary(max_size=60), max_size=80), batch=st.integers(1, 7))
def test_a_ring_hands_on_every_record_in_order(
    tmp_path_factory: pytest.TempPathFactory, records: list[bytes], batch: int
) -> None:
    path = tmp_path_factory.mktemp("ring") / "ring"
    writer = Ring(path, size=500)
    reader = Ring(path)
    got: list[bytes] = []
    for number, record in enumerate(records):
        assert writer.put(record)
        if number % batch == 0:
            got += reader.take()
    got += reader.take()
    assert got == records


def test_a_full_ring_refuses_and_keeps_what_it_has(tmp_path: Path) -> None:
    writer, reader = Ring(tmp_path / "ring", size=64), Ring(tmp_path / "ring")
    kept = [bytes([number]) * 20 for number in range(5) if writer.put(bytes([number]) * 20)]
    assert len(kept) == 2
    assert list(reader.take()) == kept
    assert writer.put(b"again")
    assert list(reader.take()) == [b"again"]


def test_room_that_is_left_free_is_for_who_leaves_none(tmp_path: Path) -> None:
    ring = Ring(tmp_path / "ring", size=100)
    taken = [ring.put(bytes(12), leaving=0.5) for _ in range(4)]
    assert taken == [True, True, False, False]
    assert [ring.put(bytes(12)) for _ in range(4)] == [True, True, True, False]


def test_damaged_memory_is_told_and_left_behind(tmp_path: Path) -> None:
    writer, reader = Ring(tmp_path / "ring", size=200), Ring(tmp_path / "ring")
    writer.put(b"sound")
    data = (tmp_path / "ring").read_bytes()
    with (tmp_path / "ring").open("r+b") as file:
        file.seek(data.index(b"sound"))
        file.write(b"f")
    with pytest.raises(ValueError, match="damaged"):
        list(reader.take())
    writer.put(b"next")
    assert list(reader.take()) == [b"next"]
