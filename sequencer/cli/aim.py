"""`twintake aim`: points in the set, by name; found by aiming at them; and pan and tilt that keep the lens on them.

One of its operations a call; without any, it lists the points. Nothing moves here.
"""

from dataclasses import replace
from fractions import Fraction
from typing import Annotated

import typer

from sequencer.cli.aim_found import found
from sequencer.cli.aim_run import Aimed, Asked, aimed
from sequencer.cli.aim_shown import Told, conclude
from sequencer.cli.exits import exits
from sequencer.cli.options import Folder, Json, Write, fraction, number
from sequencer.errors import ProjectError
from sequencer.project.document import Project
from sequencer.project.store import load
from sequencer.score.points import Point, point_of, with_point, without_point
from sequencer.shell.kinds import laws
from sequencer.timebase.instants import labelled

Add = Annotated[
    list[str] | None,
    typer.Option("--add", metavar="NAME=X,Y,Z", help="Name a point: metres right, ahead and up. May be repeated."),
]
Remove = Annotated[
    list[str] | None, typer.Option("--remove", metavar="NAME", help="Take a point out. May be repeated.")
]
Find = Annotated[
    str | None, typer.Option("--find", metavar="NAME", help="Find a point: where the camera looks from all of --marks.")
]
Marks = Annotated[
    str | None,
    typer.Option("--marks", metavar="MARK,MARK", help="Stored marks that look at it, from places that are apart."),
]
Sigma = Annotated[
    float | None,
    typer.Option("--sigma", parser=number, metavar="DEG", help="By how much an aim may be off; else from the gear."),
]
At = Annotated[
    str | None, typer.Option("--at", metavar="NAME", help="Keep the lens on this point, all through the cue.")
]
Then = Annotated[str | None, typer.Option("--then", metavar="NAME", help="And turn to this one, in --blend seconds.")]
Blend = Annotated[
    Fraction | None, typer.Option("--blend", parser=fraction, metavar="SECONDS", help="How long that takes.")
]
BlendAt = Annotated[
    str | None,
    typer.Option("--blend-at", metavar="TIMECODE", help="When it begins; else it is in the middle of the cue."),
]
Law = Annotated[str, typer.Option("--ease", metavar="LAW", help="The motion law of turning there.")]
CueName = Annotated[str | None, typer.Option("--cue", metavar="CUE", help="The cue; the first one if not said.")]
Tolerance = Annotated[
    float,
    typer.Option("--tolerance", parser=number, metavar="DEG", help="How far the optical axis may be off the point."),
]
Over = Annotated[
    bool, typer.Option("--over-the-top", help="With the head tilted over the top, the picture upside down.")
]


def aim(
    project: Folder,
    listed: Annotated[bool, typer.Option("--list", help="List the points; so it does where nothing is asked.")] = False,
    add: Add = None,
    remove: Remove = None,
    find: Find = None,
    marks: Marks = None,
    sigma: Sigma = None,
    at: At = None,
    then: Then = None,
    blend: Blend = None,
    blend_at: BlendAt = None,
    ease: Law = "poly345",
    cue: CueName = None,
    tolerance: Tolerance = 0.01,
    over_the_top: Over = False,
    write: Write = False,
    json: Json = False,
) -> None:
    """Name points in the set, find them by aiming, and aim pan, tilt and focus at them while slide and lift move.

    Ends with status 1 where the move is then over a limit.
    """
    with exits():
        opened = load(project, laws())
        told = Told(project, write, json)
        _one_operation(listed, bool(add or remove), find is not None, at is not None)
        try:
            if find is not None:
                sight = found(opened, find, _split(marks), sigma)
                raise typer.Exit(conclude(told, opened, sight.project, sight))
            if at is not None:
                asked = Asked(at, then, blend, blend_at, ease, cue, tolerance, over_the_top)
                run: Aimed = aimed(opened, asked)
                raise typer.Exit(conclude(told, opened, run.project, run))
            raise typer.Exit(conclude(told, opened, *_edited(opened, add or [], remove or [])))
        except ValueError as fault:
            words = labelled(str(fault), opened.timebase.label)
            raise ProjectError("", words, file="command line") from fault
        except ProjectError as fault:
            fault.what = labelled(fault.what, opened.timebase.label)
            raise


def _one_operation(listed: bool, edits: bool, finds: bool, aims: bool) -> None:
    if sum((listed, edits, finds, aims)) > 1:
        what = "they are operations of their own"
        raise ProjectError("--list, --add, --find, --at", what, "give one at a time", file="command line")


def _split(given: str | None) -> list[str]:
    names = [name.strip() for name in (given or "").split(",") if name.strip()]
    if len(names) < 2:
        what = "a point is found from two marks or more"
        raise ProjectError("--marks", what, "give their names, as in --marks A,B", file="command line")
    return list(dict.fromkeys(names))


def _edited(opened: Project, add: list[str], remove: list[str]) -> tuple[Project, str]:
    """Return the project with the points changed, and what was done. Error: ProjectError, ValueError."""
    points, words = opened.points, []
    for text in add:
        point = _typed(text)
        points = with_point(points, point)
        words.append(f"named {point.name}")
    for name in remove:
        point_of(points, name)
        points = without_point(points, name)
        words.append(f"took out {name}")
    return replace(opened, points=points), ", ".join(words)


def _typed(text: str) -> Point:
    """Return the point that is typed as NAME=X,Y,Z. Error: ProjectError."""
    name, between, numbers = text.rpartition("=")
    try:
        x_m, y_m, z_m = (float(one) for one in numbers.split(","))
        if not between:
            raise ValueError
    except ValueError:
        mend = "write NAME=X,Y,Z in metres, as in bollard=1.2,3.4,0.5"
        raise ProjectError("--add", f"{text!r} is no name with a place", mend, file="command line") from None
    return Point(name, (x_m, y_m, z_m))
