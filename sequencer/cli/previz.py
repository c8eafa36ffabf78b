"""`twintake previz`: a camera from elsewhere as a move of this rig. What it shows is in `cli.import_camera`."""

from fractions import Fraction
from pathlib import Path
from typing import Annotated

import typer

from sequencer.cli import import_camera_options as options
from sequencer.cli.exits import exits
from sequencer.cli.import_camera import Told, cameras_of, run
from sequencer.cli.import_file import rate_of
from sequencer.cli.options import Folder, Json, Write
from sequencer.project.store import load
from sequencer.shell.kinds import laws
from sequencer.timebase.rate import Rate


def previz(
    project: Folder,
    file: Annotated[Path, typer.Argument(help="The file with the camera: USD, glTF, CSV.")],
    form: Annotated[
        str | None, typer.Option("--as", metavar="FORMAT", help="What it is; else its suffix says so.")
    ] = None,
    rate: Annotated[
        Rate | None,
        typer.Option(parser=rate_of, metavar="RATE", help="The file's frame rate, where it says none, or a wrong one."),
    ] = None,
    camera: options.Camera = None,
    at: options.At = None,
    cue: options.CueName = None,
    first: options.First = None,
    last: options.Last = None,
    convert: options.ConvertTo = None,
    time_scale: options.TimeScale = None,
    scale: options.Scale = None,
    turn: options.Turn = 0.0,
    place: options.PlaceTo = options.PlaceAt.WORLD,
    within: options.Allowed = None,
    within_px: options.AllowedPx = None,
    axis: options.Axes = None,
    replace: options.Replace = False,
    follow_shake: options.Shake = False,
    anyway: options.Anyway = False,
    write: Write = False,
    json: Json = False,
) -> None:
    """Let the rig do what a planned camera does: the fewest keys that stay near it, checked against the motors.

    Nothing is written without --write. Ends with status 1, and nothing written, where the motors cannot do it.
    """
    with exits():
        opened = load(project, laws())
        asked = options.asked_for(
            opened,
            at=at,
            cue=cue,
            span=(first, last),
            convert=None if convert is None else convert.value,
            stretch=Fraction(1) if time_scale is None else time_scale,
            placing=(Fraction(1) if scale is None else scale, turn, place.value),
            within=(within or [], within_px),
            axes=axis or [],
            may=(replace, follow_shake),
        )
        told = Told(folder=project, camera=camera, write=write, anyway=anyway, json=json)
        raise typer.Exit(run(opened, cameras_of(file, form, rate), file.name, asked, told))
