"""The rules of the house that no other tool checks: sizes, names, empty package files, the one door to the rig."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SOURCES = [path for room in ("sequencer", "ui") for path in sorted((ROOT / room).rglob("*.py"))]
ALL = SOURCES + sorted((ROOT / "tests").rglob("*.py")) + sorted((ROOT / "projects").rglob("*.py"))
LONGEST_FILE = 400
LONGEST_FUNCTION = 60
NO_NAME = re.compile(r"(^|_)(util|utils|helper|helpers|manager|misc|common|core|base)$")


def functions(path: Path) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node


@pytest.mark.parametrize("path", ALL, ids=lambda path: str(path.relative_to(ROOT)))
def test_files_and_functions_are_short(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= LONGEST_FILE
    long = [one.name for one in functions(path) if (one.end_lineno or 0) - one.lineno + 1 > LONGEST_FUNCTION]
    assert not long


def test_names_say_what_is_inside() -> None:
    assert not [path for path in ALL if NO_NAME.search(path.stem)]


def test_package_files_are_empty() -> None:
    assert not [path for path in ALL if path.name == "__init__.py" and path.read_text(encoding="utf-8")]


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_every_module_and_public_function_says_what_it_is(path: Path) -> None:
    module = ast.parse(path.read_text(encoding="utf-8"))
    if path.stem == "__init__":
        return
    assert ast.get_docstring(module)
    # a process's `main` is what its module says; the shell's other functions are its own business
    if "shell" not in path.parts:
        public = [one for one in module.body if isinstance(one, ast.FunctionDef) and not one.name.startswith("_")]
        assert not [one.name for one in public if not ast.get_docstring(one)]


def test_setpoints_leave_by_one_door_right_below_the_guard() -> None:
    doors = []
    for path in SOURCES:
        if "adapters" in path.parts:
            continue
        lines = path.read_text(encoding="utf-8").splitlines()
        doors += [(path.name, lines, number) for number, line in enumerate(lines) if "output.send(" in line]
    # several outputs are one to the engine, and hand on what it sent
    assert sorted(name for name, _, _ in doors) == ["loop.py", "several.py"]
    lines, number = next((lines, number) for name, lines, number in doors if name == "loop.py")
    assert "guard(" in "".join(lines[number - 3 : number])


@pytest.mark.parametrize("room", ["wire", "sync", "takes"])
def test_rooms_that_follow_a_standard_name_it(room: str) -> None:
    texts = [path.read_text(encoding="utf-8") for path in SOURCES if path.parent.name == room]
    assert any("Source:" in text for text in texts)
