"""`twintake timelapse`: the plan of a timelapse, its move in seconds, and the shoot itself."""

import json as plain_json
import math
from datetime import UTC, datetime
from fractions import Fraction

import typer

from sequencer.cli import timelapse_options as how
from sequencer.cli.exits import FOUND, console, exits
from sequencer.cli.options import Folder, Json, Out, TickHz, Write, outputs
from sequencer.cli.play import CAUTION
from sequencer.cli.play_options import AtOnce
from sequencer.cli.timelapse_follow import follow
from sequencer.cli.timelapse_shoot import Shoot, Wanted, ask, say, told
from sequencer.cli.timelapse_shown import facts, lines, table
from sequencer.errors import ProjectError
from sequencer.motion.peaks import over
from sequencer.playback.state import Phase
from sequencer.project import shot_log
from sequencer.project.file_names import file_name
from sequencer.project.store import load
from sequencer.score.interval import seconds
from sequencer.shell import shoot
from sequencer.shell.crew import crew
from sequencer.shell.kinds import laws
from sequencer.shell.machine_zone import now
from sequencer.shell.messages import Arm, Setup, Start
from sequencer.shell.spread import Spread, begins, spread
from sequencer.shell.timelapse import ground

_WAIT_S = 30.0


def timelapse(
    project: Folder,
    plan: how.PlanOnly = False,
    event: how.Event = None,
    clip: how.Clip = None,
    interval: how.Interval = None,
    frames: how.Frames = None,
    exposure: how.Exposure = None,
    settle: how.Settle = None,
    at: how.At = None,
    date: how.OnDate = None,
    preview: how.Preview = None,
    follow_sky: how.Follow = None,
    shooting: how.Shoot = False,
    resume: how.Resume = False,
    change_at: how.ChangeAt = None,
    gap: how.Gap = "catch-up",
    taken: how.Taken = None,
    out: Out = None,
    tick_hz: TickHz = 250,
    arm: AtOnce = False,
    write: Write = False,
    json: Json = False,
) -> None:
    """Plan a timelapse, preview its move, and shoot it. Ends with status 1 where it cannot be shot as planned."""
    with exits():
        _refuse([plan, preview is not None, follow_sky is not None, shooting], resume, json)
        opened = load(project, laws())
        lengths = {"event": event, "clip": clip, "interval": interval, "frames": frames}
        opened = how.changed(opened, {**lengths, "exposure": exposure, "settle": settle}, at, date)
        if follow_sky is not None:
            follow(project, opened, follow_sky, write, json)
            return
        found = spread(opened, laws())
        if preview is not None:
            _preview(found, outputs(out), preview, tick_hz, arm)
            return
        log = project / "takes" / f"{file_name(found.cue.name)}.shots.jsonl"
        before = shot_log.read(log) if shooting and resume else None
        if before is None:
            starts = begins(found.timelapse.start, now())
        else:
            starts = datetime.fromtimestamp(before.begins, UTC).astimezone(now().tzinfo)
        _show(found, str(project), starts, json)
        if found.refused:
            raise typer.Exit(FOUND)
        if shooting:
            wanted = Wanted(
                output=outputs(out),
                tick_hz=tick_hz,
                changes=frozenset(change_at or ()),
                gap=gap,
                taken=taken,
                armed=arm,
            )
            Shoot(found, wanted, log).shoot(starts, before)


def _refuse(chosen: list[bool], resume: bool, json: bool) -> None:
    if sum(chosen) > 1:
        what = "they are different things"
        raise ProjectError("--plan, --preview, --follow, --shoot", what, "choose one", file="command line")
    if resume and not chosen[-1]:
        raise ProjectError("--resume", "nothing is shot", "add --shoot", file="command line")
    if json and (chosen[1] or chosen[-1]):
        raise ProjectError("--json", "a run of the rig has no document", "leave it out", file="command line")


def _show(found: Spread, folder: str, starts: datetime, json: bool) -> None:
    if json:
        print(plain_json.dumps(facts(found, folder, starts), indent=2, allow_nan=False, ensure_ascii=False))
        return
    console.print(table(found, starts))
    for line in lines(found):
        say(line)


def _preview(found: Spread, out: str, lasts_s: float, tick_hz: int, armed: bool) -> None:
    """Run the cue's move in `lasts_s` on the rig. Error: ProjectError with the least time that works."""
    start_s, end_s = found.span_s
    speed = Fraction(end_s - start_s) / Fraction(lasts_s)
    part = found.move.between(start_s, end_s)
    too_much = [one for one in over(part.stretched(speed, start_s), found.project.rig) if one.of != "jerk"]
    if too_much:
        orders = {"travel": math.inf, "speed": 1, "acceleration": 2}
        times = max((one.value / one.limit) ** (1 / orders[one.of]) for one in too_much)
        least = f"; {seconds(Fraction(math.ceil(lasts_s * times * 10), 10))} would do" if math.isfinite(times) else ""
        say(f"the motors cannot do it in {lasts_s:g} s: {too_much[0].words(found.project.timebase)}{least}")
        raise typer.Exit(FOUND)
    with ground(found) as folder:
        setup = Setup(project=str(folder), run=None, output=out, sync="internal", tick_hz=tick_hz, answers_needed=False)
        with crew(setup) as running:
            watch = shoot.Watch(running, told)
            running.wait_opened()
            ask(armed, "Arm, and move to the start?", CAUTION)
            try:
                watch.arm(Arm(cue=found.cue.name, speed=str(speed.limit_denominator(10**6)), preroll_s=1.0))
                watch.until(Phase.READY, _WAIT_S)
                running.tell(Start())
                watch.until(Phase.FINISHED, lasts_s + _WAIT_S)
            except KeyboardInterrupt:
                watch.stop()
                raise
