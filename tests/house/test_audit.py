"""What CI installs is locked by hashes, and the audit of packages finds what it is told of.

Source: the form of a report is that of pip-audit 2 (its README, `--format json`); names are compared by PEP 503.
"""

import json
import re
import tomllib
from importlib.machinery import SourceFileLoader
from importlib.util import module_from_spec, spec_from_loader
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]


@pytest.fixture(name="audit")
def _audit() -> ModuleType:
    loader = SourceFileLoader("audit", str(ROOT / ".ci" / "audit"))
    spec = spec_from_loader("audit", loader)
    assert spec is not None
    module = module_from_spec(spec)
    loader.exec_module(module)
    return module


def _report(*packages: dict[str, Any]) -> str:
    return json.dumps({"dependencies": packages, "fixes": []})


SOUND = {"name": "lantern", "version": "1.0", "vulns": []}
WEAK = {
    "name": "quay",
    "version": "2.1",
    "vulns": [{"id": "PYSEC-0000-1", "fix_versions": ["2.2", "3.0"], "aliases": ["CVE-0000-1"], "description": "…"}],
}
UNKNOWN = {"name": "paper-boat", "skip_reason": "Dependency not found on PyPI and could not be audited"}


def test_a_weakness_is_named_with_its_mend(audit: ModuleType) -> None:
    weak, known, unknown = audit.judged(_report(SOUND, WEAK, UNKNOWN))
    assert weak == ["quay 2.1: PYSEC-0000-1, mended in 2.2, 3.0"]
    assert (known, unknown) == (2, ["paper-boat"])


def test_an_audit_that_looked_at_nothing_is_none(audit: ModuleType) -> None:
    with pytest.raises(SystemExit, match="looked at none"):
        audit.judged(_report())


@pytest.mark.parametrize(("packages", "status"), [((SOUND, UNKNOWN), 0), ((SOUND, WEAK), 1)])
def test_only_a_weakness_turns_ci_red(
    audit: ModuleType, monkeypatch: pytest.MonkeyPatch, packages: tuple[dict[str, Any], ...], status: int
) -> None:
    monkeypatch.setattr(audit.venv, "create", lambda *_, **__: None)
    monkeypatch.setattr(audit.subprocess, "run", lambda *_, **__: None)
    monkeypatch.setattr(audit, "asked", lambda _: _report(*packages))
    assert audit.main() == status


def test_a_weakness_that_is_borne_has_its_reason(audit: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    assert all(len(reason.split()) > 3 for reason in audit.BORNE.values())
    monkeypatch.setattr(audit, "BORNE", {"PYSEC-0000-1": "it is in a part that is never called from here"})
    assert audit.judged(_report(WEAK))[0] == []


def _named(requirement: str) -> str:
    found = re.match(r"[A-Za-z0-9._-]+", requirement)
    assert found is not None
    return re.sub(r"[-_.]+", "-", found[0]).lower()


def test_every_package_that_ci_installs_is_locked_by_hashes() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    wanted = {_named(one) for one in (*project["dependencies"], *project["optional-dependencies"]["test"])}
    pieces = re.split(r"^(?=\S)", (ROOT / ".ci" / "locked.txt").read_text(), flags=re.MULTILINE)
    locked = {_named(piece) for piece in pieces if re.search(r"==\S+", piece) and "--hash=sha256:" in piece}
    assert wanted <= locked
    assert len(locked) == sum(bool(piece.strip()) for piece in pieces)
