"""SDL running around each test, so that virtual pads can be there before and after our own opening."""

from collections.abc import Iterator

import pytest

from sequencer.adapters.controllers.sdl import Pads, open_pads
from sequencer.adapters.pad_ports.library import started
from tests.adapters.controllers.virtual import Virtual


@pytest.fixture
def plugged() -> Iterator[list[Virtual]]:
    """The pads that a test has plugged in, pulled at its end."""
    with started() as sdl:
        pads: list[Virtual] = []
        yield pads
        for pad in pads:
            pad.pull()
        assert sdl.SDL_NumJoysticks() == 0


@pytest.fixture
def pads(plugged: list[Virtual]) -> Iterator[Pads]:
    with open_pads("pads:") as opened:
        yield opened
