"""What a take file says of itself: written so that the take needs no project beside it, and read without trust.

The rig and the pass stand in it as project files write them. What of them cannot be read is left out and said, since a
take is of use without them too; a heading that no take has is refused.
"""

import math
import re
import zlib
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from io import BytesIO
from typing import Any

import msgspec
from mcap.data_stream import ReadDataStream
from mcap.records import Metadata

from sequencer.errors import ProjectError, TakeError
from sequencer.project import files, rig_file, text
from sequencer.project.build import build_rig, plain_rig
from sequencer.project.build_passes import build_passes, plain_passes
from sequencer.project.document import Project
from sequencer.project.pass_file import PassFile
from sequencer.rig.axis import Camera, Rig
from sequencer.score.move import Cue, Pass
from sequencer.takes.rows import Heading
from sequencer.timebase.rate import parse_rate
from sequencer.timebase.timecode import Counting, Timebase, parse

FORMAT, VERSION = "twintake/take", 1

_MOST_AXES = 256
_MOST_PIXELS = 1_000_000
_LONGEST_CUE_S = 86400.0
_SPEED = re.compile(r"0*[1-9][0-9]{0,8}(/0*[1-9][0-9]{0,8})?")
_LONGEST_HEADING = 4 * 2**20
# as JSON, so that a heading always fits a message to the engine; 16 axes with a zoom's tables are about 20 thousand
_LONGEST_RIG = 256 * 2**10
_LONGEST_PASS = _LONGEST_MARKERS = 64 * 2**10
_MOST_LIMITS = 256


@dataclass(frozen=True, slots=True)
class _Origin:
    """As much of a heading as any version has."""

    format: str
    version: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Meant:
    """A heading's fields in exact time and as values. `remarks` says what of it could not be kept, or not be read."""

    timebase: Timebase
    camera: Camera | None
    speed: Fraction
    rig: Rig | None
    shot_as: Pass | None
    remarks: tuple[str, ...]


def explained(heading: Heading, project: Project, cue: Cue, speed: Fraction, written: Pass) -> Heading:
    """Return the heading with all that a reader needs who has no project: the rig, the pass, the cue's markers.

    The cue is shot at `speed`, by the pass as it is `written`. Outputs are named by their kind alone: where a rig can
    be reached is nobody's business who only gets a take.
    """
    remarks = []
    bare = tuple(replace(one, address=f"{one.address.partition(':')[0]}:") for one in project.rig.outlets)
    rig: dict[str, Any] | None = plain_rig(replace(project.rig, outlets=bare))
    if len(msgspec.json.encode(rig)) > _LONGEST_RIG:
        rig = None
        size = f"{_LONGEST_RIG // 2**10} KiB"
        remarks.append(f"the rig's description is longer than {size} and is not in the take; keep {files.RIG} with it")
    rate = project.timebase.rate
    markers = [
        (marker.name, float(rate.seconds(cue.start) + rate.seconds(marker.at - cue.start) / speed))
        for marker in project.move.markers
        if cue.start <= marker.at <= cue.end
    ]
    there = len(markers)
    while len(msgspec.json.encode(markers)) > _LONGEST_MARKERS:
        markers = markers[: len(markers) // 2]
    if len(markers) < there:
        remarks.append(f"the cue has {there} markers; the first {len(markers)} are in the take")
    (plain,) = plain_passes([written], rate)
    shot_as: dict[str, Any] | None = msgspec.to_builtins(plain)
    if len(msgspec.json.encode(shot_as)) > _LONGEST_PASS:
        shot_as = None
        remarks.append("the pass's offsets and note are too long, and are not in the take")
    return replace(heading, rig=rig, shot_as=shot_as, markers=tuple(markers), remarks=tuple(remarks))


def heading_of(content: bytes) -> Heading | None:
    """Return what a metadata record says the take is of, or None for another record. Error: TakeError."""
    try:
        record = Metadata.read(ReadDataStream(BytesIO(content)))
    except Exception as fault:  # damaged bytes can make the unpacking raise nearly anything; all of it means damage
        raise TakeError("the record that says what take it is is damaged; look for a copy of the file") from fault
    if record.name != "take":
        return None
    written = record.metadata.get("heading", "").encode()
    if record.metadata.get("crc32") != f"{zlib.crc32(written):08x}":
        raise TakeError("the record that says what take it is is damaged; look for a copy of the file")
    if len(written) > _LONGEST_HEADING:
        raise TakeError(
            f"its heading is {len(written)} bytes long, which no take's is; use the file as it was recorded"
        )
    try:
        origin = msgspec.json.decode(written, type=_Origin)
        if origin.format != FORMAT:
            raise TakeError(f"its format is {origin.format!r}, not {FORMAT!r}; name a take file")
        if origin.version > VERSION:
            raise TakeError(f"it is of version {origin.version}, and this program reads up to {VERSION}; update it")
        return _heading(written)
    except (msgspec.MsgspecError, RecursionError, ValueError, OverflowError) as fault:
        raise TakeError(f"heading: {fault}; use the file as it was recorded") from fault


def _heading(written: bytes) -> Heading:
    """Return the heading; fields that only explain the take, and are not as they are written here, are left out.

    Error: msgspec.MsgspecError, RecursionError.
    """
    try:
        return msgspec.json.decode(written, type=Heading)
    except msgspec.ValidationError as fault:
        tree = msgspec.json.decode(written)
        found = re.search(r" - at `\$\.(rig|shot_as|markers|document|made|remarks)\b", str(fault))
        if found is None or not isinstance(tree, dict):
            raise
        tree.pop(found[1])
        # the next of them may be wrong as well; each is looked at once, and those that are fine stay
        kept = _heading(msgspec.json.encode(tree))
        return replace(kept, remarks=(*kept.remarks, f"{found[1]} in its heading cannot be read and is left out"))


def meant(heading: Heading) -> Meant:
    """Return what the heading means. Error: TakeError for one that no take has."""
    try:
        _demand_sensible(heading)
        timebase, camera = _timebase(heading), _camera(heading)
    except (ValueError, OverflowError) as wrong:
        raise TakeError(f"heading: {wrong}; use the file as it was recorded") from wrong
    rig, no_rig = _rig(heading)
    shot_as, no_pass = _shot_as(heading, timebase)
    remarks = (*(text.printable(one) for one in heading.remarks), *no_rig, *no_pass)
    return Meant(
        timebase=timebase,
        camera=camera,
        speed=Fraction(heading.speed),
        rig=rig,
        shot_as=shot_as,
        remarks=remarks,
    )


def _rig(heading: Heading) -> tuple[Rig | None, tuple[str, ...]]:
    """Return the rig of the heading, or None and why not."""
    if heading.rig is None:
        return None, ()
    try:
        rig = _built(_small(heading.rig))
        told = tuple(zip(heading.axes, heading.kinds, heading.units, strict=True))
        if tuple((axis.name, axis.kind, axis.unit) for axis in rig.axes) != told:
            raise ValueError("its axes are not those of the take")
    except ProjectError as fault:
        place = f"{fault.path}: " if fault.path else ""
        return None, (f"the rig in its heading cannot be used: {place}{fault.what}",)
    except (ValueError, TypeError, OverflowError, RecursionError, msgspec.MsgspecError) as fault:
        return None, (f"the rig in its heading cannot be used: {text.printable(str(fault))}",)
    return rig, ()


def _shot_as(heading: Heading, timebase: Timebase) -> tuple[Pass | None, tuple[str, ...]]:
    """Return the pass of the heading as it was written, or None and why not."""
    if heading.shot_as is None:
        return None, ()
    try:
        _small(heading.shot_as)
        (one,) = build_passes([text.convert(heading.shot_as, PassFile, files.PROJECT)], timebase.rate)
    except ProjectError as fault:
        return None, (f"the pass in its heading cannot be used: {fault.path}: {fault.what}",)
    except (ValueError, TypeError, OverflowError, RecursionError, msgspec.MsgspecError) as fault:
        return None, (f"the pass in its heading cannot be used: {text.printable(str(fault))}",)
    return one, ()


@lru_cache(maxsize=8)
def _built(written: bytes) -> Rig:
    """Return the rig; the takes of a folder are mostly of one. Error: ProjectError, ValueError, TypeError."""
    tree = msgspec.json.decode(written)
    # before anything is built of it, which takes long for very many
    for name in ("axes", "combined", "outputs"):
        if len(tree.get(name, ())) > _MOST_LIMITS:
            raise ValueError(f"more than {_MOST_LIMITS} {name}")
    return build_rig(text.convert(tree, rig_file.RigFile, files.RIG))


def _small(tree: dict[str, Any]) -> bytes:
    """Return it as JSON. Error: ValueError for a description that is longer than this program writes any."""
    written = msgspec.json.encode(tree)
    if len(written) > 2 * _LONGEST_RIG:
        raise ValueError("it is longer than any that this program wrote")
    return written


def _timebase(heading: Heading) -> Timebase:
    counting = Counting(parse_rate(heading.rate), heading.drop)
    return Timebase(counting, parse(heading.start, counting))


def _camera(heading: Heading) -> Camera | None:
    sensor_mm, pixels, focal_mm, subject_m = heading.sensor_mm, heading.pixels, heading.focal_mm, heading.subject_m
    if sensor_mm is None or pixels is None or focal_mm is None or subject_m is None:
        return None
    return Camera(sensor_mm=sensor_mm, pixels=pixels, focal_mm=focal_mm, subject_m=subject_m)


def _demand_sensible(heading: Heading) -> None:
    """Error: ValueError for a heading that no take has."""
    axes, (start_s, end_s) = heading.axes, heading.cue_s
    if not (len(axes) == len(heading.kinds) == len(heading.units) and 1 <= len(set(axes)) == len(axes) <= _MOST_AXES):
        raise ValueError(f"axes, kinds and units must be lists of one length, without doubles, up to {_MOST_AXES}")
    if not (math.isfinite(start_s) and math.isfinite(end_s) and 0 <= end_s - start_s <= _LONGEST_CUE_S):
        raise ValueError(f"a cue from {start_s} s to {end_s} s is not in order, or longer than a day")
    if abs(start_s) > _LONGEST_CUE_S:
        raise ValueError(f"a cue at {start_s} s is more than a day from the project's start")
    if heading.pixels is not None and max(heading.pixels) > _MOST_PIXELS:
        raise ValueError(f"no sensor has more than {_MOST_PIXELS} pixels a side")
    if not _SPEED.fullmatch(heading.speed):
        raise ValueError(f"a pass's speed is a fraction above zero, not {heading.speed!r}")
    if any(abs(at_s) > 2 * _LONGEST_CUE_S for _, at_s in heading.markers):
        raise ValueError("a marker is more than two days from the project's start")
