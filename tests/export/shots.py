"""What the tests of shoot reports share: takes as files on a disk, and as values in a list."""

from dataclasses import replace
from pathlib import Path

from sequencer.export.shoot import Listed, measured
from sequencer.rig.axis import Axis, Rig
from sequencer.shell.recorder import Recorder
from sequencer.takes.rows import ActualRow, EventRow, Heading, SetpointRow, TimecodeRow
from sequencer.takes.take import Take
from tests.takes.shot import Shot

RIG = Rig(
    name="Quay head",
    axes=(
        Axis(name="pan", kind="pan", unit="deg", travel=(-170.0, 170.0), speed=90.0, acceleration=160.0, jerk=700.0),
        Axis(name="slide", kind="slide", unit="mm", travel=None, speed=400.0, acceleration=600.0, jerk=3000.0),
    ),
)


def listed(shot: Shot, rig: Rig | None = RIG, **changes: object) -> Listed:
    """The shot as a whole take in a list, measured."""
    take = shot.take()
    whole = Listed(
        name=take.name,
        path=Path(f"{take.name}.mcap"),
        cue=take.cue,
        run=take.run,
        started=take.started,
        standing="whole",
        measured=measured(take, rig),
    )
    return replace(whole, **changes)  # type: ignore[arg-type]  # any of its fields


def kept(folder: Path, take: Take) -> Path:
    """Record a take as its rows; its file is named as the take is."""
    folder.mkdir(parents=True, exist_ok=True)
    camera = take.camera
    heading = Heading(
        name=take.name,
        project=take.project,
        cue=take.cue,
        run=take.run,
        speed=str(take.speed),
        cue_s=take.cue_s,
        rate=str(take.timebase.rate),
        drop=take.timebase.counting.drop,
        start=str(take.timebase.start),
        axes=take.axes,
        kinds=take.kinds,
        units=take.units,
        sensor_mm=camera.sensor_mm if camera else None,
        pixels=camera.pixels if camera else None,
        focal_mm=camera.focal_mm if camera else None,
        subject_m=camera.subject_m if camera else None,
        started=take.started,
    )
    path = folder / f"{take.name}.mcap"
    rows: list[SetpointRow | ActualRow | TimecodeRow | EventRow] = []
    still = (0.0,) * len(take.axes)
    asked = zip(take.due_ns.tolist(), take.timeline_s.tolist(), take.asked.tolist(), strict=True)
    rows += [SetpointRow(due_ns, at_s, "running", tuple(place), still) for due_ns, at_s, place in asked]
    actual = zip(take.actual_ns.tolist(), take.actual.tolist(), strict=True)
    rows += [ActualRow(at_ns, at_ns, tuple(place)) for at_ns, place in actual]
    sighted = zip(take.sighted_ns.tolist(), take.sighted_s.tolist(), strict=True)
    rows += [TimecodeRow(at_ns, at_s) for at_ns, at_s in sighted]
    rows += [EventRow(one.at_ns, one.code, one.text) for one in take.happenings]
    with Recorder.open(path, heading) as recorder:
        for row in rows:
            recorder.write(row)
    return path
