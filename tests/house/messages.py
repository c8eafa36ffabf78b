"""Finds every sentence that is said to people while a rig may move, and the rows of docs/messages.md about them.

What counts as said stands here and nowhere else: a sentence inside a function of the rooms below, unless it belongs to
an error that is raised there, its module speaks at other times (`ELSEWHERE`), or it is only a piece of another sentence
or no message at all (`PIECES`). So a new sentence without a row in the table is noticed.
"""

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Final, NamedTuple

from tests.house.pieces import ELSEWHERE, PIECES

ROOT: Final = Path(__file__).parents[2]
PAGE: Final = ROOT / "docs" / "messages.md"
ROOMS: Final = tuple(f"sequencer/{room}/" for room in ("adapters", "live", "playback", "shell", "sync"))
# of the editor's words those in which something fails, or forbids itself
EDITOR: Final = ("ui/link/", "ui/run/")
FAILURE: Final = re.compile(
    r"\b(not|no|nothing|cannot|never|unknown|missing|elsewhere|gone|back|first|reset"
    r"|down|lost|failed|broken|trouble|interrupted|stop|stopped|disarmed|given up|left|opened|changed|disconnected)\b",
    re.IGNORECASE,
)
# what says its words to people, be they ever so short
SAYERS: Final = frozenset({"Say", "Stop", "events.Stop", "Refused", "Failed", "given_up"})
# sentences that are made where a constant is named, not where it is written
CONSTANTS: Final = {
    "NO_ANSWER": "sequencer/playback/state.py",
    "_NOT_REAL_TIME": "sequencer/adapters/midi_ports/jack_ports.py",
}
HOLE: Final = "{}"
# what stands in a row for what varies: a name in capitals, a number, or nothing
_FILLED: Final = r"(?:[ ,]*[A-Z][A-Z0-9]*|[+-]?[0-9][0-9.,]*|)"
_WORD: Final = re.compile(r"[A-Za-z]{2,}")


class Message(NamedTuple):
    """One place where a sentence is made; its parts that vary are `HOLE`s."""

    path: str
    node: ast.expr
    template: str


class Row(NamedTuple):
    """One row of the page: what is said, what happened, what the rig is doing, what to do next."""

    said: str
    happened: str
    rig: str
    next: str


def template(node: ast.AST) -> str | None:
    """Return the text of a string as it is written, with a hole for each part that varies; None for no string."""
    if isinstance(node, ast.Constant):
        # the editor's sentences are filled in by name
        return re.sub(r"\{[a-z_]+(:[^}]*)?\}", HOLE, node.value) if isinstance(node.value, str) else None
    if isinstance(node, ast.JoinedStr):
        return "".join(HOLE if isinstance(one, ast.FormattedValue) else str(template(one)) for one in node.values)
    return None


def messages(tree: ast.Module, path: str) -> Iterator[Message]:
    """Yield every sentence of a module that is said while a rig may move."""
    if not speaks(path):
        return
    editor = path.startswith(EDITOR)
    for node, above in _inside(tree):
        if isinstance(node, ast.Name) and node.id in CONSTANTS and isinstance(node.ctx, ast.Load):
            yield Message(path, node, _constant(node.id))
            continue
        text = template(node)
        if text is None or text in PIECES.get(path, ()):
            continue
        if _translated(above) and " " in text and FAILURE.search(text) if editor else _sentence(text, above):
            yield Message(path, node, text)


def speaks(path: str) -> bool:
    """Whether the module at `path` says anything while a rig may move."""
    return path.startswith((*ROOMS, *EDITOR)) and path not in ELSEWHERE


def constants(tree: ast.Module) -> dict[str, str]:
    """Return the sentences that a module keeps as constants, by name."""
    kept = {}
    for one in tree.body:
        if isinstance(one, ast.Assign | ast.AnnAssign) and one.value is not None:
            name = one.targets[0] if isinstance(one, ast.Assign) else one.target
            text = template(one.value)
            if isinstance(name, ast.Name) and text is not None and _sentence(text, one):
                kept[name.id] = text
    return kept


@cache
def _constant(name: str) -> str:
    """Return what a constant says. Error: KeyError where it is not there any more."""
    return constants(ast.parse((ROOT / CONSTANTS[name]).read_text(encoding="utf-8")))[name]


def _sentence(text: str, above: ast.AST) -> bool:
    said = isinstance(above, ast.Call) and ast.unparse(above.func) in SAYERS
    return " " in text and (said or len(_WORD.findall(text.replace(HOLE, ""))) > 1)


def _translated(above: ast.AST) -> bool:
    return isinstance(above, ast.Call) and ast.unparse(above.func) == "translate"


def _inside(tree: ast.Module) -> Iterator[tuple[ast.expr, ast.AST]]:
    """Yield every string and name in the bodies of functions, with what it is part of; none of what is raised there."""
    for function in ast.walk(tree):
        if isinstance(function, ast.FunctionDef | ast.AsyncFunctionDef):
            for statement in function.body:
                yield from _under(statement, function)


def _under(node: ast.AST, above: ast.AST) -> Iterator[tuple[ast.expr, ast.AST]]:
    if isinstance(node, ast.Raise | ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef | ast.pattern | ast.arg):
        return
    if isinstance(node, ast.Constant | ast.JoinedStr | ast.Name):
        if not isinstance(above, ast.Expr):
            yield node, above
        return
    for below in ast.iter_child_nodes(node):
        yield from _under(below, node)


def rows(page: Path = PAGE) -> tuple[Row, ...]:
    """Return the page's rows. Error: ValueError for one that has not four cells, or an empty one."""
    found = []
    for line in page.read_text(encoding="utf-8").splitlines():
        if not line.startswith("| ") or line.startswith(("| message |", "| --- |", "|---")):
            continue
        cells = [cell.strip() for cell in line.strip().strip("|").split(" | ")]
        if len(cells) != 4 or not all(cells):
            raise ValueError(f"a row has a message, what happened, the rig, what to do next: {line}")
        found.append(Row(*cells))
    return tuple(found)


def tells(row: Row, said: str) -> bool:
    """Whether the row is about the sentence of this template."""
    pattern = _FILLED.join(re.escape(part) for part in said.strip().split(HOLE))
    return re.fullmatch(pattern, row.said) is not None
