"""Takes turns between the processes of one test run: tests that wait on the machine's clock have it to themselves."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

try:
    import fcntl
except ImportError:  # another system: one process, one test after the other
    fcntl = None  # type: ignore[assignment]  # that it may be missing there

KNOWN: Final = fcntl is not None
# locked are two files of ours, so that nothing is left lying about, even by a run that was killed
_GATE: Final = Path(__file__)
_ROOM: Final = Path(__file__).with_name("__init__.py")


@contextmanager
def turn(*, alone: bool, gate: Path = _GATE, room: Path = _ROOM) -> Iterator[None]:
    """Wait until nothing runs that must not run beside this; nobody overtakes who waits to be alone."""
    with gate.open() as at_gate, room.open() as in_room:
        fcntl.flock(at_gate, fcntl.LOCK_EX)
        fcntl.flock(in_room, fcntl.LOCK_EX if alone else fcntl.LOCK_SH)
        fcntl.flock(at_gate, fcntl.LOCK_UN)
        yield
