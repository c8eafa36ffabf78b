"""`twintake device`: a simulated rig as a process of its own, to try a move without motors."""

import time
from pathlib import Path
from typing import Annotated

import typer

from sequencer.cli.exits import console, exits
from sequencer.cli.rig_options import numbers_by_axis
from sequencer.project.store import load_rig
from sequencer.shell import shoot


def device(
    project: Annotated[Path, typer.Argument(help="A project folder; its rig.json is what is simulated.")],
    seed: Annotated[int, typer.Option(help="Seed of the noise.")] = 1,
    port: Annotated[int, typer.Option(help="UDP port on this machine; 0 takes a free one.")] = 0,
    count_off: Annotated[
        list[str] | None,
        typer.Option(
            metavar="AXIS=VALUE", help="Say that much more than where the axis truly stands, until it is homed."
        ),
    ] = None,
) -> None:
    """Run a simulated rig on this machine until Ctrl-C. It obeys /rig/AXIS/position and answers /rig/AXIS/actual."""
    with exits():
        rig = load_rig(project)
        off = [f"{name}={by}" for name, by in numbers_by_axis(rig, "--count-off", count_off, "slide=37").items()]
        faults = [word for one in off for word in ("--count-off", one)]
        with shoot.simulated_rig(project / "rig.json", seed, port, *faults) as (simulated, address):
            console.print(f"{rig.name} ({', '.join(rig.names)}) listens at {address}; Ctrl-C ends it", highlight=False)
            try:
                while True:
                    simulated.hear()
                    time.sleep(1)
            except KeyboardInterrupt:
                return
