"""`twintake copy`: a copy of a project that has all it needs, for another machine or another person."""

import json as plain_json
from pathlib import Path
from typing import Annotated, Literal

import typer
from rich.progress import Progress

from sequencer.cli.exits import errors, exits, say
from sequencer.cli.options import Folder, Json
from sequencer.project.copying import Copied
from sequencer.project.copying import copy as copy_project
from sequencer.project.library import size_words
from sequencer.shell.kinds import laws


def copy(
    project: Folder,
    to: Annotated[Path, typer.Argument(help="Where the copy goes: a new folder, or an empty one.")],
    takes: Annotated[
        Literal["circled", "all", "none"], typer.Option(help="Which takes go along, with their notes.")
    ] = "circled",
    json: Json = False,
) -> None:
    """Copy a project with its audio, and the takes that are asked for. Each file is read back; nothing is left half."""
    with exits():
        with Progress(console=errors, transient=True, disable=json) as progress:
            task = progress.add_task("copying", total=1.0)

            def tell(part: float) -> bool:
                progress.update(task, completed=part)
                return True

            done = copy_project(project, to, takes, laws(), tell)
        if json:
            print(plain_json.dumps(_facts(done), indent=2))
        else:
            _show(done)


def _facts(done: Copied) -> dict[str, object]:
    return {
        "folder": str(done.folder),
        "files": list(done.files),
        "takes": list(done.takes),
        "left": list(done.left),
        "remarks": list(done.remarks),
        "bytes": done.bytes,
    }


def _show(done: Copied) -> None:
    takes = "1 take" if len(done.takes) == 1 else f"{len(done.takes)} takes"
    say(f"copied to {done.folder}: {len(done.files)} files, {size_words(done.bytes)}, {takes} among them")
    for remark in done.remarks:
        say(remark)
    if done.left:
        say(f"not in the copy, since the project does not need it: {', '.join(done.left)}")
