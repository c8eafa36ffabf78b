"""A project folder is read whole or not at all, and a save that fails leaves everything as it was."""

import gc
import json
import math
import os
import re
import shutil
import stat
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from sequencer.errors import ProjectError
from sequencer.project import paired, store
from sequencer.project.document import Playback, Project
from sequencer.project.store import MAX_BYTES, dump, load, load_rig, save
from sequencer.score.easing import Laws
from sequencer.score.move import Ease, Key, Move, Track
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase
from tests.project.conftest import Ramp, Tree

Folder = Callable[[], Path]


def content(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


def refused(folder: Path, laws: Laws) -> str:
    """Return the message; what was in the folder is still there, byte for byte."""
    before = {path: path.lstat() for path in folder.iterdir()} if os.path.isdir(folder) else {}
    with pytest.raises(ProjectError) as caught:
        load(folder, laws)
    after = {path: path.lstat() for path in folder.iterdir()} if os.path.isdir(folder) else {}
    assert [(path, s.st_mtime_ns, s.st_size) for path, s in before.items()] == [
        (path, s.st_mtime_ns, s.st_size) for path, s in after.items()
    ]
    return str(caught.value)


def test_folders_that_are_none(tmp_path: Path, laws: Laws) -> None:
    assert f"there is no folder {tmp_path}/nowhere" in refused(tmp_path / "nowhere", laws)
    (tmp_path / "file").write_text("x")
    assert "there is no folder" in refused(tmp_path / "file", laws)
    assert f"there is no folder {tmp_path / ('x' * 5000)}" in refused(tmp_path / ("x" * 5000), laws)
    (tmp_path / "empty").mkdir()
    assert refused(tmp_path / "empty", laws).startswith("project.json: there is none in ")


def test_the_rig_alone(folder: Folder, laws: Laws) -> None:
    place = folder()
    rig = load(place, laws).rig
    (place / "project.json").write_text("{")
    assert load_rig(place) == rig


def test_a_folder_without_its_rig(folder: Folder, laws: Laws) -> None:
    place = folder()
    (place / "rig.json").unlink()
    message = refused(place, laws)
    assert message.startswith("rig.json: there is none in ")
    assert message.endswith("; a project folder holds project.json and rig.json")


@pytest.mark.parametrize("name", ["project.json", "rig.json"])
def test_every_way_to_cut_a_file_short(name: str, folder: Folder, laws: Laws) -> None:
    place = folder()
    whole = (place / name).read_bytes()
    for length in range(len(whole)):
        (place / name).write_bytes(whole[:length])
        assert refused(place, laws).startswith(f"{name}: ")


@pytest.mark.parametrize(
    ("version", "message"),
    [
        (2, "version: written by a newer version of this program (2; this one reads 1); update the program"),
        (10**30, "version: written by a newer version of this program"),
        (0, "version: is not a version that there ever was; write 1"),
        (-1, "version: is not a version"),
        (True, "version: is not a version"),
        ("1", "version: is not a version"),
        (1.0, "version: is not a version"),
        (None, "version: is not a version"),
    ],
)
def test_versions(version: object, message: str, folder: Folder, laws: Laws, project: Tree, rig: Tree) -> None:
    project["version"] = version
    project["what the future brings"] = 1
    assert message in refused(folder(), laws)
    project["version"] = 1
    del project["what the future brings"]
    rig["version"] = version
    assert refused(folder(), laws).startswith(f"rig.json: {message}")


def test_a_file_too_large_is_not_even_parsed(folder: Folder, laws: Laws) -> None:
    place = folder()
    wanted = other_of(place, laws)
    os.truncate(place / "project.json", MAX_BYTES + 1)  # sparse: no disk is filled
    assert "project.json: larger than 32 MB" in refused(place, laws)
    # nor is it cut short by a save
    with pytest.raises(ProjectError, match="larger than 32 MB"):
        save(place, wanted, laws)
    assert (place / "project.json").stat().st_size == MAX_BYTES + 1


@pytest.mark.parametrize("name", ["project.json", "rig.json"])
def test_what_is_no_file_is_not_opened_for_ever(name: str, folder: Folder, laws: Laws) -> None:
    place = folder()
    (place / name).unlink()
    os.mkfifo(place / name)
    assert refused(place, laws) == f"{name}: is not a file; put a file of that name there"
    (place / name).unlink()
    (place / name).symlink_to("/dev/zero")
    assert f"{name}: leads out of the project folder" in refused(place, laws)
    (place / name).unlink()
    (place / name).mkdir()
    assert refused(place, laws).startswith(f"{name}: ")
    (place / name).rmdir()
    (place / name).symlink_to(name)
    assert f"{name}: cannot be read: Too many levels of symbolic links" in refused(place, laws)


@pytest.mark.skipif(sys.platform == "win32", reason="file modes are POSIX")
def test_a_file_that_may_not_be_read(folder: Folder, laws: Laws) -> None:
    with tempfile.TemporaryDirectory() as open_to_all:
        place = Path(open_to_all) / "project"
        shutil.copytree(folder(), place)
        for each in (Path(open_to_all), place, place / "project.json"):
            each.chmod(0o755)
        (place / "rig.json").chmod(0)
        superuser = os.geteuid() == 0
        if superuser:  # who may read every file
            os.seteuid(65534)
        try:
            told = refused(place, laws)
        finally:
            if superuser:
                os.seteuid(0)
    assert "rig.json: cannot be read: Permission denied" in told


def test_audio_stays_inside_the_folder(folder: Folder, laws: Laws, tmp_path: Path, project: Tree) -> None:
    place = folder()
    assert load(place, laws).playback == Playback(file="song.wav")  # not there yet: no fault
    (place / "take one.wav").write_bytes(b"RIFF")
    (place / "song.wav").symlink_to("take one.wav")
    assert load(place, laws).playback == Playback(file="song.wav")
    (place / "song.wav").unlink()
    (place / "song.wav").symlink_to(tmp_path / "elsewhere.wav")
    assert "playback.file: 'song.wav' leads out of the project folder; copy the audio" in refused(place, laws)
    (place / "song.wav").unlink()
    (place / "song.wav").symlink_to("song.wav")
    assert "playback.file: 'song.wav' is a link that leads nowhere" in refused(place, laws)
    project["playback"]["file"] = "sound/song.wav"
    (folder() / "sound").symlink_to(tmp_path)
    assert "playback.file: 'sound/song.wav' leads out of the project folder" in refused(place, laws)
    (place / "sound").unlink()
    project["playback"]["file"] = "x" * 5000
    load(folder(), laws)  # no such file can be, and nothing breaks


def other_of(place: Path, laws: Laws, name: str = "Another name") -> Project:
    """The folder's project under another name, with another rig."""
    read = load(place, laws)
    return replace(read, name=name, rig=replace(read.rig, name=name))


def test_save_keeps_the_last_good_files(folder: Folder, laws: Laws) -> None:
    place = folder()
    before = content(place)
    (place / "project.json").chmod(0o640)
    wanted = other_of(place, laws)
    save(place, wanted, laws)
    assert load(place, laws) == wanted
    now = content(place)
    assert {"project.json": now["project.json.bak"], "rig.json": now["rig.json.bak"]} == before
    assert sorted(now) == ["project.json", "project.json.bak", "rig.json", "rig.json.bak"]
    assert stat.S_IMODE((place / "project.json").stat().st_mode) == 0o640


def test_save_leaves_alone_what_would_not_change(folder: Folder, laws: Laws) -> None:
    place = folder()
    read = load(place, laws)
    save(place, read, laws)
    once = {path: path.stat().st_mtime_ns for path in place.iterdir()}
    save(place, read, laws)
    save(place, replace(read, name="only the project changes"), laws)
    assert (place / "rig.json").stat().st_mtime_ns == once[place / "rig.json"]
    assert (place / "rig.json.bak").stat().st_mtime_ns == once[place / "rig.json.bak"]
    assert load(place, laws).name == "only the project changes"


def test_what_was_read_or_written_last_is_not_read_again(
    folder: Folder, laws: Laws, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whether it loads is known of these very bytes, with these laws, and of no others."""
    place = folder()
    project = load(place, laws)
    parsed: list[set[bytes]] = []
    parse = store._parse

    def watched(there: dict[str, bytes], laws: Laws) -> Project:
        parsed.append(set(there.values()))
        return parse(there, laws)

    monkeypatch.setattr(store, "_parse", watched)
    for name in ("second", "third"):
        before = (place / "project.json").read_bytes()
        save(place, replace(project, name=name), laws)
        assert (place / "project.json.bak").read_bytes() == before
    # only what was about to be written
    assert [any(name in data for data in one) for one, name in zip(parsed, (b"second", b"third"), strict=True)] == [
        True,
        True,
    ]
    # a single other byte, or other laws, and it is read again
    good = (place / "project.json").read_bytes()
    (place / "project.json").write_bytes(good + b" ")
    save(place, replace(project, name="fourth"), laws)
    assert good + b" " in parsed[-1]
    save(place, replace(project, name="fifth"), {**laws, "another": laws["linear"]})
    assert len(parsed) == 6


def test_what_does_not_load_with_other_laws_is_kept_aside(folder: Folder, laws: Laws) -> None:
    place = folder()
    project = load(place, laws)
    there = (place / "project.json").read_bytes()
    track = Track("pan", (Key(Fraction(0), 1.0, Ease("linear")), Key(Fraction(10), 2.0, Ease("linear"))))
    save(place, replace(project, move=Move(tracks=(track,))), {"linear": laws["linear"]})
    assert (place / "project.json.broken").read_bytes() == there


@pytest.mark.parametrize("collects", [True, False])
def test_the_collector_is_left_as_it_was(folder: Folder, laws: Laws, collects: bool) -> None:
    place = folder()
    before = gc.isenabled()
    try:
        (gc.enable if collects else gc.disable)()
        save(place, replace(load(place, laws), name="another"), laws)
        assert gc.isenabled() is collects
        (place / "project.json").write_text("{")
        with pytest.raises(ProjectError):
            load(place, laws)
        assert gc.isenabled() is collects
    finally:
        (gc.enable if before else gc.disable)()


def test_a_broken_file_does_not_push_out_the_last_good_one(folder: Folder, laws: Laws) -> None:
    place = folder()
    good = other_of(place, laws)
    save(place, good, laws)
    last_good = (place / "project.json.bak").read_bytes()
    by_hand = b'{"tracks": [half a night of work'
    (place / "project.json").write_bytes(by_hand)
    save(place, good, laws)
    assert load(place, laws) == good
    assert (place / "project.json.bak").read_bytes() == last_good
    assert (place / "project.json.broken").read_bytes() == by_hand


def test_save_makes_the_folder_but_not_the_way_to_it(tmp_path: Path, folder: Folder, laws: Laws) -> None:
    read = load(folder(), laws)
    save(tmp_path / "new", read, laws)
    assert load(tmp_path / "new", laws) == read
    assert len(content(tmp_path / "new")) == 2
    with pytest.raises(ProjectError, match=r"cannot be saved in .*: No such file or directory"):
        save(tmp_path / "no" / "way", read, laws)
    (tmp_path / "file").write_text("x")
    with pytest.raises(ProjectError, match=r"cannot be saved in .*: File exists"):
        save(tmp_path / "file", read, laws)


@pytest.mark.parametrize("name", ["project.json", "rig.json"])
def test_save_does_not_overwrite_a_newer_version(name: str, folder: Folder, laws: Laws) -> None:
    place = folder()
    wanted = other_of(place, laws)
    newer = json.loads((place / name).read_text()) | {"version": 2, "news": []}
    (place / name).write_text(json.dumps(newer))
    before = content(place)
    with pytest.raises(ProjectError, match=rf"{name}: version: written by a newer version of this program \(2"):
        save(place, wanted, laws)
    assert content(place) == before


def test_save_refuses_what_would_not_load(folder: Folder, laws: Laws) -> None:
    place = folder()
    read = load(place, laws)
    before = content(place)

    def with_key(value: float, ease: Ease) -> Project:
        return replace(read, move=Move(tracks=(Track("pan", (Key(Fraction(0), value, ease),)),)))

    for spoilt, message in (
        (replace(read, name=""), "project.json: name: '' is no name"),
        (replace(read, name="half \ud800"), "project.json: cannot be written as JSON"),
        (replace(read, playback=Playback(file="../x.wav")), "playback.file"),
        (replace(read, timebase=Timebase(Counting(Rate(23)), read.timebase.start)), "timebase.rate"),
        (with_key(math.nan, Ease("hold")), "tracks[0].keys[0].value"),
        (with_key(999.0, Ease("hold")), "tracks[0].keys[0].value"),
        (with_key(0.0, Ease("trapezoid", Ramp(math.inf))), "project.json: cannot be written as JSON"),
    ):
        with pytest.raises(ProjectError, match=re.escape(message)):
            save(place, spoilt, laws)
    assert content(place) == before


def test_a_link_is_replaced_and_what_it_led_to_is_not_touched(folder: Folder, laws: Laws, tmp_path: Path) -> None:
    place = folder()
    wanted = other_of(place, laws)
    shared = tmp_path / "shared.json"
    shutil.move(place / "rig.json", shared)
    (place / "rig.json").symlink_to(shared)
    before = shared.read_bytes()
    assert refused(place, laws).startswith("rig.json: leads out of the project folder")
    save(place, wanted, laws)
    assert load(place, laws) == wanted
    assert shared.read_bytes() == before
    assert not (place / "rig.json").is_symlink()
    assert not (place / "rig.json.bak").exists()  # what lies elsewhere was not carried in


@contextmanager
def disk_full_after(size: int) -> Iterator[None]:
    """Let the system refuse every write beyond `size` bytes of a file, as a full disk does."""
    import resource  # POSIX

    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@pytest.mark.skipif(sys.platform == "win32", reason="the limit on file size is POSIX")
@pytest.mark.parametrize("size", [0, 1, 300, 900])
def test_a_full_disk_leaves_everything_as_it_was(size: int, folder: Folder, laws: Laws) -> None:
    place = folder()
    save(place, other_of(place, laws), laws)
    wanted = other_of(place, laws, "A third name")
    before = content(place)
    assert size < max(map(len, before.values()))
    with disk_full_after(size), pytest.raises(Exception, match=r"cannot be saved in .*: File too large") as caught:
        save(place, wanted, laws)
    assert isinstance(caught.value, ProjectError)
    assert content(place) == before
    save(place, wanted, laws)
    assert load(place, laws) == wanted


def test_a_folder_that_may_not_be_written(folder: Folder, laws: Laws) -> None:
    """A name that cannot be replaced: `project.json.bak` is a folder, so nothing may be moved over it."""
    place = folder()
    (place / "project.json.bak").mkdir()
    wanted = other_of(place, laws)
    before = {name: (place / name).read_bytes() for name in ("project.json", "rig.json")}
    with pytest.raises(ProjectError, match=r"cannot be saved in .*: Is a directory"):
        save(place, wanted, laws)
    assert {name: (place / name).read_bytes() for name in ("project.json", "rig.json")} == before
    assert sorted(path.name for path in place.iterdir()) == ["project.json", "project.json.bak", "rig.json"]


@pytest.mark.parametrize("fails_at", [1, 2, 3, 4])
def test_a_name_that_cannot_be_changed_half_way(fails_at: int, folder: Folder, laws: Laws) -> None:
    """As when another program holds rig.json open on a system that locks open files: all or nothing."""
    place = folder()
    before = content(place)
    wanted = {name: text.encode() for name, text in dump(other_of(place, laws)).items()}
    calls = 0

    def rename(old: Any, new: Any) -> None:
        nonlocal calls
        calls += 1
        if calls == fails_at:
            raise PermissionError(13, "in use")
        os.replace(old, new)

    with pytest.raises(PermissionError):
        paired.put(place, wanted, before, ".bak", rename)
    after = content(place)
    assert {name: after[name] for name in before} == before
    assert not [name for name in after if name.endswith(".new")]
