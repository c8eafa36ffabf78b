"""`twintake prep`: the prep sheet for the crew as PDF or HTML, or its numbers as JSON.

The JSON document: `project`, `rig`, `sheet` (the file, null where none was asked for), `passes`, `stretch`, `fits` and
`remarks` in words; `keep_clear`, null without a reach: `area_m2`, `outline` [x, y] in metres, `reach_m`, `margin_m`,
`whole_travel`, and `inside`, the names of people and boxes within it; `pivot_m` and `lens_m` [lowest, highest];
`camera`: the largest `pupil_m_s`, `turn_deg_s` and `part_m_s`, each `value`, `at`, `pass`, or null; and `axes`:
`axis`, `unit`, `top_speed`, `at`, `pass` (null: it stands), `limit`, `stop_s` and `stop_goes` from the top speed,
`limit_stop_s` and `limit_stop_goes` from the limit, `span` [low, high] with stops, `travel` (null: no ends).
"""

import json as plain_json
from pathlib import Path
from typing import Annotated, Any

import typer

from sequencer.cli.documents import Force, Out, suffix
from sequencer.cli.exits import exits, say
from sequencer.cli.options import Folder, Json
from sequencer.errors import ExportError
from sequencer.export.documents import keep
from sequencer.export.prep import Prep, PrepAxis, Top
from sequencer.shell.prepared import gather


def prep(
    project: Folder,
    out: Out = None,
    cue: Annotated[str | None, typer.Option(help="One cue; all of the move if not said.")] = None,
    run: Annotated[str | None, typer.Option("--pass", help="One pass; all of them if not said.")] = None,
    reach_m: Annotated[
        float | None,
        typer.Option(
            "--reach-m",
            metavar="METRES",
            help="From where pan, tilt and roll meet to the furthest part that moves with them: measure it.",
        ),
    ] = None,
    margin_m: Annotated[
        float, typer.Option("--margin-m", metavar="METRES", help="More around that, as who is responsible decides.")
    ] = 0.0,
    travel: Annotated[
        bool, typer.Option("--whole-travel", help="Wherever the axes can go, not where the move takes them.")
    ] = False,
    force: Force = False,
    json: Json = False,
) -> None:
    """Write the sheet for the crew: what to keep clear of, seen from above, top speeds, stops and cautions."""
    with exits():
        kind = suffix(out, json)
        try:
            prepared = gather(project, cue, run, reach_m, margin_m, travel)
        except ValueError as fault:
            raise ExportError(str(fault)) from fault
        if out is not None:
            # what draws takes seconds to load, and only a document has it
            from sequencer.export.prep_sheet import prep_sheet

            keep(out, kind, prep_sheet(prepared), force)
        if json:
            print(plain_json.dumps(found(prepared, out), indent=2, allow_nan=False))
            return
        _show(prepared, out)


def found(prepared: Prep, out: Path | None) -> dict[str, Any]:
    """Return the JSON document."""
    area = None
    if prepared.reach_m is not None:
        area = {
            "area_m2": prepared.swept.area_m2,
            "outline": prepared.swept.outline().round(4).tolist(),
            "reach_m": prepared.reach_m,
            "margin_m": prepared.margin_m,
            "whole_travel": prepared.whole_travel,
            "inside": [one.name for one in prepared.places if one.inside],
        }
    return {
        "project": prepared.project,
        "rig": prepared.rig,
        "sheet": None if out is None else str(out),
        "passes": list(prepared.passes),
        "stretch": prepared.stretch,
        "fits": prepared.fits,
        "remarks": list(prepared.remarks),
        "keep_clear": area,
        "pivot_m": list(prepared.heights_m),
        "lens_m": list(prepared.lens_m),
        "camera": {
            "pupil_m_s": _top(prepared.pupil),
            "turn_deg_s": _top(prepared.turn),
            "part_m_s": None if prepared.part is None else _top(prepared.part),
        },
        "axes": [_axis(one) for one in prepared.axes],
    }


def _top(top: Top) -> dict[str, Any]:
    return {"value": top.value, "at": top.at or None, "pass": top.run or None}


def _axis(one: PrepAxis) -> dict[str, Any]:
    return {
        "axis": one.name,
        "unit": one.unit,
        "top_speed": one.top.value,
        "at": one.top.at or None,
        "pass": one.top.run or None,
        "limit": one.limit,
        "stop_s": one.stop.lasts_s,
        "stop_goes": one.stop.goes,
        "limit_stop_s": one.stop_most.lasts_s,
        "limit_stop_goes": one.stop_most.goes,
        "span": list(one.span),
        "travel": None if one.travel is None else list(one.travel),
    }


def _show(prepared: Prep, out: Path | None) -> None:
    say(f"{prepared.project}, {prepared.stretch}: {prepared.fits}")
    if prepared.reach_m is None:
        say("the reach of the rig was not said, so no keep-clear area is drawn; measure it, and say --reach-m METRES")
    else:
        inside = ", ".join(one.name for one in prepared.places if one.inside) or "nobody and nothing"
        say(f"keep clear: {prepared.swept.area_m2:.2f} m²; within it, as the set is planned: {inside}")
    for remark in prepared.remarks:
        say(f"- {remark}")
    say(f"written: {out}")
