"""Hand over: what others get of the project, and what it takes from their files. It refuses to show all at once."""

from typing import get_args

from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QHBoxLayout, QStackedWidget, QWidget

from ui.actions import Part
from ui.acts.files import Files
from ui.desk import Desk
from ui.language import translate
from ui.panels.fields import Picks
from ui.panels.hand_over_copy import CopyForm
from ui.panels.hand_over_export import Chosen, ExportForm
from ui.panels.hand_over_import import ImportForm
from ui.panels.hand_over_reports import PrepForm, ReportForm
from ui.theme import GAP_PX

PARTS: tuple[Part, ...] = get_args(Part)
_LIST_PX = 132


class HandOverPanel(QWidget):
    """`chosen` are the takes that are chosen in their list; `files` brings what is picked before the operator."""

    def __init__(self, desk: Desk, files: Files, chosen: Chosen) -> None:
        super().__init__()
        pick = files.picking.emit
        self.export = ExportForm(desk, pick, chosen)
        self.taken_in = ImportForm(desk, pick)
        self.report, self.prep = ReportForm(desk, pick, chosen), PrepForm(desk, pick)
        self.copy = CopyForm(desk, files, pick)
        forms: tuple[tuple[str, QWidget], ...] = (
            (translate("hand over", "Export"), self.export),
            (translate("hand over", "Import"), self.taken_in),
            (translate("hand over", "Shoot report"), self.report),
            (translate("hand over", "Prep sheet"), self.prep),
            (translate("hand over", "Copy"), self.copy),
        )
        self.list = Picks(translate("hand over", "Parts of what is handed over"))
        self.list.setFixedWidth(_LIST_PX)
        self.pages = QStackedWidget()
        for title, form in forms:
            self.list.addItem(title)
            self.pages.addWidget(form)
        row = QHBoxLayout(self)
        row.setContentsMargins(GAP_PX, GAP_PX, GAP_PX, GAP_PX)
        row.setSpacing(GAP_PX)
        row.addWidget(self.list)
        row.addWidget(self.pages, 1)
        self.list.currentRowChanged.connect(self.pages.setCurrentIndex)
        self.list.setCurrentRow(0)

    def turn_to(self, part: Part) -> None:
        """Show a part, and bring the keyboard there."""
        self.list.setCurrentRow(PARTS.index(part))
        self.list.setFocus(Qt.FocusReason.OtherFocusReason)
