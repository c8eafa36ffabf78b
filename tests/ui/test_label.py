"""What is shown is words: a name from a stranger's project is never drawn as markup."""

import ast
from pathlib import Path

import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QApplication, QWidget

from ui.label import Label, tip

UI = Path(__file__).parents[2] / "ui"
HOSTILE = '<img src="/etc/hostname"><b>armed</b>'


@pytest.mark.parametrize("given", [(), (HOSTILE,)])
def test_a_label_shows_words(qapp: QApplication, given: tuple[str, ...]) -> None:
    label = Label(*given)
    label.setText(HOSTILE)
    assert label.textFormat() == Qt.TextFormat.PlainText
    assert label.text() == HOSTILE


def test_a_label_may_have_its_parent_first(qapp: QApplication) -> None:
    parent = QWidget()
    assert Label(parent).parent() is parent


def test_what_would_be_markup_in_a_tip_is_words(qapp: QApplication) -> None:
    assert Qt.mightBeRichText(HOSTILE)  # type: ignore[attr-defined]  # PyQt has it, and its types do not
    assert "&lt;img" in tip(HOSTILE)
    assert "<img" not in tip(HOSTILE)
    assert tip("Band, take 3 < 4") == "Band, take 3 < 4"


def test_every_label_of_the_editor_is_one_of_words() -> None:
    for path in UI.rglob("*.py"):
        if path.name == "label.py":
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            made = isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "QLabel"
            base = isinstance(node, ast.ClassDef) and any(ast.unparse(one) == "QLabel" for one in node.bases)
            assert not made, f"{path}:{node.lineno} makes a label that guesses; make a Label"  # type: ignore[attr-defined]  # a call has a line
            assert not base, f"{path}: {node!r} is a label that guesses; derive it from Label"


def test_every_tip_of_the_editor_is_one_of_words() -> None:
    for path in UI.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "setToolTip":
                (words,) = node.args
                ours = isinstance(words, ast.Call) and ast.unparse(words.func) in ("tip", "words_only", "translate")
                assert ours, f"{path}:{node.lineno} shows a tip that Qt may take for markup; put it through tip()"
