"""Which MIDI messages give orders: a list, and the form of one. It refuses two orders for one message."""

from functools import partial

from msgspec import UNSET
from PyQt6.QtWidgets import QHBoxLayout, QPushButton, QWidget

from sequencer.project import amend, files
from sequencer.project.build_sync import plain_triggers
from ui.desk import Desk
from ui.language import translate
from ui.panels.fields import Field, Picks, Pull, Row, Told, attempt
from ui.panels.setup_forms import Form
from ui.panels.typed import Times, typed_instant, typed_number

MESSAGES = ("note", "program")


class TriggersForm(Form):
    """The list of mapped messages. What is written in the form is added, or takes the place of the chosen one."""

    def __init__(self, desk: Desk) -> None:
        words = translate(
            "setup",
            "A trigger can only start, place and choose what was armed at this machine; a stop is always obeyed.",
        )
        super().__init__(desk, translate("setup", "Triggers"), words)
        means = translate("setup", "Our number for MIDI Machine Control, 0 to 126; empty obeys every number.")
        self.device = Field(desk, translate("setup", "Device number"), self._device, means)
        self.list = Picks(translate("setup", "Messages that give orders"))
        self.list.setMaximumHeight(140)
        self.list.currentRowChanged.connect(self._chosen)
        self.fault = Told(desk, fault=True)
        self.fault.hide()
        buttons, row = QWidget(), QHBoxLayout()
        row.setContentsMargins(0, 0, 0, 0)
        buttons.setLayout(row)
        self.add = QPushButton(translate("setup", "Add"))
        self.replace = QPushButton(translate("setup", "Replace"))
        self.remove = QPushButton(translate("setup", "Remove"))
        self.add.setToolTip(translate("setup", "Add this as a new trigger"))
        self.replace.setToolTip(translate("setup", "Put this in the place of the chosen trigger"))
        self.remove.setToolTip(translate("setup", "Remove the chosen trigger"))
        for button, do in (
            (self.add, partial(self._put, None)),
            (self.replace, self._replace),
            (self.remove, self._remove),
        ):
            button.setAccessibleName(button.toolTip())
            button.setAutoDefault(False)
            button.clicked.connect(lambda _, do=do: self.fault.tell(attempt(lambda _: do(), None)))
            row.addWidget(button)
        row.addStretch(1)
        self.put(self.device, self.list, *self._fields(), buttons, self.fault)
        self.follow()

    def _fields(self) -> tuple[Row, ...]:
        desk = self.desk
        means = translate("setup", "A note on, or a program change.")
        self.message = Pull(desk, translate("setup", "Message"), MESSAGES, self._nothing, means)
        means = translate("setup", "0 to 127, as on the wire.")
        self.number = Field(desk, translate("setup", "Number"), self._nothing, means)
        means = translate("setup", "1 to 16; empty is any.")
        self.channel = Field(desk, translate("setup", "Channel"), self._nothing, means)
        orders = [
            translate("setup", "start"),
            translate("setup", "stop clock"),
            translate("setup", "stop rig"),
            translate("setup", "locate"),
            translate("setup", "cue"),
            translate("setup", "mark"),
        ]
        means = translate("setup", "Stop rig stops the rig, latched. The others move our own clock, or go there.")
        self.order = Pull(desk, translate("setup", "Does"), orders, self._nothing, means)
        means = translate("setup", "Its name; for cue and mark only.")
        self.name = Field(desk, translate("setup", "Cue or marker"), self._nothing, means)
        means = translate("setup", "A timecode; for locate only.")
        self.at = Field(desk, translate("setup", "Place"), self._nothing, means)
        return self.message, self.number, self.channel, self.order, self.name, self.at

    def follow(self) -> None:
        device = self.desk.project.triggers.mmc_device
        self.device.show_text("" if device is None else str(device))
        row = self.list.currentRow()
        texts = [_told(one) for one in self._written()]
        if texts != self.list.texts():
            self.list.blockSignals(True)
            self.list.clear()
            self.list.addItems(texts)
            self.list.setCurrentRow(min(row, len(texts) - 1))
            self.list.blockSignals(False)
        chosen = 0 <= self.list.currentRow() < len(texts)
        self.replace.setEnabled(chosen)
        self.remove.setEnabled(chosen)

    def _written(self) -> list[files.MidiTriggerFile]:
        midi = plain_triggers(self.desk.project.triggers, self.desk.project.timebase).midi
        return midi if isinstance(midi, list) else []

    def _chosen(self, row: int) -> None:
        there = self._written()
        self.follow()
        if not 0 <= row < len(there):
            return
        one = there[row]
        is_note = one.note is not UNSET
        self.message.show_place(MESSAGES.index("note" if is_note else "program"))
        self.number.show_anew(str(one.note if is_note else one.program))
        self.channel.show_anew("" if one.channel is UNSET else str(one.channel))
        self.order.show_place(files.ORDERS.index(one.do))
        self.name.show_anew("" if one.name is UNSET else str(one.name))
        self.at.show_anew("" if one.at is UNSET else str(one.at))

    def _nothing(self, _: object) -> None:
        """What is typed counts with a button."""

    def _device(self, text: str) -> None:
        device = _whole(text) if text.strip() else None
        self.edit(translate("setup", "device number"), lambda now: amend.with_device(now, device))

    def _put(self, place: int | None) -> None:
        number, do = _whole(self.number.line.text()), files.ORDERS[self.order.box.currentIndex()]
        is_note = self.message.box.currentIndex() == 0
        channel, name, at = (field.line.text().strip() for field in (self.channel, self.name, self.at))
        label = ""
        if do == "locate" and at:
            project = self.desk.project
            label = str(
                project.timebase.label(typed_instant(at, Times(timebase=project.timebase, tempo=project.tempo)))
            )
        written = files.MidiTriggerFile(
            note=number if is_note else UNSET,
            program=UNSET if is_note else number,
            channel=_whole(channel) if channel else UNSET,
            do=do,
            name=name if name and do in ("cue", "mark") else UNSET,
            at=label or UNSET,
        )
        self.edit(translate("setup", "trigger"), lambda now: amend.with_mapped(now, place, written))
        if place is None:
            self.list.setCurrentRow(self.list.count() - 1)

    def _replace(self) -> None:
        self._put(self.list.currentRow())

    def _remove(self) -> None:
        row = self.list.currentRow()
        self.edit(translate("setup", "remove a trigger"), lambda now: amend.with_mapped(now, row, None))


def _whole(text: str) -> int:
    value = typed_number(text)
    if value != int(value):
        words = translate("setup", "“{text}” is no whole number; write one like 60")
        raise ValueError(words.format(text=text.strip()))
    return int(value)


def _told(one: files.MidiTriggerFile) -> str:
    message = f"note {one.note}" if one.note is not UNSET else f"program {one.program}"
    channel = "" if one.channel is UNSET else f", channel {one.channel}"
    what = one.name if one.name is not UNSET else one.at if one.at is not UNSET else ""
    return f"{message}{channel}: {one.do} {what}".rstrip()
