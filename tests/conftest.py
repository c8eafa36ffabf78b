"""What all tests share: property tests without a time limit of their own, since these machines are noisy.

The whole suite runs in two processes. Tests that wait on the machine's clock run while the other process stands still.
"""

from collections.abc import Iterator
from contextlib import ExitStack

import pytest
from hypothesis import settings

from tests import turns

settings.register_profile("patient", deadline=None)
settings.load_profile("patient")


def pytest_xdist_auto_num_workers(config: pytest.Config) -> int:
    """Two processes for the whole suite; a few tests are done before a second one has begun."""
    whole = config.args_source is pytest.Config.ArgsSource.TESTPATHS
    return 2 if whole and turns.KNOWN else 0


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
