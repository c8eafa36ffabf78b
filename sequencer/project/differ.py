"""What is different between two values of a project, in a few plain words each. It refuses to say which is right."""

from dataclasses import fields
from operator import attrgetter

from sequencer.project.document import Project
from sequencer.rig.axis import Rig
from sequencer.score.move import Track

_WORDS = {
    "name": "the name",
    "marks": "the marks",
    "points": "the points",
    "tempo": "the tempo",
    "playback": "the playback",
    "sync": "the sync offsets",
    "triggers": "the triggers",
    "timelapse": "the timelapse",
    "aspect": "the picture's shape",
    "stage": "the stage",
    "hands": "how pads are handled",
}


def differences(one: Project, other: Project) -> tuple[str, ...]:
    """Return what has to change in `one` to have `other`; empty where they are the same."""
    lines = []
    if one.timebase != other.timebase:
        lines.append(f"rate and start: {_time(one)}, now {_time(other)}")
    for field in fields(one):
        if field.name not in ("timebase", "rig", "move") and getattr(one, field.name) != getattr(other, field.name):
            lines.append(_WORDS.get(field.name, field.name))
    for name in ("cues", "markers", "passes"):
        if getattr(one.move, name) != getattr(other.move, name):
            lines.append(name)
    return (*lines, *_tracks(one.move.tracks, other.move.tracks), *_rigs(one.rig, other.rig))


def _time(project: Project) -> str:
    drop = " drop" if project.timebase.counting.drop else ""
    return f"{project.timebase.rate}{drop} from {project.timebase.start}"


def _tracks(one: tuple[Track, ...], other: tuple[Track, ...]) -> list[str]:
    before, after = ({track.axis: track for track in tracks} for tracks in (one, other))
    lines = [f"the track of {axis} is gone" for axis in before if axis not in after]
    lines += [f"a track of {axis} is new" for axis in after if axis not in before]
    for axis, track in before.items():
        if axis not in after or after[axis] == track:
            continue
        if len(after[axis].keys) != len(track.keys):
            lines.append(f"{axis} has {len(after[axis].keys)} keys instead of {len(track.keys)}")
        else:
            count = sum(a != b for a, b in zip(track.keys, after[axis].keys, strict=True))
            lines.append(f"{count} key{'' if count == 1 else 's'} of {axis}")
    if not lines and [track.axis for track in one] != [track.axis for track in other]:
        lines.append("the order of the tracks")
    return lines


def _rigs(one: Rig, other: Rig) -> list[str]:
    before, after = ({axis.name: axis for axis in rig.axes} for rig in (one, other))
    lines = [f"the rig has no {name} any more" for name in before if name not in after]
    lines += [f"the rig has {name} as well" for name in after if name not in before]
    for name, axis in before.items():
        changed = [
            field.name.removesuffix("_s")
            for field in fields(axis)
            if name in after and attrgetter(field.name)(axis) != attrgetter(field.name)(after[name])
        ]
        if changed:
            lines.append(f"{' and '.join(changed)} of {name}")
    if one.camera != other.camera:
        lines.append("the camera")
    if one.combined != other.combined:
        lines.append("the combined limits")
    if one.outlets != other.outlets:
        lines.append("the outputs")
    for field in fields(one):
        named = ("axes", "camera", "combined", "outlets")
        if field.name not in named and getattr(one, field.name) != getattr(other, field.name):
            lines.append(f"the rig's {field.name}")
    if not lines and one != other:
        lines.append("the order of the axes")
    return lines
