"""A document as PDF: A4, pages numbered, a table's heads on each page, fonts inside.

The same document gives the same bytes. reportlab lays it out: it breaks tables, and words that are too long.
"""

import io
from collections.abc import Sequence
from typing import Any

from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, CondPageBreak, Flowable, Frame, PageTemplate, Paragraph, Spacer
from reportlab.platypus import Table as Grid

from sequencer.export.drawn import WIDTH_IN, Plot
from sequencer.export.letters import shown
from sequencer.export.paper import Blanks, Block, Boxed, Facts, Heading, Items, Paper, Table, Words
from sequencer.export.pdf_fonts import BOLD, REGULAR, markup, runs, width
from sequencer.export.pdf_plot import draw

_MARGIN = 14 * mm
_WIDE = A4[0] - 2 * _MARGIN
_GREY = 0.27
_CELL = 1.2 * mm  # at both sides of a cell's words
_FACT = 40 * mm
_BLANK = 70 * mm
_LEAST = 9 * mm  # of a column


def _style(name: str, size: float, **more: Any) -> ParagraphStyle:
    return ParagraphStyle(name, fontName=REGULAR, fontSize=size, leading=size * 1.3, splitLongWords=1, **more)


_TITLE = _style("title", 17, spaceAfter=3 * mm)
_PART = _style("part", 11, spaceBefore=5 * mm, spaceAfter=2 * mm)
_UNDER = _style("under", 9.5, spaceBefore=3 * mm, spaceAfter=1 * mm)
_WORDS = _style("words", 9, spaceAfter=1.5 * mm)
_ITEM = _style("item", 9, spaceAfter=1 * mm, leftIndent=4 * mm, bulletFontName=REGULAR, bulletFontSize=9)
_SMALL = _style("small", 7.6, spaceAfter=1.2 * mm)
_NAMED = _style("named", 7.6, spaceBefore=1 * mm, spaceAfter=0.8 * mm, textColor=(_GREY,) * 3)
_LEFT = _style("left", 7.6)
_RIGHT = _style("right", 7.6, alignment=TA_RIGHT)
_BIG = _style("big", 12.5, spaceAfter=1 * mm)


def pdf(paper: Paper) -> bytes:
    """Return the document as PDF. Source: ISO 32000-1 (PDF 1.7), as reportlab writes it."""
    runs(paper.title, BOLD), runs(paper.title)  # brings the fonts
    written = io.BytesIO()
    title = shown(paper.title).replace("\n", " ")
    document = BaseDocTemplate(
        written,
        pagesize=A4,
        title=title,
        author="",
        creator="twintake",
        lang="en",
        invariant=1,
        initialFontName=REGULAR,
    )
    foot = 12 * mm
    frame = Frame(_MARGIN, foot + 4 * mm, _WIDE, A4[1] - foot - 16 * mm, 0, 0, 0, 0)
    document.addPageTemplates(PageTemplate(frames=[frame]))
    story: list[Flowable] = [Paragraph(markup(paper.title), _TITLE)]
    for place, block in enumerate(paper.blocks):
        before_plot = isinstance(block, Words) and any(isinstance(one, Plot) for one in paper.blocks[place + 1 :][:1])
        if before_plot or isinstance(block, Heading | Table):
            story.append(CondPageBreak(_together(paper.blocks[place:])))
        story += _flow(block)
    document.build(story, canvasmaker=_numbered(title))
    return written.getvalue()


def _together(blocks: Sequence[Block]) -> float:
    """Return how much room the first block needs, so that no heading stands alone at the end of a page."""
    room = 0.0
    for block in blocks:
        match block:
            case Heading():
                room += 12 * mm
            case Words():
                room += 10 * mm
            case Plot():
                return float(room + block.height_in * 72)
            case _:
                return float(room + 20 * mm)
    return float(room)


def _numbered(foot: str) -> type[Canvas]:
    """Return a canvas that writes the foot and `page 2 of 5` on each page, once it knows how many there are."""

    class Numbered(Canvas):  # type: ignore[misc]  # reportlab has no types
        def __init__(self, *given: Any, **named: Any) -> None:
            super().__init__(*given, **named)
            self._pages: list[dict[str, Any]] = []

        def showPage(self) -> None:  # noqa: N802  # reportlab's own name
            self._pages.append(dict(self.__dict__))
            self._startPage()

        def save(self) -> None:
            for place, page in enumerate(self._pages, 1):
                self.__dict__.update(page)
                _foot(self, foot, f"page {place} of {len(self._pages)}")
                super().showPage()
            super().save()

    return Numbered


def _foot(canvas: Canvas, words: str, page: str) -> None:
    size, low = 7, 9 * mm
    canvas.setLineWidth(0.3)
    canvas.line(_MARGIN, low + 3.5 * mm, A4[0] - _MARGIN, low + 3.5 * mm)
    room = _WIDE - width(page, size) - 5 * mm
    short = words
    while width(short, size) > room:
        short = short[: max(int(len(short) * 0.95) - 2, 1)].rstrip() + "…"
    at = _MARGIN
    for font, part in runs(short):
        canvas.setFont(font, size)
        canvas.drawString(at, low, part)
        at += canvas.stringWidth(part, font, size)
    canvas.setFont(REGULAR, size)
    canvas.drawRightString(A4[0] - _MARGIN, low, page)


def _flow(block: Block) -> list[Flowable]:
    match block:
        case Heading():
            if block.level == 3:
                return [Paragraph(markup(block.text, BOLD), _UNDER)]
            return [_Outlined(block.text), Paragraph(markup(block.text, BOLD), _PART)]
        case Words():
            return [Paragraph(markup(block.text), _SMALL if block.small else _WORDS)]
        case Items():
            return [Paragraph(markup(text), _ITEM, bulletText="–") for text in block.texts]
        case Facts():
            return [_facts(block)]
        case Table():
            return [Paragraph(markup(block.title), _NAMED), _table(block), Spacer(0, 3 * mm)]
        case Boxed():
            return [_boxed(block), Spacer(0, 2 * mm)]
        case Blanks():
            return [_blanks(block)]
        case Plot():
            return [_Drawn(block)]


class _Outlined(Flowable):  # type: ignore[misc]  # reportlab has no types
    """Puts the heading that follows into the document's outline."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self._text = text

    def wrap(self, _wide: float, _high: float) -> tuple[float, float]:
        return 0, 0

    def draw(self) -> None:
        key = f"{self.canv.getPageNumber()}-{self._text}"
        self.canv.bookmarkPage(key)
        self.canv.addOutlineEntry(shown(self._text), key, 0, 0)


class _Drawn(Flowable):  # type: ignore[misc]  # reportlab has no types
    """A plot; as wide as the page allows, or as it was drawn where that matters."""

    def __init__(self, plot: Plot) -> None:
        super().__init__()
        self._plot = plot
        self._part = min(_WIDE / (WIDTH_IN * 72), 1.0)
        if plot.to_scale and self._part < 1:
            raise ValueError("a plot that is drawn to scale is wider than the page")

    def wrap(self, _wide: float, _high: float) -> tuple[float, float]:
        return _WIDE, self._plot.height_in * 72 * self._part + 2 * mm

    def draw(self) -> None:
        self.canv.scale(self._part, self._part)
        draw(self._plot, self.canv)


def _boxed(box: Boxed) -> Grid:
    parts = [Paragraph(markup(box.title), _BIG)] if box.title else []
    parts += [Paragraph(markup(text), _LEFT if box.frame == "caution" else _WORDS) for text in box.texts]
    inset = 2 * mm
    # weight, cap, dash, join, how many lines, and how far apart
    frame: dict[str, tuple[Any, ...]] = {
        "match": (3.4,),
        "differ": (1.1, None, None, None, 2, 1.2),
        "open": (1.4, None, (4, 3)),
        "caution": (0.6,),
    }
    weight, *more = frame[box.frame]
    commands: list[Any] = [("FONTNAME", (0, 0), (-1, -1), REGULAR), ("BOX", (0, 0), (-1, -1), weight, (0, 0, 0), *more)]
    commands += [(f"{side}PADDING", (0, 0), (-1, -1), inset) for side in ("LEFT", "RIGHT", "TOP", "BOTTOM")]
    return Grid([[parts]], colWidths=[_WIDE], style=commands, splitInRow=1, spaceBefore=2 * mm, spaceAfter=1 * mm)


def _facts(facts: Facts) -> Grid:
    grey = ParagraphStyle("grey", parent=_LEFT, textColor=(_GREY,) * 3)
    rows = [[Paragraph(markup(name), grey), Paragraph(markup(text), _LEFT)] for name, text in facts.rows]
    return Grid(
        rows, colWidths=[_FACT, _WIDE - _FACT], style=_plain(0.4 * mm), splitInRow=1, spaceAfter=2 * mm, hAlign="LEFT"
    )


def _blanks(blanks: Blanks) -> Grid:
    rows = [[Paragraph(markup(label), _WORDS), ""] for label in blanks.labels]
    whole = ((0, 0), (-1, -1))
    line = ("LINEBELOW", (1, 0), (1, -1), 0.6, (0, 0, 0))
    style = [*_plain(0), ("TOPPADDING", *whole, 4 * mm), ("VALIGN", *whole, "BOTTOM"), line]
    return Grid(rows, colWidths=[_BLANK, _WIDE - _BLANK], style=style)


def _plain(above: float) -> list[Any]:
    whole = ((0, 0), (-1, -1))
    return [
        ("FONTNAME", *whole, REGULAR),
        ("VALIGN", *whole, "TOP"),
        ("LEFTPADDING", *whole, 0),
        ("RIGHTPADDING", *whole, _CELL),
        ("TOPPADDING", *whole, above),
        ("BOTTOMPADDING", *whole, above),
    ]


def _table(table: Table) -> Grid:
    def line(cells: Sequence[str]) -> list[Paragraph]:
        return [Paragraph(markup(cell), _LEFT if place < table.left else _RIGHT) for place, cell in enumerate(cells)]

    rows = [line(table.heads), *(line(row) for row in table.rows)]
    style = [
        *_plain(0.7 * mm),
        ("LEFTPADDING", (0, 0), (-1, -1), _CELL),
        ("VALIGN", (0, 0), (-1, 0), "BOTTOM"),
        ("LINEBELOW", (0, 0), (-1, 0), 0.6, (0, 0, 0)),
        ("LINEBELOW", (0, 1), (-1, -1), 0.25, (0.73,) * 3),
    ]
    return Grid(rows, colWidths=_widths(table), repeatRows=1, style=style, splitInRow=1, hAlign="LEFT")


def _widths(table: Table) -> list[float]:
    """Return how wide each column is: what its words need, and where that is too much, the widest ones less."""
    columns = list(zip(table.heads, *table.rows, strict=True))
    size, around = _LEFT.fontSize, 2 * _CELL + 1
    words = [
        max((width(word, size) for cell in column[:1] for word in cell.split()), default=0.0) for column in columns
    ]
    needs = [
        max(_LEAST, word + around, *(width(cell, size) + around for cell in column[1:]))
        for word, column in zip(words, columns, strict=True)
    ]
    left = _WIDE - sum(needs)
    if left >= 0:
        return [need + left / len(needs) for need in needs]
    room, given = _WIDE, dict.fromkeys(range(len(needs)), 0.0)
    for done, place in enumerate(sorted(given, key=lambda place: needs[place])):
        given[place] = min(needs[place], room / (len(needs) - done))
        room -= given[place]
    return [given[place] for place in range(len(needs))]
