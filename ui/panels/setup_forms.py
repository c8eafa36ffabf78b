"""The forms of the project itself: its name and time, its playback, what lies between sources and picture, its camera.

They refuse what the files could not hold, at the field; each change is one step that can be undone.
"""

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from functools import partial

from PyQt6.QtCore import Qt
from PyQt6.QtGui import QShowEvent
from PyQt6.QtWidgets import QPushButton, QVBoxLayout, QWidget

from sequencer.project import amend
from sequencer.project.document import SYNC_SOURCES, Project
from sequencer.rig.axis import Camera
from sequencer.timebase.rate import RATES
from ui.acts.written import decimal
from ui.desk import Desk
from ui.language import translate
from ui.panels.fields import Field, Heading, Pull, Row, Tick, Told, attempt, change
from ui.panels.typed import Mistyped, Times, typed_instant, typed_number
from ui.theme import GAP_PX

KEEPING: tuple[amend.Keeping, ...] = ("labels", "distance")
SCALING: tuple[amend.Scaling, ...] = ("seconds", "frames")
_FIRST_CAMERA = Camera(sensor_mm=(24.9, 14.0), pixels=(3840, 2160), focal_mm=35.0, subject_m=3.0)


class Form(QWidget):
    """A heading with rows below it, which follow the document."""

    def __init__(self, desk: Desk, title: str, words: str = "") -> None:
        super().__init__()
        self.desk = desk
        self._lines = QVBoxLayout(self)
        self._lines.setContentsMargins(0, 0, 0, 0)
        self._lines.setSpacing(GAP_PX)
        self._lines.addWidget(Heading(title))
        if words:
            self._lines.addWidget(Told(desk, words))
        desk.changed.connect(self._changed)

    def _changed(self) -> None:
        if self.isVisible():  # a drag changes the document with every frame
            self.follow()

    def showEvent(self, event: QShowEvent | None) -> None:
        self.follow()
        super().showEvent(event)

    def put(self, *rows: QWidget) -> None:
        """Put these below what is there."""
        for row in rows:
            if isinstance(row, QPushButton):
                row.setMinimumWidth(200)
                self._lines.addWidget(row, 0, Qt.AlignmentFlag.AlignLeft)
            else:
                self._lines.addWidget(row)

    def edit(self, words: str, edit: Callable[[Project], Project]) -> None:
        """Change the document. Error: what `edit` raises."""
        change(self.desk, words, edit)

    def follow(self) -> None:
        """Show what the document has."""
        raise NotImplementedError


class ProjectForm(Form):
    """Name, rate and start."""

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk, translate("setup", "Project"))
        self.name = Field(
            desk, translate("setup", "Name"), self._name, translate("setup", "What reports and takes call it.")
        )
        means = translate("setup", "Frames a second of the camera and of the timecode. The start keeps its label.")
        self.rate = Pull(desk, translate("setup", "Rate"), list(RATES), self._rate, means)
        means = translate("setup", "Labels are left out so that timecode stays with the clock.")
        self.drop = Tick(desk, translate("setup", "Drop-frame"), self._drop, means)
        self.scaling = Pull(
            desk,
            translate("setup", "Another rate keeps"),
            [translate("setup", "seconds"), translate("setup", "frame numbers")],
            lambda _: self.follow(),
            "",
        )
        means = translate("setup", "The timecode at which the project's own time begins.")
        self.start = Field(desk, translate("setup", "Start"), self._start, means)
        self.keeping = Pull(
            desk,
            translate("setup", "Another start keeps"),
            [translate("setup", "timecode"), translate("setup", "distance")],
            lambda _: self.follow(),
            "",
        )
        self.put(self.name, self.scaling, self.rate, self.drop, self.keeping, self.start)
        self.follow()

    def follow(self) -> None:
        timebase = self.desk.project.timebase
        self.name.show_text(self.desk.project.name)
        if not self.rate.fault.text() or self.rate.box.currentText() == str(timebase.rate):
            self.rate.show_place(list(RATES).index(str(timebase.rate)))
        self.drop.show_tick(timebase.counting.drop)
        self.drop.box.setEnabled(timebase.counting.drop or timebase.rate.nominal in (30, 60))
        self.start.show_text(str(timebase.start))
        scaled = (
            translate("setup", "Every key stays at its second: the motion and the music stay as they are, and keys may "
                      "fall between frames."),
            translate("setup", "Every key keeps its frame: the move gets faster or slower, and may leave the music."),
        )  # fmt: skip
        self.scaling.means.tell(scaled[self.scaling.box.currentIndex()])
        kept = (
            translate("setup", "Keys, cues, markers and music stay at their timecode; only the zero is elsewhere."),
            translate("setup", "Everything moves along with the start, and has another timecode then."),
        )
        self.keeping.means.tell(kept[self.keeping.box.currentIndex()])

    def _name(self, text: str) -> None:
        self.edit(translate("setup", "name of the project"), lambda project: amend.renamed(project, text))

    def _start(self, text: str) -> None:
        keeping = KEEPING[self.keeping.box.currentIndex()]
        self.edit(translate("setup", "start of the project"), lambda project: amend.started(project, text, keeping))

    def _rate(self, place: int) -> None:
        rate = list(RATES.values())[place]
        old = self.desk.project.timebase.counting
        drop = old.drop and rate.nominal in (30, 60) and rate.den == 1001
        self._count(partial(amend.at_rate, rate=rate, drop=drop))

    def _drop(self, ticked: bool) -> None:
        self._count(partial(amend.at_rate, rate=self.desk.project.timebase.rate, drop=ticked))

    def _count(self, edit: Callable[..., Project]) -> None:
        scaling = SCALING[self.scaling.box.currentIndex()]
        self.edit(translate("setup", "rate of the project"), lambda project: edit(project, scaling=scaling))


class PlaybackForm(Form):
    """The audio file and where it begins. `choose` has a file chosen."""

    def __init__(self, desk: Desk, choose: Callable[[], None]) -> None:
        super().__init__(desk, translate("setup", "Playback"))
        self.choose = QPushButton(translate("setup", "Choose audio…"))
        self.choose.clicked.connect(lambda _: choose())
        self.file = Row(desk, translate("setup", "File"), self.choose, "", "")
        means = translate("setup", "Where its first sample is heard: a timecode, or 5.5 s, or bar 3.")
        self.at = Field(desk, translate("setup", "Begins at"), self._at, means)
        self.remove = QPushButton(translate("setup", "Remove"))
        self.remove.clicked.connect(lambda _: self.file.fail(attempt(self._remove, None)))
        means = translate("setup", "The file stays in the folder.")
        self.gone = Row(desk, translate("setup", "No playback"), self.remove, "", means)
        self.put(self.file, self.at, self.gone)
        self.follow()

    def follow(self) -> None:
        playback = self.desk.project.playback
        none = translate("setup", "None. Audio is copied into the project folder; it can be dropped on the window too.")
        self.file.means.tell(none if playback is None else playback.file)
        self.at.setEnabled(playback is not None)
        self.remove.setEnabled(playback is not None)
        at = "" if playback is None else str(self.desk.project.timebase.label(playback.at))
        self.at.show_text(at)

    def _at(self, text: str) -> None:
        project = self.desk.project
        here = None if project.playback is None else project.playback.at
        at = typed_instant(text, Times(timebase=project.timebase, tempo=project.tempo, here=here))
        self.edit(translate("setup", "place of the playback"), lambda now: amend.played(now, at))

    def _remove(self, _: None) -> None:
        self.edit(translate("setup", "remove the playback"), lambda now: replace(now, playback=None))


class SyncForm(Form):
    """An offset for each source."""

    def __init__(self, desk: Desk) -> None:
        words = translate(
            "setup",
            "What lies between a source's time and the picture. Frames are added to what it says: above zero the move "
            "comes earlier. Late is how long its time takes to arrive: measure it with a loop, or film a marked move "
            "against a flash.",
        )
        super().__init__(desk, translate("setup", "Sync offsets"), words)
        self.fields: dict[str, tuple[Field, Field]] = {}
        names = {
            "mtc": translate("setup", "MTC"),
            "ltc": translate("setup", "LTC"),
            "audio": translate("setup", "own audio"),
            "clock": translate("setup", "MIDI clock"),
        }
        for source in SYNC_SOURCES:
            name = names.get(source, source)
            frames = Field(desk, f"{name}: {translate('setup', 'frames')}", partial(self._take, source, "frames"), "")
            late = Field(desk, f"{name}: {translate('setup', 'late')}", partial(self._take, source, "late"), "", "ms")
            self.fields[source] = (frames, late)
            self.put(frames, late)
        self.follow()

    def follow(self) -> None:
        there = {one.source: one for one in self.desk.project.sync}
        for source, (frames, late) in self.fields.items():
            one = there.get(source)
            frames.show_text("0" if one is None else decimal(one.frames))
            late.show_text("0" if one is None else decimal(one.delay_ms))

    def _take(self, source: str, what: str, text: str) -> None:
        one = next((one for one in self.desk.project.sync if one.source == source), None)
        frames, delay_ms = (Fraction(0), 0.0) if one is None else (one.frames, one.delay_ms)
        if what == "frames":
            frames = Fraction(round(Fraction(typed_number(text, "f")) * 10**9), 10**9)
        else:
            delay_ms = typed_number(text, "ms")
        words = translate("setup", "sync offset of {source}").format(source=source)
        self.edit(words, lambda project: amend.with_offset(project, source, frames, delay_ms))


class CameraForm(Form):
    """The camera: what turns a difference of an axis into pixels, and what the lens view shows."""

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk, translate("setup", "Camera"))
        means = translate("setup", "The lens view and the comparison of takes in pixels need one.")
        self.there = Tick(desk, translate("setup", "Camera"), self._there, means)
        self.fields: dict[str, Field] = {}
        frame = translate("setup", "Of the recorded frame.")
        for name, label, unit, why in (
            (
                "width_mm",
                translate("setup", "Sensor width"),
                "mm",
                translate("setup", "Of the part that this format uses."),
            ),
            (
                "height_mm",
                translate("setup", "Sensor height"),
                "mm",
                translate("setup", "The camera's manual has both."),
            ),
            ("wide_px", translate("setup", "Pixels across"), "px", frame),
            ("high_px", translate("setup", "Pixels up"), "px", frame),
            ("focal_mm", translate("setup", "Focal length"), "mm", translate("setup", "As it is written on the lens.")),
            ("subject_m", translate("setup", "Subject distance"), "m", translate("setup", "From lens to subject.")),
        ):
            self.fields[name] = Field(desk, label, partial(self._take, name), why, unit)
        self.put(self.there, *self.fields.values())
        self.follow()

    def follow(self) -> None:
        camera = self.desk.project.rig.camera
        self.there.show_tick(camera is not None)
        shown = {} if camera is None else _camera_fields(camera)
        for name, field in self.fields.items():
            field.setEnabled(camera is not None)
            field.show_text(decimal(shown[name]) if name in shown else "")

    def _there(self, ticked: bool) -> None:
        camera = _FIRST_CAMERA if ticked else None
        self.edit(translate("setup", "camera"), lambda project: amend.with_camera(project, camera))

    def _take(self, name: str, text: str) -> None:
        camera = self.desk.project.rig.camera
        if camera is None:
            return
        value = typed_number(text, {"mm": "mm", "px": "px", "_m": "m"}[name[-2:]])
        fields = _camera_fields(camera) | {name: value}
        if name.endswith("px") and value != int(value):
            raise Mistyped("pixels are whole; write a whole number")
        changed = replace(
            camera,
            sensor_mm=(fields["width_mm"], fields["height_mm"]),
            pixels=(int(fields["wide_px"]), int(fields["high_px"])),
            focal_mm=fields["focal_mm"],
            subject_m=fields["subject_m"],
        )
        self.edit(translate("setup", "camera"), lambda project: amend.with_camera(project, changed))


def _camera_fields(camera: Camera) -> dict[str, float]:
    width_mm, height_mm = camera.sensor_mm
    wide_px, high_px = camera.pixels
    return {
        "width_mm": width_mm,
        "height_mm": height_mm,
        "wide_px": wide_px,
        "high_px": high_px,
        "focal_mm": camera.focal_mm,
        "subject_m": camera.subject_m,
    }
