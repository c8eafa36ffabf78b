"""`twintake import`: take markers, cues, tempo or a camera from a file that others made. It says what it would change.

What is in the file decides: a cut, a song or a recording is placed by `cli.import_cut`, a camera by
`cli.import_camera`; `twintake previz` has more choices for that. Nothing is kept unless asked, and nothing at all if
anything in the file is refused.
"""

from fractions import Fraction
from pathlib import Path
from typing import Annotated

import typer

from sequencer.cli import import_camera, import_cut
from sequencer.cli.exits import exits
from sequencer.cli.import_file import rate_of
from sequencer.cli.options import Folder, Json, Write, fraction, instant
from sequencer.errors import ImportFault
from sequencer.export.placed import Asked
from sequencer.project.store import load
from sequencer.shell.cut_in import Taken
from sequencer.shell.import_file import bytes_of, kind_of
from sequencer.shell.kinds import laws
from sequencer.timebase.rate import Rate


def import_(
    project: Folder,
    file: Annotated[Path, typer.Argument(help="The file: an edit list, a timeline, a MIDI file, a recording.")],
    form: Annotated[
        str | None, typer.Option("--as", metavar="FORMAT", help="What it is; else its suffix says so.")
    ] = None,
    rate: Annotated[
        Rate | None,
        typer.Option(parser=rate_of, metavar="RATE", help="The file's frame rate, where it says none, or a wrong one."),
    ] = None,
    at: Annotated[
        str | None,
        typer.Option(
            "--at", metavar="TIMECODE", help="Where its beginning falls; else where it says, or at the start."
        ),
    ] = None,
    offset: Annotated[
        Fraction | None,
        typer.Option(parser=fraction, metavar="FRAMES", help="Everything later by so many; below zero, earlier."),
    ] = None,
    markers: Annotated[bool, typer.Option("--markers/--no-markers", help="Take its markers.")] = True,
    cues: Annotated[bool, typer.Option("--cues", help="Make a cue of each shot.")] = False,
    tempo: Annotated[
        bool, typer.Option("--tempo", help="Take its tempo and metres; keys stay where they are.")
    ] = False,
    place: Annotated[
        bool, typer.Option("--place", help="Let the project's playback begin where this recording says.")
    ] = False,
    convert: Annotated[
        bool, typer.Option("--convert", help="Also at another frame rate: instants keep their real time.")
    ] = False,
    write: Write = False,
    json: Json = False,
) -> None:
    """Take markers, and if asked cues, tempo or the start of the playback, from a file. See first what it would do.

    Nothing is written without --write. Keys stay where they are.
    """
    with exits():
        kind = kind_of(file, form)
        opened = load(project, laws())
        timebase = opened.timebase
        asked = Asked(
            at=None if at is None else instant("--at", at, timebase), offset=offset or Fraction(0), convert=convert
        )
        taken = Taken(markers=markers, cues=cues, tempo=tempo, place=place)
        if kind.cut is None and kind.camera is not None:
            _refuse_for_cameras(
                file, offset=offset is not None, cues=cues, tempo=tempo, place=place, no_markers=not markers
            )
            cameras = kind.camera(bytes_of(file, kind), file.name, rate)
            raise typer.Exit(import_camera.plainly(project, opened, cameras, file.name, (at, convert), (write, json)))
        if kind.cut is None:
            raise ImportFault(f"{file.name}: {kind.title} has no markers, shots or tempo; name another file")
        cut = kind.cut(bytes_of(file, kind), file.name, rate)
        import_cut.run(project, opened, kind, file, cut, asked, taken, write, json)


def _refuse_for_cameras(file: Path, **given: bool) -> None:
    """Error: ImportFault where something is asked of a camera that only cuts, songs and recordings have."""
    wanted = [f"--{name.replace('_', '-')}" for name, there in given.items() if there]
    if wanted:
        what = f"{file.name} is a camera, of which {', '.join(wanted)} can take nothing"
        raise ImportFault(f"{what}; leave out {'it' if len(wanted) == 1 else 'them'}, or choose with: twintake previz")
