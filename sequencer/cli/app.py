"""The command `twintake`: one file a subcommand; this one only puts them together."""

import typer

from sequencer.cli.aim import aim
from sequencer.cli.camera import camera
from sequencer.cli.capture import capture
from sequencer.cli.check import check
from sequencer.cli.compare import compare
from sequencer.cli.copying import copy
from sequencer.cli.device import device
from sequencer.cli.drive import drive
from sequencer.cli.edit import alone, edit
from sequencer.cli.export import export
from sequencer.cli.fit import fit
from sequencer.cli.import_ import import_
from sequencer.cli.keys import keys
from sequencer.cli.lens import lens
from sequencer.cli.library import library
from sequencer.cli.ltc import ltc
from sequencer.cli.marks import marks
from sequencer.cli.passes import passes
from sequencer.cli.play import play
from sequencer.cli.ports import ports
from sequencer.cli.prep import prep
from sequencer.cli.previz import previz
from sequencer.cli.report import report
from sequencer.cli.rig import rig
from sequencer.cli.takes import takes
from sequencer.cli.tempo import tempo
from sequencer.cli.timelapse import timelapse

CAUTION = (
    "Motorised rigs crush, trap and drop things. This program is not a safety device: a hard-wired emergency stop that "
    "cuts motor power, in reach of a person who watches the rig, is required whatever the software does."
)

app = typer.Typer(
    name="twintake",
    help=f"Camera moves that follow timecode and repeat.\n\n{CAUTION}",
    invoke_without_command=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)
app.command()(edit)
app.command()(check)
app.command()(fit)
app.add_typer(keys, name="keys")
app.add_typer(marks, name="marks")
app.command()(aim)
app.command()(capture)
app.command()(lens)
app.command()(passes)
app.command()(takes)
app.command()(compare)
app.command()(library)
app.command()(copy)
app.command()(export)
app.command("import")(import_)
app.command()(report)
app.command()(prep)
app.command()(previz)
app.command()(play)
app.command()(drive)
app.command()(camera)
app.command()(rig)
app.command()(ports)
app.command()(ltc)
app.command()(tempo)
app.command()(timelapse)
app.add_typer(device, name="device")
app.callback()(alone)
