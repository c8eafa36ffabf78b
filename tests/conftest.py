"""What all tests share: property tests without a time limit of their own, since these machines are noisy.

The whole suite runs in two processes. Tests that wait on the machine's clock run while the other process stands still.
It notes which errors were raised (`tests.house.noted`), and where checks must be whole fails if one never was.
"""

import os
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

from tests import turns
from tests.house import noted, raised, refusals, said

settings.register_profile("patient", deadline=None)
settings.load_profile("patient")

UNHEARD: list[str] = []
# where a run of some tests adds what it noted: NOTED=FILE pytest tests/project
KEPT = Path(os.environ["NOTED"]) if "NOTED" in os.environ else None
if KEPT is not None:
    noted.begin([raised.places, said.places])


def pytest_xdist_auto_num_workers(config: pytest.Config) -> int:
    """Two processes for the whole suite; a few tests are done before a second one has begun."""
    whole = config.args_source is pytest.Config.ArgsSource.TESTPATHS
    return 2 if whole and turns.KNOWN else 0


def _whole(config: pytest.Config) -> bool:
    """Say whether all tests run: only then does it mean something that an error was never raised."""
    chosen = any(config.getoption(name, None) for name in ("keyword", "markexpr", "lf", "deselect", "ignore"))
    return config.args_source is pytest.Config.ArgsSource.TESTPATHS and not chosen


def pytest_configure(config: pytest.Config) -> None:
    # who only hands tests out to other processes runs none of them
    alone = hasattr(config, "workerinput") or config.getoption("dist", "no") == "no"
    if alone and KEPT is None and getattr(config, "workerinput", {}).get("whole", _whole(config)):
        noted.begin([raised.places, said.places])


@pytest.hookimpl(optionalhook=True)
def pytest_configure_node(node: Any) -> None:
    node.workerinput["whole"] = _whole(node.config)


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any) -> None:
    noted.NOTED.update(getattr(node, "workeroutput", {}).get("noted", ()))


def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    config = session.config
    if hasattr(config, "workeroutput"):
        config.workeroutput["noted"] = sorted(noted.NOTED)
        return
    if KEPT is not None:
        before = set(KEPT.read_text(encoding="utf-8").splitlines()) if KEPT.exists() else set()
        KEPT.write_text("\n".join(sorted(before | noted.NOTED)), encoding="utf-8")
    if exitstatus == pytest.ExitCode.OK and _whole(config) and os.environ.get("CI") == "true":
        UNHEARD.extend([*refusals.unheard(noted.NOTED), *said.missing(noted.NOTED)])
        if UNHEARD:
            session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    if UNHEARD:
        terminalreporter.section("what no test raised or said; write one, where it can be reached", red=True)
        for line in UNHEARD:
            terminalreporter.line(line)


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Keep each file in one process, for what its tests share, and all files with tests in real time in the same."""
    timed = {item.path for item in items if item.get_closest_marker("real_time")}
    for item in items:
        item.add_marker(pytest.mark.xdist_group("real time" if item.path in timed else str(item.path)))


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_runtest_protocol(item: pytest.Item) -> Iterator[None]:
    with ExitStack() as stack:
        if hasattr(item.config, "workerinput"):
            stack.enter_context(turns.turn(alone=item.get_closest_marker("real_time") is not None))
        return (yield)
