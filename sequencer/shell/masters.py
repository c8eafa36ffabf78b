"""Which clock a run has: the follower of a master, or a clock of ours with the desk that starts it."""

from collections.abc import Callable
from fractions import Fraction

from sequencer.errors import ProjectError
from sequencer.project.document import Project, SyncOffset
from sequencer.shell.desk import Desk, PlaybackDesk
from sequencer.shell.memory import Ring
from sequencer.shell.messages import Setup, Sync
from sequencer.sync.audio import audio_follower
from sequencer.sync.internal import InternalFollower
from sequencer.sync.ltc import ltc_follower
from sequencer.sync.midi_clock import clock_follower
from sequencer.sync.mtc import mtc_follower
from sequencer.sync.reading import Follow, Follower


def master(setup: Setup, project: Project, wishes: Ring) -> tuple[Follower, Desk | None]:
    """Return who says what time it is, and how to start it where that is ours to do.

    Error: ProjectError where the project cannot follow such a master.
    """
    if setup.sync == "internal":
        own = InternalFollower()
        return own, own
    if setup.sync == "audio":
        if project.playback is None:
            raise ProjectError("playback", "is missing", "name the music's file, or choose another --sync")
        start_s = float(project.timebase.rate.seconds(project.playback.at))
        return audio_follower(project.timebase, start_s, how(setup, project)), PlaybackDesk(wishes)
    try:
        return _FOLLOWERS[setup.sync](project, how(setup, project)), None
    except ValueError as fault:
        raise ProjectError("timebase.rate", str(fault)) from fault


def how(setup: Setup, project: Project) -> Follow:
    """Return how the master is followed: as the project says, but for what the operator says now."""
    offset = next((one for one in project.sync if one.source == setup.sync), SyncOffset(setup.sync))
    frames = offset.frames if setup.offset_frames is None else Fraction(setup.offset_frames)
    delay_ms = offset.delay_ms if setup.delay_ms is None else setup.delay_ms
    try:
        return Follow(
            freewheel_s=setup.freewheel_s,
            delay_s=delay_ms / 1000,
            offset_s=float(project.timebase.rate.seconds(frames)),
        )
    except ValueError as fault:
        options = {"--offset-frames": setup.offset_frames, "--delay-ms": setup.delay_ms}
        if said := " or ".join(option for option, value in options.items() if value is not None):
            raise ProjectError(said, str(fault), file="command line") from fault
        raise ProjectError("sync", str(fault)) from fault


def _clock(project: Project, follow: Follow) -> Follower:
    if project.tempo is None:
        raise ProjectError("tempo", "is missing, and MIDI clock counts beats", "give the project a tempo")
    return clock_follower(project.timebase, project.tempo, follow)


_FOLLOWERS: dict[Sync, Callable[[Project, Follow], Follower]] = {
    "mtc": lambda project, follow: mtc_follower(project.timebase, follow),
    "ltc": lambda project, follow: ltc_follower(project.timebase, follow),
    "clock": _clock,
}
