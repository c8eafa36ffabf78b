"""The giver process: it sends the engine's clock to other machines, as MIDI timecode and as linear timecode.

It is started where the operator wants time given, to addresses such as `mtc:virtual:NAME`, `mtc:midi:NAME` and
`ltc:DEVICE`. It follows nobody but the engine, and never moves a rig: a target that goes away is told and left alone.
"""

import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Protocol
from urllib.parse import parse_qsl

import msgspec
import numpy as np

from sequencer.adapters.audio_ports.blocks import Samples
from sequencer.adapters.audio_ports.devices import find, outputs
from sequencer.adapters.audio_ports.streams import AudioOut, best_rate, open_output
from sequencer.adapters.midi_ports.outs import open_out
from sequencer.adapters.midi_ports.systems import MidiOut
from sequencer.errors import LinkError, ProjectError
from sequencer.project.store import load
from sequencer.shell.child import join
from sequencer.shell.control import Control
from sequencer.shell.kinds import laws
from sequencer.shell.memory import Page
from sequencer.shell.messages import Command, Failed, Opened, Quit, Said, Status
from sequencer.shell.realtime import be_punctual
from sequencer.shell.waiting import wait_until
from sequencer.sync.giving import LtcGiving, MtcGiving
from sequencer.sync.reading import Clock, Lock
from sequencer.timebase.timecode import Timebase
from sequencer.wire.ltc_tone import Tone

_POLL_NS = 2_000_000
_MOST_CHANNELS = 64

_status = msgspec.msgpack.Decoder(Status)


class Newest:
    """The engine's newest clock. Reading it again is cheap; other threads see it as `clock`."""

    def __init__(self, page: Page) -> None:
        self._page = page
        self.clock = Clock(Lock.WAITING, 0)

    def look(self) -> Clock:
        row = self._page.newest()
        if row is not None:
            status = _status.decode(row)
            self.clock = Clock(Lock(status.lock), status.at_ns, status.timeline_s, status.speed, status.uncertainty_s)
        return self.clock


class Due(Protocol):
    """One target of time. Error: LinkError from either method once it is gone."""

    address: str

    def send(self, clock: Clock, now_ns: int) -> list[str]:
        """Send what is due soon after `now_ns`, waiting for its instants; return what the operator should know."""
        ...


class MtcTarget:
    """A MIDI port, each message at its own instant."""

    def __init__(self, address: str, out: MidiOut, timebase: Timebase) -> None:
        self.address = address
        self._out = out
        self._giving = MtcGiving(timebase)

    def send(self, clock: Clock, now_ns: int) -> list[str]:
        from_ns = now_ns + self._out.ahead_ns
        for at_ns, message in self._giving.due(clock, from_ns, from_ns + 2 * _POLL_NS):
            wait_until(at_ns - self._out.ahead_ns, time.sleep)
            self._out.send(message, at_ns)
        return []


class LtcTarget:
    """A sound device. Its own thread asks for each block, so that `send` only sees to the device's health."""

    def __init__(self, address: str, newest: Newest, timebase: Timebase, rate_hz: int, channel: int | None) -> None:
        self.address = address
        self._newest = newest
        self._giving = LtcGiving(timebase)
        self._tone = Tone(self._giving.word)
        self._rate_hz = rate_hz
        self._channels = slice(None) if channel is None else slice(channel - 1, channel)
        self.stream: AudioOut | None = None

    def fill(self, first: int, due_ns: int, samples: Samples) -> None:
        """Render the block that is heard from `due_ns` on. Shape: (n, channels)."""
        stretch = self._giving.block(self._newest.clock, due_ns, len(samples), self._rate_hz)
        if stretch is not None:
            tone = np.empty(len(samples), np.float32)
            self._tone.render(stretch.position, stretch.words_hz, self._rate_hz, tone)
            samples[:, self._channels] = tone[:, np.newaxis]

    def send(self, clock: Clock, now_ns: int) -> list[str]:
        assert self.stream is not None
        self.stream.check()
        return list(self.stream.notices())


@contextmanager
def opened(address: str, newest: Newest, timebase: Timebase) -> Iterator[Due]:
    """Open a target: `mtc:` before the address of a MIDI port, or `ltc:DEVICE` with `?channel=2` for one channel alone.

    Error: LinkError that says what is wrong; ValueError for a project whose rate MIDI timecode cannot carry.
    """
    scheme, _, rest = address.partition(":")
    if scheme == "mtc":
        with open_out(rest) as out:
            yield MtcTarget(address, out, timebase)
    elif scheme == "ltc":
        name, channel = _device(address, rest)
        device = find(name, outputs(), "output")
        rate_hz, channels = best_rate(device, "output"), channel or min(2, device.channels)
        target = LtcTarget(address, newest, timebase, rate_hz, channel)
        with open_output(name, rate_hz, channels, target.fill) as target.stream:
            yield target
    else:
        raise LinkError(f"time cannot be given to {address!r}; write mtc:virtual:NAME, mtc:midi:NAME or ltc:DEVICE")


def _device(address: str, rest: str) -> tuple[str, int | None]:
    name, _, text = rest.partition("?")
    given = dict(parse_qsl(text, keep_blank_values=True))
    channel = given.pop("channel", None)
    if given or (
        channel is not None and not (channel.isascii() and channel.isdigit() and 0 < int(channel) <= _MOST_CHANNELS)
    ):
        raise LinkError(f"{address!r} is not understood; write it as ltc:DEVICE?channel=2")
    return name, None if channel is None else int(channel)


def serve(control: Control[Command], newest: Newest, targets: list[Due]) -> None:
    """Give time to all targets until told to quit, or until the command has gone."""
    while not control.gone and Quit() not in control.read():
        began_ns = time.monotonic_ns()
        clock = newest.look()
        for target in list(targets):
            try:
                said = target.send(clock, time.monotonic_ns())
            except LinkError as fault:
                targets.remove(target)
                said = [f"time is no longer given to {target.address}: {fault}"]
            for words in said:
                control.say(Said(time.monotonic_ns(), "give", words))
        control.push()
        time.sleep(max(0.0, (began_ns + _POLL_NS - time.monotonic_ns()) * 1e-9))


def main(folder: Path) -> None:
    # the sound card's own thread waits for the interpreter at most so long
    sys.setswitchinterval(0.0005)
    child = join(folder, "giver")
    try:
        with ExitStack() as stack:
            timebase = load(Path(child.setup.project), laws()).timebase
            newest = Newest(Page(folder / "page"))
            targets = [stack.enter_context(opened(one, newest, timebase)) for one in child.setup.give]
            child.control.say(Opened("giver", timing=be_punctual(child.setup.realtime)))
            serve(child.control, newest, targets)
    except (ProjectError, ValueError) as fault:
        child.control.say(Failed(str(fault), 2))
    except LinkError as fault:
        child.control.say(Failed(str(fault), 3))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
