"""Which source files a decoder is made of: ours, and those of libraries in pure Python, that its inputs run through."""

import ast
import contextlib
import hashlib
import sys
from collections.abc import Iterable
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from types import FrameType
from typing import Any

from tests.fuzz.kept import inputs
from tests.fuzz.target import Target

ROOT = Path(__file__).parents[2]
LIBRARIES = ("pythonosc", "mido", "mcap")


@cache
def _folders() -> dict[str, Path]:
    ours = (ROOT / "sequencer", ROOT / "docs" / "device")
    found = (find_spec(name) for name in LIBRARIES)
    return {path.name: path for path in (*ours, *(Path(one.origin).parent for one in found if one and one.origin))}


def _name(file: str) -> str:
    for name, folder in _folders().items():
        if Path(file).is_relative_to(folder):
            return f"{name}/{Path(file).relative_to(folder).as_posix()}"
    return ""


def hashes(names: Iterable[str]) -> dict[str, str]:
    """Return the hash of each source file as the interpreter reads it: comments and layout do not count."""
    return {name: _read(name) for name in names}


def _read(name: str) -> str:
    folder, _, rest = name.partition("/")
    path = _folders().get(folder, ROOT) / rest
    try:
        return _hash(path, path.stat().st_mtime_ns)
    except (OSError, SyntaxError):
        return ""  # such a file is not there, or is being written


@cache
def _hash(path: Path, _changed_ns: int) -> str:
    return hashlib.sha256(ast.dump(ast.parse(path.read_bytes())).encode()).hexdigest()[:16]


def reached(target: Target) -> dict[str, str]:
    """Return the source files that a target's seeds and kept inputs run through, each with its hash."""
    files: set[str] = set()

    def call(frame: FrameType, event: str, _: Any) -> None:
        if event == "call":
            files.add(frame.f_code.co_filename)

    before, many = sys.getprofile(), [*target.seeds(), *inputs(target.name)]
    # twice: what is made once and then kept for all inputs is no part of the decoder
    for profile in (before, call):
        sys.setprofile(profile)
        try:
            for data in many:
                with contextlib.suppress(Exception):  # what it does not survive is told by the tests
                    target.decode(data)
        finally:
            sys.setprofile(before)
    return hashes(sorted(filter(None, map(_name, files))))
