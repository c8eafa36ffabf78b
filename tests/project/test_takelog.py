"""The log of takes: what is written is read, nothing is lost, and what cannot be read is kept aside."""

import json
import os
import stat
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.errors import TakeError
from sequencer.project import takelog
from sequencer.project.lock import Lock
from sequencer.project.takelog import FORMAT, LONGEST_NOTE, NAME, Change, Entry, read, write

TEXT = st.text(st.characters(codec="utf-8"), max_size=40)


def test_there_is_nothing_to_say_before_anything_is_said(tmp_path: Path) -> None:
    assert read(tmp_path) == {}
    assert read(tmp_path / "no such folder") == {}


@given(st.dictionaries(TEXT, st.builds(Entry, circled=st.booleans(), note=TEXT), max_size=5))
def test_what_is_written_is_read(tmp_path_factory: pytest.TempPathFactory, entries: dict[str, Entry]) -> None:
    folder = tmp_path_factory.mktemp("takes")
    assert write(folder, entries) is None
    assert read(folder) == {name: entry for name, entry in entries.items() if entry != Entry()}


def test_only_what_is_said_changes_and_what_others_wrote_stays(tmp_path: Path) -> None:
    write(tmp_path, {"a.mcap": Entry(circled=True, note="lantern out, keep the sound")})
    write(tmp_path, {"b.mcap": Entry(note="the best")})
    write(tmp_path, {"b.mcap": Entry(circled=True, note="the best")})
    both = {"a.mcap": Entry(True, "lantern out, keep the sound"), "b.mcap": Entry(True, "the best")}
    assert read(tmp_path) == both
    write(tmp_path, {"a.mcap": Entry()})
    assert read(tmp_path) == {"b.mcap": both["b.mcap"]}
    assert [path.name for path in tmp_path.iterdir()] == [NAME]


def test_the_file_is_text_that_a_colleague_can_read(tmp_path: Path) -> None:
    write(tmp_path, {"a.mcap": Entry(circled=True, note="fünf Boote")})
    text = (tmp_path / NAME).read_text(encoding="utf-8")
    assert "fünf Boote" in text
    assert json.loads(text) == {
        "format": FORMAT,
        "version": 1,
        "takes": {"a.mcap": {"circled": True, "note": "fünf Boote"}},
    }


@pytest.mark.parametrize(
    "bad",
    [
        b"",
        b"{",
        b"\xff\xfe",
        b"[" * 100_000,
        b'{"format": "twintake/take-log", "version": 1}',
        b'{"format": "twintake/take-log", "version": 1, "takes": {"a": {"circled": "yes"}}}',
        b'{"format": "twintake/take-log", "version": 1, "takes": {"a": {"note": null}}}',
        b'{"format": "twintake/rig", "version": 1, "takes": {}}',
    ],
)
def test_a_bad_log_is_said_and_kept_aside_when_something_new_is_said(tmp_path: Path, bad: bytes) -> None:
    (tmp_path / NAME).write_bytes(bad)
    with pytest.raises(TakeError, match=NAME):
        read(tmp_path)
    assert (tmp_path / NAME).read_bytes() == bad
    first = write(tmp_path, {"a.mcap": Entry(circled=True)})
    assert first is not None
    assert first.read_bytes() == bad
    assert read(tmp_path) == {"a.mcap": Entry(circled=True)}
    (tmp_path / NAME).write_bytes(bad + b" ")
    second = write(tmp_path, {})
    assert second not in (None, first)
    assert first.read_bytes() == bad


def test_a_log_of_a_newer_version_is_left_alone(tmp_path: Path) -> None:
    newer = json.dumps({"format": FORMAT, "version": 2, "takes": {"a": {"stars": 3}}}).encode()
    (tmp_path / NAME).write_bytes(newer)
    with pytest.raises(TakeError):
        write(tmp_path, {"a.mcap": Entry(circled=True)})
    assert [path.read_bytes() for path in tmp_path.iterdir()] == [newer]


def test_what_only_others_know_stays(tmp_path: Path) -> None:
    there = {"a.mcap": {"stars": 3, "note": "fine"}, "b.mcap": {"stars": 1, "circled": True}}
    log = {"format": FORMAT, "version": 1, "crew": ["nobody"], "takes": there}
    (tmp_path / NAME).write_text(json.dumps(log), encoding="utf-8")
    assert read(tmp_path) == {"a.mcap": Entry(note="fine"), "b.mcap": Entry(circled=True)}
    write(tmp_path, {"a.mcap": Change(circled=True), "b.mcap": Entry()})
    said = {"a.mcap": {"stars": 3, "note": "fine", "circled": True}, "b.mcap": {"stars": 1}}
    assert json.loads((tmp_path / NAME).read_text(encoding="utf-8")) == log | {"takes": said}


def test_a_circle_leaves_the_note_that_another_program_wrote_meanwhile(tmp_path: Path) -> None:
    write(tmp_path, {"a.mcap": Entry(note="at first")})
    write(tmp_path, {"a.mcap": Change(note="by somebody else")})
    write(tmp_path, {"a.mcap": Change(circled=True)})
    assert read(tmp_path) == {"a.mcap": Entry(circled=True, note="by somebody else")}
    write(tmp_path, {"a.mcap": Change(note="")})
    assert read(tmp_path) == {"a.mcap": Entry(circled=True)}


def test_many_at_once_lose_no_word(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each writes on its own takes; whoever read the log first must not write the others' away."""
    monkeypatch.setattr(takelog, "_TRIES", 100_000)
    monkeypatch.setattr(takelog, "_TRY_EVERY_S", 0.001)

    def say(number: int) -> None:
        for take in range(5):
            write(tmp_path, {f"{number}-{take}.mcap": Entry(note=str(number))})

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(say, range(4)))
    assert len(read(tmp_path)) == 20
    assert [path.name for path in tmp_path.iterdir()] == [NAME]


def test_a_program_that_hangs_with_the_log_in_its_hands_keeps_nobody_from_writing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(takelog, "_TRY_EVERY_S", 0.0)
    held = Lock.take(tmp_path / ".log.lock")
    assert held is not None
    write(tmp_path, {"a.mcap": Entry(circled=True)})
    held.release()
    assert read(tmp_path) == {"a.mcap": Entry(circled=True)}


@pytest.mark.skipif(os.geteuid() == 0, reason="the superuser may write anywhere")
def test_a_folder_that_may_not_be_written_is_said(tmp_path: Path) -> None:
    tmp_path.chmod(0o555)
    try:
        with pytest.raises(TakeError, match=r"log\.json: cannot be written in .*Permission denied"):
            write(tmp_path, {"a.mcap": Entry(circled=True)})
    finally:
        tmp_path.chmod(0o755)


def test_a_folder_that_cannot_be_made_is_said(tmp_path: Path) -> None:
    (tmp_path / "takes").write_text("a file in its place", encoding="utf-8")
    with pytest.raises(TakeError, match="nothing was changed"):
        write(tmp_path / "takes", {"a.mcap": Entry(circled=True)})


@pytest.mark.parametrize("note", ["x" * (LONGEST_NOTE + 1), "half \ud800"])
def test_a_note_that_no_file_can_keep_is_refused(tmp_path: Path, note: str) -> None:
    write(tmp_path, {"a.mcap": Entry(note="before")})
    with pytest.raises(TakeError):
        write(tmp_path, {"a.mcap": Entry(note=note)})
    assert read(tmp_path) == {"a.mcap": Entry(note="before")}


def test_a_disk_that_fails_leaves_the_log_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write(tmp_path, {"a.mcap": Entry(note="before")})

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(TakeError, match="No space left"):
        write(tmp_path, {"a.mcap": Entry(note="after")})
    assert read(tmp_path) == {"a.mcap": Entry(note="before")}
    assert [path.name for path in tmp_path.iterdir()] == [NAME]


def test_what_is_no_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / NAME).mkdir()
    with pytest.raises(TakeError):
        read(tmp_path)
    with pytest.raises(TakeError):
        write(tmp_path, {"a.mcap": Entry(circled=True)})
    assert stat.S_ISDIR((tmp_path / NAME).stat().st_mode)


def test_a_pipe_in_the_place_of_the_log_is_refused_and_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / NAME)
    for use in (lambda: read(tmp_path), lambda: write(tmp_path, {"one": Entry(circled=True)})):
        with pytest.raises(TakeError, match="is not a file"):
            use()


def test_what_a_program_left_that_was_ended_while_it_wrote_goes_with_the_next_note(tmp_path: Path) -> None:
    half, other = tmp_path / f".{NAME}.0123abcd.new", tmp_path / f".{NAME}.new"
    for path in (half, other):
        path.write_bytes(b"half")
    lock = Lock.take(tmp_path / ".log.lock")
    assert lock is not None
    write(tmp_path, {"a.mcap": Entry(note="while another one writes")})
    assert half.exists()
    lock.release()
    write(tmp_path, {"a.mcap": Entry(note="alone")})
    assert not half.exists()
    assert other.exists()
