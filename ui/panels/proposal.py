"""A bar that shows what is proposed, until the operator takes it or leaves it. It refuses to hide what would change."""

from PyQt6.QtWidgets import QHBoxLayout, QPushButton, QVBoxLayout, QWidget

from ui.desk import Desk
from ui.label import Label
from ui.language import translate
from ui.theme import GAP_PX

_SHOWN = 3  # lines; the others are counted


class ProposalBar(QWidget):
    """Stands below the strip while there is a proposal, and is not there else."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self.setAccessibleName(translate("proposal", "What is proposed"))
        self._words, self._lines = Label(), Label()
        self._words.setWordWrap(True)
        self._lines.setWordWrap(True)
        self.take = QPushButton(translate("proposal", "Take it"))
        self.leave = QPushButton(translate("proposal", "Leave it"))
        for button, name, do in (
            (self.take, translate("proposal", "Take what is proposed"), desk.take_proposal),
            (self.leave, translate("proposal", "Leave what is proposed"), desk.leave_proposal),
        ):
            button.setAccessibleName(name)
            button.clicked.connect(do)
        texts = QVBoxLayout()
        texts.addWidget(self._words)
        texts.addWidget(self._lines)
        row = QHBoxLayout(self)
        row.setContentsMargins(GAP_PX, GAP_PX, GAP_PX, GAP_PX)
        row.addLayout(texts, 1)
        row.addWidget(self.take)
        row.addWidget(self.leave)
        desk.proposed.connect(self._follow)
        self._follow()

    def _follow(self) -> None:
        proposal = self._desk.proposal
        self.setVisible(proposal is not None)
        if proposal is None:
            return
        self._words.setText(
            translate("proposal", "Proposed, dashed on the timeline: {words}").format(words=proposal.words)
        )
        lines = list(proposal.lines[:_SHOWN])
        if (more := len(proposal.lines) - _SHOWN) > 0:
            lines.append(translate("proposal", "and {more} more").format(more=more))
        self._lines.setText("\n".join(lines))
        self._lines.setVisible(bool(lines))
