"""What a slate shows, and what the take's log says of a clap. It reads no clock and draws nothing."""

from dataclasses import dataclass
from fractions import Fraction
from math import floor

from sequencer.project.document import Project
from sequencer.shell.messages import Status
from sequencer.timebase.timecode import Timebase
from ui.language import translate
from ui.link.choice import Choice

NO_TIMECODE = "--:--:--:--"
_UNKNOWN = ("waiting", "locking")
_RECORDED = ("locating", "ready", "joining", "running", "freewheeling")


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """The slate at one instant. `recorded`: a take is being recorded, so that a clap is kept in its log."""

    project: str
    cue: str
    run: str
    note: str
    take: str
    rate: str
    timecode: str
    recorded: bool


def shown(project: Project, choice: Choice, take: str, status: Status | None, at_ns: int) -> Shown:
    """Return what the slate shows at `at_ns`. `take` is the name of the take that is, or was, recorded."""
    timebase = project.timebase
    recorded = choice.record and bool(take) and status is not None and status.phase in _RECORDED
    try:
        run = project.run(choice.run)
        name, note = run.name, run.note
    except ValueError:
        name, note = choice.run or "", ""
    drop = translate("slate", "{rate} drop") if timebase.counting.drop else "{rate}"
    return Shown(
        project=project.name,
        cue=choice.cue or translate("slate", "whole move"),
        run=name,
        note=note,
        take=take.rpartition("_")[2] if recorded else "-",
        rate=drop.format(rate=timebase.rate),
        timecode=timecode(timebase, status, at_ns),
        recorded=recorded,
    )


def timecode(timebase: Timebase, status: Status | None, at_ns: int) -> str:
    """Return the label of the frame that the timeline is in at `at_ns`, by the newest status."""
    frames = _frames(timebase, status, at_ns)
    return NO_TIMECODE if frames is None else str(timebase.label(floor(frames)))


def logged(timebase: Timebase, status: Status | None, flash_ns: int, beep_ns: int | None) -> str:
    """Return what the take's log says of a clap: the timecode of the flash, and how far the beep was from it."""
    frames = _frames(timebase, status, flash_ns)
    if frames is None:
        words = "slate: flash, no timecode"
    else:
        words = f"slate: flash at {timebase.label(floor(frames))} and {float(frames % 1):.2f} of a frame"
    if beep_ns is None:
        return f"{words}; no beep is known of"
    return f"{words}; beep {(beep_ns - flash_ns) * 1e-6:+.1f} ms from it"


def _frames(timebase: Timebase, status: Status | None, at_ns: int) -> Fraction | None:
    """Return where the timeline is at `at_ns`, None where no clock says."""
    if status is None or status.lock in _UNKNOWN:
        return None
    ahead_s = (at_ns - status.at_ns) * 1e-9 * status.speed
    return timebase.rate.frames(Fraction(status.timeline_s + ahead_s))
