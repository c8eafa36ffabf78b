"""A document as PDF, read back by pypdf: every word is there, on numbered pages, in fonts that the file brings."""

import re

import pytest
from matplotlib.figure import Figure

from sequencer.export.drawn import Plot
from sequencer.export.paper import Facts, Heading, Paper, Table, Words
from sequencer.export.pdf import pdf
from tests.export.reading import Sheets
from tests.export.test_page import HOSTILE, every


def squeezed(text: str) -> str:
    """The text without blanks: where a line is broken, none is kept."""
    return re.sub(r"\s+", "", text)


def test_every_part_is_there_in_order() -> None:
    text = Sheets.of(pdf(every())).text
    parts = ("title", "name", "fact", "part", "under", "said", "explained", "item", "table", "cell", "box", "boxed")
    places = [text.index(f"{part} words") for part in (*parts, "blank")]
    assert places == sorted(places)


def test_all_fonts_are_in_the_file() -> None:
    fonts = Sheets.of(pdf(every("Łódź Žluťoučký Ωμέγα Привет"))).fonts()
    assert len(fonts) >= 2  # upright and bold
    assert all(fonts.values()), fonts
    assert all("DejaVu" in name for name in fonts)


def test_no_word_is_lost_and_none_becomes_an_operator() -> None:
    found = Sheets.of(pdf(every(HOSTILE)))
    text = squeezed(found.text)
    wanted = squeezed("<script>alert(1)</script> \"'> --> ]]> &amp; {{x}} ) Tj ET ([U+0000][U+0007][U+D800] Łódź")
    assert text.count(wanted) >= 12
    # what no font here has is written as its number; where the machine has one, as itself
    assert "[U+6E2F]" in text or "港" in text
    assert not {"/OpenAction", "/AA", "/AcroForm", "/Names"} & set(found.root())
    assert all("/Annots" not in page for page in found.reader.pages)
    assert found.reader.metadata is not None
    assert "[U+0007]" in (found.reader.metadata.title or "")


def test_the_same_document_gives_the_same_bytes() -> None:
    assert pdf(every()) == pdf(every())
    assert pdf(every()) != pdf(every("others"))


def test_a_long_table_goes_on_with_its_heads_on_numbered_pages() -> None:
    rows = tuple((f"take {number}", f"{number}") for number in range(200))
    found = Sheets.of(pdf(Paper("Long", (Heading("Takes"), Table("All of them", ("which take", "count"), rows)))))
    pages = found.pages
    assert len(pages) > 3
    for place, text in enumerate(pages, 1):
        assert "which take count" in text
        assert text.endswith(f"Long page {place} of {len(pages)}") or f"page {place} of {len(pages)}" in text
    # the table begins under its heading, not on a page of its own
    assert "Takes All of them" in pages[0]
    assert "take 0 0" in pages[0]
    whole = " ".join(pages)
    assert [number for number in range(200) if f"take {number} {number}" not in whole] == []


def test_pages_are_a4_and_nothing_runs_out_of_them() -> None:
    endless = "x" * 900
    words = " ".join(["long"] * 2500)
    paper = Paper(
        endless,
        (
            Heading(endless),
            Facts(((endless, endless),)),
            Table(endless, ("take", "note", "n"), ((endless, words, "1"), ("b", endless, "2")), left=2),
            Words(endless),
        ),
    )
    found = Sheets.of(pdf(paper))
    rights: list[float] = []
    for page in found.reader.pages:
        # ISO 216: A4 is 210 by 297 mm
        assert [float(side) / 72 * 25.4 for side in page.mediabox[2:]] == pytest.approx([210, 297], abs=0.1)

        def where(text: str, _cm: list[float], tm: list[float], _font: object, size: float) -> None:
            # no letter of DejaVu Sans that is used here is wider than its size
            if text.strip():
                rights.append(tm[4] + len(text.strip()) * size * 0.55)

        page.extract_text(visitor_text=where)
    assert squeezed(found.text).count("x" * 50) > 50
    assert found.text.count("long") == 2500
    assert max(rights) < 595


def test_the_outline_has_the_parts() -> None:
    outline = Sheets.of(pdf(every())).reader.outline
    assert [one.title for one in outline if not isinstance(one, list)] == ["part words"]


def test_a_plot_keeps_its_lines_and_words() -> None:
    drawn = Sheets.of(pdf(every()))
    assert [len(page.images) for page in drawn.reader.pages] == [0]
    assert "<script>alert(1)</script>" in drawn.text  # its axis's name, turned


def test_a_plot_to_scale_is_drawn_at_its_size() -> None:
    def square(figure: Figure) -> None:
        axes = figure.add_axes((0, 0, 1, 1))
        axes.set_axis_off()
        axes.set_xlim(0, 7.1)
        axes.set_ylim(0, 2)
        axes.plot([1, 3], [1, 1], color="black")

    plot = Plot(draw=square, height_in=2.0, alt="two inches", to_scale=True)
    (page,) = Sheets.of(pdf(Paper("t", (plot,)))).reader.pages
    content = page.get_contents()
    assert content is not None
    text = content.get_data().decode("latin-1")
    lines = re.findall(r"([\d.]+) ([\d.]+) m ([\d.]+) ([\d.]+) l", text)
    lengths = [float(to_x) - float(from_x) for from_x, _, to_x, _ in lines]
    assert any(length == pytest.approx(144.0, abs=0.01) for length in lengths)  # two inches of 72 points
    assert re.search(r"\b1 0 0 1 [\d.]+ [\d.]+ cm", text)
    assert all(float(scale) == 1 for scale in re.findall(r"([\d.]+) 0 0 [\d.]+ 0 0 cm", text))
