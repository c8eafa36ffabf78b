"""The set in forms: the picture's shape, the ground, stand-in people and boxes, with all their sizes typed.

It refuses nothing that the document allows; every change goes through the desk.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from PyQt6.QtCore import QSignalBlocker, Qt
from PyQt6.QtWidgets import QComboBox, QGridLayout, QHBoxLayout, QListWidget, QPushButton, QVBoxLayout, QWidget

from sequencer.motion.standing import standing_at
from sequencer.project.stage import Box, Person, Stage, Thing
from sequencer.project.values import exact_text
from sequencer.rig.lens import framed, from_camera, height_px, lens
from sequencer.rig.pose import pose
from ui.acts.written import decimal
from ui.desk import Desk
from ui.label import Label
from ui.language import translate
from ui.panels.entry import Entry, refusal
from ui.panels.sizes import ASPECT_CHOICES, metres_text, typed_aspect, typed_metres
from ui.panels.typed import Mistyped, typed_number
from ui.theme import GAP_PX

_ACROSS = 3  # fields side by side
_AHEAD_M = 3.0  # where a new thing stands, where the rig does not say how far the subject is
_TALL_M = 1.7


@dataclass(frozen=True, slots=True)
class One:
    """A person or a box, with its place among its kind."""

    number: int
    thing: Thing


class StagePanel(QWidget):
    """Everything that the views draw of the set."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self.setAccessibleName(translate("stage", "The set"))
        lines = QVBoxLayout(self)
        lines.setSpacing(GAP_PX)
        lines.addLayout(self._picture())
        lines.addWidget(Label(translate("stage", "People and boxes, in metres from the camera at zero")))
        self.list = QListWidget()
        self.list.setAccessibleName(translate("stage", "People and boxes"))
        self.list.setMinimumHeight(84)
        self.list.currentRowChanged.connect(self._choose)
        lines.addWidget(self.list, 1)
        row = QHBoxLayout()
        self.new_person = self._button(row, translate("stage", "Add a person"), self.add_person)
        self.new_box = self._button(row, translate("stage", "Add a box"), self.add_box)
        self.copy = self._button(row, translate("stage", "Copy"), self.add_copy)
        self.remove = self._button(row, translate("stage", "Remove"), self.remove_it)
        lines.addLayout(row)
        self.entries: dict[str, Entry] = {}
        self._form = QGridLayout()
        self._form.setHorizontalSpacing(GAP_PX)
        for column in range(_ACROSS):
            self._form.setColumnStretch(column, 1)
        self._fields()
        lines.addLayout(self._form)
        self.seen = Label()
        self.seen.setWordWrap(True)
        lines.addWidget(self.seen)
        desk.placed.connect(self._look)
        desk.changed.connect(self._follow)
        desk.opened.connect(self._follow)
        desk.faced.connect(self._follow_form)
        self._follow()

    # what is there

    def ones(self) -> list[One]:
        """Return all people, and then all boxes, as they stand in the list."""
        stage = self._desk.project.stage
        people = [One(number, one) for number, one in enumerate(stage.people)]
        return people + [One(number, one) for number, one in enumerate(stage.boxes)]

    @property
    def chosen(self) -> One | None:
        """The person or box whose numbers are shown."""
        ones, row = self.ones(), self.list.currentRow()
        return ones[row] if 0 <= row < len(ones) else None

    # building

    def _picture(self) -> QGridLayout:
        """The picture's shape and the ground."""
        grid = QGridLayout()
        grid.setHorizontalSpacing(GAP_PX)
        self.shape = QComboBox()
        name = translate("stage", "Shape of the picture")
        self.shape.setAccessibleName(name)
        self.shape.addItem(translate("stage", "whole sensor"), "")
        for text in ASPECT_CHOICES:
            self.shape.addItem(text.replace("/", ":"), text)
        self.shape.activated.connect(self._take_shape)
        label = Label(name)
        label.setBuddy(self.shape)
        column = QVBoxLayout()
        column.setSpacing(2)
        column.addWidget(label)
        column.addWidget(self.shape)
        column.addStretch(1)
        grid.addLayout(column, 0, 0)
        self.aspect = Entry(
            translate("stage", "or width to height"), translate("stage", "16:9, 2.39 or 2,39:1; empty for the sensor")
        )
        self.aspect.entered.connect(self._take_aspect)
        grid.addWidget(self.aspect, 0, 1)
        self.ground = Entry(
            translate("stage", "Ground, side"), translate("stage", "Side of the square that is drawn around the origin")
        )
        self.ground.entered.connect(lambda text: self._take_ground(self.ground, "size_m", text))
        grid.addWidget(self.ground, 1, 0)
        self.cell = Entry(translate("stage", "Cell of its grid"), translate("stage", "Side of one cell"))
        self.cell.entered.connect(lambda text: self._take_ground(self.cell, "cell_m", text))
        grid.addWidget(self.cell, 1, 1)
        return grid

    def _button(self, row: QHBoxLayout, words: str, do: Callable[[], None]) -> QPushButton:
        button = QPushButton(words)
        button.setAutoDefault(False)
        button.clicked.connect(do)
        row.addWidget(button)
        return button

    def _fields(self) -> None:
        """One field for each number that a person or a box has; those of the other kind are hidden."""
        length = translate("stage", "with m, cm, mm, ft or in; metres without")
        turn = translate("stage", "degrees to the left: 0 forward, 90 left, 180 to the camera")
        for place, (name, label, hint) in enumerate(
            (
                ("name", translate("stage", "Name"), ""),
                ("x", translate("stage", "To the right"), length),
                ("y", translate("stage", "Ahead"), length),
                ("z", translate("stage", "Middle above ground"), length),
                ("across", translate("stage", "Wide"), length),
                ("deep", translate("stage", "Deep"), length),
                ("tall", translate("stage", "Tall"), length),
                ("turn", translate("stage", "Faces"), turn),
            )
        ):
            entry = Entry(label, hint)
            entry.entered.connect(lambda text, name=name: self._take(name, text))
            self.entries[name] = entry
            self._form.addWidget(entry, place // _ACROSS, place % _ACROSS, Qt.AlignmentFlag.AlignTop)

    # following the desk

    def _follow(self) -> None:
        project = self._desk.project
        texts = [_line(one.thing) for one in self.ones()]
        if texts != [item.text() for n in range(self.list.count()) if (item := self.list.item(n)) is not None]:
            row = self.list.currentRow()
            blocked = QSignalBlocker(self.list)
            self.list.clear()
            self.list.addItems(texts)
            self.list.setCurrentRow(max(0, min(row, len(texts) - 1)))
            blocked.unblock()
        text = "" if project.aspect is None else exact_text(project.aspect)
        self.shape.setCurrentIndex(self.shape.findData(text))
        self.aspect.show_text("" if project.aspect is None else text.replace("/", ":"), translate("stage", "sensor"))
        self.ground.show_text(metres_text(project.stage.ground.size_m))
        self.cell.show_text(metres_text(project.stage.ground.cell_m))
        self._follow_form()

    def _choose(self) -> None:
        """Show another one; what was typed and refused was meant for the one before."""
        for entry in self.entries.values():
            entry.line.setModified(False)
        self._follow_form()

    def _follow_form(self) -> None:
        one, free = self.chosen, not self._desk.locked
        values = {} if one is None else _values(one.thing)
        for name, entry in self.entries.items():
            entry.setVisible(name in values)
            entry.setEnabled(free)
            entry.show_text(values.get(name, ""))
        for button in (self.new_person, self.new_box):
            button.setEnabled(free)
        for button in (self.copy, self.remove):
            button.setEnabled(free and one is not None)
        for field in (self.shape, self.aspect, self.ground, self.cell):
            field.setEnabled(free)

        self._look()

    def _look(self) -> None:
        """Say how large the chosen person stands in the picture at the playhead."""
        one = self.chosen
        self.seen.setText("" if one is None or not isinstance(one.thing, Person) else self.size_now(one.thing))

    def size_now(self, person: Person) -> str:
        """Return how far ahead of the lens a person stands at the playhead, and how tall in the picture, in words."""
        desk, rig = self._desk, self._desk.project.rig
        if rig.camera is None:
            return ""
        positions = standing_at(rig, desk.shapes, desk.playhead_s)
        through, _ = lens(rig.camera, rig, positions)
        middle = np.array([person.x_m, person.y_m, person.height_m / 2])
        ahead_m = float(from_camera(pose(rig, positions), middle)[1])
        if ahead_m <= 0:
            return translate("stage", "At the playhead: behind the camera")
        tall_px = height_px(person.height_m, ahead_m, through, rig.camera.pixels[0])
        picture_px = rig.camera.pixels[0] / through.aspect * framed(through, desk.project.aspect)[1]
        words = translate(
            "stage", "At the playhead: {ahead:.2f} m ahead, {part:.0f} % of the picture's height, {px:.0f} px"
        )
        return words.format(ahead=ahead_m, part=100 * tall_px / picture_px, px=tall_px)

    # changing

    def add_person(self) -> None:
        """Put a new stand-in before the camera, and choose it."""
        number = len(self._desk.project.stage.people) + 1
        name = translate("stage", "Person {number}").format(number=number)
        self._add(Person(name=name, x_m=0.0, y_m=self._ahead_m(), height_m=_TALL_M))

    def add_box(self) -> None:
        """Put a new box on the ground before the camera, a quarter as large as it is far, and choose it."""
        ahead_m = self._ahead_m()
        side = round(ahead_m / 4, 2)
        name = translate("stage", "Box {number}").format(number=len(self._desk.project.stage.boxes) + 1)
        self._add(Box(name=name, centre_m=(0.0, ahead_m, side / 2), size_m=(side, side, side)))

    def add_copy(self) -> None:
        """Put another one like the chosen beside it, to the right, and choose it."""
        one = self.chosen
        if one is None:
            return
        if isinstance(one.thing, Person):
            self._add(replace(one.thing, x_m=round(one.thing.x_m + one.thing.height_m / 2, 6)))
        else:
            x_m, y_m, z_m = one.thing.centre_m
            self._add(replace(one.thing, centre_m=(round(x_m + 1.2 * one.thing.size_m[0], 6), y_m, z_m)))

    def remove_it(self) -> None:
        """Take the chosen one out of the set."""
        one = self.chosen
        if one is not None:
            words = translate("stage", "remove {name}").format(name=one.thing.name)
            self._edit(words, lambda stage: _with(stage, one, None))

    def _ahead_m(self) -> float:
        camera = self._desk.project.rig.camera
        return _AHEAD_M if camera is None else camera.subject_m

    def _add(self, thing: Thing) -> None:
        words = translate("stage", "add {name}").format(name=thing.name)
        if self._edit(words, lambda stage: stage.with_new(thing)):
            stage = self._desk.project.stage
            people = len(stage.people)
            self.list.setCurrentRow((people if isinstance(thing, Person) else people + len(stage.boxes)) - 1)
            self.entries["name"].line.setFocus()
            self.entries["name"].line.selectAll()

    def _edit(self, words: str, edit: Callable[[Stage], Stage]) -> bool:
        return self._desk.attempt(words, lambda project: replace(project, stage=edit(project.stage)))

    def _take(self, name: str, text: str) -> None:
        """Give the chosen thing another number, or name, as it was typed."""
        one = self.chosen
        if one is None:
            return
        words = translate("stage", "change {name}").format(name=one.thing.name)
        entry = self.entries[name]

        def act() -> None:
            thing = _changed(one.thing, name, text)
            self._edit(words, lambda stage: _with(stage, one, thing))

        entry.answer(refusal(self._desk, act))

    def _take_shape(self) -> None:
        self._set_aspect(self.shape.currentData())

    def _take_aspect(self, text: str) -> None:
        self.aspect.answer(refusal(self._desk, lambda: self._set_aspect(text)))

    def _set_aspect(self, text: str) -> None:
        aspect = typed_aspect(text)
        words = translate("stage", "the picture's shape")
        self._desk.attempt(words, lambda project: replace(project, aspect=aspect))

    def _take_ground(self, entry: Entry, name: str, text: str) -> None:
        def act() -> None:
            given = {name: typed_metres(text)}
            words = translate("stage", "change the ground")
            self._edit(words, lambda stage: replace(stage, ground=replace(stage.ground, **given)))

        entry.answer(refusal(self._desk, act))


def _line(thing: Thing) -> str:
    """Return a thing as it stands in the list."""
    if isinstance(thing, Person):
        tall = metres_text(thing.height_m)
        return translate("stage", "{name}: person, {tall} tall").format(name=thing.name, tall=tall)
    size = " × ".join(decimal(value, 3) for value in thing.size_m)
    return translate("stage", "{name}: box, {size} m").format(name=thing.name, size=size)


def _values(thing: Thing) -> dict[str, str]:
    """Return the fields that a thing has, as they are written."""
    turn = f"{decimal(thing.heading_deg, 3)}°"
    if isinstance(thing, Person):
        lengths = {"x": thing.x_m, "y": thing.y_m, "tall": thing.height_m}
    else:
        lengths = dict(zip(("x", "y", "z", "across", "deep", "tall"), (*thing.centre_m, *thing.size_m), strict=True))
    return {"name": thing.name, **{name: metres_text(value) for name, value in lengths.items()}, "turn": turn}


def _changed(thing: Thing, name: str, text: str) -> Thing:
    """Return the thing with one field as it was typed. Error: Mistyped."""
    if name == "name":
        plain = text.strip()
        if not plain or not plain.isprintable():
            raise Mistyped("write a name, so that it can be told from the others")
        return replace(thing, name=plain)
    value = typed_number(text, "deg") if name == "turn" else typed_metres(text)
    given: dict[str, Any] = {}
    if name == "turn":
        given["heading_deg"] = value
    elif isinstance(thing, Person):
        given[{"x": "x_m", "y": "y_m", "tall": "height_m"}[name]] = value
    else:
        field, places = ("centre_m", "x y z") if name in "xyz" else ("size_m", "across deep tall")
        numbers = list(getattr(thing, field))
        numbers[places.split().index(name)] = value
        given[field] = tuple(numbers)
    try:
        return replace(thing, **given)
    except ValueError as fault:
        # without the file's name of the field: this is said at the field
        raise Mistyped("{rest}", rest=str(fault).partition("; ")[2]) from fault


def _with(stage: Stage, one: One, thing: Thing | None) -> Stage:
    """Return the stage with another thing in the place of one, or with none."""
    if isinstance(one.thing, Person):
        return stage.with_person(one.number, thing if isinstance(thing, Person) else None)
    return stage.with_box(one.number, thing if isinstance(thing, Box) else None)
