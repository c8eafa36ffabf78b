"""The io process: what may block. It reads ports and sound cards, plays the music and writes take files.

So the tick waits for none of them. Chunks from the ports and the playback go to the engine through one ring, rows of
the take and the engine's wishes for the playback come from it through two others.
"""

import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

from sequencer.errors import LinkError, ProjectError, SequencerError
from sequencer.project.store import load
from sequencer.shell.child import Child, join
from sequencer.shell.inlets import Inlet, in_io
from sequencer.shell.keeper import Keeper, keeping
from sequencer.shell.kinds import carried, laws, open_controllers, open_source
from sequencer.shell.memory import Page, Ring
from sequencer.shell.messages import Failed, Opened, Quit, Said, Setup
from sequencer.shell.playback import open_playback
from sequencer.shell.watchdog import RESTING, UNWATCHED
from sequencer.sync.crowd import Crowd

_POLL_S = 0.001
_IDLE_S = 0.02
_STILL_S = 1.0


def main(folder: Path) -> None:
    # a port's own thread waits for the interpreter at most so long
    sys.setswitchinterval(0.0005)
    child = join(folder, "io")
    ring = Ring(folder / "chunks")
    try:
        with ExitStack() as stack:
            keeper = stack.enter_context(keeping(folder))
            inlets = []
            for inlet in _inlets(child.setup, folder):
                stack.callback(inlet.close)
                inlets.append(inlet)
            inlets += _pads(child, stack)
            child.control.say(Opened("io", {inlet.port: inlet.address for inlet in inlets}))
            if not _serve(child, inlets, ring, keeper):
                # before it waits: a run that is started anew may want the ports, and the music must end
                for inlet in inlets:
                    inlet.close()
                _outlast(Page(folder / "page"))
    except ProjectError as fault:
        child.control.say(Failed(str(fault), 2))
    except SequencerError as fault:
        child.control.say(Failed(str(fault), 3))
    for report in keeper.reports:
        child.control.say(report)


def _inlets(setup: Setup, folder: Path) -> Iterator[Inlet]:
    """Open what comes in from outside, and the music where that is the clock."""
    for port, address in enumerate(setup.inlets):
        if in_io(address):
            crowd = _crowd(setup, address) if carried(address) == "midi" else None
            yield Inlet(port, open_source(address), address in setup.sources[:1], crowd)
    if setup.sync == "audio":
        yield Inlet(len(setup.inlets), open_playback(setup, Ring(folder / "wishes")), True)


def _crowd(setup: Setup, address: str) -> Crowd:
    """Return the gate of a MIDI port, which knows what may stop there."""
    if address not in setup.triggers:
        return Crowd(address)
    triggers = load(Path(setup.project), laws()).triggers
    return Crowd(address, triggers.mapped, triggers.mmc_device)


def _pads(child: Child, stack: ExitStack) -> list[Inlet]:
    """Open the game controllers; where that cannot be, it is told, and the run goes on without them."""
    if not child.setup.controllers:
        return []
    try:
        pads = Inlet(child.setup.pads_port, open_controllers(child.setup.controllers), vital=False, hands=True)
    except LinkError as fault:
        child.control.say(Said(time.monotonic_ns(), "link", f"{fault}. Nothing is driven by game controllers"))
        return []
    stack.callback(pads.close)
    return [pads]


def _serve(child: Child, inlets: list[Inlet], ring: Ring, keeper: Keeper) -> bool:
    """Pass on what comes until told to quit; return False where the command, or a vital port, went before."""
    while not child.control.gone:
        time.sleep(_POLL_S if inlets else _IDLE_S)
        try:
            for inlet in inlets:
                for notice in inlet.pass_on(ring):
                    child.control.say(Said(time.monotonic_ns(), "link", notice))
        except LinkError as fault:
            child.control.say(Failed(str(fault), 3))
            return False
        while keeper.reports:
            child.control.say(keeper.reports.pop(0))
        child.control.push()
        if any(isinstance(command, Quit) for command in child.control.read()):
            return True
    return False


def _outlast(page: Page) -> None:
    """Wait until the engine rests, or its heart stands still: it brakes when the command or a port goes.

    That is still recorded.
    """
    beat, changed_s = page.word(Page.ENGINE_BEAT), time.monotonic()
    while beat not in (RESTING, UNWATCHED) and time.monotonic() - changed_s < _STILL_S:
        time.sleep(_IDLE_S)
        if (newest := page.word(Page.ENGINE_BEAT)) != beat:
            beat, changed_s = newest, time.monotonic()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
