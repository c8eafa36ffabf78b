"""The log of a timelapse: torn anywhere it reads as what was whole, and it never guesses a frame."""

import errno
import json
import os
from pathlib import Path

import pytest

from sequencer.errors import TakeError
from sequencer.project.shot_log import Begun, Doubt, Exposed, Firing, Log, Moved, read

BEGUN = Begun(of="tide", frames=4, begins=1000.0, sha256="abc")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "takes" / "tide.shots.jsonl"


def shot(log: Log, frame: int, at: float) -> None:
    log.add(Firing(frame=frame, at=at))
    log.add(Exposed(frame=frame, at=at + 0.01, late_s=0.01, actual=(1.0, None)))


def test_what_is_written_is_read_and_gone_on_with(path: Path) -> None:
    with Log.begin(path, BEGUN) as log:
        shot(log, 0, 1000.0)
        shot(log, 1, 1010.0)
    there = read(path)
    assert (there.next, there.doubtful, there.free_at, there.done) == (2, False, 1010.01, False)
    log, again = Log.resume(path)
    assert again == there
    with log:
        log.add(Moved(frame=2, by_s=60.0))
        shot(log, 2, 1080.0)
        shot(log, 3, 1090.0)
    whole = read(path)
    assert whole.done
    assert whole.begins == 1060.0
    assert [one.frame for one in whole.exposed] == [0, 1, 2, 3]
    assert all(json.loads(line)["what"] for line in path.read_text().splitlines())


def test_torn_at_any_byte_it_reads_as_what_was_whole_and_is_gone_on_with(path: Path) -> None:
    with Log.begin(path, BEGUN) as log:
        shot(log, 0, 1000.0)
        shot(log, 1, 1010.0)
    data = path.read_bytes()
    first = data.index(b"\n") + 1
    for size in range(len(data) + 1):
        path.write_bytes(data[:size])
        if size < first:
            with pytest.raises(TakeError, match="no whole line: it ended before it began; begin anew"):
                read(path)
            Log.begin(path, BEGUN).close()
            assert read(path).next == 0
            continue
        lines = data[:size].count(b"\n")
        log, there = Log.resume(path)
        assert (there.next, there.doubtful) == (divmod(lines - 1, 2)[0], (lines - 1) % 2 == 1)
        with log:
            log.add(Doubt(frame=there.next, taken=False, asked=True))
        assert read(path).next == there.next


def test_bytes_that_a_power_cut_left_at_the_end_are_taken_off(path: Path) -> None:
    with Log.begin(path, BEGUN) as log:
        shot(log, 0, 1000.0)
    whole = path.read_bytes()
    for tail in (b"\x00" * 100, b'{"what":"exposed","frame":1', b"\xff\xfe\n"):
        path.write_bytes(whole + tail)
        log, there = Log.resume(path)
        log.close()
        assert there.next == 1
        assert path.read_bytes() == whole


def test_a_log_that_is_damaged_in_the_middle_is_refused_with_the_line(path: Path) -> None:
    with Log.begin(path, BEGUN) as log:
        shot(log, 0, 1000.0)
        shot(log, 1, 1010.0)
    lines = path.read_bytes().splitlines(keepends=True)
    for wrong, words in (
        ([*lines[:2], b"garbage\n", *lines[3:]], "line 3 is damaged"),
        ([*lines[:2], b'{"what": "\xff"}\n', *lines[3:]], "line 3 is damaged"),
        ([*lines[:2], b'{"what": "moved", "a": ' + b"[" * 3000 + b"\n", *lines[3:]], "line 3 is damaged"),
        ([*lines[:1], *lines[3:]], "line 2 is damaged: frame 1 is told where frame 0 comes next"),
        ([*lines[:3], *lines[1:]], "line 4 is damaged: frame 0 is told where frame 1 comes next"),
        ([lines[0], *lines], "line 2 is damaged"),
        ([lines[1]], "line 1 is damaged"),
    ):
        path.write_bytes(b"".join(wrong))
        with pytest.raises(TakeError, match=words):
            read(path)
        with pytest.raises(TakeError, match=words):
            Log.resume(path)
    path.write_bytes(b"".join(lines))
    Log.resume(path)[0].close()


def test_a_last_line_that_is_whole_and_does_not_follow_is_no_torn_one(path: Path) -> None:
    with Log.begin(path, BEGUN) as log:
        shot(log, 0, 1000.0)
        log.add(Exposed(frame=3, at=1010.0))
    data = path.read_bytes()
    for open_it in (read, Log.resume):
        with pytest.raises(TakeError, match="line 4 is damaged: frame 3 is told where frame 1 comes next"):
            open_it(path)
    assert path.read_bytes() == data, "nothing of it is lost"


def test_a_full_disk_is_said_and_lets_go_of_the_log(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with Log.begin(path, BEGUN) as log:
        shot(log, 0, 1000.0)
        monkeypatch.setattr(os, "fsync", full)
        with pytest.raises(TakeError, match="No space left on device; free the disk, then resume"):
            log.add(Firing(frame=1, at=1010.0))
    other = path.with_name("other.jsonl")
    with pytest.raises(TakeError, match="No space left on device"):
        Log.begin(other, BEGUN)
    monkeypatch.undo()
    log, there = Log.resume(path)
    log.close()
    assert there.next == 1
    Log.resume(other)[0].close()


def test_a_frame_in_doubt_is_settled_by_who_counts_the_card_or_by_rule(path: Path) -> None:
    with Log.begin(path, BEGUN) as log:
        log.add(Firing(frame=0, at=1000.0))
        assert read(path).doubtful
        log.add(Doubt(frame=0, taken=True, asked=True))
        log.add(Firing(frame=1, at=1010.0))
        log.add(Doubt(frame=1, taken=False, asked=True))
        shot(log, 1, 1020.0)
        log.add(Firing(frame=2, at=1030.0))
        log.add(Doubt(frame=2, taken=False, asked=False))
        shot(log, 2, 1040.0)
    there = read(path)
    assert [one.frame for one in there.exposed] == [0, 1, 2]
    assert there.exposed[0].at == 1000.0
    assert there.again == (2,)


def test_a_log_is_never_begun_over_another_and_held_by_one_process(path: Path) -> None:
    with Log.begin(path, BEGUN), pytest.raises(TakeError, match="another process shoots this timelapse"):
        Log.resume(path)
    with pytest.raises(TakeError, match="there is a log already; resume it"):
        Log.begin(path, BEGUN)
    log, _ = Log.resume(path)
    log.close()


def test_a_newer_or_missing_log_is_said(path: Path) -> None:
    with pytest.raises(TakeError, match="there is no log of a timelapse"):
        read(path)
    Log.begin(path, Begun(of="tide", frames=4, begins=0.0, sha256="", version=2)).close()
    with pytest.raises(TakeError, match="another version"):
        read(path)
