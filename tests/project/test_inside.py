"""A project folder that a stranger sent: nothing in it leads out of it, to be read, written over or carried away."""

import os
import shutil
import stat
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from sequencer.errors import ProjectError, TakeError
from sequencer.project import library, shot_log, takelog
from sequencer.project.checksum import checksum
from sequencer.project.copying import copy
from sequencer.project.file_names import file_name
from sequencer.project.inside import LEADS_OUT, NO_FILE, content, demand_inside, leads_out, opened, own
from sequencer.project.library import Filed, remove
from sequencer.project.lock import Lock
from sequencer.project.recovery import fingerprint
from sequencer.project.store import load, save
from sequencer.project.takelog import Change
from sequencer.score.easing import Laws

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="links and pipes are POSIX")

SECRET = b"a key of the operator's own\n"


@pytest.fixture
def secret(tmp_path: Path) -> Path:
    """A file of the operator's, outside of any project."""
    path = tmp_path / "home" / "secret"
    path.parent.mkdir()
    path.write_bytes(SECRET)
    return path


@pytest.fixture
def place(folder: Callable[[], Path]) -> Path:
    """A project folder with an empty folder of takes."""
    there = folder()
    (there / "takes").mkdir()
    return there


# the door itself


def test_what_leads_out_is_seen_through_links_and_dots(place: Path, secret: Path) -> None:
    (place / "link").symlink_to(secret)
    (place / "far").symlink_to(secret.parent)
    (place / "near").symlink_to("project.json")
    assert [leads_out(place / one, place) for one in ("link", "far/secret", "far/new", "../home/secret")] == [True] * 4
    assert [leads_out(place / one, place) for one in ("near", "project.json", "not/there", ".")] == [False] * 4
    with pytest.raises(OSError, match=LEADS_OUT):
        demand_inside(place / "link", place)


def test_only_files_of_the_folder_are_opened(place: Path, secret: Path) -> None:
    os.mkfifo(place / "pipe")
    (place / "link").symlink_to(secret)
    for name, why in (("pipe", NO_FILE), (".", "."), ("link", LEADS_OUT)):
        with pytest.raises(OSError, match=why):
            opened(place / name, place)
    with opened(place / "link", None) as named:  # the operator's own word
        assert named.read() == SECRET
    with pytest.raises(OSError, match="larger than 0 MB"):
        content(place / "project.json", place, 4)


def test_what_is_ours_is_never_written_through_a_link(tmp_path: Path, secret: Path) -> None:
    (tmp_path / "link").symlink_to(secret)
    os.mkfifo(tmp_path / "pipe")
    for name, why in (("link", "is a link"), ("pipe", NO_FILE)):
        with pytest.raises(OSError, match=why):
            own(tmp_path / name)
        with pytest.raises(OSError, match=why):
            Lock.take(tmp_path / name)
    assert secret.read_bytes() == SECRET
    with own(tmp_path / "new") as file:
        file.write(b"1")
    with own(tmp_path / "new") as file:
        assert file.read() == b"1"


def test_a_file_with_a_second_name_is_written_to_apart_from_it(tmp_path: Path, secret: Path) -> None:
    ours = tmp_path / "second name"
    os.link(secret, ours)
    secret.chmod(0o640)
    with own(ours) as file:
        assert file.read() == SECRET
        file.write(b"more")
    assert (secret.read_bytes(), ours.read_bytes()) == (SECRET, SECRET + b"more")
    assert stat.S_IMODE(ours.stat().st_mode) == 0o640
    assert sorted(os.listdir(tmp_path)) == ["home", "second name"]


def test_a_lock_with_a_second_name_locks_and_empties_no_other_file(tmp_path: Path, secret: Path) -> None:
    os.link(secret, tmp_path / "lock")
    lock = Lock.take(tmp_path / "lock")
    assert lock is not None
    assert secret.read_bytes() == SECRET
    os.link(lock.path, tmp_path / "a backup of it")
    assert Lock.take(tmp_path / "lock") is None
    lock.release()


# what is allowed: links around the folder, backups of it, folders within it


def test_a_folder_that_a_link_leads_to_is_as_good_as_any(
    place: Path, tmp_path: Path, laws: Laws, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "projects").symlink_to(place.parent)
    monkeypatch.chdir(place)
    for way in (tmp_path / "projects" / place.name, Path(), Path("..") / place.name):
        project = load(way, laws)
        save(way, replace(project, name=f"by {way}"), laws)
        takelog.write(way / "takes", {"a.mcap": Change(circled=True)})
        assert load(place, laws).name == f"by {way}"
        assert takelog.read(way / "takes")["a.mcap"].circled
        assert library.library(way / "takes").fault == ""


def test_a_backup_of_hard_links_stays_as_it_is(place: Path, tmp_path: Path, laws: Laws) -> None:
    project = load(place, laws)
    begun = shot_log.Begun(of="main", frames=3, begins=0.0, sha256="")
    log = place / "takes" / "main.shots.jsonl"
    with shot_log.Log.begin(log, begun) as there:
        there.add(shot_log.Exposed(frame=0, at=1.0))
    takelog.write(place / "takes", {"a.mcap": Change(circled=True)})
    shutil.copytree(place, tmp_path / "backup", copy_function=os.link)
    kept = {path: path.read_bytes() for path in (tmp_path / "backup").rglob("*") if path.is_file()}
    save(place, replace(project, name="another"), laws)
    takelog.write(place / "takes", {"a.mcap": Change(note="again")})
    there, _ = shot_log.Log.resume(log)
    with there:
        there.add(shot_log.Exposed(frame=1, at=2.0))
    assert (load(place, laws).name, takelog.read(place / "takes")["a.mcap"].note) == ("another", "again")
    assert shot_log.read(log).next == 2
    assert {path: path.read_bytes() for path in kept} == kept


# what a stranger can put into a folder


def test_a_lock_that_leads_out_empties_no_file(place: Path, secret: Path) -> None:
    (place / "takes" / ".log.lock").symlink_to(secret)
    with pytest.raises(TakeError, match=r"log.json: cannot be written .*: is a link"):
        takelog.write(place / "takes", {"a.mcap": Change(circled=True)})
    assert secret.read_bytes() == SECRET


def test_a_log_that_leads_out_is_not_brought_in(place: Path, secret: Path) -> None:
    (place / "takes" / "log.json").symlink_to(secret)
    with pytest.raises(TakeError, match=LEADS_OUT):
        takelog.read(place / "takes")
    with pytest.raises(TakeError, match=LEADS_OUT):
        takelog.write(place / "takes", {"a.mcap": Change(circled=True)})
    assert [path.name for path in (place / "takes").iterdir()] == ["log.json"]


def test_a_takes_folder_that_leads_out_is_neither_listed_nor_written_to(place: Path, secret: Path) -> None:
    (place / "takes").rmdir()
    (place / "takes").symlink_to(secret.parent)
    for does in (library.library, takelog.read, lambda takes: takelog.write(takes, {"a.mcap": Change(circled=True)})):
        with pytest.raises(TakeError, match=LEADS_OUT):
            does(place / "takes")
    begun = shot_log.Begun(of="main", frames=3, begins=0.0, sha256="")
    with pytest.raises(TakeError, match=LEADS_OUT):
        shot_log.Log.begin(place / "takes" / "main.shots.jsonl", begun)
    assert [path.name for path in secret.parent.iterdir()] == ["secret"]
    with pytest.raises(TakeError, match="to shoot on another disk, copy the whole project there"):
        library.library(place / "takes")


def test_a_take_that_leads_out_cannot_be_used(place: Path, secret: Path) -> None:
    (place / "takes" / "band_main_001.mcap").symlink_to(secret)
    (one,) = library.library(place / "takes").takes
    assert (one.usable, one.fault) == (False, f"{LEADS_OUT} (a file is needed, no link)")


def test_no_take_is_put_aside_out_of_the_folder(place: Path, secret: Path) -> None:
    (place / "takes" / "removed").symlink_to(secret.parent)
    there = place / "takes" / "band_main_001.mcap"
    there.write_bytes(b"a take")
    with pytest.raises(TakeError, match=f"{LEADS_OUT}.*; it is where it was"):
        remove(Filed(path=there))
    assert there.read_bytes() == b"a take"


@pytest.mark.parametrize("what", ["begin", "resume"])
def test_a_timelapse_is_not_logged_through_a_link(place: Path, secret: Path, what: str) -> None:
    log = place / "takes" / "main.shots.jsonl"
    log.symlink_to(secret.with_name("new") if what == "begin" else secret)
    begun = shot_log.Begun(of="main", frames=3, begins=0.0, sha256="")
    with pytest.raises(TakeError, match=LEADS_OUT):
        _ = shot_log.Log.begin(log, begun) if what == "begin" else shot_log.Log.resume(log)
    assert [path.name for path in secret.parent.iterdir()] == ["secret"]
    assert secret.read_bytes() == SECRET


def take_of(place: Path, secret: Path) -> None:
    (place / "takes" / "key.mcap").symlink_to(secret)


def log_of(place: Path, secret: Path) -> None:
    (place / "takes" / "main.shots.jsonl").symlink_to(secret)


def rig_of(place: Path, secret: Path) -> None:
    secret.write_bytes((place / "rig.json").read_bytes())
    (place / "rig.json").unlink()
    (place / "rig.json").symlink_to(secret)


@pytest.mark.parametrize("lead", [take_of, log_of, rig_of])
def test_a_copy_carries_nothing_away(
    place: Path, secret: Path, tmp_path: Path, laws: Laws, lead: Callable[[Path, Path], None]
) -> None:
    lead(place, secret)
    with pytest.raises(ProjectError, match=LEADS_OUT):
        copy(place, tmp_path / "copy", "all", laws)
    assert not (tmp_path / "copy").exists()


@pytest.mark.parametrize("name", ["project.json", "rig.json"])
def test_a_checksum_waits_for_no_pipe_and_reads_no_other_file(place: Path, secret: Path, name: str) -> None:
    (place / name).unlink()
    os.mkfifo(place / name)
    assert (fingerprint(place), checksum(place)) == (None, "")
    (place / name).unlink()
    (place / name).symlink_to(secret)
    assert (fingerprint(place), checksum(place)) == (None, "")


# names


@pytest.mark.parametrize(
    ("name", "written"),
    [
        ("lantern turn", "lantern-turn"),
        ("../../etc/passwd", "..-..-etc-passwd"),
        ("C:\\quay", "C--quay"),
        ("a:b*c?d|e", "a-b-c-d-e"),
        ("Con", "-Con"),
        ("lpt1.old", "-lpt1.old"),
        ("console", "console"),
        ("\x00\x1b[2J", "--[2J"),
        ("月" * 300, "月" * 33),
        ("a" * 300, "a" * 100),
    ],
)
def test_a_name_of_people_is_a_name_of_a_file_in_its_folder(name: str, written: str) -> None:
    assert file_name(name) == written
    assert Path(file_name(name)).name == file_name(name)
