"""Shoots takes: runs a crew through arming, preroll, the cue and the end, take after take, and says how it goes.

With `simulated_rig` and `timecode_sender` the whole chain runs on any machine. It decides nothing about motion.
"""

import contextlib
import glob
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from fractions import Fraction
from pathlib import Path

from sequencer.errors import LinkError, ProjectError
from sequencer.playback.firing import before_s, behind_s, planned
from sequencer.playback.state import Phase
from sequencer.project.checksum import checksum
from sequencer.project.document import Project
from sequencer.project.file_names import file_name
from sequencer.project.inside import demand_inside
from sequencer.project.library import REMOVED
from sequencer.project.passed import in_pass
from sequencer.project.take_heading import explained
from sequencer.score.move import Cue, Pass
from sequencer.shell.companion import Companion, companion
from sequencer.shell.crew import Crew, CrewFailed
from sequencer.shell.kinds import laws, open_source
from sequencer.shell.made import made
from sequencer.shell.messages import Arm, Kept, Opened, Pressed, Refused, Said, Status
from sequencer.sync.address import carried
from sequencer.takes.rows import Heading

_PATIENCE_S = 30.0
_STOP_S = 5.0
_CLOSE_S = 2.0
_SPARE_S = 1.0
VIRTUAL = "virtual:twintake"

Tell = Callable[[Status | None, list[Said]], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What is shot: a cue in a pass of a project, at the pass's `speed`, and where its take files go.

    `written` is the pass as the project has it, None for `run` itself; `of` the project's folder, where it has one.
    """

    project: Project
    cue: Cue
    run: Pass
    folder: Path
    written: Pass | None = None
    of: Path | None = None

    @property
    def span_s(self) -> tuple[float, float]:
        """The cue on the timeline, stretched about its start by the pass."""
        rate = self.project.timebase.rate
        start = rate.seconds(self.cue.start)
        return float(start), float(start + rate.seconds(self.cue.end - self.cue.start) / self.run.speed)

    @property
    def stem(self) -> str:
        return f"{file_name(self.cue.name)}_{file_name(self.run.name)}"

    def heading(self, name: str) -> Heading:
        project, camera = self.project, self.project.rig.camera
        heading = Heading(
            name=name,
            project=project.name,
            cue=self.cue.name,
            run=self.run.name,
            speed=str(self.run.speed),
            cue_s=self.span_s,
            rate=str(project.timebase.rate),
            drop=project.timebase.counting.drop,
            start=str(project.timebase.start),
            axes=project.rig.names,
            kinds=tuple(axis.kind for axis in project.rig.axes),
            units=tuple(axis.unit for axis in project.rig.axes),
            sensor_mm=camera.sensor_mm if camera else None,
            pixels=camera.pixels if camera else None,
            focal_mm=camera.focal_mm if camera else None,
            subject_m=camera.subject_m if camera else None,
            started=datetime.now(UTC).isoformat(timespec="seconds"),
            document="" if self.of is None else checksum(self.of),
            made=made(),
        )
        return explained(heading, project, self.cue, self.run.speed, self.written or self.run)

    def next_path(self) -> Path:
        """Return the path of the next take; a take is never written over another. Error: LinkError."""
        try:
            if self.of is not None and self.folder.parent == self.of:  # else it is the operator's own word
                demand_inside(self.folder, self.of)
            self.folder.mkdir(parents=True, exist_ok=True)
            # the number of a take that was removed is never given to another one
            wanted = f"{glob.escape(self.stem)}_*.mcap"
            paths = [*self.folder.glob(wanted), *(self.folder / REMOVED).glob(wanted)]
            numbers = [path.stem.rpartition("_")[2] for path in paths]
        except OSError as fault:
            raise LinkError(f"takes cannot be kept in {self.folder}: {fault.strerror}; name another folder") from fault
        number = max((int(one) for one in numbers if one.isdecimal()), default=0) + 1
        return self.folder / f"{self.stem}_{number:03}.mcap"


def plan(
    project: Project,
    cue: str | None,
    run: str | None,
    folder: Path,
    speed: Fraction = Fraction(1),
    of: Path | None = None,
) -> Plan:
    """Return what is shot: the first cue of the pass, or the first pass, where none is named; at `speed` of its own.

    Error: ProjectError that lists what there is, for a pass that belongs to another cue, or cannot be made.
    """
    varied, one = in_pass(project, run, laws())
    if one.of is not None and cue not in (None, one.of):
        what = f"the pass {one.name} belongs to the cue {one.of}, not to {cue}"
        raise ProjectError("", what, f"choose that cue, or another pass; twintake passes lists them for {cue}")
    try:
        cued = varied.cue(cue)
        run_as = replace(one, speed=one.speed * speed)
        return Plan(project=varied, cue=cued, run=run_as, folder=folder, written=one, of=of)
    except ValueError as fault:
        raise ProjectError("", str(fault)) from fault


@dataclass(slots=True)
class Watch:
    """Waits for what the crew does, and passes on what it says."""

    crew: Crew
    tell: Tell
    kept: list[Kept] = field(default_factory=list)
    act: Callable[[Pressed], None] = lambda _: None  # on what was pressed on a game controller
    recording: bool = False
    been_ready: bool = False

    def arm(self, order: Arm) -> None:
        """Have the rig go to the start of the cue; with a take in `order`, that is waited for whenever it ends."""
        self.recording, self.been_ready = order.take is not None, False
        self.crew.tell(order)

    def look(self) -> Status | None:
        """Take in what was said, and return the newest status.

        Error: CrewFailed where the operator's order was refused; what a trigger asks for may be, and ends nothing.
        """
        reports = self.crew.hear(0.02)
        said = [one for one in reports if isinstance(one, Said)]
        self.kept += [one for one in reports if isinstance(one, Kept)]
        status = self.crew.status()
        self.tell(status, said)
        for one in reports:
            if isinstance(one, Pressed):
                self.act(one)
            if isinstance(one, Refused):
                raise CrewFailed(one.text, one.exit_status)
        for one in said:
            self.been_ready |= one.code == "ready"
            if one.code == "refused" and not self.been_ready:
                raise CrewFailed(one.text)
        return status

    def until(self, phase: Phase, patience_s: float) -> None:
        """Wait for `phase`, as long as the rig is on its way to the start and `patience_s` besides.

        Ready lasts for one tick where timecode runs already: to have been so is enough.
        Error: CrewFailed when the rig stops instead, or nothing comes.
        """
        deadline = time.monotonic() + patience_s
        while time.monotonic() < deadline:
            status = self.look()
            if status is None:
                continue
            if status.phase == phase:
                return
            if status.phase == Phase.STOPPED:
                self._wait_closed()
                raise CrewFailed(f"stopped: {status.cause}")
            if phase is Phase.READY and self.been_ready:
                return
            if status.phase == Phase.LOCATING:
                # a slow rig has a long way, which its plan bounds
                deadline = time.monotonic() + patience_s
        raise CrewFailed(f"the engine was not {phase.value} after {patience_s:.0f} s; is the machine very busy?")

    def until_camera(self) -> None:
        """Wait for what the camera is still told behind the end, as long as the clock should take and a second besides.

        What does not come then, since the clock stands, is told.
        """
        status = self.look()
        deadline = time.monotonic() + _SPARE_S + (0.0 if status is None else status.camera_s)
        while status is not None and status.camera_s > 0 and time.monotonic() < deadline:
            status = self.look() or status
        self.look()  # what was said last
        if status is not None and status.camera_s > 0:
            words = "the camera was not told everything: the clock stands behind the end. Look whether it records"
            self.tell(None, [Said(time.monotonic_ns(), "not fired", words)])

    def until_kept(self) -> Kept:
        """Wait for the take's file to be closed. Error: CrewFailed where it is not whole."""
        begun_s, told = time.monotonic(), False
        while not self.kept:
            self.look()
            waited_s = time.monotonic() - begun_s
            if waited_s > _CLOSE_S and not told:
                told = True
                words = "the take is over, and the disk has not taken all of it yet; wait, and leave it where it is"
                self.tell(None, [Said(time.monotonic_ns(), "take", words)])
            if waited_s > _PATIENCE_S:
                raise CrewFailed("the take was not written to the end; is the disk very slow?")
        kept = self.kept.pop(0)
        self.recording = False
        if kept.trouble:
            raise CrewFailed(f"take {Path(kept.path).name} is not whole: {kept.trouble}")
        return kept

    def stop(self) -> None:
        """Stop the rig, and wait a while until it stands and the take's file is closed."""
        self.crew.stop_now()
        deadline = time.monotonic() + _STOP_S
        with contextlib.suppress(CrewFailed):
            while time.monotonic() < deadline:
                status = self.look()
                if status is not None and status.phase == Phase.STOPPED:
                    self._wait_closed()
                    return

    def _wait_closed(self) -> None:
        """Wait for the file of a take that ended early, and tell where it is. Error: CrewFailed."""
        deadline = time.monotonic() + _CLOSE_S
        while self.recording and not self.kept and time.monotonic() < deadline:
            self.look()
        for one in self.kept:
            words = f"take {Path(one.path).name} is not whole: {one.trouble}" if one.trouble else f"kept {one.path}"
            self.tell(None, [Said(time.monotonic_ns(), "kept", words)])


def take(watch: Watch, plan: Plan, sender: Companion, preroll_s: float) -> Path:
    """Shoot one take against the timecode sender; return its file. Error: CrewFailed, LinkError."""
    start_s, end_s = plan.span_s
    rate = plan.project.timebase.rate.fraction
    firing = planned(plan.project.camera, (start_s, end_s), start_s, plan.run.speed, rate)
    preroll_s = max(preroll_s, before_s(firing, start_s) + _SPARE_S if firing.orders else 0.0)
    path = plan.next_path()
    watch.arm(Arm(cue=plan.cue.name, take=str(path), heading=plan.heading(path.stem)))
    watch.until(Phase.READY, _PATIENCE_S)
    label = carried(plan.project.timebase).label_at
    sender.say(
        {
            "run": {
                "from": str(label(start_s - preroll_s)),
                "until": str(label(end_s + 1.0 + behind_s(firing, end_s))),
                "speed": 1.0,
            }
        }
    )
    sender.wait_for("running")
    watch.until(Phase.FINISHED, preroll_s + end_s - start_s + _PATIENCE_S)
    watch.until_camera()
    sender.say({"stop": True})
    return Path(watch.until_kept().path)


@contextlib.contextmanager
def simulated_rig(rig_file: Path, seed: int, port: int = 0, *faults: str) -> Iterator[tuple[Companion, str]]:
    """Start the simulated rig as a process; yield it, and its address as an output."""
    arguments = ("--rig", str(rig_file), "--port", str(port), "--seed", str(seed), *faults)
    with companion("simulated rig", "sequencer.shell.simulated_rig", *arguments) as rig:
        yield rig, f"osc://127.0.0.1:{rig.wait_for('port')}"


@contextlib.contextmanager
def timecode_sender(opened: dict[str, Opened], project: Project) -> Iterator[Companion]:
    """Start the timecode sender as a process, joined to the source that the crew opened."""
    source = next(one.sources[0] for one in opened.values() if 0 in one.sources)
    to = source if source.startswith("pipe:") else "midi:" + source.partition(":")[2]
    counting = carried(project.timebase).counting
    arguments = ["--to", to, "--rate", str(counting.rate), *(["--drop"] if counting.drop else [])]
    with companion("timecode sender", "sequencer.shell.timecode_sender", *arguments) as sender:
        sender.wait_for("ready")
        yield sender


def wire() -> str:
    """Return the source for MIDI bytes: a port of the machine where it has MIDI, else the built-in pipe."""
    try:
        with open_source(VIRTUAL):
            return VIRTUAL
    except LinkError:
        return "pipe:0"
