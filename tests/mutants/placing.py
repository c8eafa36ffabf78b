"""How a mutant, or a module that tells what it runs, takes the place of the module in this process."""

import sys
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from importlib.abc import Loader
from importlib.machinery import ModuleSpec
from importlib.util import spec_from_loader
from pathlib import Path
from types import CodeType, FunctionType, ModuleType

from tests.mutants.breed import Mutant


@dataclass(frozen=True, slots=True)
class Placed(Loader):
    """Finds these modules, each with the code that it is to have, before they are looked for on the disk."""

    codes: Mapping[str, CodeType]
    paths: Mapping[str, Path]
    names: Mapping[str, object]

    def find_spec(self, name: str, _path: object, _target: object = None) -> ModuleSpec | None:
        if name not in self.codes:
            return None
        path = self.paths[name]
        spec = spec_from_loader(name, self, origin=str(path), is_package=path.name == "__init__.py")
        if spec is not None and spec.submodule_search_locations is not None:
            spec.submodule_search_locations.append(str(path.parent))
        return spec

    def create_module(self, _spec: ModuleSpec) -> ModuleType | None:
        return None

    def exec_module(self, module: ModuleType) -> None:
        module.__file__ = str(self.paths[module.__name__])
        module.__dict__.update(self.names)
        exec(self.codes[module.__name__], module.__dict__)


def place(codes: Mapping[str, CodeType], paths: Mapping[str, Path], names: Mapping[str, object]) -> None:
    """Have modules that are not imported yet run this code, with these names beside their own."""
    sys.meta_path.insert(0, Placed(codes, paths, names))


def exchanged(mutant: Mutant, path: Path) -> Callable[[], None] | None:
    """Return what gives the function that the mutant is in its code, whoever has imported it; None if it is not found.

    The function stays the same object; of nested ones it is the outermost.
    """
    found: object = sys.modules[mutant.module]
    for name in mutant.inside.split("."):
        found = vars(found).get(name)
        found = found.fget if isinstance(found, property) else getattr(found, "__func__", found)
        if not isinstance(found, type):
            break
    if not isinstance(found, FunctionType):
        return None
    function, was = found, found.__code__
    for code in _codes(compile(mutant.text, str(path), "exec")):
        same = code.co_qualname == was.co_qualname and code.co_firstlineno == was.co_firstlineno
        if same and code.co_freevars == was.co_freevars:
            return lambda: setattr(function, "__code__", code)
    return None


def _codes(code: CodeType) -> Iterator[CodeType]:
    for one in code.co_consts:
        if isinstance(one, CodeType):
            yield one
            yield from _codes(one)
