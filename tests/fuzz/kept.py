"""The corpus that is kept: which inputs, where, and what each adds to what the others reach."""

import hashlib
import sys
from collections.abc import Iterable
from pathlib import Path
from types import FrameType
from typing import Any

from tests.fuzz.target import Target

CORPUS = Path(__file__).parent / "corpus"
FOUND = "found-"  # begins the name of an input that a decoder did not survive
MOST, LONGEST = 48, 800  # inputs of a target, and bytes of one
_OURS = tuple(str(Path(__file__).parents[2] / folder) for folder in ("sequencer", "docs/device"))

Step = tuple[str, int, int]


def inputs(name: str) -> list[bytes]:
    """Return the kept inputs of a target, in the order of their names."""
    return [path.read_bytes() for path in sorted((CORPUS / name).glob("*"))]


def name_of(data: bytes) -> str:
    """Return the file name of an input."""
    return hashlib.sha256(data).hexdigest()[:16]


def reached(target: Target, data: bytes) -> set[Step]:
    """Return the steps from line to line of our code that an input leads to."""
    found: set[Step] = set()

    def step(frame: FrameType, event: str, _: Any) -> Any:
        file = frame.f_code.co_filename
        if not file.startswith(_OURS):
            return None
        last = 0

        def within(frame: FrameType, event: str, _: Any) -> Any:
            nonlocal last
            if event == "line":
                found.add((file, last, frame.f_lineno))
                last = frame.f_lineno
            return within

        return within

    before = sys.gettrace()
    sys.settrace(step)
    try:
        target.decode(data)
    finally:
        sys.settrace(before)
    return found


def chosen(target: Target, candidates: Iterable[bytes]) -> list[bytes]:
    """Return the few inputs that together reach what all of them do: those that add the most, short ones first."""
    distinct = sorted({one for one in candidates if len(one) <= LONGEST}, key=lambda one: (len(one), one))
    reach = [(one, reached(target, one)) for one in distinct]
    there: set[Step] = set()
    taken: list[bytes] = []
    while reach and len(taken) < MOST:
        # the order within one length is that of the bytes, so that the choice is the same every time
        best = max(reach, key=lambda one: len(one[1] - there))
        if not best[1] - there:
            break
        there |= best[1]
        taken.append(best[0])
        reach = [one for one in reach if one is not best]
    return taken


def keep(target: Target, found: Iterable[bytes]) -> tuple[int, int]:
    """Write the corpus of a target anew from what is kept and what was found; return how many inputs, and steps."""
    taken = chosen(target, [*target.seeds(), *inputs(target.name), *found])
    folder = CORPUS / target.name
    folder.mkdir(parents=True, exist_ok=True)
    wanted = {name_of(one): one for one in taken}
    for path in folder.glob("*"):
        # what a decoder did not survive once stays, whatever it reaches
        if path.name not in wanted and not path.name.startswith(FOUND):
            path.unlink()
    for name, data in wanted.items():
        (folder / name).write_bytes(data)
    return len(taken), len(set().union(*(reached(target, one) for one in taken)))
