"""The ports of this machine, as the operator asks for them: what each is good for. It opens none."""

from PyQt6.QtWidgets import QPlainTextEdit, QPushButton

from sequencer.shell.listen import Group, machine
from ui.acts.working import Worker
from ui.desk import Desk
from ui.language import translate
from ui.panels.setup_forms import Form


class PortsForm(Form):
    """A list that is made when it is asked for, by a worker: a sound server may take its time."""

    def __init__(self, desk: Desk) -> None:
        words = translate(
            "setup", "What is plugged in now. Sources and outputs of a run are chosen in the face for running."
        )
        super().__init__(desk, translate("setup", "Ports"), words)
        self._worker = Worker(self)
        self.look = QPushButton(translate("setup", "Look again"))
        self.look.setAutoDefault(False)
        self.look.setAccessibleName(translate("setup", "Look for ports again"))
        self.look.clicked.connect(lambda _: self.refresh())
        self.text = QPlainTextEdit()
        self.text.setReadOnly(True)
        self.text.setTabChangesFocus(True)
        self.text.setMinimumHeight(260)
        self.text.setAccessibleName(translate("setup", "Ports of this machine"))
        self.put(self.look, self.text)

    def follow(self) -> None:
        """Ports are none of the document's."""

    def refresh(self) -> None:
        """Look what there is."""
        if not self._worker.at_work:
            self.look.setEnabled(False)
            self._worker.do("", machine, self._found, self._failed)

    def _found(self, groups: tuple[Group, ...]) -> None:
        self.look.setEnabled(True)
        self.text.setPlainText(listed(groups))

    def _failed(self, fault: Exception) -> None:
        self.look.setEnabled(True)
        self.text.setPlainText(str(fault))


def listed(groups: tuple[Group, ...]) -> str:
    """Return the ports as text, one group after the other."""
    lines = []
    for group in groups:
        lines.append(group.title)
        lines += [f"    {port.name}: {port.good_for}" for port in group.ports]
        lines += [f"    {group.missing}"] if group.missing else []
        lines.append("")
    return "\n".join(lines).rstrip()
