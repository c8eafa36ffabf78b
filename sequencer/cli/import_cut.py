"""What `twintake import` makes of a cut, a song or a recording: markers, cues, tempo, the start of the playback.

The JSON document: `project`, `file`, `format`; `rate` and `drop` that the file counts in, null where it says none;
`begins`, where its beginning falls; `markers` and `cues`, each with its `name`, its place, and whether it is `new`;
`tempo` and `playback`, null where they stay, else `was` and `now`; `remarks`; `written`.
"""

import json as plain_json
from pathlib import Path
from typing import Any

from rich import box
from rich.table import Table

from sequencer.cli.exits import console
from sequencer.cli.verdict import kept
from sequencer.export.contract import ImportKind
from sequencer.export.found import FoundCut
from sequencer.export.placed import Asked
from sequencer.project.document import Project
from sequencer.project.store import save
from sequencer.shell.cut_in import CutIn, Taken, cut_in, label, rows, tempo_words
from sequencer.shell.kinds import laws

_MOST_SHOWN = 200


def run(
    folder: Path,
    old: Project,
    kind: ImportKind,
    file: Path,
    cut: FoundCut,
    asked: Asked,
    taken: Taken,
    write: bool,
    json: bool,
) -> None:
    """Take from the cut what is wanted, say what changes, and keep it if asked. Error: ImportFault, ProjectError."""
    done = cut_in(folder, old, file, cut, asked, taken)
    written = write and done.new != old
    if written:
        save(folder, done.new, laws())
    if json:
        facts = _facts(folder, kind, file, cut, done) | {"written": written}
        print(plain_json.dumps(facts, indent=2, ensure_ascii=False))
    else:
        _show(file, done, written)


def _show(file: Path, done: CutIn, written: bool) -> None:
    def say(line: str) -> None:
        console.print(line, markup=False, highlight=False, soft_wrap=True)

    timebase = done.new.timebase
    say(f"{file.name} begins at {label(timebase, done.placed.start)}")
    for word in done.remarks:
        say(f"- {word}")
    lines = rows(done)
    if lines:
        console.print(_table(lines[:_MOST_SHOWN]))
    if len(lines) > _MOST_SHOWN:
        say(f"and {len(lines) - _MOST_SHOWN} more; --json lists them")
    say(kept(written) if done.new != done.old else "nothing to change")


def _table(lines: list[tuple[str, str, str, str, str]]) -> Table:
    table = Table(box=box.SIMPLE_HEAD)
    for name in ("what", "name", "at", "to", ""):
        table.add_column(name, no_wrap=name in ("what", "at", "to"))
    for row in lines:
        table.add_row(*row)
    return table


def _facts(folder: Path, kind: ImportKind, file: Path, cut: FoundCut, done: CutIn) -> dict[str, Any]:
    timebase, merged = done.new.timebase, done.merged
    tempo = playback = None
    if done.new.tempo != done.old.tempo:
        tempo = {"was": tempo_words(done.old.tempo, timebase), "now": tempo_words(done.new.tempo, timebase)}
    if done.new.playback != done.old.playback and done.new.playback and done.old.playback:
        was, now = (str(timebase.label(one)) for one in (done.old.playback.at, done.new.playback.at))
        playback = {"was": was, "now": now}
    return {
        "project": str(folder),
        "file": file.name,
        "format": kind.name,
        "rate": None if cut.rate is None else str(cut.rate),
        "drop": cut.drop,
        "begins": str(timebase.label(done.placed.start)),
        "markers": [
            {"name": one.name, "at": str(timebase.label(one.at)), "new": new}
            for new, ones in ((True, merged.new_markers), (False, merged.had_markers))
            for one in ones
        ],
        "cues": [
            {"name": one.name, "from": str(timebase.label(one.start)), "to": str(timebase.label(one.end)), "new": new}
            for new, ones in ((True, merged.new_cues), (False, merged.had_cues))
            for one in ones
        ],
        "tempo": tempo,
        "playback": playback,
        "remarks": list(done.remarks),
    }
