"""Whoever reads a stranger's file with a library in C++ has a bound on its memory, set before the file is looked at."""

import subprocess
import sys
from types import ModuleType
from unittest.mock import Mock

import pytest

from sequencer.export import otio_read, usd_read

PATIENCE_S = 60
SWELLS = "from sequencer.export.memory import bound\nbound()\nbytearray(8 << 30)"


class Bounded(Exception):
    pass


@pytest.mark.skipif(sys.platform != "linux", reason="other systems do not hold to the bound")
def test_what_swells_beyond_the_bound_ends() -> None:
    done = subprocess.run(
        [sys.executable, "-P", "-c", SWELLS], capture_output=True, text=True, timeout=PATIENCE_S, check=False
    )
    assert (done.returncode, done.stderr.rstrip().rpartition("\n")[2]) == (1, "MemoryError")


@pytest.mark.parametrize("reader", [otio_read, usd_read])
def test_the_bound_is_set_before_a_file_is_looked_at(monkeypatch: pytest.MonkeyPatch, reader: ModuleType) -> None:
    monkeypatch.setattr(reader, "bound", Mock(side_effect=Bounded))
    monkeypatch.setattr(sys, "stdin", None)
    with pytest.raises(Bounded):
        reader.main()
