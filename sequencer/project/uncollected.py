"""Make very many objects at once without the garbage collector looking through all of them again and again.

It refuses to leave the collector in another state than it was in.
"""

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def uncollected() -> Iterator[None]:
    """Have no garbage collected in the meantime, if it was before.

    Of a project with a hundred thousand keys nothing is garbage while it is read, but each few hundred new objects
    have the collector look at some of them, and in the end at all: a third of the time that reading takes.
    """
    collects = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collects:
            gc.enable()
