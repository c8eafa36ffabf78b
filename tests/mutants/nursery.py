"""Mutants tried by the tests: each in a process of its own, forked from one that has imported everything.

That process is a session of pytest. Before it collects, a first child runs all tests, and tells which statements each
ran and how long it took; and mutants of what is worked out on import take their module's place, in memory alone, before
anything has imported it. Then the session collects, and each mutant of a function gives that function its code. A child
runs the tests that can notice its mutant, the fastest first, until one fails. Hypothesis draws the same examples each
time, and does not look for a simpler one.
"""

import gc
import importlib
import marshal
import os
import resource
import signal
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from functools import partial
from pathlib import Path

import pytest

from tests.mutants.breed import Mutant
from tests.mutants.covering import MARK, Covered, Statement, Users, clear_of, marked
from tests.mutants.placing import exchanged, place

_KILLED, _SURVIVED = 100, 101  # exit statuses that nothing else has
_LONGER, _SPARE_S = 5, 2.0  # times what a test took without a mutant, and more, of the processor's time: it is endless
_WHOLE_S = 60  # of the processor's time until tests are collected; of any other, ten times as much for all
_EXAMPLES = 20  # of each property at most: fewer than usual may miss a mutant, and never invent a death
_SETTINGS = "_hypothesis_internal_use_settings"  # where a property keeps them; there is no public door to change them
_MEMORY = 2 << 30  # beyond what the process has; who wants more fails


class Fate(StrEnum):
    KILLED = "killed"
    ENDLESS = "endless"
    SURVIVED = "survived"
    UNCOVERED = "not covered"
    UNKNOWN = "ended for no reason of a test"


@dataclass(slots=True, eq=False)
class Nursery:
    """A plug-in of pytest that tries mutants in place of running tests.

    `paths`: of each module in the rooms that are mutated. `told` is called with each mutant and its fate, in order.
    `fault`: why no mutant could be tried, in words.
    """

    paths: Mapping[str, Path]
    bred: Sequence[Mutant]
    jobs: int
    told: Callable[[Mutant, Fate], None]
    fates: list[Fate] = field(default_factory=list)
    fault: str = ""
    covered: list[Covered] = field(default_factory=list)
    _early: dict[int, Fate] = field(default_factory=dict)
    _child: str = ""
    _to: int = -1
    _run: set[Statement] = field(default_factory=set)
    _ran: list[tuple[str, float, tuple[Statement, ...]]] = field(default_factory=list)
    _order: dict[str, float] = field(default_factory=dict)

    # in the session

    @pytest.hookimpl(tryfirst=True)
    def pytest_collection(self, session: pytest.Session) -> bool | None:
        self._cover()
        if not self._child and not self.fault:
            early = [number for number, one in enumerate(self.bred) if not one.late]
            for number, fate in self._try(session, early):
                self._early[number] = fate
        return True if self.fault else None

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool | None:
        if self._child:
            return None
        if not self.fault:
            gc.collect()
            gc.freeze()
            late = [number for number, one in enumerate(self.bred) if one.late]
            known = self._early
            for number, fate in self._try(session, late):
                known[number] = fate
                self._tell(known)
            if not self._child:
                self._tell(known)
        return None if self._child else True

    def _tell(self, known: dict[int, Fate]) -> None:
        while (number := len(self.fates)) in known:
            self.fates.append(known.pop(number))
            self.told(self.bred[number], self.fates[-1])

    def _fork(self, child: str) -> tuple[int, int]:
        """Return the process and from where it is read; 0 in the child."""
        ours, theirs = os.pipe()
        sys.stdout.flush()
        pid = os.fork()
        if pid:
            os.close(theirs)
            return pid, ours
        os.close(ours)
        self._child, self._to = child, theirs
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 1)
        os.dup2(nowhere, 2)
        return 0, -1

    def _cover(self) -> None:
        """Know what the tests cover, and import what no mutant can change."""
        pid, read = self._fork("covering")
        if not pid:
            codes = {
                name: compile(marked(path.read_text(encoding="utf-8")), str(path), "exec")
                for name, path in self.paths.items()
            }
            for name, code in codes.items():
                place({name: code}, self.paths, {MARK: partial(self._mark, name)})
            return
        with os.fdopen(read, "rb") as pipe:
            said = pipe.read()
        os.waitpid(pid, 0)
        self.fault, ran, names = marshal.loads(said) if said else ("the tests ended their process", [], [])
        self.covered = [Covered(test, took_s, frozenset(statements)) for test, took_s, statements in ran]
        if self.fault:
            return
        for name in names:
            importlib.import_module(name)
        early = sorted(set(self.paths) & set(sys.modules))
        if early:
            self.fault = f"imported before a mutant could take its place: {', '.join(early)}"

    def _mark(self, module: str, line: int) -> None:
        self._run.add((module, line))

    def _try(self, session: pytest.Session, numbers: Sequence[int]) -> Iterator[tuple[int, Fate]]:
        """Try these mutants, some at a time. In a child it ends at once."""
        users = Users(self.paths)
        waiting: dict[int, int] = {}
        for number in [*numbers, *[-1] * self.jobs]:
            if len(waiting) >= self.jobs or (number < 0 and waiting):
                pid, status = os.wait()
                yield waiting.pop(pid), _fate(status)
            if number < 0:
                continue
            mutant = self.bred[number]
            chosen = users.noticing(mutant, self.covered)
            if not chosen:
                yield number, Fate.UNCOVERED
                continue
            pid, read = self._fork("mutant")
            if not pid:
                self._become(session, mutant, chosen)
                return
            os.close(read)
            waiting[pid] = number

    # in a child

    def _become(self, session: pytest.Session, mutant: Mutant, chosen: Sequence[Covered]) -> None:
        for number in (signal.SIGPROF, signal.SIGALRM):
            signal.signal(number, signal.SIG_DFL)
        signal.setitimer(signal.ITIMER_PROF, _WHOLE_S)
        signal.alarm(10 * _WHOLE_S)
        size = int(Path("/proc/self/statm").read_text().split()[0]) * os.sysconf("SC_PAGE_SIZE")
        resource.setrlimit(resource.RLIMIT_AS, (size + _MEMORY, size + _MEMORY))
        self._order = {one.test: one.took_s for one in chosen}
        path = self.paths[mutant.module]
        if not mutant.late:
            place({mutant.module: compile(mutant.text, str(path), "exec")}, self.paths, {})
            session.config.args = list(self._order)
            return
        exchange = exchanged(mutant, path)
        if exchange is None:
            os._exit(_SURVIVED)
        exchange()
        self._sort(session.items)
        del session.items[len(self._order) :]

    def _sort(self, items: list[pytest.Item]) -> None:
        place = {test: number for number, test in enumerate(self._order)}
        items.sort(key=lambda item: place.get(item.nodeid, len(place)))

    @pytest.hookimpl(trylast=True)
    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        for item in items:
            _shortened(item)
        if self._child == "mutant":
            self._sort(items)

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        self._run.clear()
        if self._child == "mutant":
            signal.setitimer(signal.ITIMER_PROF, _SPARE_S + _LONGER * self._order.get(item.nodeid, 0.0))
        begun_s = resource.getrusage(resource.RUSAGE_SELF).ru_utime
        try:
            return (yield)
        finally:
            took_s = resource.getrusage(resource.RUSAGE_SELF).ru_utime - begun_s
            self._ran.append((item.nodeid, took_s, tuple(sorted(self._run))))

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        self._failed(report.failed, f"{report.nodeid} could not be collected: {report.longreprtext}")

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtest_makereport(self, item: pytest.Item, call: pytest.CallInfo[None]) -> None:
        """End at the first test that fails, before anything is put into words."""
        skipped = call.excinfo is None or call.excinfo.errisinstance(pytest.skip.Exception)
        if self._child == "mutant" and not skipped and item.get_closest_marker("xfail") is None:
            os._exit(_KILLED)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        self._failed(report.failed, f"{report.nodeid} fails without any mutant: {report.longreprtext}")

    def _failed(self, failed: bool, words: str) -> None:
        if failed and self._child == "mutant":
            os._exit(_KILLED)
        if failed and self._child == "covering":
            self._end(words)

    @pytest.hookimpl(tryfirst=True)
    def pytest_sessionfinish(self) -> None:
        if self._child == "mutant":
            # a mutant with which there are fewer tests was noticed
            os._exit(_SURVIVED if len(self._ran) >= len(self._order) else _KILLED)
        if self._child == "covering":
            self._end("" if self._ran else "no test was found")

    def _end(self, fault: str) -> None:
        names = [name for name, one in sys.modules.items() if getattr(one, "__spec__", None)]
        with os.fdopen(self._to, "wb") as pipe:
            pipe.write(marshal.dumps((fault, self._ran, clear_of(set(self.paths), names))))
        os._exit(0)


def _shortened(item: pytest.Item) -> None:
    """Have a property be tried on few examples, always the same, and not look for a simpler one that fails."""
    from hypothesis import Phase, settings  # not before pytest has seen to its plug-ins

    tried = getattr(item, "obj", None)
    usual = getattr(tried, _SETTINGS, None)
    if usual is not None:
        few = settings(
            usual,
            max_examples=min(usual.max_examples, _EXAMPLES),
            derandomize=True,
            database=None,
            phases=(Phase.explicit, Phase.generate),
        )
        setattr(tried, _SETTINGS, few)


def _fate(status: int) -> Fate:
    if os.WIFSIGNALED(status):
        ends: dict[int, Fate] = {signal.SIGPROF: Fate.ENDLESS, signal.SIGALRM: Fate.ENDLESS}
        # a system that is out of memory, or a person, ends whatever there is
        ends |= {signal.SIGKILL: Fate.UNKNOWN, signal.SIGTERM: Fate.UNKNOWN, signal.SIGINT: Fate.UNKNOWN}
        return ends.get(os.WTERMSIG(status), Fate.KILLED)
    # whatever else ends a child is no word of a test
    return {_KILLED: Fate.KILLED, _SURVIVED: Fate.SURVIVED}.get(os.WEXITSTATUS(status), Fate.UNKNOWN)
