"""`twintake device`: a simulated rig to try a move without motors, and the trial of a device that somebody built."""

import time
from pathlib import Path
from typing import Annotated

import typer

from sequencer.cli.device_check import check
from sequencer.cli.exits import console, exits
from sequencer.cli.rig_options import numbers_by_axis
from sequencer.project.store import load_rig
from sequencer.shell import shoot

device = typer.Typer(help="A simulated rig to try a move with, and the trial of a device that you built.")
device.command()(check)


@device.command()
def simulate(
    project: Annotated[Path, typer.Argument(help="A project folder; its rig.json is what is simulated.")],
    seed: Annotated[int, typer.Option(help="Seed of the noise.")] = 1,
    port: Annotated[int, typer.Option(help="UDP port on this machine; 0 takes a free one.")] = 0,
    count_off: Annotated[
        list[str] | None,
        typer.Option(
            metavar="AXIS=VALUE", help="Say that much more than where the axis truly stands, until it is homed."
        ),
    ] = None,
    reboot_at: Annotated[
        float | None, typer.Option(metavar="S", min=0.0, help="Be reset that long after the first setpoint.")
    ] = None,
) -> None:
    """Run a simulated rig on this machine until Ctrl-C. It takes setpoints at once and ahead of time."""
    with exits():
        rig = load_rig(project)
        off = [f"{name}={by}" for name, by in numbers_by_axis(rig, "--count-off", count_off, "slide=37").items()]
        faults = [word for one in off for word in ("--count-off", one)]
        if reboot_at is not None:
            faults += ["--reboot-at", str(reboot_at)]
        with shoot.simulated_rig(project / "rig.json", seed, port, *faults) as (simulated, address):
            ahead = address.replace("osc:", "device:", 1)
            words = f"{rig.name} ({', '.join(rig.names)}) listens at {address} and {ahead}; Ctrl-C ends it"
            console.print(words, highlight=False, soft_wrap=True)
            try:
                while True:
                    for line in simulated.hear():
                        if "camera" in line:
                            console.print(f"camera: {line['camera']}, at {line['at_s']:.3f} s", highlight=False)
                    time.sleep(0.1)
            except KeyboardInterrupt:
                return
