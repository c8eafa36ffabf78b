"""Whole runs that are killed: `twintake takes` and `twintake play` with the simulated rig, one of their processes each.

Linux only: the processes of a run are found under /proc.
"""

import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack, suppress
from dataclasses import dataclass
from pathlib import Path

from sequencer.errors import SequencerError
from sequencer.project import store, takefile
from sequencer.shell import run_folder, shoot
from sequencer.shell.kinds import laws
from tests.crash.kills import Killed
from tests.shell.small import small_project

KINDS = ("takes", "play")
_VICTIMS = ("command", "engine", "io_process", "watchdog")
_PATIENCE_S = 40.0
_PROMISE_S, _SLACK_S = 0.5, 0.7  # the keeper looks each 20 ms, on a machine that does much else
_AGAIN_EVERY = 8
_ENDS = frozenset({"stopped", "finished"})  # what is told where a take has come to its end


@dataclass(frozen=True, slots=True)
class _Run:
    """A run that goes on: its command, its processes by role, the folder of its memory, and since when it records."""

    command: subprocess.Popen[bytes]
    roles: dict[str, int]
    memory: Path
    records_ns: int


def kill_run(kind: str, seed: int) -> Killed:
    """Kill one process of a whole run while a take is recorded, and look what is lost."""
    chance = random.Random(f"{kind} {seed}")
    victim = _VICTIMS[seed % len(_VICTIMS)]
    with ExitStack() as stack:
        place = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="crash-")))
        folder = small_project(place / "project", legs=2)
        (folder / "takes").mkdir()
        before = store.load(folder, laws())
        output = stack.enter_context(shoot.simulated_rig(folder / "rig.json", 1))[1] if kind == "play" else ""
        run = _begun(folder, output)
        try:
            time.sleep(chance.uniform(0.0, 2.0))
            killed_ns = time.monotonic_ns()
            os.kill(run.roles[victim], signal.SIGKILL)
            lost = list(_ended(run))
        finally:
            _end(run)
        lost += _lost(folder, run.records_ns, killed_ns, until_then=victim in ("engine", "io_process"))
        left = int(run.memory.exists())
        if seed % _AGAIN_EVERY == 0:
            lost += _again(folder)
        run_folder.sweep()
        if store.load(folder, laws()) != before:
            lost.append("the project is another one")
        words = tuple(f"{victim} killed: {one}" for one in lost)
        return Killed(kind, seed, 1, words, left, int(run.memory.exists()))


def _command(folder: Path, output: str) -> list[str]:
    begin = [sys.executable, "-m", "sequencer"]
    if not output:
        return [*begin, "takes", str(folder), "--takes", "1", "--preroll", "1"]
    return [*begin, "play", str(folder), "--arm", "--record", "--cue", "turn", "--sync", "internal", "--out", output]


def _begun(folder: Path, output: str) -> _Run:
    """Start a run, and wait until it records a take. Error: AssertionError where none does."""
    command = subprocess.Popen(
        _command(folder, output), stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
    )
    deadline_s = time.monotonic() + _PATIENCE_S
    while not list((folder / "takes").glob("*.mcap")):
        if command.poll() is not None or time.monotonic() > deadline_s:
            command.kill()
            raise AssertionError(f"no take was begun: {command.communicate()[1].decode()}")
        time.sleep(0.01)
    records_ns = time.monotonic_ns()
    roles, memory = {"command": command.pid}, Path()
    for pid in Path(f"/proc/{command.pid}/task/{command.pid}/children").read_text().split():
        words = Path(f"/proc/{pid}/cmdline").read_text().split("\0")
        for role in _VICTIMS:
            if f"sequencer.shell.{role}" in words:
                roles[role] = int(pid)
                memory = Path(words[words.index(f"sequencer.shell.{role}") + 1])
    return _Run(command, roles, memory, records_ns)


def _ended(run: _Run) -> Iterator[str]:
    """Wait until the run is over by itself; yield what stays."""
    deadline_s = time.monotonic() + _PATIENCE_S
    while time.monotonic() < deadline_s:
        run.command.poll()
        if not any(_lives(pid) for pid in run.roles.values()):
            return
        time.sleep(0.02)
    yield f"{', '.join(role for role, pid in run.roles.items() if _lives(pid))} still there after {_PATIENCE_S:.0f} s"


def _lives(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except (OSError, IndexError):
        return False


def _end(run: _Run) -> None:
    for pid in run.roles.values():
        if _lives(pid):
            with suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)
    run.command.communicate()


def _lost(folder: Path, records_ns: int, killed_ns: int, *, until_then: bool) -> Iterator[str]:
    """Yield what is lost of the take; `until_then`: what makes its rows, or writes them, was killed."""
    paths = sorted((folder / "takes").glob("*.mcap"))
    if not paths:
        yield "the take that was begun is not there"
    for path in paths:
        try:
            take = takefile.read(path)
        except SequencerError as fault:
            yield f"a take cannot be read: {fault}"
            continue
        stamps = [*take.due_ns.tolist(), *take.actual_ns.tolist()]
        newest_s = (killed_ns - max(stamps, default=records_ns)) * 1e-9
        age_s = (killed_ns - min(stamps, default=records_ns)) * 1e-9
        # said after the kill, it is the word of whoever closed the take
        ended = any(one.code in _ENDS and one.at_ns <= killed_ns for one in take.happenings)
        # one that went on has all but its last half second, whoever closed it; where what writes it lives on, all
        if until_then and not ended and newest_s > _PROMISE_S + _SLACK_S and age_s > _PROMISE_S:
            yield f"{path.name} ends {newest_s:.2f} s before the kill ({take.fault})"
        if not until_then and not take.complete:
            yield f"{path.name} is not whole, and what writes it lived on ({take.fault})"


def _again(folder: Path) -> Iterator[str]:
    """Shoot one more take, in the same folder."""
    done = subprocess.run(_command(folder, ""), capture_output=True, check=False, timeout=_PATIENCE_S)
    if done.returncode not in (0, 1):
        yield f"the next run: {done.stderr.decode()[-500:]}"
