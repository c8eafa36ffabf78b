"""`twintake keys`: edit the keys of a move, see what that changes and what it asks of the motors, and keep it or not.

Each command only says what its operation is told; the edits themselves are in `score.edits` and `motion`.
"""

from fractions import Fraction
from typing import Annotated, Literal

import typer

from sequencer.cli.exits import exits
from sequencer.cli.keys_run import Wanted, conclude, one_unit, run
from sequencer.cli.lens_words import position
from sequencer.cli.options import Folder, Json, Write, fraction, instant, number
from sequencer.errors import ProjectError
from sequencer.motion.split import split
from sequencer.motion.thin import thin
from sequencer.project.document import Project
from sequencer.project.store import load
from sequencer.score.edits.join import join
from sequencer.score.edits.offset import offset
from sequencer.score.edits.reverse import reverse
from sequencer.score.edits.ripple import ripple
from sequencer.score.edits.scale import mirror, scale
from sequencer.score.edits.selection import Selection
from sequencer.score.edits.snap import Beats, Grid, Lines, snap
from sequencer.score.edits.stretch import stretch
from sequencer.score.edits.valued import valued
from sequencer.score.move import Ease, Key, Move, Track
from sequencer.shell.kinds import laws

Axes = Annotated[
    list[str] | None, typer.Option("--axis", metavar="NAME", help="Only this axis; may be repeated. Else all.")
]
From = Annotated[str | None, typer.Option("--from", metavar="TIMECODE", help="Only keys from here on.")]
To = Annotated[str | None, typer.Option("--to", metavar="TIMECODE", help="Only keys up to here, this one included.")]
At = Annotated[str, typer.Option("--at", metavar="TIMECODE", help="The instant.")]
About = Annotated[float, typer.Option(parser=number, metavar="VALUE", help="The value that stays where it is.")]

keys = typer.Typer(help="Edit keys: all, or those of an axis and a stretch of time.", no_args_is_help=True)


def _keys(project: Project, chosen: Selection) -> list[Key]:
    return [track.keys[place] for track in project.move.tracks for place in chosen.get(track.axis, ())]


@keys.command("put")
def put_key(
    project: Folder,
    axis: Annotated[str, typer.Option(metavar="NAME", help="The axis.")],
    at: At,
    value: Annotated[
        str,
        typer.Option(
            metavar="VALUE",
            help="In the axis's unit; of a focus with a table also a distance, as 2.4m or 8ft, of a zoom 50mm.",
        ),
    ],
    ease: Annotated[
        str | None, typer.Option(metavar="LAW", help="The law of the leg from there; else that of the leg before.")
    ] = None,
    write: Write = False,
    json: Json = False,
) -> None:
    """Put a key at an instant, or give the key that stands there this value."""

    def edit(opened: Project, chosen: Selection) -> tuple[Move, str]:
        when, there = instant("--at", at, opened.timebase), position(opened.rig, axis, value)
        move = valued(opened.move, axis, when, there, laws(), ease=None if ease is None else Ease(ease))
        meant = "" if value == f"{there:.9g}" else f" for {value}"
        return move, f"{axis} to {there:.9g}{meant} at {opened.timebase.label(when)}"

    with exits():
        old = load(project, laws())
        raise typer.Exit(conclude(Wanted(project, [axis], None, None, write, json), old, edit, {}))


@keys.command("stretch")
def stretch_keys(
    project: Folder,
    by: Annotated[Fraction, typer.Option(parser=fraction, metavar="FACTOR", help="As 11/10, 1.1 or 110%.")],
    about: Annotated[
        str | None, typer.Option(metavar="TIMECODE", help="The instant that stays; else the first chosen key.")
    ] = None,
    cues: Annotated[bool, typer.Option("--cues/--no-cues", help="Stretch all cues too.")] = False,
    axis: Axes = None,
    start: From = None,
    end: To = None,
    write: Write = False,
    json: Json = False,
) -> None:
    """Let keys take more time, or less."""

    def edit(opened: Project, chosen: Selection) -> tuple[Move, str]:
        if about is None:
            at = min(key.at for key in _keys(opened, chosen))
        else:
            at = instant("--about", about, opened.timebase)
        move = stretch(opened.move, chosen, by, at, cues=cues)
        return move, f"stretched by {by} about {opened.timebase.label(at)}"

    run(Wanted(project, axis, start, end, write, json), edit)


@keys.command("mirror")
def mirror_keys(
    project: Folder,
    about: About = 0.0,
    axis: Axes = None,
    start: From = None,
    end: To = None,
    write: Write = False,
    json: Json = False,
) -> None:
    """Put keys on the other side of a value: left becomes right."""

    def edit(opened: Project, chosen: Selection) -> tuple[Move, str]:
        if about:
            one_unit(opened, chosen, "--about")
        return mirror(opened.move, chosen, laws(), about=about), f"mirrored about {about:.9g}"

    run(Wanted(project, axis, start, end, write, json), edit)


@keys.command("reverse")
def reverse_keys(
    project: Folder, axis: Axes = None, start: From = None, end: To = None, write: Write = False, json: Json = False
) -> None:
    """Run keys backward, from the last one to the first, in the same time."""

    def edit(opened: Project, chosen: Selection) -> tuple[Move, str]:
        return reverse(opened.move, chosen, laws()), "run backward"

    run(Wanted(project, axis, start, end, write, json), edit)


@keys.command("offset")
def offset_keys(
    project: Folder,
    frames: Annotated[
        Fraction | None, typer.Option(parser=fraction, metavar="FRAMES", help="Later by so many; below zero, earlier.")
    ] = None,
    value: Annotated[
        float | None, typer.Option(parser=number, metavar="VALUE", help="Higher by so much, in the axis's unit.")
    ] = None,
    axis: Axes = None,
    start: From = None,
    end: To = None,
    write: Write = False,
    json: Json = False,
) -> None:
    """Shift keys in time, in value, or both."""

    def edit(opened: Project, chosen: Selection) -> tuple[Move, str]:
        parts = [] if frames is None else [f"{float(frames):+.9g} frames"]
        parts += [] if value is None else [f"{value:+.9g}"]
        if not parts:
            raise ProjectError("--frames, --value", "nothing to shift by", "give one or both", file="command line")
        if value is not None:
            one_unit(opened, chosen, "--value")
        return offset(opened.move, chosen, frames=frames or Fraction(0), value=value or 0.0), (
            f"shifted by {' and '.join(parts)}"
        )

    run(Wanted(project, axis, start, end, write, json), edit)


@keys.command("scale")
def scale_keys(
    project: Folder,
    by: Annotated[float, typer.Option(parser=number, metavar="FACTOR", help="Below zero it mirrors as well.")],
    about: About = 0.0,
    axis: Axes = None,
    start: From = None,
    end: To = None,
    write: Write = False,
    json: Json = False,
) -> None:
    """Make a movement larger or smaller: keys so many times as far from a value."""

    def edit(opened: Project, chosen: Selection) -> tuple[Move, str]:
        if about:
            one_unit(opened, chosen, "--about")
        return scale(opened.move, chosen, laws(), factor=by, about=about), f"scaled by {by:.9g} about {about:.9g}"

    run(Wanted(project, axis, start, end, write, json), edit)


@keys.command("ripple")
def ripple_keys(
    project: Folder,
    at: At,
    frames: Annotated[
        Fraction, typer.Option(parser=fraction, metavar="FRAMES", help="Put in so many; below zero, take out before.")
    ],
    cues: Annotated[bool, typer.Option("--cues/--no-cues", help="Cues follow.")] = True,
    markers: Annotated[bool, typer.Option("--markers/--no-markers", help="Markers follow.")] = False,
    axis: Axes = None,
    write: Write = False,
    json: Json = False,
) -> None:
    """Put time in, or take time out, and let everything later follow."""

    def edit(opened: Project, chosen: Selection) -> tuple[Move, str]:
        label, when = opened.timebase.label, instant("--at", at, opened.timebase)
        move = ripple(opened.move, when, frames, axes=chosen.keys(), cues=cues, markers=markers)
        if frames and move == opened.move:
            last = max(track.keys[-1].at for track in opened.move.tracks if track.axis in chosen)
            what = f"nothing that would follow stands from {label(when)} on"
            raise ProjectError("--at", what, f"the last key stands at {label(last)}", file="command line")
        how = "later" if frames > 0 else "earlier"
        return move, f"{how} by {float(abs(frames)):.9g} frames from {label(when)} on"

    run(Wanted(project, axis, None, None, write, json), edit)


@keys.command("split")
def split_keys(project: Folder, at: At, axis: Axes = None, write: Write = False, json: Json = False) -> None:
    """Put a key into the leg at an instant, without changing the curve; on every axis that has a leg there."""

    def edit(opened: Project, chosen: Selection) -> tuple[Move, str]:
        when, move = instant("--at", at, opened.timebase), opened.move
        tracks = [track for track in move.tracks if track.axis in chosen and (axis or _moves(track, when))]
        if not tracks:
            what = f"no axis is between two keys at {opened.timebase.label(when)}"
            raise ProjectError("--at", what, "choose another instant", file="command line")
        for track in tracks:
            try:
                move = split(opened.rig, move, opened.timebase.rate, laws(), track.axis, when)
            except ValueError as fault:
                raise ProjectError(f"--axis {track.axis}", str(fault), file="command line") from fault
        return move, f"split at {opened.timebase.label(when)}"

    run(Wanted(project, axis, None, None, write, json), edit)


def _moves(track: Track, at: Fraction) -> bool:
    """Return whether the instant is inside a leg, and at no key."""
    return track.keys[0].at < at < track.keys[-1].at and all(key.at != at for key in track.keys)


@keys.command("join")
def join_keys(
    project: Folder,
    ease: Annotated[
        str | None, typer.Option(metavar="LAW", help="The joined leg's law; else that of its first leg.")
    ] = None,
    axis: Axes = None,
    start: From = None,
    end: To = None,
    write: Write = False,
    json: Json = False,
) -> None:
    """Take keys out, so that the legs beside them become one. First and last keys stay."""

    def edit(opened: Project, chosen: Selection) -> tuple[Move, str]:
        inside = {
            track.axis: {place for place in chosen.get(track.axis, ()) if 0 < place < len(track.keys) - 1}
            for track in opened.move.tracks
        }
        if not any(inside.values()):
            what = "only first and last keys are chosen, where no two legs meet"
            raise ProjectError("--from, --to", what, "choose keys between those", file="command line")
        return join(opened.move, inside, laws(), ease=None if ease is None else Ease(ease)), "joined"

    run(Wanted(project, axis, start, end, write, json), edit)


@keys.command("thin")
def thin_keys(
    project: Folder,
    within: Annotated[
        float, typer.Option(parser=number, metavar="TOLERANCE", help="How far off the axis may be, in its own unit.")
    ],
    axis: Axes = None,
    start: From = None,
    end: To = None,
    write: Write = False,
    json: Json = False,
) -> None:
    """From many keys to the few through which a smooth run is near enough."""

    def edit(opened: Project, chosen: Selection) -> tuple[Move, str]:
        one_unit(opened, chosen, "--within")
        move = thin(opened.rig, opened.move, opened.timebase.rate, laws(), chosen, within)
        return move, f"thinned to within {within:g}"

    run(Wanted(project, axis, start, end, write, json), edit)


@keys.command("snap")
def snap_keys(
    project: Folder,
    onto: Annotated[Literal["frames", "beats"], typer.Option(help="Whole frames, or beats of the music.")],
    part: Annotated[
        Fraction | None, typer.Option(parser=fraction, metavar="PART", help="Or parts of them, as 1/2.")
    ] = None,
    pinned: Annotated[bool, typer.Option("--pinned", help="Move pinned keys too.")] = False,
    axis: Axes = None,
    start: From = None,
    end: To = None,
    write: Write = False,
    json: Json = False,
) -> None:
    """Move keys to the nearest frame or beat."""

    def edit(opened: Project, chosen: Selection) -> tuple[Move, str]:
        step = Fraction(1) if part is None else part
        grid: Lines
        if onto == "frames":
            grid = Grid(step)
        elif opened.tempo is None:
            raise ProjectError("tempo", "there is none, so there are no beats", "write one, or snap to frames")
        else:
            grid = Beats(opened.tempo, opened.timebase.rate, step)
        move = snap(opened.move, chosen, grid, pinned=pinned)
        stay = 0 if pinned else sum(key.pin for key in _keys(opened, chosen))
        stayed = f" ({stay} pinned stay)" if stay else ""
        return move, f"snapped to {'' if part is None else f'{part} '}{onto}{stayed}"

    run(Wanted(project, axis, start, end, write, json), edit)
