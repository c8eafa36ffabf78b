"""Shoots takes: runs a crew through arming, preroll, the cue and the end, take after take, and says how it goes.

With `simulated_stage` the rig and the timecode are processes of our own, so that the whole chain runs on any machine.
"""

import contextlib
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from sequencer.errors import LinkError
from sequencer.playback.state import Phase
from sequencer.project.document import Project
from sequencer.score.move import Cue, Pass
from sequencer.shell.companion import Companion, companion
from sequencer.shell.crew import Crew, CrewFailed
from sequencer.shell.kinds import open_source
from sequencer.shell.messages import Arm, Kept, Opened, Refused, Said, Status, Stop
from sequencer.takes.rows import Heading

_PATIENCE_S = 30.0
_STOP_S = 5.0
VIRTUAL = "virtual:twintake"

Tell = Callable[[Status | None, list[Said]], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What is shot: a cue in a pass of a project, and where its take files go."""

    project: Project
    cue: Cue
    run: Pass
    folder: Path

    @property
    def span_s(self) -> tuple[float, float]:
        """The cue on the timeline, stretched about its start by the pass."""
        rate = self.project.timebase.rate
        start = rate.seconds(self.cue.start)
        return float(start), float(start + rate.seconds(self.cue.end - self.cue.start) / self.run.speed)

    @property
    def stem(self) -> str:
        return "_".join(name.replace(" ", "-").replace("/", "-") for name in (self.cue.name, self.run.name))

    def heading(self, name: str) -> Heading:
        project, camera = self.project, self.project.rig.camera
        return Heading(
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
        )

    def next_path(self) -> Path:
        """Return the path of the next take; a take is never written over another. Error: LinkError."""
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            numbers = [path.stem.rpartition("_")[2] for path in self.folder.glob(f"{self.stem}_*.mcap")]
        except OSError as fault:
            raise LinkError(f"takes cannot be kept in {self.folder}: {fault.strerror}; name another folder") from fault
        number = max((int(one) for one in numbers if one.isdigit()), default=0) + 1
        return self.folder / f"{self.stem}_{number:03}.mcap"


@dataclass(slots=True)
class Watch:
    """Waits for what the crew does, and passes on what it says."""

    crew: Crew
    tell: Tell
    kept: list[Kept] = field(default_factory=list)

    def look(self) -> Status | None:
        """Take in what was said, and return the newest status. Error: CrewFailed where an order was refused."""
        reports = self.crew.hear(0.02)
        said = [one for one in reports if isinstance(one, Said)]
        self.kept += [one for one in reports if isinstance(one, Kept)]
        status = self.crew.status()
        self.tell(status, said)
        for one in reports:
            if isinstance(one, Refused):
                raise CrewFailed(one.text, one.exit_status)
        for one in said:
            if one.code == "refused":
                raise CrewFailed(one.text)
        return status

    def until(self, phase: Phase, patience_s: float) -> None:
        """Wait for `phase`. Error: CrewFailed when the rig stops instead, or nothing comes."""
        deadline = time.monotonic() + patience_s
        while time.monotonic() < deadline:
            status = self.look()
            if status is not None and status.phase == phase:
                return
            if status is not None and status.phase == Phase.STOPPED:
                raise CrewFailed(f"stopped: {status.cause}")
        raise CrewFailed(f"the engine was not {phase.value} after {patience_s:.0f} s")

    def until_kept(self) -> Kept:
        """Wait for the take's file to be closed. Error: CrewFailed where it is not whole."""
        deadline = time.monotonic() + _PATIENCE_S
        while not self.kept:
            self.look()
            if time.monotonic() > deadline:
                raise CrewFailed("the take was not written to the end; is the disk very slow?")
        kept = self.kept.pop(0)
        if kept.trouble:
            raise CrewFailed(f"take {Path(kept.path).name} is not whole: {kept.trouble}")
        return kept

    def stop(self, cause: str) -> None:
        """Stop the rig, and wait until it stands and the take's file is closed."""
        self.crew.stop_now()
        self.crew.tell(Stop(cause))
        deadline = time.monotonic() + _STOP_S
        with contextlib.suppress(CrewFailed):
            while time.monotonic() < deadline:
                status = self.look()
                if status is not None and status.phase == Phase.STOPPED:
                    return


def take(watch: Watch, plan: Plan, sender: Companion, preroll_s: float) -> Path:
    """Shoot one take against the timecode sender; return its file. Error: CrewFailed, LinkError."""
    start_s, end_s = plan.span_s
    path = plan.next_path()
    watch.crew.tell(Arm(cue=plan.cue.name, take=str(path), heading=plan.heading(path.stem)))
    watch.until(Phase.READY, _PATIENCE_S)
    label = plan.project.timebase.label_at
    sender.say({"run": {"from": str(label(start_s - preroll_s)), "until": str(label(end_s + 1.0)), "speed": 1.0}})
    watch.until(Phase.FINISHED, preroll_s + end_s - start_s + _PATIENCE_S)
    sender.say({"stop": True})
    return Path(watch.until_kept().path)


@dataclass(frozen=True, slots=True)
class Stage:
    """A simulated rig that listens, and the wire by which timecode comes in."""

    output: str
    source: str


@contextlib.contextmanager
def simulated_rig(rig_file: Path, seed: int, port: int = 0, *faults: str) -> Iterator[str]:
    """Start the simulated rig as a process; yield the address of its output."""
    arguments = ("--rig", str(rig_file), "--port", str(port), "--seed", str(seed), *faults)
    with companion("simulated rig", "sequencer.shell.simulated_rig", *arguments) as rig:
        yield f"osc://127.0.0.1:{rig.wait_for('port')}"


@contextlib.contextmanager
def timecode_sender(opened: dict[str, Opened], project: Project) -> Iterator[Companion]:
    """Start the timecode sender as a process, joined to the source that the crew opened."""
    source = next(one.source for one in opened.values() if one.source)
    to = source if source.startswith("pipe:") else "midi:" + source.partition(":")[2]
    counting = project.timebase.counting
    arguments = ["--to", to, "--rate", str(counting.rate), *(["--drop"] if counting.drop else [])]
    with companion("timecode sender", "sequencer.shell.timecode_sender", *arguments) as sender:
        yield sender


def wire() -> str:
    """Return the source for MIDI bytes: a port of the machine where it has MIDI, else the built-in pipe."""
    try:
        with open_source(VIRTUAL):
            return VIRTUAL
    except LinkError:
        return "pipe:0"
