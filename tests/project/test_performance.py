"""From a take file to keys in the project: what is performed, refused, and in which units."""

import re
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from sequencer.errors import ProjectError, TakeError
from sequencer.motion.compile import compile_move
from sequencer.project.document import Project
from sequencer.project.performance import performance, tolerance_of
from sequencer.project.store import load
from sequencer.score.move import Pass
from sequencer.shell.kinds import laws
from sequencer.takes.take import Happening, Take
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase

HARBOUR = Path(__file__).parents[2] / "projects" / "harbour-lanterns"
ORIGIN_NS = 5_000_000_000_000


@pytest.fixture(scope="module")
def project() -> Project:
    return load(HARBOUR, laws())


def played(project: Project, from_s: float, to_s: float, speed: Fraction = Fraction(1)) -> Take:
    """Return a take of the project in which tilt swung gently, about where the move has it, and the others played."""
    clock_s = np.arange(from_s, from_s + (to_s - from_s) / float(speed), 0.004)
    move_s = from_s + (clock_s - from_s) * float(speed)
    asked = compile_move(project.rig, project.move, project.timebase.rate, laws()).sample(move_s)
    lead_s = project.rig.axes[1].latency_s * float(speed)
    asked[:, 1] = 10 + 5 * np.sin(move_s + lead_s)
    return Take(
        name="by hand",
        project=project.name,
        cue="whole",
        run="band",
        cue_s=(from_s, clock_s[-1]),
        timebase=project.timebase,
        axes=project.rig.names,
        kinds=tuple(axis.kind for axis in project.rig.axes),
        units=tuple(axis.unit for axis in project.rig.axes),
        camera=project.rig.camera,
        started="2031-05-04T18:30:00+00:00",
        due_ns=ORIGIN_NS + np.round((clock_s - from_s) * 1e9).astype(np.int64),
        timeline_s=clock_s,
        asked=asked,
        actual_ns=np.empty(0, np.int64),
        actual=np.empty((0, len(project.rig.axes))),
        sighted_ns=np.empty(0, np.int64),
        sighted_s=np.empty(0),
        happenings=(),
        complete=True,
        speed=speed,
        phases=("running",) * len(clock_s),
        by_hand=("tilt",),
    )


def off(project: Project, from_s: float, to_s: float) -> float:
    t_s = np.arange(from_s, to_s, 1 / 4000)
    stands = compile_move(project.rig, project.move, project.timebase.rate, laws()).sample(t_s)[:, 1]
    return float(np.abs(stands - 10 - 5 * np.sin(t_s)).max())


def test_the_move_then_has_the_axis_where_it_stood_and_not_where_it_was_sent(project: Project) -> None:
    done = performance(project, laws(), played(project, 10.0, 16.0), {"tilt": 0.002})
    (one,) = done.captured
    assert off(done.project, float(one.start) / 25, float(one.end) / 25) <= 0.002 + 1e-5
    assert [track for track in done.project.move.tracks if track.axis != "tilt"] == [
        track for track in project.move.tracks if track.axis != "tilt"
    ]
    assert replace(done.project, move=project.move) == project


def test_a_half_speed_pass_is_captured_in_the_time_of_the_move(project: Project) -> None:
    done = performance(project, laws(), played(project, 10.0, 14.0, Fraction(1, 2)), {"tilt": 0.01})
    (one,) = done.captured
    assert (one.start, one.end) == (Fraction(251), Fraction(350))
    assert off(done.project, 10.1, 13.9) <= 0.011


def test_punch_in_and_out_bound_what_is_taken(project: Project) -> None:
    take = played(project, 10.0, 16.0)
    marks = tuple(
        Happening(ORIGIN_NS + round(at_s * 1e9), "punch", way) for at_s, way in ((2.002, "in"), (4.49, "out"))
    )
    done = performance(project, laws(), replace(take, happenings=marks), {"tilt": 0.05})
    # from the first setpoint after the one, to the last before the other, as late as the axis: 12.01 s and 14.494 s
    assert (done.captured[0].start, done.captured[0].end) == (Fraction(301), Fraction(362))
    named = performance(
        project, laws(), replace(take, happenings=marks), {"tilt": 0.05}, start=Fraction(310), end=Fraction(350)
    )
    assert (named.captured[0].start, named.captured[0].end) == (Fraction(310), Fraction(350))


def test_phases_say_where_the_clock_was_followed(project: Project) -> None:
    take = played(project, 10.0, 16.0)
    phases = list(take.phases)
    phases[:250] = ["ready"] * 250
    phases[1000:1010] = ["freewheeling"] * 10
    one = replace(take, phases=tuple(phases))
    done = performance(project, laws(), one, {"tilt": 0.05})
    assert done.captured[0].start == Fraction(276)
    assert [gap.words(Rate(25)) for gap in done.gaps] == ["the clock is not heard at @349.9 for 0.044 s"]
    assert done.captured[0].end == 350
    over = performance(project, laws(), one, {"tilt": 0.05}, coasts=True)
    assert over.gaps == ()
    assert over.captured[0].end > 390


def test_pixels_become_the_unit_of_the_axis(project: Project) -> None:
    pan, _, roll, slide, focus = project.rig.axes
    # 35 mm, 24.9 mm on 4096 pixels: the pinhole's f tan(a), by hand
    assert tolerance_of(project.rig, pan, 1.0) == pytest.approx(np.degrees(np.arctan(24.9 / 4096 / 35)), rel=1e-9)
    assert tolerance_of(project.rig, slide, 1.0) == pytest.approx(24.9 / 4096 * 3500 / 35, rel=1e-9)
    # the corner of the frame is hypot(2048, 1152) pixels from its middle
    assert tolerance_of(project.rig, roll, 1.0) == pytest.approx(np.degrees(1 / np.hypot(2048, 1152)), rel=1e-3)
    with pytest.raises(ProjectError, match=r"--pixels: focus .* does not shift the picture.*give --tolerance"):
        tolerance_of(project.rig, focus, 1.0)
    with pytest.raises(ProjectError, match=r"rig\.json: camera: .*describe it"):
        tolerance_of(replace(project.rig, camera=None), pan, 1.0)


def test_what_does_not_fit_the_project_is_refused(project: Project) -> None:
    take = played(project, 10.0, 12.0)
    within = {"tilt": 0.05}
    with pytest.raises(ProjectError, match="no axis 'crane'; its axes are pan"):
        performance(project, laws(), take, {"crane": 1.0})
    lacks = f"{take.name}: it has no axis 'tilt'; it has pan, tilt low"
    with pytest.raises(TakeError, match=f"^{re.escape(lacks)}"):  # it was called something else then
        performance(project, laws(), replace(take, axes=("pan", "tilt low", *take.axes[2:])), within)
    with pytest.raises(TakeError, match="pan was not performed by hand; name tilt"):
        performance(project, laws(), take, {"pan": 1.0})
    other = Timebase(Counting(Rate(30)), project.timebase.start)
    with pytest.raises(TakeError, match="it counts 30 frames a second from 10:00:00:00, the project 25"):
        performance(project, laws(), replace(take, timebase=other), within)
    with pytest.raises(TakeError, match="tilt was tilt in mm, and is tilt in deg"):
        performance(project, laws(), replace(take, units=("deg", "mm", "deg", "mm", "part")), within)
    with pytest.raises(TakeError, match=r"no 0\.2 s of it"):
        performance(project, laws(), replace(take, phases=("ready",) * len(take.phases)), within)
    with pytest.raises(TakeError, match="tenth of the travel"):
        performance(project, laws(), take, {"tilt": 40.0})


def test_what_was_performed_in_a_pass_of_other_positions_is_no_keys_of_the_move(project: Project) -> None:
    take = played(project, 10.0, 12.0)
    for one in (Pass("band", offset=(("slide", 65.0),)), Pass("band", reversed=True)):
        other = replace(project, move=replace(project.move, passes=(one,)))
        with pytest.raises(TakeError, match=r"in the pass band, which shoots other positions.*perform it in a pass"):
            performance(other, laws(), take, {"tilt": 0.05})
    slow = replace(project, move=replace(project.move, passes=(Pass("band", Fraction(1, 2), of="lantern turn"),)))
    assert performance(slow, laws(), played(project, 10.0, 12.0, Fraction(1, 2)), {"tilt": 0.05}).captured
