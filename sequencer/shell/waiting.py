"""Waits for an instant, for processes that send what is due at it. It decides nothing."""

import time
from collections.abc import Callable
from typing import TypeVar

_SPIN_NS = 300_000  # before the instant, waited out awake: a sleep ends so much too late

T = TypeVar("T")


def wait_until(at_ns: int, rest: Callable[[float], T | None]) -> T | None:
    """Wait until `at_ns`, the last bit of it awake, and return None; or what `rest` returns, as soon as it is not None.

    `rest(seconds)` sleeps, or listens for what may cut the wait short.
    """
    while (left_ns := at_ns - time.monotonic_ns()) > 0:
        if left_ns > _SPIN_NS:
            cut_short = rest((left_ns - _SPIN_NS) * 1e-9)
            if cut_short is not None:
                return cut_short
    return None
