"""SDL's game controllers with a virtual one among them that moves by itself, at random instants, and says when.

A kind from outside the program, for the process that reads pads; `tests.bench.stick` has it found there.
"""

import random
import socket
import struct
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

from sequencer.adapters.contract import ControllerKind, Source
from sequencer.adapters.controllers.sdl import open_pads
from tests.adapters.controllers.virtual import Virtual

MOVED = struct.Struct("<q")
LEFT_X, LEFT_TRIGGER = 0, 4
REST_S, ENABLED_S, HELD_S = 0.4, 0.1, 0.1


@contextmanager
def open_moving(address: str) -> Iterator[Source]:
    """Open the pads, and tell each push to the UDP port behind the scheme."""
    to = ("127.0.0.1", int(address.partition(":")[2]))
    with open_pads("pads:") as pads:
        pad, ended = Virtual("moves by itself"), threading.Event()
        pad.move(LEFT_TRIGGER, -1.0)
        thread = threading.Thread(target=_move, args=(pad, to, ended), daemon=True)
        thread.start()
        try:
            yield pads
        finally:
            ended.set()
            thread.join()
            pad.pull()


def _move(pad: Virtual, to: tuple[str, int], ended: threading.Event) -> None:
    luck = random.Random(11)
    side = 1.0
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as port:
        while not ended.wait(REST_S):
            pad.move(LEFT_TRIGGER, 1.0)
            ended.wait(ENABLED_S + luck.random() * 0.1)
            stamp_ns = time.monotonic_ns()
            pad.move(LEFT_X, side)
            port.sendto(MOVED.pack(stamp_ns), to)
            ended.wait(HELD_S)
            pad.move(LEFT_X, 0.0)
            pad.move(LEFT_TRIGGER, -1.0)
            side = -side


KIND = ControllerKind(scheme="moving", open=open_moving, names=lambda: ())
