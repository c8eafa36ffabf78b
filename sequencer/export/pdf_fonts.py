"""Fonts that are put into a PDF: one that comes with this program, and what this machine has for what that lacks.

It refuses to lose a character: one that no font here has is written as its number, as in [U+1F6F6].
"""

from functools import cache
from html import escape
from pathlib import Path

import matplotlib as mpl
from matplotlib.font_manager import fontManager, get_font
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFError, TTFont

from sequencer.export.letters import shown

REGULAR, BOLD = "twintake", "twintake-bold"
_OWN = {REGULAR: "DejaVuSans.ttf", BOLD: "DejaVuSans-Bold.ttf"}
# shows a block's sign for every character, and none of them
_NO_FONT = "LastResort"

Run = tuple[str, str]  # the name of a font, and text that it has


@cache
def _own(name: str) -> TTFont:
    path = Path(mpl.get_data_path(), "fonts", "ttf", _OWN[name])
    font = TTFont(name, str(path))
    pdfmetrics.registerFont(font)
    return font


def runs(text: str, name: str = REGULAR) -> list[Run]:
    """Return the text in runs of one font each."""
    own = _own(name)
    found: list[Run] = []
    for character in shown(text).replace("\n", " "):
        if ord(character) in own.face.charToGlyph:
            run = (name, character)
        elif (other := _elsewhere(character)) is not None:
            run = (other, character)
        else:
            run = (name, f"[U+{ord(character):04X}]")
        if found and found[-1][0] == run[0]:
            found[-1] = (run[0], found[-1][1] + run[1])
        else:
            found.append(run)
    return found


def markup(text: str, name: str = REGULAR) -> str:
    """Return the text as a paragraph's markup, in which nothing of it is markup."""
    lines = (
        "".join(f'<font name="{font}">{escape(part)}</font>' for font, part in runs(line, name))
        for line in text.split("\n")
    )
    return "<br/>".join(lines)


def width(text: str, size: float, name: str = REGULAR) -> float:
    """Return how wide the text is. Unit: points, as `size`."""
    return float(sum(pdfmetrics.stringWidth(part, font, size) for font, part in runs(text, name)))


@cache
def _elsewhere(character: str) -> str | None:
    """Return the name of a font of this machine that has the character."""
    for family, path in _machine():
        if get_font(path).get_char_index(ord(character)):
            name = f"machine-{family}"
            try:
                # some kinds of outlines cannot be put into a PDF
                font = TTFont(name, path)
            except (TTFError, OSError):
                continue
            if ord(character) in font.face.charToGlyph:
                pdfmetrics.registerFont(font)
                return name
    return None


@cache
def _machine() -> tuple[tuple[str, str], ...]:
    upright = (each for each in fontManager.ttflist if each.style == "normal" and _NO_FONT not in each.fname)
    return tuple(sorted({(f"{Path(each.fname).stem}", each.fname) for each in upright}))
