"""From what the camera does in project.json to its value, and back. Every fault is a ProjectError with its place."""

from collections.abc import Sequence
from fractions import Fraction

from msgspec import UNSET

from sequencer.project import files
from sequencer.project.camera_file import CameraCueFile
from sequencer.project.values import instant, placed, said, timecode
from sequencer.score.camera import POINTS, CameraCue, Point
from sequencer.timebase.timecode import Timebase


def build_camera(written: Sequence[CameraCueFile], timebase: Timebase) -> tuple[CameraCue, ...]:
    """Return what the camera does. Error: ProjectError."""
    return tuple(_built(one, f"camera[{i}]", timebase) for i, one in enumerate(written))


def _built(written: CameraCueFile, path: str, timebase: Timebase) -> CameraCue:
    return placed(
        path,
        CameraCue,
        files.PROJECT,
        do=written.do,
        at=_point(written.at, f"{path}.at", timebase),
        after_s=said(written.after_s, 0.0),
        lead_s=said(written.lead_s, 0.0),
    )


def _point(written: str, path: str, timebase: Timebase) -> Fraction | Point:
    for point in POINTS:
        if written == point:
            return point
    return instant(written, path, timebase)


def plain_camera(cues: Sequence[CameraCue], timebase: Timebase) -> list[CameraCueFile]:
    """Return it as it is written; zeros are not."""
    return [
        CameraCueFile(
            do=cue.do,
            at=cue.at if isinstance(cue.at, str) else timecode(cue.at, f"camera[{i}].at", timebase),
            after_s=cue.after_s or UNSET,
            lead_s=cue.lead_s or UNSET,
        )
        for i, cue in enumerate(cues)
    ]
