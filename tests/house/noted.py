"""Notes which places of the program a test run came by: the expressions that make an error, or the words of a notice.

Modules of ours are compiled with each such expression wrapped, `made` as `noted(key, made)`: what is not evaluated
costs nothing, and it works alike in every thread and on every Python. Processes that a test starts are not seen.
"""

import ast
import importlib
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec, SourceFileLoader
from pathlib import Path
from types import CodeType, ModuleType
from typing import Any, Final

ROOT: Final = Path(__file__).parents[2]
ROOMS: Final = ("sequencer", "ui")
NOTED: Final[set[str]] = set()
_NAME: Final = "__noted__"

Places = Callable[[ast.Module, str], Iterable[ast.expr]]


def key(path: str, node: ast.expr) -> str:
    """Return the name of a place: its file from the repository's root, where it begins and where it ends.

    A choice begins where the first of its words do, and is made whichever is chosen.
    """
    return f"{path}:{node.lineno}:{node.col_offset}-{node.end_lineno}:{node.end_col_offset}"


def sources() -> Iterator[tuple[str, ast.Module]]:
    """Yield every module of ours, by its file from the repository's root."""
    for room in ROOMS:
        for path in sorted((ROOT / room).rglob("*.py")):
            yield path.relative_to(ROOT).as_posix(), ast.parse(path.read_text(encoding="utf-8"))


def note(place: str, made: Any) -> Any:
    """Hand on what was made at a place, and remember the place."""
    NOTED.add(place)
    return made


class _Wrapped(ast.NodeTransformer):
    def __init__(self, path: str, places: Sequence[ast.expr]) -> None:
        self._path = path
        self._places = {id(node) for node in places}

    def visit(self, node: ast.AST) -> Any:
        inside = self.generic_visit(node)
        if id(node) not in self._places or not isinstance(node, ast.expr):
            return inside
        name, place = ast.Name(_NAME, ast.Load()), ast.Constant(key(self._path, node))
        call = ast.copy_location(ast.Call(name, [place, node], []), node)
        return ast.fix_missing_locations(call)


def wrapped(tree: ast.Module, path: str, places: Sequence[ast.expr]) -> ast.Module:
    """Return a module in which some expressions are noted when they are evaluated; the lines stay."""
    made: ast.Module = _Wrapped(path, places).visit(tree) if places else tree
    return made


class _Loader(SourceFileLoader):
    """Compiles anew each time: what is kept beside the source belongs to the program as it is."""

    def __init__(self, name: str, path: str, places: Sequence[Places]) -> None:
        super().__init__(name, path)
        self._places = places

    def get_code(self, fullname: str) -> CodeType:
        path = Path(self.path)
        tree = ast.parse(path.read_bytes(), self.path)
        here = path.relative_to(ROOT).as_posix()
        found = [node for places in self._places for node in places(tree, here)]
        code: CodeType = compile(wrapped(tree, here, found), self.path, "exec", dont_inherit=True)
        return code

    def exec_module(self, module: ModuleType) -> None:
        setattr(module, _NAME, note)
        super().exec_module(module)


class _Finder(MetaPathFinder):
    def __init__(self, places: Sequence[Places]) -> None:
        self._places = places

    def find_spec(self, name: str, path: Sequence[str] | None, target: ModuleType | None = None) -> ModuleSpec | None:
        if name.partition(".")[0] not in ROOMS:
            return None
        for other in sys.meta_path:
            spec = None if other is self else other.find_spec(name, path, target)
            if spec is not None:
                ours = spec.origin is not None and Path(spec.origin).is_relative_to(ROOT)
                if ours and type(spec.loader) is SourceFileLoader:
                    spec.loader = _Loader(name, str(spec.origin), self._places)
                return spec
        return None


def begin(places: Sequence[Places]) -> None:
    """Note from now on, in this process. Error: AssertionError if a module of ours was imported before."""
    early = [name for name in sys.modules if name.partition(".")[0] in ROOMS]
    assert not early, f"imported before anything could be noted: {early}"
    importlib.invalidate_caches()
    sys.meta_path.insert(0, _Finder(places))
