"""SDL's game controllers with a virtual one among them whose stop button is pressed when a datagram says so.

A kind from outside the program, for the process that reads pads; `tests.bench.stops` has it found there.
"""

import select
import socket
import struct
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

from sequencer.adapters.contract import ControllerKind, Source
from sequencer.adapters.controllers.sdl import open_pads
from tests.adapters.controllers.virtual import Virtual

PRESSED = struct.Struct("<q")
STOP = 6  # SDL counts lower, right, left, upper, back, the one in the middle, start
HELD_S, LOOK_S = 0.05, 0.2


@contextmanager
def open_pressing(address: str) -> Iterator[Source]:
    """Open the pads, and press for each datagram at the UDP port behind the scheme; the answer says when it was."""
    with open_pads("pads:") as pads, socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as port:
        port.bind(("127.0.0.1", int(address.partition(":")[2])))
        pad, ended = Virtual("is told to stop"), threading.Event()
        thread = threading.Thread(target=_press, args=(pad, port, ended), daemon=True)
        thread.start()
        try:
            yield pads
        finally:
            ended.set()
            thread.join()
            pad.pull()


def _press(pad: Virtual, port: socket.socket, ended: threading.Event) -> None:
    while not ended.is_set():
        if not select.select([port], [], [], LOOK_S)[0]:
            continue
        _, asker = port.recvfrom(64)
        stamp_ns = time.monotonic_ns()
        pad.press(STOP)
        port.sendto(PRESSED.pack(stamp_ns), asker)
        ended.wait(HELD_S)
        pad.press(STOP, down=False)


KIND = ControllerKind(scheme="pressing", open=open_pressing, names=lambda: ())
