"""A sound server for the tests of one file, of its own and with nothing else in it."""

from collections.abc import Iterator

import pytest

from tests.needs import needs
from tests.pulse import PulseServer, pulse_server


@pytest.fixture(scope="module")
def server() -> Iterator[PulseServer]:
    needs("pulseaudio")
    needs("pactl")
    with pulse_server() as running:
        yield running
