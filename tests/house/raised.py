"""Finds where the program raises an error on purpose, and the words that the operator then reads.

A refusal is a `raise` of an error whose message reaches a person. What only our own code hears of (an inner stop, a
guard against our own mistakes) is not.
"""

import ast
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import islice, product
from typing import Final

from tests.house import told
from tests.house.noted import key, sources
from tests.house.told import MOST, Module, Scope, Told

FILED: Final = "ProjectError"
KINDS: Final = frozenset(
    (
        *(FILED, "TakeError", "ExportError", "ImportFault", "LinkError", "PeerError", "CrewFailed"),
        *("ValueError", "Mistyped", "BadParameter", "ArgumentTypeError"),
        # what these say is put into the words of one of the others
        *("NoAnswer", "_Refusal", "_Damage", "Unrepaired", "NotThen"),
    )
)
# ValueErrors that guard our own code against itself: no file, no option and no hand of an operator leads there
OURS: Final = {
    "sequencer/testing/": "for whoever writes an adapter or a law",
    "sequencer/wire/bext.py": "read by who opens a sound file, and put into its words",
    "sequencer/wire/": "whoever decodes drops what cannot be read and counts it; what is encoded was checked before",
    "sequencer/sync/clock_line.py": "asked only once it has heard",
    "sequencer/sync/device_clock.py": "asked only once it has heard",
    "sequencer/sync/envelope.py": "asked only once it has heard",
    "sequencer/sync/line.py": "asked only once it has heard",
    "sequencer/sync/samples.py": "asked only once it has heard",
    "sequencer/playback/guard.py": "the loop's own order of setpoints",
    "sequencer/playback/state.py": "asked only while something is armed",
    "sequencer/playback/cued.py": "the timeline is compiled from the same rig",
    "sequencer/motion/join.py": "the search's own order of steps",
    "sequencer/motion/program.py": "the solver's own order of steps",
    "sequencer/motion/repair/": "the solver's own order of steps",
    "sequencer/motion/shape.py": "asked for derivatives that there are",
    "sequencer/motion/sky.py": "instants are made with their zone",
    "sequencer/rig/monotone.py": "tables are checked before, and `lens_table` says it in its own words",
    "sequencer/shell/memory.py": "between processes of ours",
    "sequencer/shell/messages.py": "between processes of ours",
    "sequencer/takes/repeatability.py": "trials are planned by us",
    "sequencer/takes/trials/ladder.py": "trials are planned by us",
    "sequencer/export/paper.py": "pages are laid out by us",
    "sequencer/export/pdf.py": "pages are laid out by us",
    "sequencer/export/plots.py": "asked only where there is something to draw",
    "sequencer/shell/porch.py": "between processes of ours",
    "ui/acts/asking.py": "questions are written by us",
    "ui/timeline/roll.py": "pictures are made by us",
}
SPOKEN = frozenset(("sequencer/wire/midi_values.py", "sequencer/wire/osc.py"))
# what has no mend of its own, by its file and how it begins, and why
MENDLESS: Final = {
    ("sequencer/wire/", ""): "the other side's fault: what cannot be read is dropped and counted, and the run goes on",
    ("sequencer/takes/conformance/", ""): "a finding on a device, told beside the clause that it breaks",
    ("sequencer/project/journal.py", ""): "ends the message of the record of edits, which has the mend",
    ("sequencer/project/shot_log.py", ""): "ends the message of a line of the log, which has the mend",
    ("sequencer/project/take_heading.py", ""): "ends the message of a take's heading, which has the mend",
    ("sequencer/project/takefile.py", ""): "said beside a take of which the rest is used",
    ("sequencer/project/history.py", ""): "nothing is wrong",
    ("sequencer/shell/companion.py", "the NAME: LINE"): "ends with the other process's words, which have the mend",
}
# what no test of this system can come by, by its file and some of its words, and why
UNREACHED: Final[dict[tuple[str, str], str]] = {}
ORDERS: Final = ("write", "choose", "name", "end", "close")
# a message that ends with another one leaves the mend to that
_CARRIED = re.compile(r"(?:^|: )(FAULT|WORDS|WHY|CAUSE|TROUBLE|WRONG|WHAT|REST|TOLD)\.?$")
_FIELD = re.compile(r"\{(\w+)\}")


@dataclass(frozen=True)
class Refusal:
    """One message: where it is raised, its words with what is filled in as CAPITALS, and the places to come by."""

    path: str
    line: int
    kind: str
    words: str
    places: frozenset[str]

    @property
    def mend(self) -> str:
        """Return what the message says is to be done: what comes after its last semicolon, or all of an order."""
        for mark in ("; ", ". "):
            if mark in self.words:
                return self.words.rpartition(mark)[2]
        order = self.words.removeprefix("command line: ")
        if order.partition(" ")[0] in ORDERS:
            return order
        return "as its last words say" if _CARRIED.search(self.words) else ""

    @property
    def mendless(self) -> str:
        """Return why the message may do without a mend, or nothing."""
        for (path, begins), why in MENDLESS.items():
            if self.path.startswith(path) and self.words.startswith(begins):
                return why
        return ""


def places(tree: ast.Module, path: str) -> Iterator[ast.expr]:
    """Yield the expressions of a module that a test run has to come by: each error, and each choice of its words."""
    wanted = _wanted().get(path, set())
    for node in ast.walk(tree) if wanted else ():
        if isinstance(node, ast.expr) and key(path, node) in wanted:
            wanted.discard(key(path, node))  # an inner expression may begin where this one does
            yield node


def _wanted() -> dict[str, set[str]]:
    found: dict[str, set[str]] = {}
    for place in {place for one in refusals() for place in one.places}:
        found.setdefault(place.partition(":")[0], set()).add(place)
    return found


def missing(noted: set[str]) -> list[Refusal]:
    """Return the refusals that a run of all tests never came by, in so far as this system can."""
    return [one for one in refusals() if not one.places <= noted and not unreached(one)]


def unreached(one: Refusal) -> str:
    """Return why no test of this system can come by a refusal, or nothing."""
    return next((why for (path, words), why in UNREACHED.items() if one.path == path and words in one.words), "")


_FOUND: list[Refusal] = []


def program() -> dict[str, Module]:
    """Return every module of the program by its file."""
    return {path: Module(path, tree) for path, tree in sources()}


def refusals() -> list[Refusal]:
    """Return every refusal of the program, in the order of its files; they are looked for once."""
    if not _FOUND:
        modules = program()
        makers = _makers(modules)
        for module in modules.values():
            _FOUND.extend(_of_module(module, modules, makers))
    return _FOUND


def _makers(modules: Mapping[str, Module]) -> dict[str, list[tuple[Module, ast.FunctionDef]]]:
    """Return the functions that make an error and leave the raising to others, by their name."""
    found: dict[str, list[tuple[Module, ast.FunctionDef]]] = {}
    for module in modules.values():
        for name, function in module.functions.items():
            if isinstance(function.returns, ast.Name | ast.Attribute) and _name(function.returns) in KINDS:
                found.setdefault(name, []).append((module, function))
    return found


def _name(node: ast.expr) -> str:
    if isinstance(node, ast.Call):
        return _name(node.func)
    return node.attr if isinstance(node, ast.Attribute) else node.id if isinstance(node, ast.Name) else ""


def _ours(path: str) -> bool:
    return path not in SPOKEN and any(path.startswith(one) for one in OURS)


def _functions(tree: ast.Module) -> Iterator[tuple[ast.FunctionDef | None, ast.Raise]]:
    """Yield every `raise` of a module with the innermost function around it."""
    around: list[tuple[ast.AST, ast.FunctionDef | None]] = [(tree, None)]
    while around:
        node, function = around.pop()
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.Raise):
                yield function, child
            around.append((child, child if isinstance(child, ast.FunctionDef) else function))


def _of_module(
    module: Module, modules: Mapping[str, Module], makers: Mapping[str, list[tuple[Module, ast.FunctionDef]]]
) -> list[Refusal]:
    found = []
    for function, node in _functions(module.tree):
        made = node.exc.values[-1] if isinstance(node.exc, ast.BoolOp) else node.exc
        if not isinstance(made, ast.Call):
            continue  # handed on as it is: its words are those of where it was made
        scope = Scope(modules, module, function, at=node)
        seen = frozenset([key(module.path, node.exc or made)])
        for kind, words in _made(made, scope, makers):
            if words.known and words.words.strip() and not (kind == "ValueError" and _ours(module.path)):
                found.append(Refusal(module.path, node.lineno, kind, words.words.strip(), words.places | seen))
    return sorted(dict.fromkeys(found), key=lambda one: one.line)


def _made(
    call: ast.Call, scope: Scope, makers: Mapping[str, list[tuple[Module, ast.FunctionDef]]]
) -> Iterator[tuple[str, Told]]:
    """Yield the kind and the words of each way in which an error is made by a call."""
    name = _name(call)
    if name in KINDS:
        for given in _paired(scope):
            yield from ((name, one) for one in _words(call, name, replace(scope, given=given)))
        return
    near = [(module, one) for module, one in makers.get(name, []) if module is scope.module]
    taken = {module for module, _ in scope.module.imports.values()}
    far = [(m, one) for m, one in makers.get(name, []) if m.path.removesuffix(".py").replace("/", ".") in taken]
    for module, function in near or far:
        results = [node for node in ast.walk(function) if isinstance(node, ast.Return)]
        for result in results:
            given = told.bound(call, function, scope)
            inner = Scope(scope.program, module, function, given, scope.depth + 1, result)
            for made in told.alternatives(result.value, inner) if result.value is not None else []:
                if isinstance(made, ast.Call) and scope.depth < 4:
                    seen = frozenset([key(module.path, made)]) if len(results) > 1 else frozenset()
                    for kind, one in _made(made, inner, makers):
                        yield kind, Told(one.words, one.places | seen, one.known)


def _paired(scope: Scope) -> Iterator[Mapping[str, list[Told]]]:
    """Yield what names are that a function sets together, as in `what, mend = …`: once for each way it can turn out."""
    together: dict[tuple[str, ...], list[dict[str, list[Told]]]] = {}
    tuples = [node for node in ast.walk(scope.function) if isinstance(node, ast.Assign)] if scope.function else []
    for node in tuples:
        if isinstance(target := node.targets[0], ast.Tuple):
            names = tuple(_name(one) for one in target.elts)
            if node not in scope.setting(names[0]):
                continue
            for row in told.alternatives(node.value, scope):
                if isinstance(row, ast.Tuple) and len(row.elts) == len(names):
                    values = (told.told(value, scope) for value in row.elts)
                    together.setdefault(names, []).append(dict(zip(names, values, strict=True)))
    yields = [scope.given]
    for rows in together.values():
        yields = [{**given, **row} for given in yields for row in rows]
    yield from yields[:MOST]


def _words(call: ast.Call, kind: str, scope: Scope) -> Iterator[Told]:
    """Yield what an error says, as `str` of it does."""
    given = list(call.args) + [word.value for word in call.keywords if word.arg in ("what", "mend")]
    if kind != FILED:
        for one in told.told(given[0], scope) if given else []:
            filled = _FIELD.sub(lambda found: found[1].upper(), one.words) if kind == "Mistyped" else one.words
            yield Told(filled, one.places, one.known)
        return
    named = dict(zip(("path", "what", "mend", "file"), call.args, strict=False))
    named |= {word.arg: word.value for word in call.keywords if word.arg}
    pieces = [told.told(named[name], scope) if name in named else [Told("")] for name in ("path", "what", "mend")]
    file = _of_file(named.get("file"), scope)
    for path, what, mend in islice(product(*pieces), MOST):
        place = ": ".join(word for word in (file, path.words) if word)
        words = "; ".join(word for word in (what.words, mend.words) if word)
        known = what.known
        yield Told(f"{place}: {words}" if place else words, path.places | what.places | mend.places, known)


def _of_file(node: ast.expr | None, scope: Scope) -> str:
    if node is None:
        return "project.json"
    return told.told(node, scope)[0].words
