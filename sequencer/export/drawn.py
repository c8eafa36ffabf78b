"""A plot as a value, and as SVG text: the same bytes for the same plot. Made to be read in print, without colour."""

import io
import re
import threading
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from html import escape
from typing import Any

import matplotlib as mpl
from matplotlib.figure import Figure

from sequencer.export.letters import shown

WIDTH_IN = 7.1  # of a page between its margins
STYLE: dict[Any, Any] = {
    "svg.fonttype": "none",
    "svg.hashsalt": "twintake",
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans", "Arial", "Helvetica", "sans-serif"],
    "font.size": 8,
    "axes.linewidth": 0.6,
    "axes.spines.top": False,
    "axes.grid": True,
    "grid.color": "#d8d8d8",
    "grid.linewidth": 0.5,
    "lines.linewidth": 1.0,
    "legend.frameon": False,
    "text.parse_math": False,
    "text.usetex": False,
    "axes.titlesize": 8,
    "axes.titlelocation": "left",
}
_ONE = threading.Lock()


@dataclass(frozen=True, slots=True, kw_only=True)
class Plot:
    """What `draw` puts on a figure as wide as a page. `alt` says it to those who do not see it.

    `to_scale`: it was drawn for its size, and must not be made larger or smaller.
    """

    draw: Callable[[Figure], None]
    height_in: float
    alt: str
    to_scale: bool = False


@contextmanager
def drawing() -> Iterator[None]:
    """Let plots look as they do here, one plot at a time: what is set for it holds in all threads of the process."""
    with _ONE, mpl.rc_context(STYLE), warnings.catch_warnings():
        # words stay words, and whoever reads them has the fonts; here they are only measured
        warnings.filterwarnings("ignore", "Glyph .* missing from font", UserWarning)
        yield


def figure(plot: Plot) -> Figure:
    """Return the plot on a figure of its own, in points. Use it inside `drawing()`."""
    drawn = Figure(figsize=(WIDTH_IN, plot.height_in), dpi=72, layout=None if plot.to_scale else "constrained")
    plot.draw(drawn)
    return drawn


def svg(plot: Plot) -> str:
    """Return the plot as an SVG element, without names that several plots in one page would share."""
    with drawing():
        written = io.StringIO()
        nothing: dict[str, str | None] = dict.fromkeys(("Creator", "Date", "Format", "Type"))
        figure(plot).savefig(written, format="svg", metadata=nothing)
    text = written.getvalue()
    text = re.sub(r' id="[a-zA-Z0-9.]+_\d+"', "", text[text.index("<svg") :])
    return text.replace("<svg", f'<svg role="img" aria-label="{escape(shown(plot.alt))}"', 1)
