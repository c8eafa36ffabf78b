"""Files on the disk: all of an export or nothing of it, whatever is there already and whatever fails."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from sequencer.errors import ExportError
from sequencer.export.written import write

EXPORT = ("camera.csv", "camera.csv.txt", "camera.csv.svg")


def files(folder: Path, data: bytes = b"new", names: tuple[str, ...] = EXPORT) -> dict[Path, bytes]:
    return {folder / name: data for name in names}


def there(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


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


def test_all_files_are_there_and_nothing_else(tmp_path: Path) -> None:
    write(files(tmp_path))
    assert there(tmp_path) == dict.fromkeys(EXPORT, b"new")


@pytest.mark.parametrize("name", EXPORT)
def test_what_is_there_stays_unless_told(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(b"of another export")
    with pytest.raises(ExportError, match="is there already; name another file, or say --force to replace it") as said:
        write(files(tmp_path))
    assert name in str(said.value)
    assert there(tmp_path) == {name: b"of another export"}
    write(files(tmp_path), force=True)
    assert there(tmp_path) == dict.fromkeys(EXPORT, b"new")


def test_a_link_is_replaced_and_not_written_through(tmp_path: Path) -> None:
    far = tmp_path / "far"
    far.mkdir()
    (far / "precious").write_bytes(b"precious")
    near = tmp_path / "near"
    near.mkdir()
    (near / EXPORT[0]).symlink_to(far / "precious")
    write(files(near), force=True)
    assert there(far) == {"precious": b"precious"}
    assert not (near / EXPORT[0]).is_symlink()
    assert there(near) == dict.fromkeys(EXPORT, b"new")


@pytest.mark.skipif(sys.platform == "win32", reason="the limit on file size is POSIX")
@pytest.mark.parametrize("force", [False, True])
@pytest.mark.parametrize("size", [0, 2, 4])
def test_a_full_disk_leaves_everything_as_it_was(tmp_path: Path, size: int, force: bool) -> None:
    before = {"other": b"other"} | ({EXPORT[0]: b"of another export"} if force else {})
    for name, data in before.items():
        (tmp_path / name).write_bytes(data)
    wanted = files(tmp_path) | {tmp_path / EXPORT[1]: b"a longer text than the disk has room for"}
    with (
        disk_full_after(size),
        pytest.raises(ExportError, match=r"cannot be written.*everything is as it was; free the disk"),
    ):
        write(wanted, force)
    assert there(tmp_path) == before


@pytest.mark.parametrize("fault", [OSError(5, "Input/output error"), KeyboardInterrupt()])
@pytest.mark.parametrize("force", [False, True])
def test_where_the_second_file_cannot_take_its_name_the_first_is_taken_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fault: BaseException, force: bool
) -> None:
    before = {EXPORT[0]: b"of another export", EXPORT[2]: b"its chart"} if force else {}
    for name, data in before.items():
        (tmp_path / name).write_bytes(data)
    replace = os.replace
    placed: list[Path] = []

    def fails(new: Path, path: Path) -> None:
        if new.suffix == ".new":
            placed.append(path)
            if len(placed) == 2:
                raise fault
        replace(new, path)

    monkeypatch.setattr(os, "replace", fails)
    words = r"Input/output error; everything is as it was"
    with pytest.raises(ExportError, match=words) if isinstance(fault, OSError) else pytest.raises(KeyboardInterrupt):
        write(files(tmp_path), force)
    assert len(placed) == 2
    assert there(tmp_path) == before


def test_what_cannot_have_its_name_back_is_kept_and_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / EXPORT[0]).write_bytes(b"of another export")
    replace = os.replace
    moved: list[Path] = []

    def fails(new: Path, path: Path) -> None:
        moved.append(new)
        if len(moved) > 1:
            raise OSError(30, "Read-only file system")
        replace(new, path)

    monkeypatch.setattr(os, "replace", fails)
    with pytest.raises(ExportError, match=r"Read-only file system; what was there is now in \.camera\.csv\.") as said:
        write(files(tmp_path), force=True)
    ((name, data),) = there(tmp_path).items()
    assert name in str(said.value)
    assert data == b"of another export"


def test_a_folder_that_is_not_there_is_named_and_not_made(tmp_path: Path) -> None:
    with pytest.raises(ExportError, match=r"there is no folder .*gone; make it, or name another one"):
        write(files(tmp_path / "gone"))
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(ExportError, match=r"there is no folder .*file"):
        write(files(tmp_path / "file"))
    assert there(tmp_path) == {"file": b""}


def test_a_name_that_is_too_long_is_said(tmp_path: Path) -> None:
    with pytest.raises(ExportError, match=r"cannot be written.*too long"):
        write({tmp_path / f"{'long' * 70}.csv": b"new"})
    with pytest.raises(ExportError, match="there is no folder"):
        write({tmp_path / ("long" * 70) / "camera.csv": b"new"})
    assert there(tmp_path) == {}


def test_a_folder_of_the_files_own_name_is_kept(tmp_path: Path) -> None:
    (tmp_path / EXPORT[0]).mkdir()
    with pytest.raises(ExportError, match=r"camera\.csv is a folder; name a file in it"):
        write(files(tmp_path), force=True)
    assert [path.name for path in tmp_path.iterdir()] == [EXPORT[0]]


@pytest.mark.skipif(
    not Path("/proc/self").is_dir(), reason="a folder in which nobody may write, not even the superuser"
)
def test_a_folder_that_cannot_be_written_to_is_said() -> None:
    with pytest.raises(ExportError, match=r"camera\.csv cannot be written in /proc/self.*name another folder"):
        write(files(Path("/proc/self")))


def test_what_was_left_long_ago_goes_with_the_next_export(tmp_path: Path) -> None:
    names = (".camera.csv.0123abcd.new", ".camera.csv.0123abcd.old", ".camera.csv.4567abcd.new", ".camera.csv.old")
    paths = [tmp_path / name for name in names]
    for number, path in enumerate(paths):
        path.write_bytes(b"half")
        if number != 2:
            os.utime(path, (1e9, 1e9))
    write(files(tmp_path))
    assert [path.exists() for path in paths] == [False, False, True, True]


def test_a_file_that_is_replaced_is_there_at_any_instant(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write(files(tmp_path, b"old"))
    replace, link = os.replace, os.link

    def looked(one: Path, other: Path, **more: bool) -> None:
        assert all((tmp_path / name).exists() for name in EXPORT)
        (link if more else replace)(one, other, **more)
        assert all((tmp_path / name).exists() for name in EXPORT)

    monkeypatch.setattr(os, "replace", looked)
    monkeypatch.setattr(os, "link", looked)
    write(files(tmp_path), force=True)
    assert there(tmp_path) == dict.fromkeys(EXPORT, b"new")
