"""How far the wall clock is from the monotonic clock, as this machine's clocks say; it corrects neither."""

import time

_READINGS = 5


def measure() -> tuple[int, int]:
    """Return the monotonic instant of the reading and what makes it wall-clock time. Unit: nanoseconds.

    The wall clock is read between two readings of the monotonic one; of five such triples the closest counts, so that
    a wait between two readings does not become an error of the offset.
    """
    width_ns, at_ns, offset_ns = min(_reading() for _ in range(_READINGS))
    return at_ns + width_ns // 2, offset_ns


def _reading() -> tuple[int, int, int]:
    before_ns = time.monotonic_ns()
    wall_ns = time.time_ns()
    width_ns = time.monotonic_ns() - before_ns
    return width_ns, before_ns, wall_ns - (before_ns + width_ns // 2)
