"""`twintake check`: whether the motors can do the move, as a table that is read in a second, or as JSON.

The JSON document: `ok`; `pass` and its `speed`; `reserve_percent`, what is left of the limits where least is (below
zero, what is too much; null: without end, as something jumps); `speed_factor`, at which multiple of this speed the move
would just fit (0: at none; null: nothing moves, any will do); `legs`, all legs from a key to the next; `combined`, the
limits that tie axes together; `notes`; `warnings` of what no limit knows, and `advice` on panning (see `advice`), which
change neither `ok` nor the status.
Of a leg: `axis`, `from` and `to` in timecode, `ok`, `peak_speed`, `peak_acceleration`, `peak_jerk`, `travel` [low,
high], the `limit` of each (travel null: no ends); and of the limit that is broken most, or of which least is left,
`worst`, `at` and `over_percent` (below zero, what is left; of a travel, in percent of the whole of it).
`jumps` says what changes at once at `jump_at`: position, speed or acceleration. What derives from it is then without
end and written null, `over_percent` too where `worst` is one of those. Else `jumps` is null, and no peak is.
A combined limit has the same fields, but its `name`, `what` it says and its `axes` in place of axis, from and to, and
null for a limit that it does not have; `holds` is false, and no peaks are there, where its range is never entered.
Instants are those of the move as it is written, also where the pass runs at another speed.
"""

import json as plain_json
import shlex
from typing import Any

import typer

from sequencer.cli.advice import advice, facts, shown
from sequencer.cli.check_table import down, moment, tables
from sequencer.cli.exits import FOUND, console, exits
from sequencer.cli.options import Folder, Json, PassName
from sequencer.cli.verdict import finite, verdict
from sequencer.motion.check import Check, LegCheck
from sequencer.motion.check import check as check_move
from sequencer.motion.look import mixed_references
from sequencer.motion.peaks import Asked, Peak, against, worst
from sequencer.project.document import Project
from sequencer.project.passed import in_pass
from sequencer.project.store import load
from sequencer.rig.axis import Axis
from sequencer.rig.limits import Combined
from sequencer.score.move import Pass
from sequencer.shell.kinds import laws
from sequencer.timebase.timecode import Timebase


def check(
    project: Folder,
    run: PassName = None,
    json: Json = False,
) -> None:
    """Check every leg against the motors' limits. Ends with status 1 when something is over."""
    with exits():
        table = laws()
        opened, own = in_pass(load(project, table), run, table)
        done = check_move(opened.rig, opened.move, opened.timebase.rate, table, own.speed)
        if json:
            print(plain_json.dumps(found(opened, own, done), indent=2, allow_nan=False, ensure_ascii=False))
        else:
            advised = shown(opened, own, advice(opened, own, done))
            for one in (*tables(done, opened.timebase, console.width), *advised):
                console.print(one)
                console.print()
            for line in (*notes(opened), *warnings(opened), words(done, str(project))):
                console.print(line, markup=False, highlight=False, soft_wrap=True)
        raise typer.Exit(0 if done.ok else FOUND)


def words(done: Check, project: str) -> str:
    """Say whether the move fits, how near to its limits it comes, and what to do if it does not."""
    said = verdict(done)
    if done.ok:
        return said
    if done.speed_factor > 0:
        said += f"; it would fit at {down(done.speed_factor)} of {'its' if done.speed == 1 else 'this'} speed"
    return f"{said}; try: twintake fit {shlex.quote(project)}"


def notes(project: Project) -> list[str]:
    """Return what a track leaves unsaid: with one key there is nowhere to go."""
    return [
        f"tracks[{number}].keys: {track.axis} has one key, so it stands at {track.keys[0].value:g}; "
        "add a second key to move it"
        for number, track in enumerate(project.move.tracks)
        if len(track.keys) == 1
    ]


def warnings(project: Project) -> list[str]:
    """Return what the motors can do and the picture may not like."""
    mixed = mixed_references(project.rig, project.move)
    return [mixed] if mixed else []


def found(project: Project, own: Pass, done: Check) -> dict[str, Any]:
    """Return the JSON document."""
    tracks = {track.axis: track for track in project.move.tracks}
    axes = {axis.name: axis for axis in project.rig.axes}
    timebase = project.timebase

    def of_leg(leg: LegCheck) -> dict[str, Any]:
        keys = tracks[leg.axis].keys
        ends = [str(timebase.label(key.at)) for key in (keys[leg.key], keys[min(leg.key + 1, len(keys) - 1)])]
        asked = _asked(leg.peak, axes[leg.axis], leg.worst, timebase)
        return {"axis": leg.axis, "from": ends[0], "to": ends[1], **asked}

    factor = done.speed_factor
    return {
        "ok": done.ok,
        "pass": own.name,
        "speed": str(own.speed),
        "reserve_percent": finite(done.reserve * 100),
        "speed_factor": finite(factor),
        "legs": [of_leg(leg) for leg in done.legs()],
        "combined": [
            _of_combined(limit, peak, timebase) for limit, peak in zip(done.rig.combined, done.combined, strict=True)
        ],
        "notes": notes(project),
        "warnings": warnings(project),
        "advice": facts(project, own, advice(project, own, done)),
    }


def _of_combined(limit: Combined, peak: Peak | None, timebase: Timebase) -> dict[str, Any]:
    head = {"name": limit.name, "what": limit.words, "axes": list(limit.axes), "holds": peak is not None}
    if peak is None:
        return head | {"ok": True}
    return head | _asked(peak, limit, worst(against(peak, limit)), timebase)


def _asked(peak: Peak, limits: Axis | Combined, most: Asked, timebase: Timebase) -> dict[str, Any]:
    jump = peak.jump
    return {
        "ok": not most.over,
        "peak_speed": finite(peak.speed.value),
        "peak_acceleration": finite(peak.acceleration.value),
        "peak_jerk": finite(peak.jerk.value),
        "travel": [peak.low.value, peak.high.value],
        "limit": {
            "speed": limits.speed,
            "acceleration": limits.acceleration,
            "jerk": limits.jerk,
            "travel": None if limits.travel is None else list(limits.travel),
        },
        "worst": most.of,
        "at": moment(most.at_s, timebase),
        "over_percent": finite(most.excess * 100),
        "jumps": None if jump is None else jump[0],
        "jump_at": None if jump is None else moment(jump[1], timebase),
    }
