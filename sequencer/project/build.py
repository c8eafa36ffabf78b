"""From the files of a project folder to the project in exact time, and back. No file is opened here.

It refuses what it cannot keep exactly. Every fault is a ProjectError with its place; `score.faults` judges the move.
"""

import math
from collections.abc import Callable, Iterable
from dataclasses import fields, replace
from fractions import Fraction
from functools import partial
from pathlib import PurePosixPath, PureWindowsPath
from typing import Any, cast

from msgspec import UNSET, structs, to_builtins

from sequencer.errors import ProjectError
from sequencer.project import files, rig_file, text
from sequencer.project.build_axis import build_axis, plain_axis
from sequencer.project.build_camera import build_camera, plain_camera
from sequencer.project.build_hands import build_hands, plain_hands
from sequencer.project.build_lens import build_lens, plain_lens
from sequencer.project.build_marks import build_marks, plain_marks
from sequencer.project.build_outlets import build_outlets, plain_outlets
from sequencer.project.build_passes import build_passes, plain_passes
from sequencer.project.build_points import build_points, plain_points
from sequencer.project.build_stage import build_aspect, build_geometry, build_stage, plain_geometry, plain_stage
from sequencer.project.build_sync import build_sync, build_triggers, plain_offset, plain_triggers
from sequencer.project.build_tempo import build_tempo, plain_tempo
from sequencer.project.build_timelapse import build_timelapse, plain_timelapse
from sequencer.project.document import Playback, Project, Triggers
from sequencer.project.pass_file import PassFile
from sequencer.project.points_file import PointFile
from sequencer.project.stage import Stage
from sequencer.project.values import exact_text, instant, named, placed, said, timecode
from sequencer.rig.axis import Rig
from sequencer.rig.limits import Combined, SumLimit, WhileLimit
from sequencer.score.columns import columns
from sequencer.score.easing import Laws
from sequencer.score.faults import faults
from sequencer.score.move import Cue, Ease, Key, Marker, Move, Passing, Track, Turn
from sequencer.timebase.rate import parse_rate
from sequencer.timebase.timecode import Counting, Timebase, parse


def build(document: files.ProjectFile, machine: rig_file.RigFile, laws: Laws) -> Project:
    """Return the project that the two files describe. Error: ProjectError with the place of the first fault."""
    timebase = _timebase(document.timebase)
    _names(document.cues, "cues")
    _names(document.markers, "markers")
    _names(document.marks, "marks")
    _names(document.points, "points")
    _names(document.passes, "passes")
    move = Move(
        tracks=_tracks(document.tracks, timebase, laws),
        cues=tuple(_cue(cue, f"cues[{i}]", timebase) for i, cue in enumerate(document.cues)),
        markers=tuple(
            Marker(marker.name, instant(marker.at, f"markers[{i}].at", timebase))
            for i, marker in enumerate(document.markers)
        ),
        passes=build_passes(document.passes, timebase.rate),
    )
    rig = build_rig(machine)
    check(move, rig, laws)
    return Project(
        name=named(document.name, "name"),
        timebase=timebase,
        rig=rig,
        move=move,
        marks=build_marks(document.marks),
        points=build_points(document.points),
        tempo=build_tempo(document.tempo, timebase) if document.tempo is not UNSET else None,
        playback=_playback(document.playback, timebase) if document.playback is not UNSET else None,
        sync=build_sync(document.sync, timebase),
        triggers=build_triggers(document.triggers, move, timebase) if document.triggers is not UNSET else Triggers(),
        timelapse=None if document.timelapse is UNSET else build_timelapse(document.timelapse, move, rig),
        aspect=build_aspect(document.aspect) if document.aspect is not UNSET else None,
        stage=build_stage(document.stage) if document.stage is not UNSET else Stage(),
        hands=build_hands(document.hands),
        camera=build_camera(document.camera, timebase),
    )


def build_rig(machine: rig_file.RigFile) -> Rig:
    """Return the rig that the file describes. Error: ProjectError with the place of the first fault in rig.json."""
    axes = [build_axis(axis, f"axes[{i}]") for i, axis in enumerate(machine.axes)]
    camera = None if machine.camera is UNSET else build_lens(machine.camera)
    name = named(machine.name, "name", files.RIG)
    rig = placed("axes", Rig, files.RIG, name=name, axes=tuple(axes), camera=camera)
    for i, one in enumerate(machine.combined):
        path = f"combined[{i}]"
        rig = placed(path, partial(replace, rig), files.RIG, combined=(*rig.combined, _limit(one, path)))
    if machine.geometry is not UNSET:
        rig = placed("geometry", partial(replace, rig), files.RIG, geometry=build_geometry(machine.geometry))
    if machine.outputs:
        rig = placed("outputs", partial(replace, rig), files.RIG, outlets=build_outlets(machine.outputs))
    return rig


def _limit(written: rig_file.CombinedFile, path: str) -> Combined:
    """Return the combined limit. Error: ProjectError for one of neither kind, or of both."""
    named(written.name, f"{path}.name", files.RIG)
    there = {name: value for name, value in structs.asdict(written).items() if value is not UNSET}
    kind = there.keys() & {"sum", "axis", "other", "between"}
    if kind == {"sum"}:
        return placed(path, SumLimit, files.RIG, **there | {"sum": tuple(there["sum"].items())})
    if kind == {"axis", "other", "between"}:
        return placed(path, WhileLimit, files.RIG, **there)
    what = "it is neither the limit of a sum nor that of an axis while another is in a range"
    raise ProjectError(path, what, 'write "sum" alone, or "axis", "while" and "between"', files.RIG)


def _plain_limit(limit: Combined) -> rig_file.CombinedFile:
    there = {one.name: getattr(limit, one.name) for one in fields(limit)}
    if isinstance(limit, SumLimit):
        there["sum"] = dict(limit.sum)
    return rig_file.CombinedFile(**{name: value for name, value in there.items() if value is not None})


def check(move: Move, rig: Rig, laws: Laws) -> None:
    """Refuse a move with a fault, or with a key where its axis cannot go. Error: ProjectError with the place."""
    read = columns(move)
    for fault in faults(move, rig, laws, read):
        raise replace(fault, what=text.printable(fault.what))
    for i, track in enumerate(move.tracks):
        axis = rig.axes[rig.index(track.axis)]
        low, high = axis.travel or (-math.inf, math.inf)
        values = read.value[read.first[i] : read.first[i + 1]]
        if low <= values.min() and values.max() <= high:
            continue
        for k, key in enumerate(track.keys):
            if not low <= key.value <= high:
                unit = "" if axis.unit == "part" else f" {axis.unit}"
                what = f"{key.value:.12g}{unit} is outside {axis.name}'s travel [{low:.12g}, {high:.12g}]"
                mend = f"move the key, or widen the travel in {files.RIG}"
                raise ProjectError(f"tracks[{i}].keys[{k}].value", what, mend)


def plain(project: Project) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return project.json and rig.json as plain objects, their fields sorted by meaning.

    Instants are written to a billionth of a frame. Error: ProjectError for an instant that no label tells apart.
    """
    timebase, move = project.timebase, project.move
    write = timebase.writer()
    document = files.ProjectFile(
        format=files.PROJECT_FORMAT,
        version=files.VERSION,
        name=project.name,
        timebase=files.TimebaseFile(rate=str(timebase.rate), start=str(timebase.start), drop=timebase.counting.drop),
        tempo=UNSET if project.tempo is None else plain_tempo(project.tempo, timebase),
        playback=UNSET
        if project.playback is None
        else files.PlaybackFile(file=project.playback.file, at=timecode(project.playback.at, "playback.at", timebase)),
        cues=[
            files.CueFile(
                name=cue.name,
                start=timecode(cue.start, f"cues[{i}].from", timebase),
                end=timecode(cue.end, f"cues[{i}].to", timebase),
            )
            for i, cue in enumerate(move.cues)
        ],
        markers=[
            files.MarkerFile(name=marker.name, at=timecode(marker.at, f"markers[{i}].at", timebase))
            for i, marker in enumerate(move.markers)
        ],
        marks=plain_marks(project.marks),
        points=plain_points(project.points),
        passes=plain_passes(move.passes, timebase.rate),
        sync=[plain_offset(one) for one in project.sync],
        triggers=UNSET if project.triggers == Triggers() else plain_triggers(project.triggers, timebase),
        timelapse=plain_timelapse(project.timelapse),
        aspect=UNSET if project.aspect is None else exact_text(project.aspect),
        stage=plain_stage(project.stage),
        hands=plain_hands(project.hands),
        camera=plain_camera(project.camera, timebase),
        tracks=[_plain_track(track, f"tracks[{i}]", timebase, write) for i, track in enumerate(move.tracks)],
    )
    return to_builtins(document), plain_rig(project.rig)


def plain_rig(rig: Rig) -> dict[str, Any]:
    """Return rig.json as a plain object, its fields sorted by meaning."""
    machine = rig_file.RigFile(
        format=files.RIG_FORMAT,
        version=files.VERSION,
        name=rig.name,
        axes=[plain_axis(axis) for axis in rig.axes],
        camera=plain_lens(rig.camera),
        combined=[_plain_limit(limit) for limit in rig.combined],
        geometry=plain_geometry(rig.geometry),
        outputs=plain_outlets(rig.outlets),
    )
    tree: dict[str, Any] = to_builtins(machine)
    return tree


def _names(
    ones: Iterable[files.CueFile | files.MarkerFile | files.MarkFile | PointFile | PassFile], where: str
) -> None:
    """Refuse names that are none, and one name for two things that a command chooses by name."""
    seen: dict[str, int] = {}
    for i, one in enumerate(ones):
        named(one.name, f"{where}[{i}].name")
        if one.name in seen and where != "markers":
            first = f"{where}[{seen[one.name]}]"
            raise ProjectError(f"{where}[{i}].name", f"{one.name!r} is also the name of {first}", "rename one of them")
        seen[one.name] = i


def _timebase(written: files.TimebaseFile) -> Timebase:
    rate = placed("timebase.rate", parse_rate, text=written.rate)
    counting = placed("timebase.drop", Counting, rate=rate, drop=written.drop)
    if "." in written.start:
        fault = f"{text.printable(written.start)} is not a whole frame"
        raise ProjectError("timebase.start", fault, "leave out the part of a frame")
    start = placed("timebase.start", parse, text=written.start, how=counting)
    return Timebase(counting, start)


def _cue(written: files.CueFile, path: str, timebase: Timebase) -> Cue:
    start, end = instant(written.start, f"{path}.from", timebase), instant(written.end, f"{path}.to", timebase)
    if end <= start:
        raise ProjectError(
            f"{path}.to", f"{written.end} is not after {written.start}", "let the cue end after it begins"
        )
    return Cue(written.name, start, end)


def _playback(written: files.PlaybackFile, timebase: Timebase) -> Playback:
    """Refuse a file that lies outside the folder on any system; links are followed where the folder is at hand."""
    path = PurePosixPath(written.file)
    on_windows = PureWindowsPath(written.file)
    if (
        not path.name
        or path.is_absolute()
        or on_windows.drive
        or on_windows.root
        or ".." in on_windows.parts
        or not written.file.isprintable()
    ):
        fault = f"{text.printable(written.file)!r} is not a file inside the project folder"
        raise ProjectError("playback.file", fault, "copy the audio into the folder and write its name alone")
    return Playback(file=written.file, at=instant(written.at, "playback.at", timebase))


def _tracks(written: list[files.TrackFile], timebase: Timebase, laws: Laws) -> tuple[Track, ...]:
    """Return all tracks. What thousands of keys say in the same words is read once, and is one object."""
    read = timebase.reader()
    instants: dict[str, Fraction] = {}
    eases: dict[object, Ease] = {}
    tracks = []
    for number, track in enumerate(written):
        keys = []
        for i, key in enumerate(track.keys):
            plain = key.passing is UNSET and key.turn is UNSET and key.pin is UNSET
            if plain:
                try:
                    keys.append(Key(instants[key.at], key.value, eases[key.ease]))
                    continue
                except (KeyError, TypeError):
                    pass  # what is said for the first time, and laws with settings
            at = instants.get(key.at)
            if at is None:
                at = instants[key.at] = instant(key.at, "tracks[{}].keys[{}].at", timebase, read, (number, i))
            ease = eases.get(key.ease) if isinstance(key.ease, str) else None
            if ease is None:
                ease = _ease(key.ease, f"tracks[{number}].keys[{i}].ease", laws)
                if isinstance(key.ease, str):
                    eases[key.ease] = ease
            if plain:
                keys.append(Key(at, key.value, ease))
                continue
            # that it is one of the choices there are is for `faults`
            passing, turn = cast(Passing, said(key.passing, "pass")), cast("Turn | None", said(key.turn, None))
            keys.append(Key(at, key.value, ease, passing, turn, said(key.pin, False)))
        tracks.append(Track(track.axis, tuple(keys)))
    return tuple(tracks)


def _ease(written: str | dict[str, Any], path: str, laws: Laws) -> Ease:
    """Return the ease; a name alone stands for the law's defaults."""
    if isinstance(written, str):
        return Ease(written)
    name = written.get("law")
    settings = {field: value for field, value in written.items() if field != "law"}
    if not isinstance(name, str):
        raise ProjectError(f"{path}.law", "is missing, or not a name", 'write {"law": "bezier", …}')
    if not settings:
        return Ease(name)
    if name not in laws:
        fault = f"there is no motion law {text.printable(name)!r}"
        raise ProjectError(f"{path}.law", fault, f"there are {', '.join(sorted(laws))}")
    there = [one.name for one in fields(laws[name].settings)]
    for one in settings:
        if one not in there:
            mend = f"it has {', '.join(there)}" if there else "it has none"
            raise ProjectError(f"{path}.{text.printable(one)}", f"not a parameter of the law {name!r}", mend)
    return Ease(name, text.convert(settings, laws[name].settings, files.PROJECT, path))


def _plain_track(track: Track, path: str, timebase: Timebase, write: Callable[[Fraction], str]) -> files.TrackFile:
    """Return the track as it is written; `write` is the timebase's writer, which does for all tracks."""
    half = timebase.counting.day // 2
    keys = [
        files.KeyFile(
            at=write(key.at)
            if -half <= key.at.numerator // key.at.denominator < half
            else timecode(key.at, f"{path}.keys[{i}].at", timebase),
            value=float(key.value),
            ease=key.ease.law if key.ease.how is None else _plain_ease(key.ease),
            passing=UNSET if key.passing == "pass" else key.passing,
            turn=UNSET if key.turn is None else key.turn,
            pin=key.pin or UNSET,
        )
        for i, key in enumerate(track.keys)
    ]
    return files.TrackFile(axis=track.axis, keys=keys)


def _plain_ease(ease: Ease) -> str | dict[str, Any]:
    settings = {} if ease.how is None else to_builtins(ease.how)
    return {"law": ease.law, **settings} if settings else ease.law
