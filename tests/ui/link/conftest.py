"""A link to crews that are not there."""

from collections.abc import Iterator

import pytest

from tests.ui.link.fakes import Bench
from ui.desk import Desk


@pytest.fixture
def bench(desk: Desk) -> Iterator[Bench]:
    """The harbour project on the desk, and a link whose crews only write down what they are told."""
    one = Bench(desk)
    yield one
    one.link.end()
