"""Tables that are read, row by row: one look and one way for the keyboard. They refuse to be edited."""

from collections.abc import Sequence

from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QAbstractItemView, QHeaderView, QTableView, QTableWidget, QTableWidgetItem

from ui.theme import TARGET_PX


def plain_table(name: str, titles: Sequence[str]) -> QTableWidget:
    """Return an empty table with this accessible name and these titles."""
    table = QTableWidget(0, len(titles))
    table.setHorizontalHeaderLabels(list(titles))
    dress(table, name)
    return table


def dress(table: QTableView, name: str) -> None:
    """Give a table the look that all have: rows are chosen as a whole, and the tab key goes on to what is next."""
    table.setAccessibleName(name)
    table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
    table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
    table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
    table.setAlternatingRowColors(True)
    table.setWordWrap(False)
    table.setTabKeyNavigation(False)
    if (rows := table.verticalHeader()) is not None:
        rows.hide()
        rows.setDefaultSectionSize(TARGET_PX)
    if (head := table.horizontalHeader()) is not None:
        head.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        head.setResizeContentsPrecision(0)  # rows in sight decide: there may be many thousands
        head.setStretchLastSection(True)
        head.setHighlightSections(False)
        head.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)


def put_row(table: QTableWidget, row: int, cells: Sequence[str]) -> None:
    """Write the cells of a row that is there."""
    for column, words in enumerate(cells):
        table.setItem(row, column, QTableWidgetItem(words))
