"""How `twintake aim` ends: it keeps what is wanted, and shows the points, what was found, or what an aim is worth.

The JSON document: `project`; what was `done`, in words, empty for a list; the `points`, each with its `name`, `at_m`
and `sigma_m` (null: measured, or not known); `found` (null: nothing was), with `name`, `marks`, `at_m`, `sigma_m`,
`covariance_m2`, `along` the worst direction, `aims`, each with its `mark`, `far_m` and `off_deg`, `meet_deg`,
`baseline_m`, `baseline_for_a_tenth_m`, `sigma_deg` and `agree`; `aim` (null: no aim), with `at`, `then`, `cue`, `from`,
`to`, `tolerance_deg`, `furthest_deg`, `furthest_at`, `nearest_m`, `farthest_m`, `turned_deg`, `axes`, each with its
`axis`, `keys`, `replaced` and `samples`, in words `near`, `beside` and `unfocused`, and `moving`; `check` of the move
then, as `capture` has it (null: no aim); `written`.
"""

import json as plain_json
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rich import box
from rich.table import Table
from rich.text import Text

from sequencer.cli.aim_found import Sight
from sequencer.cli.aim_run import Aimed
from sequencer.cli.exits import FOUND, console
from sequencer.cli.verdict import finite, kept, verdict, worst
from sequencer.live.aim_words import near
from sequencer.motion.aim import head
from sequencer.project.document import Project
from sequencer.project.store import dump, save
from sequencer.shell.kinds import laws
from sequencer.timebase.instants import labelled

_SPARE = 1.05


@dataclass(frozen=True, slots=True)
class Told:
    """What every operation is told: of which project, and what to do with the result."""

    folder: Path
    write: bool
    json: bool


def conclude(told: Told, old: Project, new: Project, done: Sight | Aimed | str) -> int:
    """Keep the project where that is wanted, show what was done, and return the exit status."""
    dump(new)
    written = told.write and new != old
    if written:
        save(told.folder, new, laws())
    if told.json:
        print(plain_json.dumps(_facts(told, new, done, written), indent=2, allow_nan=False, ensure_ascii=False))
    else:
        _show(new, done)
        if new != old:
            _say(kept(written))
    return FOUND if isinstance(done, Aimed) and not (done.check.ok and _within(done)) else 0


def _within(done: Aimed) -> bool:
    return done.done.furthest_deg <= done.within_deg


def _say(line: str) -> None:
    console.print(line, markup=False, highlight=False, soft_wrap=True)


def _show(project: Project, done: Sight | Aimed | str) -> None:
    if isinstance(done, Sight):
        _show_sight(project, done)
    elif isinstance(done, Aimed):
        _show_aim(project, done)
    else:
        if done:
            _say(done)
        if project.points:
            console.print(_table(project))
        else:
            _say("no points")


def _table(project: Project) -> Table:
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), pad_edge=False, show_edge=False)
    table.add_column("point", overflow="fold")
    for name in ("right", "ahead", "up"):
        table.add_column(f"{name}, m", justify="right")
    table.add_column("sure to", justify="right")
    for one in project.points:
        sure = "" if one.sigma_m is None else _length(one.sigma_m)
        table.add_row(Text(one.name), *(f"{value:.4g}" for value in one.at_m), sure)
    return table


def _length(metres: float) -> str:
    return f"{metres * 1000:.2g} mm" if metres < 1 else f"{metres:.3g} m"


def _show_sight(project: Project, sight: Sight) -> None:
    found = sight.found
    x_m, y_m, z_m = found.at_m
    _say(f"found {sight.name}: {x_m:.4g} m right, {y_m:.4g} m ahead, {z_m:.4g} m up")
    _say(f"sure to {_length(found.sigma_m)} (one standard deviation) along {_way(found.along)}")
    taken = f"each is taken to be off by {found.sigma_deg:.2g} deg"
    _say(f"the aims meet at {found.meet_deg:.3g} deg, from lenses {found.baseline_m:.3g} m apart; {taken}")
    for mark, far_m, off in zip(sight.marks, found.far_m.tolist(), found.off_deg.tolist(), strict=True):
        _say(f"  {mark}: {far_m:.4g} m away, {off:.2g} deg beside it ({_length(far_m * math.radians(off))})")
    if not found.agree:
        _say("the aims miss each other by more than they should be off: look whether all marks are of one point")
    if found.sigma_m > 0.1 * float(found.far_m.max()):
        _say(f"the distance is hardly known: move the lens by {sight.need_m:.2g} m or more across the view")


def _way(along: Any) -> str:
    """Say a direction by the three it is made of."""
    names = ("right", "ahead", "up")
    return ", ".join(f"{abs(part):.2f} {name}" for part, name in zip(along.tolist(), names, strict=True))


def _show_aim(project: Project, run: Aimed) -> None:
    label, done = project.timebase.label, run.done
    names = run.aim.at.name if run.aim.then is None else f"{run.aim.at.name}, then {run.aim.then.name}"
    _say(f"aimed at {names} in {run.cue.name}, {label(run.cue.start)} to {label(run.cue.end)}")
    at = label(round(done.furthest_at))
    _say(f"  off by {done.furthest_deg:.2g} deg at most (at {at}), {run.within_deg:g} allowed")
    _say(f"  {done.distance_m[0]:.4g} to {done.distance_m[1]:.4g} m ahead of the lens")
    if run.aim.then is not None:
        times = f"{label(round(run.aim.leaves))} to {label(round(run.aim.arrives))}"
        _say(f"  turns by {done.turned_deg:.3g} deg from one to the other, from {times}")
    for one, gone in zip(done.captured, done.replaced, strict=True):
        beside = ", ".join(str(label(at)) for at in one.added)
        lead = f"; in motion at an end of the cue, so keys lead there and on: {beside}" if beside else ""
        _say(f"  {one.axis}: {one.keys + len(one.added)} keys in the place of {gone}{lead}")
    if done.unfocused:
        _say(f"focus:  {done.unfocused}")
    for words in _near(project, run):
        _say(f"near:   {words}")
    if run.moving:
        _say(f"cue:    {run.cue.name} starts in mid-move ({', '.join(run.moving)})")
    _say(f"then:   {verdict(run.check)}")
    if not run.check.ok:
        _say(f"worst:  {worst(run.check, project.timebase)}")
        for words in _hurried(project, run):
            _say(f"beside: {words}")
        if run.aim.then is not None:
            lasts_s = float(project.timebase.rate.seconds(run.aim.arrives - run.aim.leaves))
            _say(f"if that is while it turns: perhaps --blend {_slower(run) * lasts_s:.2g} would do")


def _slower(run: Aimed) -> float:
    """Return how many times as long the worst leg would have to take: speed goes by time, acceleration by its square.

    Source: time scaling of a curve, textbook.
    """
    orders = {"speed": 1.0, "acceleration": 1 / 2, "jerk": 1 / 3}
    each = [(leg.worst.excess + 1) ** orders.get(leg.worst.of, 0.0) for leg in run.check.over()]
    return max((one for one in each if math.isfinite(one)), default=1.0) * _SPARE


def _hurried(project: Project, run: Aimed) -> list[str]:
    """Return where an axis that was aimed has too little time for its way to the aim, or on from it."""
    timebase = project.timebase
    begin_s, end_s = (float(timebase.rate.seconds(at)) for at in (run.cue.start, run.cue.end))
    names = {one.axis for one in run.done.captured}
    mend = "move or take out the old key there, or aim there as well"
    return [
        f"{leg.axis} has too little time from {timebase.label_at(leg.from_s)} to {timebase.label_at(leg.to_s)}; {mend}"
        for leg in run.check.over()
        if leg.axis in names and (leg.to_s <= begin_s or leg.from_s >= end_s)
    ]


def _near(project: Project, run: Aimed) -> list[str]:
    pan = project.rig.axes[head(project.rig).pan]
    rate = project.timebase.rate
    return [labelled(near(one, pan, rate), project.timebase.label) for one in run.done.aimed.near]


def _facts(told: Told, project: Project, done: Sight | Aimed | str, written: bool) -> dict[str, Any]:
    words = done if isinstance(done, str) else ""
    if isinstance(done, Sight):
        words = f"found {done.name}"
    elif isinstance(done, Aimed):
        words = f"aimed at {done.aim.at.name}"
    return {
        "project": str(told.folder),
        "done": words,
        "points": [{"name": one.name, "at_m": one.at_m, "sigma_m": one.sigma_m} for one in project.points],
        "found": _found(done) if isinstance(done, Sight) else None,
        "aim": _aim(project, done) if isinstance(done, Aimed) else None,
        "check": {
            "ok": done.check.ok,
            "reserve_percent": finite(100 * done.check.reserve),
            "legs_over": len(done.check.over()),
            "combined_over": len(done.check.combined_over()),
        }
        if isinstance(done, Aimed)
        else None,
        "written": written,
    }


def _found(sight: Sight) -> dict[str, Any]:
    found = sight.found
    return {
        "name": sight.name,
        "marks": sight.marks,
        "at_m": found.at_m.tolist(),
        "sigma_m": found.sigma_m,
        "covariance_m2": found.covariance_m2.tolist(),
        "along": found.along.tolist(),
        "aims": [
            {"mark": mark, "far_m": far_m, "off_deg": off}
            for mark, far_m, off in zip(sight.marks, found.far_m.tolist(), found.off_deg.tolist(), strict=True)
        ],
        "meet_deg": found.meet_deg,
        "baseline_m": found.baseline_m,
        "baseline_for_a_tenth_m": sight.need_m,
        "sigma_deg": found.sigma_deg,
        "agree": found.agree,
    }


def _aim(project: Project, run: Aimed) -> dict[str, Any]:
    label, done = project.timebase.label, run.done
    return {
        "at": run.aim.at.name,
        "then": None if run.aim.then is None else run.aim.then.name,
        "cue": run.cue.name,
        "from": str(label(run.cue.start)),
        "to": str(label(run.cue.end)),
        "tolerance_deg": run.within_deg,
        "furthest_deg": done.furthest_deg,
        "furthest_at": str(label(round(done.furthest_at))),
        "nearest_m": done.distance_m[0],
        "farthest_m": done.distance_m[1],
        "turned_deg": done.turned_deg,
        "axes": [
            {"axis": one.axis, "keys": one.keys + len(one.added), "replaced": gone, "samples": one.samples}
            for one, gone in zip(done.captured, done.replaced, strict=True)
        ],
        "near": _near(project, run),
        "beside": _hurried(project, run),
        "unfocused": done.unfocused,
        "moving": list(run.moving),
    }
