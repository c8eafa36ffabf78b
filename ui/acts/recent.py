"""Which projects were open lately, for the next start. It refuses to complain: a list that cannot be kept is short."""

from contextlib import suppress
from pathlib import Path

import msgspec

from sequencer.project import files
from sequencer.project.recovery import state_folder

_FILE = "recent.json"
_MOST = 8


def recent(root: Path | None = None) -> tuple[Path, ...]:
    """Return the project folders that were open lately and are still there, the latest first."""
    return tuple(path for path in _read(root) if (path / files.PROJECT).is_file())


def opened(folder: Path, root: Path | None = None) -> None:
    """Remember that a project was opened."""
    folder = folder.resolve()
    paths = [folder, *(path for path in _read(root) if path != folder)][:_MOST]
    with suppress(OSError):
        home = root or state_folder()
        home.mkdir(parents=True, exist_ok=True)
        waiting = home / f"{_FILE}.new"
        waiting.write_bytes(msgspec.json.encode([str(path) for path in paths]))
        waiting.replace(home / _FILE)


def _read(root: Path | None) -> list[Path]:
    try:
        return [
            Path(path) for path in msgspec.json.decode(((root or state_folder()) / _FILE).read_bytes(), type=list[str])
        ]
    except (OSError, msgspec.MsgspecError):
        return []
