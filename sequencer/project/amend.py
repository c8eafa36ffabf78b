"""Edits of what a project is made of: its time, rig, camera, offsets and triggers. Each gives another valid project.

It refuses what the files could not hold, and a rig that the keys there are would not fit.
"""

from dataclasses import replace
from fractions import Fraction
from typing import Literal

from msgspec import UNSET

from sequencer.errors import ProjectError
from sequencer.live.handling import renamed_axis
from sequencer.project import files
from sequencer.project.build_sync import build_sync, build_triggers
from sequencer.project.document import Playback, Project, SyncOffset, Triggers
from sequencer.project.values import exact_text, named
from sequencer.rig.axis import Axis, Camera, Rig
from sequencer.rig.geometry import SLIDE_HEADING_DEG, WAYS, Geometry
from sequencer.rig.limits import Combined, SumLimit
from sequencer.rig.outlet import Outlet
from sequencer.score.marks import Mark
from sequencer.score.move import Move
from sequencer.score.passes import axis_renamed
from sequencer.sync.orders import Locate, Mapped
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, count, parse

Keeping = Literal["labels", "distance"]
Scaling = Literal["seconds", "frames"]


def renamed(project: Project, name: str) -> Project:
    """Return the project with another name. Error: ProjectError for what is no name."""
    return replace(project, name=named(name.strip(), "name"))


def started(project: Project, label: str, keeping: Keeping = "labels") -> Project:
    """Return the project with its start at another label.

    `keeping` "labels": everything stays at its timecode, as when the file is edited by hand; "distance": everything
    moves along with the start. Error: ProjectError for a label that is none, or that leaves something half a day away.
    """
    counting = project.timebase.counting
    try:
        start = parse(label.strip(), counting)
    except ValueError as fault:
        raise ProjectError("timebase.start", str(fault), "write a label like 10:00:00:00") from fault
    if start.part:
        raise ProjectError("timebase.start", f"{label.strip()} is not a whole frame", "leave out the part of a frame")
    timebase = Timebase(counting, start)
    if keeping == "distance":
        return replace(project, timebase=timebase)
    by = count(project.timebase.start, counting) - count(start, counting)
    half = Fraction(counting.day, 2)
    by = (by + half) % counting.day - half
    found = _moved(project, by, Fraction(1))
    by_s = counting.rate.seconds(by)
    tempo = None if project.tempo is None else replace(project.tempo, at_s=project.tempo.at_s + by_s)
    triggers = _located(project.triggers, float(by_s), 1.0)
    return replace(found, timebase=timebase, tempo=tempo, triggers=triggers)


def at_rate(project: Project, rate: Rate, drop: bool, scaling: Scaling = "seconds") -> Project:
    """Return the project at another rate; its start keeps its label.

    `scaling` "seconds": every instant keeps its time, so that the motion and the music stay as they are and keys may
    fall between frames; "frames": every instant keeps its number of frames, so that the move runs faster or slower,
    and the music, which stays as it is, may not fit it any more. Error: ProjectError.
    """
    try:
        counting = Counting(rate, drop)
    except ValueError as fault:
        raise ProjectError("timebase.drop", str(fault), "drop no labels, or choose another rate") from fault
    old = project.timebase
    try:
        start = replace(old.start, drop=drop)
        count(start, counting)
    except ValueError as fault:
        what = f"the start {fault}"
        raise ProjectError("timebase.rate", what, "move the start to a full second first") from fault
    factor = rate.fraction / old.rate.fraction if scaling == "seconds" else Fraction(1)
    found = _moved(project, Fraction(0), factor)
    in_time = float(old.rate.fraction / rate.fraction) if scaling == "frames" else 1.0
    triggers = _located(project.triggers, 0.0, in_time)
    return replace(found, timebase=Timebase(counting, start), triggers=triggers)


def _moved(project: Project, by: Fraction, factor: Fraction) -> Project:
    """Return the project with every instant `factor` times as far from the start, and then `by` frames later."""
    if by == 0 and factor == 1:
        return project

    def there(at: Fraction) -> Fraction:
        return at * factor + by

    move = project.move
    moved = Move(
        tracks=tuple(
            replace(track, keys=tuple(replace(key, at=there(key.at)) for key in track.keys)) for track in move.tracks
        ),
        cues=tuple(replace(cue, start=there(cue.start), end=there(cue.end)) for cue in move.cues),
        markers=tuple(replace(marker, at=there(marker.at)) for marker in move.markers),
        passes=move.passes,
    )
    playback = None if project.playback is None else replace(project.playback, at=there(project.playback.at))
    return replace(project, move=moved, playback=playback)


def _located(triggers: Triggers, by_s: float, factor: float) -> Triggers:
    mapped = tuple(
        replace(one, order=Locate(one.order.position_s * factor + by_s)) if isinstance(one.order, Locate) else one
        for one in triggers.mapped
    )
    return replace(triggers, mapped=mapped)


def played(project: Project, at: Fraction) -> Project:
    """Return the project with its playback at another frame. Error: ProjectError where it has none."""
    if project.playback is None:
        raise ProjectError("playback", "there is no playback to place", "choose an audio file first")
    return replace(project, playback=Playback(file=project.playback.file, at=at))


def with_offset(project: Project, source: str, frames: Fraction, delay_ms: float) -> Project:
    """Return the project with another offset of a source; one of nothing is left out. Error: ProjectError."""
    written = files.SyncFile(source=source, offset_frames=exact_text(frames), delay_ms=float(delay_ms))
    build_sync([written], project.timebase)
    offsets = {one.source: one for one in project.sync}
    offsets[source] = SyncOffset(source, frames, float(delay_ms))
    return replace(project, sync=tuple(one for one in offsets.values() if one.frames or one.delay_ms))


def with_mapped(project: Project, number: int | None, written: files.MidiTriggerFile | None) -> Project:
    """Return the project with the mapping `number` as it is written here; None adds one, or removes it.

    Error: ProjectError in words for what cannot be, or a message that has an order already.
    """
    mapped = list(project.triggers.mapped)
    if written is None:
        if number is not None:
            del mapped[number]
    else:
        alone = build_triggers(files.TriggersFile(midi=[written]), project.move, project.timebase).mapped[0]
        _only(alone, [one for place, one in enumerate(mapped) if place != number])
        mapped[number if number is not None else len(mapped) : None if number is None else number + 1] = [alone]
    return replace(project, triggers=replace(project.triggers, mapped=tuple(mapped)))


def _only(new: Mapped, others: list[Mapped]) -> None:
    for other in others:
        alike = (new.message, new.number) == (other.message, other.number)
        if alike and (None in (new.channel, other.channel) or new.channel == other.channel):
            what = f"{new.message} {new.number} has an order already"
            raise ProjectError("triggers.midi", what, "keep one, or give them different channels")


def with_device(project: Project, device: int | None) -> Project:
    """Return the project with another number for machine control; None obeys every number. Error: ProjectError."""
    written = files.TriggersFile(mmc_device=UNSET if device is None else device)
    build_triggers(written, project.move, project.timebase)
    return replace(project, triggers=replace(project.triggers, mmc_device=device))


def with_rig(project: Project, rig: Rig) -> Project:
    """Return the project with another rig. Error: ProjectError for one that a track there is does not fit."""
    for number, track in enumerate(project.move.tracks):
        if track.axis not in rig.names:
            what = f"the track of {track.axis} would have no axis"
            raise ProjectError(f"tracks[{number}].axis", what, "remove the track too")
        axis = rig.axes[rig.index(track.axis)]
        before = project.rig.axes[project.rig.index(track.axis)] if track.axis in project.rig.names else None
        if axis is not before:
            _fits(project, axis, number)
    return replace(project, rig=rig)


def _fits(project: Project, axis: Axis, number: int) -> None:
    keys = project.move.tracks[number].keys
    if axis.travel is not None:
        low, high = axis.travel
        outside = [key for key in keys if not low <= key.value <= high]
        if outside:
            furthest = max(outside, key=lambda key: max(low - key.value, key.value - high))
            label = project.timebase.label(round(furthest.at, 2))
            what = (
                f"{len(outside)} of its keys would be outside the travel, the furthest at {furthest.value:g} ({label})"
            )
            raise ProjectError(f"tracks[{number}].keys", what, "move the keys first, or keep the travel wider")
    if (axis.travel is not None or axis.unit != "deg") and any(key.turn is not None for key in keys):
        what = f"keys of {axis.name} say which way round it turns"
        raise ProjectError(
            f"tracks[{number}].keys", what, "it stays an axis in degrees without end, or change the keys"
        )


def with_axis(project: Project, number: int, axis: Axis) -> Project:
    """Return the project with another axis in the place of one; a new name goes to all that speaks of it.

    Error: ProjectError, or ValueError of the rig in plain words.
    """
    before = project.rig.axes[number]
    axes = (*project.rig.axes[:number], axis, *project.rig.axes[number + 1 :])
    combined = tuple(_renamed(limit, before.name, axis.name) for limit in project.rig.combined)
    kinds = {one.name: one.kind for one in axes}
    geometry = project.rig.geometry.renamed(before.name, axis.name).suited(kinds)
    outlets = tuple(_reaching(one, before.name, axis.name) for one in project.rig.outlets)
    rig = replace(project.rig, axes=axes, combined=combined, geometry=geometry, outlets=outlets)
    if axis.name != before.name:
        tracks = tuple(
            replace(track, axis=axis.name) if track.axis == before.name else track for track in project.move.tracks
        )
        marks = tuple(_named(mark, before.name, axis.name) for mark in project.marks)
        hands = renamed_axis(project.hands, before.name, axis.name)
        passes = axis_renamed(project.move.passes, before.name, axis.name)
        move = replace(project.move, tracks=tracks, passes=passes)
        project = replace(project, move=move, marks=marks, hands=hands)
    return with_rig(project, rig)


def _named(mark: Mark, before: str, name: str) -> Mark:
    if name in mark.axes:
        return mark  # of an axis that was gone; which of its two positions counts is not for us to say
    return replace(mark, position=tuple((name if axis == before else axis, value) for axis, value in mark.position))


def _reaching(outlet: Outlet, before: str, name: str | None) -> Outlet:
    """Return the output with another name of an axis, or without it."""
    axes = tuple(name if axis == before else axis for axis in outlet.axes)
    return replace(outlet, axes=tuple(axis for axis in axes if axis is not None))


def _renamed(limit: Combined, before: str, name: str) -> Combined:
    if before == name or before not in limit.axes:
        return limit
    if isinstance(limit, SumLimit):
        return replace(limit, sum=tuple((name if one == before else one, weight) for one, weight in limit.sum))
    swap = {before: name}
    return replace(limit, axis=swap.get(limit.axis, limit.axis), other=swap.get(limit.other, limit.other))


def with_new_axis(project: Project, axis: Axis) -> Project:
    """Return the project with one more axis, the last. Error: ValueError for a name that is taken."""
    return with_rig(project, replace(project.rig, axes=(*project.rig.axes, axis)))


def without_axis(project: Project, number: int, *, with_track: bool = False) -> Project:
    """Return the project without an axis, and without its track and combined limits where that is asked for.

    Error: ProjectError where a track or a limit still needs it, ValueError for the last axis.
    """
    name = project.rig.axes[number].name
    if len(project.rig.axes) == 1:
        raise ValueError("a rig has at least one axis; add another one first")
    needs = [f"its track with {len(track.keys)} keys" for track in project.move.tracks if track.axis == name]
    needs += [f"the combined limit {limit.name!r}" for limit in project.rig.combined if name in limit.axes]
    if needs and not with_track:
        raise ProjectError("axes", f"{name} is needed by {' and '.join(needs)}", "remove these too", files.RIG)
    tracks = tuple(track for track in project.move.tracks if track.axis != name)
    axes = (*project.rig.axes[:number], *project.rig.axes[number + 1 :])
    rig = replace(
        project.rig,
        axes=axes,
        combined=tuple(limit for limit in project.rig.combined if name not in limit.axes),
        geometry=project.rig.geometry.suited({axis.name: axis.kind for axis in axes}),
        # an output that has no axis left would have all the others'
        outlets=tuple(_reaching(one, name, None) for one in project.rig.outlets if one.axes != (name,)),
    )
    return with_rig(replace(project, move=replace(project.move, tracks=tracks)), rig)


def axis_at(project: Project, number: int, place: int) -> Project:
    """Return the project with an axis at another place in the rig: the order of everything with an axis dimension."""
    axes = list(project.rig.axes)
    axes.insert(max(0, min(place, len(axes) - 1)), axes.pop(number))
    return with_rig(project, replace(project.rig, axes=tuple(axes)))


def with_height(project: Project, height_m: float) -> Project:
    """Return the project whose camera is so high when all axes stand at zero. Error: ValueError."""
    return _placed(project, replace(project.rig.geometry, height_m=height_m))


def with_way(project: Project, number: int, way: str) -> Project:
    """Return the project with another way that is positive for an axis. Error: ValueError for none of its kind."""
    axis, geometry = project.rig.axes[number], project.rig.geometry
    others = tuple(one for one in geometry.positive if one[0] != axis.name)
    usual = WAYS.get(axis.kind, ("",))[0]
    return _placed(project, replace(geometry, positive=others if way == usual else (*others, (axis.name, way))))


def with_heading(project: Project, number: int, heading_deg: float) -> Project:
    """Return the project in which a slide goes another way. Error: ValueError for what is no slide, or no angle."""
    name, geometry = project.rig.axes[number].name, project.rig.geometry
    others = tuple(one for one in geometry.heading_deg if one[0] != name)
    given = () if heading_deg == SLIDE_HEADING_DEG else ((name, heading_deg),)
    return _placed(project, replace(geometry, heading_deg=(*others, *given)))


def _placed(project: Project, geometry: Geometry) -> Project:
    return replace(project, rig=replace(project.rig, geometry=geometry))


def with_camera(project: Project, camera: Camera | None) -> Project:
    """Return the project with another camera, or none; where its sensor plane is goes with a lens's table."""
    rig = project.rig
    kept = rig.geometry if camera and camera.pupil else replace(rig.geometry, sensor_plane_mm=None)
    return replace(project, rig=replace(rig, camera=camera, geometry=kept))


def with_limit(project: Project, number: int | None, limit: Combined | None) -> Project:
    """Return the project with another combined limit in a place; None adds one, or removes it. Error: ValueError."""
    limits = list(project.rig.combined)
    if limit is None:
        if number is not None:
            del limits[number]
    elif number is None:
        limits.append(limit)
    else:
        limits[number] = limit
    return replace(project, rig=replace(project.rig, combined=tuple(limits)))


def with_rig_name(project: Project, name: str) -> Project:
    """Return the project whose rig has another name. Error: ProjectError for what is no name."""
    return replace(project, rig=replace(project.rig, name=named(name.strip(), "name", files.RIG)))
