"""Which tests can notice a mutant: those that run its statement. And what can be imported before it is there."""

import ast
import sys
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from tests.mutants.breed import Mutant

Statement = tuple[str, int]  # a module's name, and the line at which one of its statements begins
MARK = "__statement_is_run__"


@dataclass(frozen=True, slots=True)
class Covered:
    """What one test ran; `took_s` of the processor's time."""

    test: str
    took_s: float
    statements: frozenset[Statement]


class _Marking(ast.NodeTransformer):
    """Has each statement of a function's body tell its line before it runs: far cheaper than tracing."""

    inside = False

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.AST:
        before, self.inside = self.inside, True
        self.generic_visit(node)
        self.inside = before
        return node

    def generic_visit(self, node: ast.AST) -> ast.AST:
        super().generic_visit(node)
        if self.inside:
            for name in ("body", "orelse", "finalbody"):
                body = getattr(node, name, None)
                if isinstance(body, list):
                    setattr(node, name, [part for one in body for part in (*_mark(one), one)])
        return node


def _mark(node: ast.stmt) -> list[ast.stmt]:
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        return []
    call = ast.Call(ast.Name(MARK, ast.Load()), [ast.Constant(node.lineno)], [])
    return [ast.fix_missing_locations(ast.copy_location(ast.Expr(call), node))]


def marked(text: str) -> ast.Module:
    """Return the module that calls `MARK` with the line of each statement before it runs it."""
    tree = _Marking().visit(ast.parse(text))
    assert isinstance(tree, ast.Module)
    return tree


@dataclass(slots=True)
class Users:
    """Where each name is used in the room whose mutants are tried."""

    paths: Mapping[str, Path]
    statements: dict[str, set[Statement]] = field(default_factory=dict)
    onward: dict[str, set[str]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for module, path in self.paths.items():
            for one in ast.parse(path.read_text(encoding="utf-8")).body:
                self._read(one, module, inside=False, line=0)

    def _read(self, node: ast.AST, module: str, *, inside: bool, line: int) -> None:
        line = node.lineno if isinstance(node, ast.stmt) else line
        if inside and isinstance(node, ast.Name | ast.Attribute):
            name = node.id if isinstance(node, ast.Name) else node.attr
            self.statements.setdefault(name, set()).add((module, line))
        if not inside and isinstance(node, ast.Assign):
            # what is worked out from a name, when the module is imported, is used in its turn
            targets = {one.id for target in node.targets for one in ast.walk(target) if isinstance(one, ast.Name)}
            for used in ast.walk(node.value):
                if isinstance(used, ast.Name):
                    self.onward.setdefault(used.id, set()).update(targets)
        inside = inside or isinstance(node, ast.FunctionDef)
        for one in ast.iter_child_nodes(node):
            self._read(one, module, inside=inside, line=line)

    def of(self, names: Iterable[str]) -> set[Statement]:
        """Return the statements that use these names, or what is worked out from them."""
        known: set[str] = set()
        new = set(names)
        while new:
            known |= new
            new = {other for name in new for other in self.onward.get(name, ())} - known
        return {one for name in known for one in self.statements.get(name, ())}

    def noticing(self, mutant: Mutant, covered: Sequence[Covered]) -> list[Covered]:
        """Return the tests that run the mutant's statement, the fastest first.

        What is worked out on import all tests run: these are chosen by what they run that uses it, or is of that
        module, and those that run no statement at all are among them.
        """
        if mutant.late:
            chosen = [one for one in covered if (mutant.module, mutant.within) in one.statements]
        else:
            using = self.of(mutant.names)
            of_it = {one for ran in covered for one in ran.statements if one[0] == mutant.module} | using
            chosen = [one for one in covered if not one.statements or not of_it.isdisjoint(one.statements)]
        return sorted(chosen, key=lambda one: (one.took_s, one.test))


def clear_of(mutated: set[str], names: Sequence[str]) -> list[str]:
    """Return which of these imported modules import nothing that is mutated, not even by others."""
    wanted: dict[str, set[str]] = {}
    for name in names:
        path = Path(getattr(sys.modules[name], "__file__", None) or "")
        ours = path.suffix == ".py" and "site-packages" not in path.parts and path.is_relative_to(Path.cwd())
        wanted[name] = _imports(path) if ours else set()
    reaching = set(mutated)
    before = 0
    while len(reaching) > before:
        before = len(reaching)
        reaching |= {name for name, imports in wanted.items() if imports & reaching}
    return [name for name in names if name not in reaching and name != "__main__"]


def _imports(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {one.name for one in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module, *(f"{node.module}.{one.name}" for one in node.names)}
    return found
