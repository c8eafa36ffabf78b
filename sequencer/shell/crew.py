"""Starts the processes of a run (engine, io, watchdog), and is the command's end of their talk.

It decides nothing about motion. When the block ends, in whatever way, the processes end too, the engine by a controlled
stop.
"""

import contextlib
import secrets
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec

from sequencer.errors import LinkError
from sequencer.playback.state import Phase
from sequencer.shell.control import Control
from sequencer.shell.memory import Page, Ring
from sequencer.shell.messages import REPORTS, Command, Failed, Opened, Quit, Report, Setup, Status
from sequencer.shell.porch import Porch
from sequencer.shell.run_folder import run_folder
from sequencer.shell.watchdog import RESTING

ROLES = {"engine": "sequencer.shell.engine", "io": "sequencer.shell.io_process", "watchdog": "sequencer.shell.watchdog"}
GIVER = {"giver": "sequencer.shell.giver"}
_START_S = 20.0
_END_S = 5.0
_UNGUARDED_S = 3.0  # far beyond what a busy machine takes from a process
_PAUSE_S = 0.5  # without a look of its own: whether the watchdog stood still meanwhile is not known
_RECORDS_BYTES = 8 << 20
_CHUNKS_BYTES = 1 << 18
_WISHES_BYTES = 1 << 12


class CrewFailed(LinkError):
    """A process of the run could not go on; `exit_status` is the command's."""

    def __init__(self, text: str, exit_status: int = 3) -> None:
        super().__init__(text)
        self.exit_status = exit_status


class Crew:
    """The running processes, by role."""

    def __init__(self, folder: Path, setup: Setup, held: tuple[int, ...] = ()) -> None:
        self._page = Page(folder / "page", new=True)
        Ring(folder / "records", size=_RECORDS_BYTES).close()
        Ring(folder / "chunks", size=_CHUNKS_BYTES).close()
        Ring(folder / "wishes", size=_WISHES_BYTES).close()
        roles = ROLES | (GIVER if setup.give else {})
        token = secrets.token_hex(16)
        self._porch = Porch(token, roles)
        self.port = self._porch.port
        setup = msgspec.structs.replace(setup, port=self.port, token=token)
        (folder / "setup.json").write_bytes(msgspec.json.encode(setup))
        self._links: dict[str, Control[Report]] = {}
        self._awaited = roles.keys() - {"watchdog"}
        self._processes = {role: _start(module, str(folder), held=held) for role, module in roles.items()}
        self._ended: set[str] = set()
        self._early: list[Report] = []
        self._opened: dict[str, Opened] = {}
        self._begun_s = self._looked_s = self._guarded_s = time.monotonic()
        self._guard_beat = 0

    def beat(self) -> None:
        """Tell the engine that the command is alive; `hear` does so too."""
        self._page.set_word(Page.OPERATOR_BEAT, time.monotonic_ns())

    def tell(self, command: Command) -> None:
        """Send the engine a command, and that the command is alive: the operator may have thought for long."""
        self.beat()
        self._links["engine"].say(command)

    def stop_now(self) -> None:
        """Ask for a stop by shared memory: obeyed at the next tick, even behind a flood of messages."""
        self._page.ask_stop()

    def status(self) -> Status | None:
        row = self._page.newest()
        return None if row is None else msgspec.msgpack.decode(row, type=Status)

    @property
    def engine_pid(self) -> int:
        return self._processes["engine"].pid

    @property
    def pids(self) -> dict[str, int]:
        """The processes by their roles."""
        return {role: process.pid for role, process in self._processes.items()}

    def opened(self) -> dict[str, Opened] | None:
        """Return what the processes have opened, or None while one but the watchdog is not ready; `hear` goes on.

        Error: CrewFailed where that takes too long.
        """
        late = self._awaited - self._opened.keys()
        if late and time.monotonic() > self._begun_s + _START_S:
            words = " and ".join(sorted(late))
            raise CrewFailed(f"the {words} process was not ready after {_START_S:.0f} s; is the machine very busy?")
        return None if late else self._opened

    def hear(self, wait_s: float = 0.05) -> list[Report]:
        """Return what the processes have said, after at most `wait_s` of waiting (0 for a loop of your own).

        Error: CrewFailed where one of them says that it cannot go on, has ended without a word, or watches no more.
        """
        self.beat()
        self._look_after_watchdog()
        self._welcome()
        said, self._early = self._early, []
        said += self._read()
        if not said:
            time.sleep(wait_s)
            said = self._read()
        for report in said:
            if isinstance(report, Failed):
                raise CrewFailed(report.text, report.exit_status)
            if isinstance(report, Opened):
                self._opened[report.role] = report
        for role, process in self._processes.items():
            # a process's last words come first
            if not said and process.poll() is not None and role not in self._ended:
                if role == "watchdog" and self._page.word(Page.ENGINE_BEAT) == RESTING:
                    continue  # it ends with the engine, which may be longer in ending
                self._ended.add(role)
                raise CrewFailed(_ended(role, process.returncode))
        return said

    def _look_after_watchdog(self) -> None:
        """Error: CrewFailed where it stands still, while this process does not: nobody would notice a dead engine."""
        now_s, beat = time.monotonic(), self._page.word(Page.WATCHDOG_BEAT)
        if not beat or beat != self._guard_beat or now_s - self._looked_s > _PAUSE_S:
            self._guard_beat, self._guarded_s = beat, now_s
        self._looked_s = now_s
        if now_s - self._guarded_s <= _UNGUARDED_S or "watchdog" in self._ended:
            return
        if self._page.word(Page.ENGINE_BEAT) != RESTING:
            self._ended.add("watchdog")
            raise CrewFailed(_unguarded())

    def _read(self) -> list[Report]:
        return [report for link in self._links.values() for report in link.read()]

    def wait_opened(self) -> dict[str, Opened]:
        """Wait until all but the watchdog stand ready, which says nothing. Error: CrewFailed."""
        others: list[Report] = []
        while (opened := self.opened()) is None:
            others += [report for report in self.hear() if not isinstance(report, Opened)]
        self._early += others
        return opened

    def _welcome(self) -> None:
        """Take in the processes that have reported for duty."""
        for role, link in self._porch.look(time.monotonic()).items():
            self._links[role] = Control(link, REPORTS)

    def close(self) -> None:
        """End the processes: the engine first, since the others serve it until it has braked."""
        for role, process in self._processes.items():
            self._end(process, self._links.get(role))
        self._porch.close()
        self._page.close()

    def _end(self, process: subprocess.Popen[Any], link: Control[Report] | None) -> None:
        """Have a process quit. One that has not reported for duty has done nothing yet, and is not waited for."""
        deadline = time.monotonic()
        if link is not None:
            deadline += _END_S
            link.say(Quit())
        while process.poll() is None and time.monotonic() < deadline:
            self.beat()
            status = self.status()
            if status is not None and status.phase == Phase.STOPPING and process is self._processes["engine"]:
                # a heavy rig brakes for long; an engine that hangs in it is the watchdog's
                deadline = time.monotonic() + _END_S
            time.sleep(0.02)
        process.kill()
        process.wait()
        if link is not None:
            link.close()


def _unguarded() -> str:
    """Return what to say where the watchdog hangs, and what becomes of the rig."""
    return (
        f"the watchdog has stood still for {_UNGUARDED_S:g} s, and would not notice an engine that dies, so the run "
        "ends, and a rig that moves brakes; look at the rig before you start again"
    )


def _ended(role: str, status: int) -> str:
    """Return what to say of a process that ended without a word, and what becomes of the rig."""
    if role == "engine":
        return (
            f"the engine ended by itself (status {status}), and the rig is told to stop; "
            "look at it before you start again"
        )
    return (
        f"the {role} process ended by itself (status {status}), so the run ends, and a rig that moves brakes; "
        "look at it before you start again"
    )


def _start(module: str, *arguments: str, held: tuple[int, ...] = ()) -> subprocess.Popen[Any]:
    """Start one of our own modules as a process that a Ctrl-C in the terminal does not reach; `held` is open in it."""
    return subprocess.Popen(
        [sys.executable, "-P", "-m", module, *arguments],  # never a module from the folder one stands in
        stdin=subprocess.DEVNULL,
        start_new_session=True,
        pass_fds=held,
    )


@contextlib.contextmanager
def crew(setup: Setup) -> Iterator[Crew]:
    """Start the processes for `setup`; end them with the block."""
    with run_folder() as (folder, held):
        running = Crew(folder, setup, held)
        try:
            yield running
        finally:
            running.close()
