"""What each process that the command starts does first: read its setup, load the rig, report for duty."""

import signal
from dataclasses import dataclass
from pathlib import Path

import msgspec

from sequencer.rig.axis import Rig
from sequencer.shell.control import Control, connect
from sequencer.shell.messages import COMMANDS, Command, Hello, Setup


@dataclass(frozen=True, slots=True)
class Child:
    """A process of ours on duty."""

    setup: Setup
    rig: Rig
    control: Control[Command]


def join(folder: Path, role: str) -> Child:
    """Take up the duty `role` for the run that lives in `folder`.

    Ctrl-C in the terminal reaches every process of its group; only the command acts on it, by an orderly stop.
    """
    from sequencer.project.store import load_rig

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    setup = msgspec.json.decode((folder / "setup.json").read_bytes(), type=Setup)
    control = connect(setup.port, COMMANDS)
    control.say(Hello(role, setup.token))
    return Child(setup, load_rig(Path(setup.project)), control)
