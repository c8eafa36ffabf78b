"""The slate's beep, as a process of its own: a sound server that hangs holds up no window.

It reads JSON lines `{"clap": STAMP}` and plays the beep so that it begins at that instant; then it says when its first
sample was at the converter, `{"sounded": STAMP}`. Stamps are monotonic nanoseconds of this machine.
"""

import argparse
import json
import os
import sys
import threading
import time
from collections import deque
from contextlib import ExitStack

import numpy as np

from sequencer.adapters.audio_ports import devices, streams
from sequencer.adapters.audio_ports.blocks import Samples
from sequencer.adapters.audio_ports.player import Player
from sequencer.errors import LinkError
from sequencer.wire.played import unpacked

TONE_HZ = 1000.0  # what a beep for synchronism has (common practice, no source)
AHEAD_S = 0.25  # how long before it sounds a clap must be known: what the sound system keeps in hand, and room
_PART_OF_FULL = 0.5
_LOOK_S = 0.02
_FOUND_WITHIN_NS = 2_000_000_000


def beep(rate_hz: int, length_s: float) -> Samples:
    """Return a tone that begins and ends at a zero of its own, so that it begins without a click and at one sample.

    Shape: (n, 1). Unit: full scale.
    """
    whole = max(1, round(length_s * TONE_HZ)) / TONE_HZ
    at_s = np.arange(round(whole * rate_hz)) / rate_hz
    return (_PART_OF_FULL * np.sin(2 * np.pi * TONE_HZ * at_s)).astype(np.float32)[:, None]


class Beeper:
    """Has a player play the beep at instants, and finds in its records when it truly began."""

    def __init__(self, player: Player) -> None:
        self._player = player
        self._wanted: deque[int] = deque()

    def clap(self, at_ns: int) -> None:
        """Have the beep begin at `at_ns`, or as soon as it can."""
        self._wanted.append(at_ns)
        self._player.play(at_ns, 0)

    def look(self, now_ns: int) -> list[int | None]:
        """Return when the beeps since the last look began; None for one that did not."""
        began: list[int | None] = []
        for chunk in self._player.read(now_ns):
            block = unpacked(chunk.data)
            if self._wanted and block.running and block.sample <= 0:
                # the block with its first sample: where that is follows from the block's own first one
                began.append(chunk.stamp_ns - round(block.sample * 1e9 / block.rate_hz))
                self._wanted.popleft()
        if self._wanted and now_ns - self._wanted[0] > _FOUND_WITHIN_NS:
            self._wanted.popleft()
            began.append(None)
        return began


def _say(line: dict[str, object]) -> None:
    print(json.dumps(line), flush=True)


def _read(claps: "deque[int]", ended: threading.Event) -> None:
    """Take in claps until who started this closes its standard input, or is no more."""
    for line in sys.stdin:
        claps.append(int(json.loads(line)["clap"]))
    ended.set()


def main(given: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="slate_sound", description="Plays the slate's beep at instants.")
    parser.add_argument("--device", default="", help="the sound card; the system's own choice if not said")
    parser.add_argument("--length-s", type=float, default=0.08)
    asked = parser.parse_args(given)
    ended, claps = threading.Event(), deque[int]()
    threading.Thread(target=_read, args=(claps, ended), daemon=True).start()
    try:
        with ExitStack() as ends:
            device = devices.find(asked.device, devices.outputs(), "output")
            rate_hz = streams.best_rate(device, "output")
            player = Player(beep(rate_hz, asked.length_s), rate_hz)
            out = ends.enter_context(streams.open_output(asked.device, rate_hz, player.channels, player.fill))
            beeper = Beeper(player)
            _say({"device": device.label})
            while not ended.wait(_LOOK_S):
                while claps:
                    beeper.clap(claps.popleft())
                for began in beeper.look(time.monotonic_ns()):
                    _say({"sounded": began})
                out.check()
    except LinkError as fault:
        _say({"error": str(fault)})
        return 3
    except BrokenPipeError:  # nobody listens any more
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return 0


if __name__ == "__main__":
    sys.exit(main())
