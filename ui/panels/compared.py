"""A comparison of takes: the verdict, each axis's differences in units and pixels, and plots.

It refuses to judge by itself: what is measured and said is what `sequencer.takes.compare` says.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from PyQt6.QtCore import QByteArray, Qt
from PyQt6.QtGui import QResizeEvent
from PyQt6.QtSvgWidgets import QSvgWidget
from PyQt6.QtWidgets import QFrame, QScrollArea, QTableWidget, QVBoxLayout, QWidget

from sequencer.export.documents import keep
from sequencer.project.takefile import read
from sequencer.takes.compare import AxisMatch, Comparison, compare
from ui.label import Label
from ui.language import translate
from ui.panels.job import Tell
from ui.panels.tables import plain_table, put_row
from ui.theme import GAP_PX

_PAPER = "background: #ffffff;"  # the plots are drawn for print
_READING = 0.5  # of the work is reading the takes


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Compared:
    """A comparison and its plots as SVG: the picture's shift where it is known, then each axis, then the clocks."""

    paths: tuple[Path, ...]
    comparison: Comparison
    plots: tuple[str, ...]


class GivenUp(Exception):
    """Nobody wants the answer any more."""


def compared(paths: Sequence[Path], tolerance_px: float | None, tell: Tell) -> Compared:
    """Read, compare and draw takes. Error: TakeError; GivenUp when `tell` says so."""

    def step(share: float) -> None:
        if not tell(share):
            raise GivenUp

    takes = []
    for number, path in enumerate(paths):
        step(_READING * number / len(paths))
        takes.append(read(path))
    comparison = compare(takes, tolerance_px)
    step(_READING)
    # what draws takes seconds to load, and only who compares takes waits for it
    from sequencer.export.drawn import svg
    from sequencer.export.plots import axis_plot, clock_plot, shift_plot

    plots = [svg(shift_plot(comparison))] if comparison.shift is not None else []
    count = len(comparison.axes)
    for number in range(count):
        step(_READING + (1 - _READING) * number / (count + 1))
        plots.append(svg(axis_plot(comparison, number)))
    plots.append(svg(clock_plot(comparison)))
    return Compared(paths=tuple(paths), comparison=comparison, plots=tuple(plots))


def write_report(of: Compared) -> Path:
    """Write the report of a comparison beside its takes, whole or not at all; return where. Error: ExportError."""
    from sequencer.export.report import report

    stems = [path.stem for path in of.paths]
    last = [stem.rpartition("_")[2] for stem in stems[1:]]
    path = of.paths[0].with_name("-".join([stems[0], *last]) + ".html")
    keep(path, "html", report(of.comparison), force=True)
    return path


class _Plot(QSvgWidget):
    """One plot, as wide as there is room."""

    def __init__(self, svg: str) -> None:
        super().__init__()
        self.load(QByteArray(svg.encode()))
        self.setStyleSheet(_PAPER)
        self._fit()

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        super().resizeEvent(event)
        self._fit()

    def _fit(self) -> None:
        natural = self.sizeHint()
        if natural.width() > 0:
            self.setFixedHeight(round(self.width() * natural.height() / natural.width()))


class ComparedView(QWidget):
    """Empty until it is shown a comparison."""

    def __init__(self) -> None:
        super().__init__()
        self.words = Label()
        self.words.setWordWrap(True)
        self.axes = plain_table(
            translate("takes", "Differences of each axis between any two takes"),
            (
                translate("takes", "axis"),
                translate("takes", "mean"),
                translate("takes", "RMS"),
                translate("takes", "peak"),
                translate("takes", "peak at"),
                translate("takes", "peak in pixels"),
                translate("takes", "path repeatability"),
            ),
        )
        self.axes.setSelectionMode(QTableWidget.SelectionMode.NoSelection)
        self.axes.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._scroll = QScrollArea()
        self._scroll.setWidgetResizable(True)
        self._scroll.setFrameShape(QFrame.Shape.NoFrame)
        self._scroll.setAccessibleName(translate("takes", "Differences and their plots"))
        inside = QWidget()
        self._column = QVBoxLayout(inside)
        self._column.setContentsMargins(0, 0, 0, 0)
        self._column.addWidget(self.axes)
        self._plots: list[QSvgWidget] = []
        self._column.addStretch(1)
        self._scroll.setWidget(inside)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(GAP_PX)
        column.addWidget(self.words)
        column.addWidget(self._scroll, 1)
        self.clear("")

    @property
    def plots(self) -> list[QSvgWidget]:
        """The plots that are shown."""
        return list(self._plots)

    def clear(self, words: str) -> None:
        """Show nothing but a sentence."""
        self.words.setText(words)
        self.words.setVisible(bool(words))
        self._scroll.hide()

    def show_comparison(self, of: Compared) -> None:
        """Show the verdict, the table and the plots."""
        self.words.setText("\n".join([of.comparison.words, *of.comparison.notes]))
        self.words.show()
        self.axes.setRowCount(len(of.comparison.axes))
        for row, axis in enumerate(of.comparison.axes):
            put_row(self.axes, row, _cells(axis))
        head = self.axes.horizontalHeader()
        rows_px = sum(self.axes.rowHeight(row) for row in range(self.axes.rowCount()))
        self.axes.setFixedHeight(rows_px + (head.sizeHint().height() if head is not None else 0) + 2 * GAP_PX)
        for old in self._plots:
            old.setParent(None)
            old.deleteLater()
        self._plots = [_Plot(svg) for svg in of.plots]
        for place, plot in enumerate(self._plots, 1):
            self._column.insertWidget(place, plot)
        self._scroll.show()


def _cells(one: AxisMatch) -> tuple[str, ...]:
    return (
        f"{one.axis} ({one.unit})",
        _number(one.mean),
        _number(one.rms),
        _number(one.peak),
        one.peak_at or "–",
        _number(one.pixels_peak, 2),
        _number(one.path_repeatability),
    )


def _number(value: float | None, decimals: int = 4) -> str:
    return "–" if value is None else f"{value:.{decimals}f}"
