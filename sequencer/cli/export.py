"""`twintake export`: hand over camera data, takes or markers in a format that others read, with a text beside it.

The JSON document: `file`; `beside`, the other files that were written; `format`; `project`, `cue`, `pass`, `take`;
`source`, planned, asked or actual (null: the format holds no camera, as in all that follows); `rate`, exact; `frames`;
`first` and `timecode` of the first frame; `samples` a frame; `missing`, how many frames of the cue are not known;
`remarks`, in words.
"""

import json as plain_json
import os
from fractions import Fraction
from pathlib import Path
from typing import Annotated, Any, get_args

import typer

from sequencer.cli.exits import FOUND, console, exits
from sequencer.cli.options import Json, PassName, fraction
from sequencer.errors import ExportError
from sequencer.export.contract import ExportKind, Wanted
from sequencer.export.delivery import SOURCES, Delivery, Source
from sequencer.export.flat import first_number
from sequencer.export.opening import BEGINS, Begins
from sequencer.export.spaces import Up
from sequencer.shell.handover import Asked, Handed, gather, hand_over, missing, usual_name
from sequencer.shell.kinds import exports, formats_left_out

UPS: tuple[Up, ...] = get_args(Up)
Timelapse = Annotated[bool, typer.Option("--timelapse", help="The frames that the project's timelapse exposes.")]
Samples = Annotated[int, typer.Option(min=1, metavar="N", help="Instants a frame while the shutter is open.")]
Shutter = Annotated[
    Fraction | None,
    typer.Option(parser=fraction, metavar="DEGREES", help="The shutter's angle; else that of rig.json."),
]
ShutterFrom = Annotated[
    str, typer.Option(metavar="|".join(BEGINS), help="It is open around the frame's instant, or from it on.")
]


def export(  # the many ways in which others may want it
    project: Annotated[Path, typer.Argument(help="A project folder, or a take file.")],
    to: Annotated[
        str | None, typer.Option(metavar="FORMAT", help="The format; else that of the file's suffix.")
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", "-o", metavar="FILE", help="The file or folder to write to; else one named by itself here."
        ),
    ] = None,
    cue: Annotated[str | None, typer.Option(help="The cue; the first one if not said.")] = None,
    run: PassName = None,
    take: Annotated[
        Path | None, typer.Option(metavar="FILE", help="A take of the project, instead of the move.")
    ] = None,
    source: Annotated[
        str | None,
        typer.Option(metavar="|".join(SOURCES), help="The move as written, what was asked of the rig, or what it did."),
    ] = None,
    timelapse: Timelapse = False,
    samples: Samples = 1,
    shutter: Shutter = None,
    shutter_from: ShutterFrom = "centre",
    first: Annotated[
        int | None, typer.Option(metavar="N", help="Number the first frame N; else frames since the project's start.")
    ] = None,
    up: Annotated[str, typer.Option(metavar="|".join(UPS), help="The axis that is up, where a format has both.")] = "y",
    force: Annotated[bool, typer.Option("--force", help="Replace files that are there.")] = False,
    json: Json = False,
) -> None:
    """Write what others need: the camera's path, takes or markers; beside it a text that says how to check it.

    Ends with status 1 when frames of a take are not known. Nothing moves.
    """
    with exits():
        kind = _kind(to, out)
        asked = Asked(
            project=None if _is_take(project) else project,
            take=_take(project, take),
            cue=cue,
            run=run,
            source=None if source is None else _source(source),
            angle_deg=shutter,
            begins=_begins(shutter_from),
            samples=samples,
            timelapse=timelapse,
        )
        delivery, said = gather(asked, kind.holds)
        file = _file(out, delivery, kind)
        wanted = Wanted(up=_up(up), first=first)
        done = hand_over(delivery, kind, wanted, file, force, said)
        if json:
            print(plain_json.dumps(_facts(kind, delivery, wanted, done), indent=2, ensure_ascii=False))
        else:
            _show(kind, delivery, done)
        if kind.holds == "camera" and missing(delivery):
            raise typer.Exit(FOUND)


def _is_take(place: Path) -> bool:
    return place.is_file() or (place.suffix == ".mcap" and not place.is_dir())


def _take(project: Path, take: Path | None) -> Path | None:
    if not _is_take(project):
        return take
    if take is not None:
        raise ExportError(f"{project} is a file, and --take names another; give the project's folder, or one take")
    return project


def _file(out: Path | None, delivery: Delivery, kind: ExportKind) -> Path:
    """Return the file to write; in a folder, and where nobody says, one of the usual name."""
    file = out or Path()
    if os.path.isdir(file):  # which takes a name that is too long for none
        return file / usual_name(delivery, kind)
    return file if file.suffix else file.with_name(file.name + kind.suffixes[0])


def _kind(to: str | None, out: Path | None) -> ExportKind:
    """Return the format that is meant. Error: ExportError that lists those there are."""
    there = exports()
    if to in there:
        return there[to]
    listed = ", ".join(f"{name} ({' '.join(kind.suffixes)})" for name, kind in sorted(there.items())) or "none"
    left = "".join(f"; {place} is left out: {why}" for place, why in formats_left_out().items())
    if to is not None:
        raise ExportError(f"there is no format {to!r}; there are: {listed}{left}")
    named = "" if out is None else out.name.lower()
    found = [kind for kind in there.values() if named.endswith(kind.suffixes)]
    if len(found) != 1:
        raise ExportError(f"say in which format (--to); there are: {listed}{left}")
    return found[0]


def _source(given: str) -> Source:
    for one in SOURCES:
        if one == given:
            return one
    raise ExportError(f"--source {given}: there is no such source; name one of {', '.join(SOURCES)}")


def _begins(given: str) -> Begins:
    for one in BEGINS:
        if one == given:
            return one
    raise ExportError(f"--shutter-from {given}: no shutter opens so; name one of {', '.join(BEGINS)}")


def _up(given: str) -> Up:
    for one in UPS:
        if one == given:
            return one
    raise ExportError(f"--up {given}: no axis that could be up; name one of {', '.join(UPS)}")


def _facts(kind: ExportKind, delivery: Delivery, wanted: Wanted, done: Handed) -> dict[str, Any]:
    path = delivery.path if kind.holds == "camera" else None
    return {
        "file": str(done.files[0]),
        "beside": [str(one) for one in done.files[1:]],
        "format": kind.name,
        "project": delivery.project,
        "cue": delivery.cue.name if path else None,
        "pass": delivery.run if path else None,
        "take": delivery.take or None,
        "source": delivery.source if path else None,
        "rate": str(delivery.timebase.rate),
        "frames": path.frames if path else None,
        "first": first_number(path, wanted) if path else None,
        "timecode": str(delivery.timebase.label(path.first)) if path else None,
        "samples": len(path.parts) if path else None,
        "missing": missing(delivery) if path else None,
        "remarks": list(done.remarks),
    }


def _show(kind: ExportKind, delivery: Delivery, done: Handed) -> None:
    def say(line: str) -> None:
        console.print(line, markup=False, highlight=False, soft_wrap=True)

    path = delivery.path
    if kind.holds == "camera" and path is not None:
        take = f", {delivery.take}" if delivery.take else ""
        begin, end = (delivery.timebase.label(path.first + frame) for frame in (0, path.frames - 1))
        say(f"{delivery.cue.name}, {delivery.run}{take}, {delivery.source}: {path.frames} frames, {begin} to {end}")
    for line in done.remarks:
        say(f"- {line}")
    say(f"written: {done.files[0]}")
    say(f"beside it: {', '.join(one.name for one in done.files[1:])}")
