"""A copy of a project: all that it needs and nothing else, the same bytes, or not there at all."""

import json
import os
import resource
import shutil
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from sequencer.errors import LinkError, ProjectError, SequencerError, TakeError
from sequencer.project import copying, takelog
from sequencer.project.copying import Copied, Which, copy
from sequencer.project.library import remove
from sequencer.project.lock import Lock
from sequencer.project.store import load
from sequencer.project.takelog import Change
from sequencer.shell.kinds import laws
from tests.project.test_library import shoot

PROJECT = Path(__file__).parents[2] / "projects" / "harbour-lanterns"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A project with three takes, one of them circled, and what a folder collects besides."""
    folder = tmp_path / "harbour"
    shutil.copytree(PROJECT, folder)
    (folder / "project.json.bak").write_text("{}", encoding="utf-8")
    (folder / "call sheet.txt").write_text("six o'clock", encoding="utf-8")
    for number in (1, 2, 3):
        shoot(folder / "takes", f"lantern-turn_band_{number:03}")
    log = {"lantern-turn_band_002.mcap": Change(circled=True, note="the best"), "gone.mcap": Change(note="?")}
    takelog.write(folder / "takes", {**log, "lantern-turn_band_001.mcap": Change(note="too early")})
    return folder


def made(folder: Path, to: Path, which: Which = "circled") -> Copied:
    return copy(folder, to, which, laws())


def bytes_in(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def nothing_is_left(to: Path, before: set[str]) -> bool:
    return {path.name for path in to.parent.iterdir()} == before


@pytest.mark.parametrize(("which", "takes"), [("circled", ["002"]), ("all", ["001", "002", "003"]), ("none", [])])
def test_a_copy_has_what_the_project_needs_and_the_takes_asked_for(
    folder: Path, tmp_path: Path, which: Which, takes: list[str]
) -> None:
    there = bytes_in(folder)
    to = tmp_path / "copy"
    done = made(folder, to, which)
    names = [f"takes/lantern-turn_band_{number}.mcap" for number in takes]
    expected = {name: there[name] for name in ("project.json", "rig.json", "playback.wav", *names)}
    got = bytes_in(to)
    log = json.loads(got.pop("takes/log.json", b'{"takes": {}}'))["takes"]
    assert got == expected
    said = {"001": {"note": "too early"}, "002": {"circled": True, "note": "the best"}}
    assert log == {f"lantern-turn_band_{number}.mcap": said[number] for number in takes if number in said}
    assert sorted(done.files) == sorted(expected)
    assert done.bytes == sum(map(len, expected.values()))
    assert done.left == ("call sheet.txt", "make_playback.py", "project.json.bak")
    assert load(to, laws()) == load(folder, laws())
    assert bytes_in(folder) == there


def test_what_only_other_programs_know_of_a_take_goes_along(folder: Path, tmp_path: Path) -> None:
    log = folder / "takes" / takelog.NAME
    tree = json.loads(log.read_text(encoding="utf-8"))
    tree["crew"] = "nobody"
    tree["takes"]["lantern-turn_band_002.mcap"]["stars"] = 3
    log.write_text(json.dumps(tree), encoding="utf-8")
    made(folder, tmp_path / "copy")
    copied = json.loads((tmp_path / "copy" / "takes" / takelog.NAME).read_text(encoding="utf-8"))
    assert copied["crew"] == "nobody"
    assert list(copied["takes"]) == ["lantern-turn_band_002.mcap"]
    assert copied["takes"]["lantern-turn_band_002.mcap"]["stars"] == 3


def test_a_timelapse_can_go_on_where_all_takes_are(folder: Path, tmp_path: Path) -> None:
    log = folder / "takes" / "slipway.shots.jsonl"
    log.write_bytes(b'{"what": "begun"}\n')
    assert not (made(folder, tmp_path / "circled").folder / "takes" / log.name).exists()
    assert (made(folder, tmp_path / "all", "all").folder / "takes" / log.name).read_bytes() == log.read_bytes()


def test_an_empty_folder_will_do(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "copy").mkdir()
    made(folder, tmp_path / "copy")
    assert load(tmp_path / "copy", laws()).name == "Harbour lanterns"


def test_takes_that_were_removed_stay_behind(folder: Path, tmp_path: Path) -> None:
    from sequencer.project.library import library

    remove(library(folder / "takes").takes[0])
    assert len(made(folder, tmp_path / "copy", "all").takes) == 2
    assert not (tmp_path / "copy" / "takes" / "removed").exists()


def test_what_whoever_gets_it_must_know_is_said(folder: Path, tmp_path: Path) -> None:
    (folder / "playback.wav").unlink()
    (folder / "takes" / takelog.NAME).unlink()
    cut = folder / "takes" / "lantern-turn_band_003.mcap"
    cut.write_bytes(cut.read_bytes()[:3000])
    assert made(folder, tmp_path / "one").remarks == (
        "the playback playback.wav is not in the folder, so it is not in the copy",
        "none of 3 takes is circled, so there is none in the copy",
    )
    all_of_them = made(folder, tmp_path / "two", "all")
    assert all_of_them.remarks[1].startswith("lantern-turn_band_003.mcap: it breaks off")
    assert len(all_of_them.takes) == 3


def test_audio_behind_a_link_within_the_folder_is_brought_in(folder: Path, tmp_path: Path) -> None:
    (folder / "playback.wav").rename(folder / "band.wav")
    (folder / "playback.wav").symlink_to("band.wav")
    made(folder, tmp_path / "copy")
    assert not (tmp_path / "copy" / "playback.wav").is_symlink()
    assert (tmp_path / "copy" / "playback.wav").read_bytes() == (folder / "band.wav").read_bytes()


# what is refused


def leads_out(folder: Path) -> None:
    (folder / "playback.wav").rename(folder.parent / "elsewhere.wav")
    (folder / "playback.wav").symlink_to(folder.parent / "elsewhere.wav")


def is_a_pipe(folder: Path) -> None:
    (folder / "playback.wav").unlink()
    os.mkfifo(folder / "playback.wav")


def take_is_a_folder(folder: Path) -> None:
    (folder / "takes" / "a.mcap").mkdir()
    takelog.write(folder / "takes", {"a.mcap": Change(circled=True)})


def log_is_broken(folder: Path) -> None:
    (folder / "takes" / takelog.NAME).write_text("notes", encoding="utf-8")


def is_no_project(folder: Path) -> None:
    (folder / "rig.json").write_text("{", encoding="utf-8")


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (leads_out, "leads out of the project folder; copy the audio into the folder"),
        (is_a_pipe, r"playback\.wav: is not a file"),
        (take_is_a_folder, r"takes/a\.mcap: is not a file"),
        (log_is_broken, "Which takes are circled is not known; copy all of them, or none"),
        (is_no_project, r"rig\.json: "),
    ],
)
def test_what_cannot_be_copied_whole_is_refused(
    folder: Path, tmp_path: Path, spoil: Callable[[Path], None], says: str
) -> None:
    spoil(folder)
    before = {path.name for path in tmp_path.iterdir()}
    with pytest.raises((ProjectError, TakeError), match=says):
        made(folder, tmp_path / "copy")
    assert nothing_is_left(tmp_path / "copy", before)


@pytest.mark.parametrize(
    ("to", "says"),
    [
        ("full", "full is there and is not empty; name a new folder"),
        ("file", "file is there and is not a folder"),
        ("link", "link is there and is not a folder"),
        ("no such/copy", "there is no folder"),
        ("harbour/copy", "inside the project that is copied"),
        ("harbour", "harbour is there and is not empty"),
    ],
)
def test_a_place_where_something_is_is_refused(folder: Path, tmp_path: Path, to: str, says: str) -> None:
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "notes.txt").write_text("kept", encoding="utf-8")
    (tmp_path / "file").write_text("kept", encoding="utf-8")
    (tmp_path / "link").symlink_to(tmp_path / "full")
    there = bytes_in(tmp_path)
    with pytest.raises(ProjectError, match=says):
        made(folder, tmp_path / to)
    assert bytes_in(tmp_path) == there


@contextmanager
def longest_file(size: int) -> Iterator[None]:
    """Let the system refuse every write beyond `size` bytes of a file, as a full disk does."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@pytest.mark.skipif(sys.platform == "win32", reason="the limit on file size is POSIX")
def test_a_disk_that_is_full_leaves_nothing(folder: Path, tmp_path: Path) -> None:
    before = {path.name for path in tmp_path.iterdir()}
    with longest_file(500_000), pytest.raises(LinkError, match=r"cannot be made .*too large.* Nothing is there"):
        made(folder, tmp_path / "copy")
    assert nothing_is_left(tmp_path / "copy", before)


def test_a_disk_without_room_is_told_before(folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    usage = shutil.disk_usage(tmp_path)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage._replace(free=1_000_000))
    with pytest.raises(LinkError, match=r"the copy needs \d+ kB, and the disk has 1\.0 MB free; free some space"):
        made(folder, tmp_path / "copy")
    assert not (tmp_path / "copy").exists()


def test_a_copy_that_is_not_what_was_written_is_refused(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As of a disk that loses bits."""
    write = copying._write

    def lossy(path: Path, pieces: Iterator[bytes]) -> None:
        write(path, pieces)
        if path.suffix == ".wav":
            data = bytearray(path.read_bytes())
            data[1000] ^= 1
            path.write_bytes(data)

    monkeypatch.setattr(copying, "_write", lossy)
    before = {path.name for path in tmp_path.iterdir()}
    with pytest.raises(LinkError, match=r"playback\.wav: the copy is not what was written; do not trust this disk"):
        made(folder, tmp_path / "copy")
    assert nothing_is_left(tmp_path / "copy", before)


def test_a_project_that_is_saved_meanwhile_is_copied_again(folder: Path, tmp_path: Path) -> None:
    def save(part: float) -> bool:
        if part >= 1.0:
            path = folder / "project.json"
            path.write_text(path.read_text(encoding="utf-8") + "\n", encoding="utf-8")
        return True

    with pytest.raises(ProjectError, match="was saved while it was copied; copy it again"):
        copy(folder, tmp_path / "copy", "none", laws(), save)
    assert not (tmp_path / "copy").exists()


@pytest.mark.parametrize("fault", [KeyboardInterrupt, None])
def test_a_copy_that_is_interrupted_leaves_nothing(
    folder: Path, tmp_path: Path, fault: type[BaseException] | None
) -> None:
    before = {path.name for path in tmp_path.iterdir()}
    seen: list[str] = []

    def go_on(part: float) -> bool:
        if part < 0.3:
            return True
        # nothing that looks like the project is there while it is made
        seen.extend(path.name for path in tmp_path.iterdir() if path.name not in before)
        if fault is not None:
            raise fault
        return False

    with pytest.raises((KeyboardInterrupt, SequencerError)):
        copy(folder, tmp_path / "copy", "all", laws(), go_on)
    assert seen
    assert all(name.startswith(".copy.") and ".copying" in name for name in seen)
    assert nothing_is_left(tmp_path / "copy", before)


def test_what_breaks_off_in_the_middle_is_no_project(folder: Path, tmp_path: Path) -> None:
    """Even where nobody could clear up, as after a power cut: project.json is written last."""
    looked = []

    def go_on(part: float) -> bool:
        (half,) = tmp_path.glob(".copy.*.copying")
        looked.append({path.name for path in half.iterdir()})
        return True

    copy(folder, tmp_path / "copy", "circled", laws(), go_on)
    while looked[-1] == looked[-2]:  # what is read back
        looked.pop()
    assert all("project.json" not in names for names in looked[:-1])


def test_a_copy_that_was_killed_is_removed_by_the_next_one_to_that_place(folder: Path, tmp_path: Path) -> None:
    half, other = tmp_path / ".copy.0123abcd.copying", tmp_path / ".other.0123abcd.copying"
    for path in (half, other):
        (path / "takes").mkdir(parents=True)
    lock = Lock.take(tmp_path / ".copy.copying.lock")
    assert lock is not None
    copy(folder, tmp_path / "copy", "none", laws())
    assert half.exists(), "another one copies there right now"
    lock.release()
    shutil.rmtree(tmp_path / "copy")
    copy(folder, tmp_path / "copy", "none", laws())
    assert not half.exists()
    assert other.exists()
