"""The search for what tests do not notice notices it itself: on a tiny program whose mutants are known one by one."""

import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.mutants.breed import Mutant, mutants
from tests.mutants.nursery import Fate, _fate

ROOT = Path(__file__).parents[2]

MODULE = '''"""Says what a lamp does."""

LIMIT = 10
_ODD = frozenset({3, 5})


def bright(level: int, most: int = 8) -> bool:
    """Whether it is bright."""
    if level > LIMIT:
        raise ValueError("a message: too bright")
    return level >= most


def steps(level: int) -> int:
    count = 0
    while level > 0:
        level -= 2
        count += 1
    return count


def odd(level: int) -> bool:
    return level in _ODD


def never(level: int) -> int:
    return level + 1
'''

TESTS = """import pytest
from hypothesis import given, strategies as st

from lamps.lamp import bright, odd, steps


def test_bright():
    assert bright(8)
    assert not bright(7)
    assert bright(10)
    with pytest.raises(ValueError):
        bright(11)


@given(st.integers(1, 50))
def test_steps(level):
    assert steps(level) == (level + 1) // 2


def test_odd():
    assert odd(3)
    assert not odd(4)
"""


@pytest.fixture
def lamps(tmp_path: Path) -> Path:
    for name, text in (
        ("lamps/__init__.py", ""),
        ("lamps/lamp.py", MODULE),
        ("tests_of_lamps/test_lamp.py", TESTS),
        ("pytest.ini", "[pytest]\naddopts = -q\n"),
    ):
        path = tmp_path / name
        path.parent.mkdir(exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return tmp_path


def tried(folder: Path, *more: str) -> subprocess.CompletedProcess[str]:
    program = f"import sys; sys.path[:0] = [{str(ROOT)!r}, {str(folder)!r}]; from tests.mutants.__main__ import main; "
    options = ["lamps/lamp.py", "--tests", "tests_of_lamps", "--equivalent", "known.toml", *more]
    command = [sys.executable, "-c", f"{program} sys.exit(main({options!r}))"]
    return subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=300, check=False)


@pytest.mark.skipif(sys.platform != "linux", reason="forks, and limits what a fork may use")
def test_what_the_tests_do_not_notice_is_printed_and_no_file_is_changed(lamps: Path) -> None:
    ran = tried(lamps, "--jobs", "2")
    survived = [line for line in ran.stdout.splitlines() if line.startswith("  + ")]
    assert survived == [
        "  + _ODD = frozenset({3})",
        "  + _ODD = frozenset({3, 6})",
        "  + return None",
        "  + return level - 1",
        "  + return level + 2",
    ], ran.stdout + ran.stderr
    assert "lamps/lamp.py:4 in the module: survived" in ran.stdout
    assert "lamps/lamp.py:27 in never: not covered" in ran.stdout
    assert "3 tests, 1 mutants without end" in ran.stdout
    assert ran.returncode == 1
    assert (lamps / "lamps" / "lamp.py").read_text(encoding="utf-8") == MODULE


@pytest.mark.skipif(sys.platform != "linux", reason="forks, and limits what a fork may use")
def test_what_is_listed_with_a_reason_counts_neither_way_and_a_list_that_is_out_of_date_is_refused(
    lamps: Path,
) -> None:
    entry = '[[mutant]]\nmodule = "lamps.lamp"\ninside = "never"\nwas = "return level + 1"\n'
    listed = [f'{entry}becomes = "{one}"\nwhy = "nobody calls it"\n' for one in ("return None", "return level - 1")]
    (lamps / "known.toml").write_text("".join(listed), encoding="utf-8")
    ran = tried(lamps, "--sample", "6", "--seed", "4")
    assert "return level - 1" not in ran.stdout
    (last,) = [line.split() for line in ran.stdout.splitlines() if line.startswith("all")]
    assert (last[1], last[4]) == ("6", "2"), ran.stdout + ran.stderr
    (lamps / "known.toml").write_text(f'{entry}becomes = "return level"\nwhy = "it was"\n', encoding="utf-8")
    ran = tried(lamps)
    assert ran.returncode == 2
    assert "return level. Take it off the list" in ran.stdout


@pytest.mark.skipif(sys.platform != "linux", reason="forks, and limits what a fork may use")
def test_tests_that_fail_without_a_mutant_are_told_and_nothing_is_scored(lamps: Path) -> None:
    (lamps / "tests_of_lamps" / "test_lamp.py").write_text("def test_it():\n    assert False\n", encoding="utf-8")
    ran = tried(lamps)
    assert ran.returncode == 2
    assert "fails without any mutant" in ran.stdout


@pytest.mark.skipif(sys.platform != "linux", reason="forks, and limits what a fork may use")
@pytest.mark.parametrize(
    ("status", "fate"),
    [
        (100 << 8, Fate.KILLED),
        (101 << 8, Fate.SURVIVED),
        (1 << 8, Fate.UNKNOWN),
        (signal.SIGSEGV, Fate.KILLED),
        (signal.SIGPROF, Fate.ENDLESS),
        (signal.SIGKILL, Fate.UNKNOWN),
    ],
)
def test_how_a_mutant_ended_counts_only_where_a_test_did_it(status: int, fate: Fate) -> None:
    assert _fate(status) is fate


def bred(text: str) -> list[Mutant]:
    return list(mutants("some.module", text))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("x = a < b", ["x = a <= b", "x = a >= b"]),
        ("x = a is not None", ["x = a is None"]),
        ("x = a not in (b, c, d)", ["x = a in (b, c, d)", "x = a not in (c, d)"]),
        ("x = a and b or c", ["x = a or b or c", "x = a and b and c"]),
        ("x = -a * 2.5", ["x = (a) * 2.5", "x = -a / 2.5", "x = -a * 5.0"]),
        ("x = 'ready'", ["x = 'readyx'"]),
        ("x = 'not ready'", []),
        ("x = f'{a + 1} is late'", []),
        ("x = at == 'cue end'", ["x = at != 'cue end'", "x = at == 'cue endx'"]),
        ("x = f(a, b, c=1)", ["x = f(b, a, c=1)", "x = f(a, b)", "x = f(a, b, c=2)"]),
        ("x = zip(a, b, strict=True)", ["x = zip(b, a, strict=True)"]),
        ("x = max(a, b)", ["x = min(a, b)"]),
        ("assert isinstance(a, int)", []),
        ("Places = dict[str, int | None]", []),
        ("def f(x: int | None = 1) -> None:\n    '''A docstring.'''", ["def f(x: int | None = 2) -> None:"]),
        ("class Lamp(StrEnum):\n    ON = 'on'", []),
        ("@wraps(1)\ndef f() -> None:\n    stop()", ["pass"]),
        ("def f(x):\n    x = 2\n    return x", ["pass", "x = 3", "return None"]),
        ("def f():\n    raise ValueError(a)", ["pass"]),
        ("def f():\n    if a:\n        break_it()", ["if (not (a)):", "pass"]),
        ("match x:\n    case A() | B():\n        y = 1", ["case B():", "case A():", "y = 2"]),
    ],
)
def test_each_kind_of_change(text: str, expected: list[str]) -> None:
    found = [one.becomes for one in bred(text + "\n")]
    assert [one for one in found if one in expected] == expected
    if not expected:
        assert found == []


def test_a_mutant_knows_its_place() -> None:
    (first, *_) = [one for one in bred(MODULE) if one.becomes == "if level >= LIMIT:"]
    assert (first.line, first.within, first.inside, first.late) == (9, 9, "bright", True)
    (limit,) = [one for one in bred(MODULE) if one.becomes == "LIMIT = 11"]
    assert (limit.line, limit.late, limit.names) == (3, False, frozenset({"LIMIT"}))
