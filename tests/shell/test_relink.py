"""An output that goes and comes back: every fault closes it, and it is opened again twice a second, no more often."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

import numpy as np
import pytest

from sequencer.adapters.contract import LinkState
from sequencer.errors import LinkError
from sequencer.rig.signals import Feedback, Setpoint, Trigger
from sequencer.shell.relink import EVERY_NS, Relink

TICK_NS = 4_000_000
SETPOINT = Setpoint(1, np.zeros(1), np.zeros(1))


class Port:
    """An output that works, until `fault` is set."""

    def __init__(self) -> None:
        self.fault = ""
        self.opened = self.closed = self.tries = 0
        self.sent = 0

    @contextmanager
    def open(self) -> Iterator["Port"]:
        self.tries += 1
        self._work()
        self.opened += 1
        try:
            yield self
        finally:
            self.closed += 1

    def _work(self) -> None:
        if self.fault:
            raise LinkError(self.fault)

    def fileno(self) -> int | None:
        return 7

    def send(self, setpoint: Setpoint) -> None:
        self._work()
        self.sent += 1

    def replace(self, from_ns: int) -> None:
        self._work()

    def fire(self, trigger: Trigger) -> bool:
        self._work()
        return True

    def read(self, heard_ns: int) -> tuple[Feedback, ...]:
        self._work()
        return ()

    def ask(self) -> None:
        self._work()

    def stop(self) -> None:
        self._work()

    def look(self, now_ns: int) -> None:
        self._work()

    def link(self, now_ns: int) -> LinkState:
        self._work()
        return LinkState(0.01, 0.0)

    def here(self, axis: str, value: float) -> None:
        self._work()

    def trouble(self) -> str:
        self._work()
        return "a trouble"


METHODS: list[Callable[[Relink], object]] = [
    lambda one: one.send(SETPOINT),
    lambda one: one.read(1),
    lambda one: one.ask(),
    lambda one: one.stop(),
    lambda one: one.look(1),
    lambda one: one.link(1),
    lambda one: one.here("pan", 1.0),
    lambda one: one.trouble(),
]


@pytest.mark.parametrize("method", METHODS)
def test_a_fault_in_any_method_closes_the_port_and_is_raised_until_it_opens_again(
    method: Callable[[Relink], object],
) -> None:
    port = Port()
    with Relink(port.open) as link:
        method(link)
        port.fault = "the cable is out; plug it in"
        with pytest.raises(LinkError, match="the cable is out"):
            method(link)
        assert (port.closed, link.fileno()) == (1, None)
        for other in METHODS:
            with pytest.raises(LinkError, match="the cable is out"):
                other(link)
        port.fault = ""
        # it is opened by `look` only, half a second after it was seen to be gone
        with pytest.raises(LinkError, match="the cable is out"):
            link.look(1 + EVERY_NS - 1)
        link.look(1 + EVERY_NS)
        assert (port.opened, link.fileno()) == (2, 7)
        link.send(SETPOINT)
        assert port.sent >= 1
    assert port.closed == port.opened


def test_it_is_tried_twice_a_second_and_the_newest_reason_is_told() -> None:
    port = Port()
    with Relink(port.open) as link:
        port.fault = "the cable is out"
        for tick in range(1, 1001):
            with pytest.raises(LinkError):
                link.look(tick * TICK_NS)
            if tick == 500:
                port.fault = "no address"
        assert port.tries == 1 + 4_000_000_000 // EVERY_NS - 1
        with pytest.raises(LinkError, match="no address"):
            link.read(1)


def test_a_link_that_is_not_there_at_first_is_told_at_once() -> None:
    port = Port()
    port.fault = "no such host"
    with pytest.raises(LinkError, match="no such host"), Relink(port.open):
        pass
