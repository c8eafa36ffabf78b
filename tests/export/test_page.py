"""A document as HTML: complete in itself, safe with any words, in order for those who hear it."""

import re
import warnings
from concurrent.futures import ThreadPoolExecutor

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.figure import Figure

from sequencer.export.drawn import Plot, svg
from sequencer.export.letters import shown
from sequencer.export.page import page
from sequencer.export.paper import Blanks, Boxed, Facts, Heading, Items, Paper, Table, Words, number
from tests.export.reading import Page

HOSTILE = "<script>alert(1)</script> \"'> --> ]]> &amp; {{x}} ) Tj ET (\x00\x07\ud800 Łódź 港"


def line(figure: Figure) -> None:
    axes = figure.subplots()
    axes.plot(np.arange(5.0), np.arange(5.0) ** 2)
    axes.set_ylabel(HOSTILE.replace("\x00", "").replace("\x07", "").replace("\ud800", ""))


def every(words: str = "words") -> Paper:
    """One of each part that a document may have."""
    return Paper(
        f"title {words}",
        (
            Facts(((f"name {words}", f"fact {words}"),)),
            Heading(f"part {words}"),
            Heading(f"under {words}", level=3),
            Words(f"said {words}\nnext line"),
            Words(f"explained {words}", small=True),
            Items((f"item {words}", "another")),
            Table(f"table {words}", ("left", "right"), ((f"cell {words}", "1.5"), ("b", "−2.5"))),
            Boxed(f"box {words}", (f"boxed {words}",), "match"),
            Boxed("", ("caution",)),
            Blanks((f"blank {words}",)),
            Plot(draw=line, height_in=2.0, alt=f"plot {words}"),
        ),
    )


def test_every_part_is_there_in_order() -> None:
    text = Page(page(every())).text
    parts = ("title", "name", "fact", "part", "under", "said", "explained", "item", "table", "cell", "box", "boxed")
    places = [text.index(f"{part} words") for part in (*parts, "blank")]
    assert places == sorted(places)


def test_it_is_in_order_for_those_who_hear_it() -> None:
    found = Page(page(every()))
    assert found.all("html") == [{"lang": "en"}]
    assert [len(found.all(tag)) for tag in ("title", "main", "h1", "h2", "h3", "caption")] == [1] * 6
    assert all(head["scope"] == "col" for head in found.all("th"))
    (drawn,) = found.all("svg")
    assert drawn["role"] == "img"
    assert drawn["aria-label"] == "plot words"


def test_no_word_becomes_markup() -> None:
    written = page(every(HOSTILE))
    found = Page(written)
    written.encode()  # half a character would not be
    tags = {tag for tag, _ in found.elements}
    assert not tags & {"script", "link", "img", "iframe", "object", "embed", "base", "image", "form", "b"}
    assert found.text.count("<script>alert(1)</script>") >= 13
    assert found.text.count("[U+0000][U+0007][U+D800] Łódź 港") >= 13


def test_plots_of_many_threads_are_the_same_and_leave_the_process_as_it_was() -> None:
    plot = Plot(draw=line, height_in=2.0, alt="plot")
    settings, filters = dict(mpl.rcParams), list(warnings.filters)
    with ThreadPoolExecutor(4) as threads:
        drawn = list(threads.map(svg, [plot] * 12))
    assert len(set(drawn)) == 1
    assert dict(mpl.rcParams) == settings
    assert list(warnings.filters) == filters


def test_it_needs_nothing_from_anywhere_and_nothing_runs() -> None:
    written = page(every(HOSTILE))
    for _, attributes in Page(written).elements:
        for name, value in attributes.items():
            assert not name.startswith("on")
            if name in ("src", "href", "xlink:href", "data", "action"):
                assert (value or "").startswith("#")
    assert re.findall(r"url\((?!#)|@import|<!ENTITY|SYSTEM|javascript:", written) == []


def test_the_same_document_gives_the_same_bytes() -> None:
    assert page(every()) == page(every())


def test_a_row_that_does_not_fit_its_heads_is_a_fault() -> None:
    with pytest.raises(ValueError, match="'table' has not as many cells"):
        Table("table", ("a", "b"), (("1",),))


def test_numbers_have_a_true_minus_and_none_on_what_rounds_to_zero() -> None:
    assert [number(-1.5, 1), number(-0.00001), number(None)] == ["−1.5", "0.0000", "–"]
    assert shown("a\tb\r\n") == "a b \n"
