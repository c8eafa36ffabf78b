"""What a process holds now, as the system tells: memory, descriptors, threads, processor time. It judges nothing."""

import os
import sys
from dataclasses import dataclass
from pathlib import Path

_PROC = Path("/proc")
KNOWN = sys.platform.startswith("linux")
UNKNOWN = "memory, descriptors and threads are not known here: they are read from /proc, which only Linux has"


@dataclass(frozen=True, slots=True)
class Held:
    """What one process holds. Unit: `all_mb` and `own_mb` megabytes in memory, `own_mb` without what it shares with
    others by shared memory; `spent_s` seconds of processor time since it began."""

    all_mb: float
    own_mb: float
    descriptors: int
    threads: int
    spent_s: float


def held(pid: int) -> Held | None:
    """Return what the process `pid` holds; None where that is not known, or it has ended."""
    if not KNOWN:
        return None
    process = _PROC / str(pid)
    try:
        lines = (process / "status").read_text().splitlines()
        told = {name: value.split() for name, _, value in (line.partition(":") for line in lines)}
        descriptors = len(list((process / "fd").iterdir()))
        fields = (process / "stat").read_text().rpartition(")")[2].split()
    except OSError:
        return None
    if "VmRSS" not in told:
        return None  # it has ended, and is not yet gone
    whole, shared = (int(told[name][0]) / 1024 if name in told else 0.0 for name in ("VmRSS", "RssShmem"))
    spent_s = (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    return Held(whole, whole - shared, descriptors, int(told["Threads"][0]), spent_s)


def folder_of(engine_pid: int) -> Path | None:
    """Return the folder that a run's processes share memory in, as the engine was told; None where not known."""
    if not KNOWN:
        return None
    try:
        words = (_PROC / str(engine_pid) / "cmdline").read_bytes().split(b"\0")
    except OSError:
        return None
    return Path(os.fsdecode(words[-2])) if len(words) > 1 else None


def files_in(folder: Path | None) -> int | None:
    """Return how many files there are in a folder, those in folders within it too; None where there is none."""
    if folder is None or not folder.is_dir():
        return None
    return sum(path.is_file() for path in folder.rglob("*"))
