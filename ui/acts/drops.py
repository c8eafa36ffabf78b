"""What was dropped on the window, in plain words: a project folder, audio, or something else.

It refuses to look into large files: a name and a folder's entries say enough.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from PyQt6.QtCore import QEvent, QMimeData, QObject
from PyQt6.QtGui import QDragEnterEvent, QDropEvent
from PyQt6.QtWidgets import QWidget

from sequencer.project import files
from ui.language import translate

AUDIO = (".wav", ".flac", ".aif", ".aiff", ".aifc", ".ogg", ".opus", ".mp3", ".caf", ".au", ".w64", ".rf64", ".m4a")
_PICTURES = (".png", ".jpg", ".jpeg", ".tif", ".tiff", ".gif", ".bmp", ".webp", ".svg", ".exr", ".dng", ".heic")
_FILMS = (".mov", ".mp4", ".mxf", ".avi", ".mkv", ".webm", ".m4v", ".mpg")
_TEXTS = (".txt", ".md", ".pdf", ".doc", ".docx", ".odt", ".csv", ".xlsx", ".ods")
_PACKED = (".zip", ".7z", ".rar", ".gz", ".tgz", ".tar", ".xz", ".zst")


@dataclass(frozen=True, slots=True)
class Dropped:
    """What it is, and its path: for a project its folder. `words` say why anything else is not opened."""

    what: Literal["project", "audio", "other"]
    path: Path
    words: str = ""


def dropped(paths: list[Path]) -> Dropped:
    """Return what these paths, dropped together, are."""
    if not paths:
        return Dropped("other", Path(), translate("drops", "That is nothing on this machine's disks. " + _WANTED))
    if len(paths) > 1:
        words = translate("drops", "Those are {count} things. Drop one project folder, or one audio file.")
        return Dropped("other", paths[0], words.format(count=len(paths)))
    path = paths[0]
    if path.name in (files.PROJECT, files.RIG) and path.is_file():
        return Dropped("project", path.parent)
    if path.is_dir():
        return _folder(path)
    if path.suffix.lower() in AUDIO:
        return Dropped("audio", path)
    return Dropped("other", path, f"{_named(path)} {translate('drops', _WANTED)}")


_WANTED = (
    "Drop a project folder (it holds project.json and rig.json), or an audio file that is to be the project's playback."
)


def _folder(path: Path) -> Dropped:
    if (path / files.PROJECT).exists() or (path / files.RIG).exists():
        return Dropped("project", path)
    found = (one.parent.name for one in path.glob(f"*/{files.PROJECT}"))
    inside = sorted(name for name in found if not name.startswith("."))  # such a one is being copied, or was cut off
    if inside:
        words = translate("drops", "{name} is a folder with projects in it: {inside}. Drop one of those.")
        return Dropped("other", path, words.format(name=path.name, inside=", ".join(inside[:6])))
    words = translate("drops", "{name} is a folder, but no project: it has no project.json.")
    return Dropped("other", path, f"{words.format(name=path.name)} {translate('drops', _WANTED)}")


def _named(path: Path) -> str:
    kind = path.suffix.lower()
    if kind in _PICTURES:
        words = translate("drops", "{name} is a picture, not a project folder.")
    elif kind in _FILMS:
        words = translate("drops", "{name} is a film, not a project folder; only its sound, saved as audio, is of use.")
    elif kind == ".mcap":
        words = translate("drops", "{name} is a recorded take; it is looked at in Takes, and no project folder.")
    elif kind in (".mid", ".midi"):
        words = translate("drops", "{name} is a MIDI file, not a project folder; its tempo is read in Music.")
    elif kind in _TEXTS:
        words = translate("drops", "{name} is a document, not a project folder.")
    elif kind in _PACKED:
        words = translate("drops", "{name} is packed. Unpack it, and drop the project folder.")
    elif kind == ".json":
        words = translate("drops", "{name} is neither project.json nor rig.json.")
    else:
        words = translate("drops", "{name} is not a project folder.")
    return words.format(name=path.name)


class Drops(QObject):
    """Lets files be dropped anywhere on a window; `take` gets their paths."""

    def __init__(self, window: QWidget, take: "Taker") -> None:
        super().__init__(window)
        self._take = take
        window.setAcceptDrops(True)
        window.installEventFilter(self)

    def eventFilter(self, watched: QObject | None, event: QEvent | None) -> bool:
        if isinstance(event, QDragEnterEvent) and event.type() == QEvent.Type.DragEnter:
            if _paths(event.mimeData()) is not None:
                event.acceptProposedAction()
                return True
        elif isinstance(event, QDropEvent) and event.type() == QEvent.Type.Drop:
            paths = _paths(event.mimeData())
            if paths is not None:
                event.acceptProposedAction()
                self._take.drop(paths)
                return True
        return False


class Taker(QObject):
    """Whoever takes what was dropped."""

    def drop(self, paths: list[Path]) -> None:
        """Do with these paths what is to be done."""
        raise NotImplementedError


def _paths(data: QMimeData | None) -> list[Path] | None:
    if data is None or not data.hasUrls():
        return None
    return [Path(url.toLocalFile()) for url in data.urls() if url.isLocalFile()]
