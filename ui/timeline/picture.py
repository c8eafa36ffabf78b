"""The timeline as it was painted last: what is scrolled is shifted, and only what changed or came in sight is painted.

It refuses to paint a part twice, and to put parts together that do not fit.
"""

from collections.abc import Iterable, Mapping, Set
from dataclasses import replace

from PyQt6.QtGui import QColor, QImage, QPainter

from ui.desk import Desk
from ui.timeline.geometry import Layout
from ui.timeline.ink import Canvas
from ui.timeline.lanes import Content, Label, Manner, labels, manner
from ui.timeline.look import Look
from ui.timeline.parts import BODY, HEAD, MUSIC, REST, RULER, WAVE, Part, Parts
from ui.timeline.roll import Roll
from ui.timeline.sheet import across_px

_FURTHEST = 0.6  # of the width, beyond which painting all of it is as quick


class Picture:
    """What the view shows, but for what moves over it: `labels` are written over the lanes, by axis."""

    def __init__(self, desk: Desk, parts: Parts) -> None:
        self._desk, self._parts = desk, parts
        self._roll: Roll | None = None
        self._drawn: tuple[Layout, object] | None = None  # the layout that is painted, and what its lines depend on
        self._stale: set[Part] = set()
        self._manners: dict[str, Manner] = {}
        self.labels: dict[str, list[Label]] = {}

    @property
    def thin(self) -> set[Part]:
        """Which lanes are painted as if in motion."""
        return {Part(BODY, axis) for axis, how in self._manners.items() if how.thin}

    def spoil(self, parts: Iterable[Part]) -> None:
        """Have these parts painted anew."""
        self._stale.update(parts)

    def forget(self) -> None:
        """Have every part painted anew."""
        self._roll = None

    def image(self) -> QImage:
        """Return the picture. It holds until the next `refresh`."""
        return QImage() if self._roll is None else self._roll.image

    def refresh(
        self, ratio: float, layout: Layout, current: str, *, moving: bool, dragged: Set[Part] = frozenset()
    ) -> None:
        """Paint what is out of date; what is `moving`, or lanes that are `dragged`, with a quick stroke.

        `current` is the axis in whose lane the keyboard is.
        """
        size = round(layout.width_px * ratio), round(layout.height_px * ratio)
        look = Look(theme=self._desk.theme, ratio=ratio)
        if self._roll is None or self._roll.size != size or self._roll.ratio != ratio:
            self._roll = Roll(*size, ratio)
            self._roll.image.fill(QColor(self._desk.theme.panel))
            self._drawn = None
        lined = self._parts.lined(look, layout)
        shift = None if self._drawn is None else _shift(self._drawn, (layout, lined), ratio)
        if shift is None:
            known = self._drawn is not None
            self._stale.update(part for part in self._parts.all(layout) if not (known and part.kind == HEAD))
        elif shift:
            self._scroll(self._roll, look, layout, shift)
        self._drawn = layout, lined
        if not self._stale:
            return
        bodies = {part for part in self._stale if part.kind == BODY}
        thin = frozenset(part.axis for part in (bodies if moving else bodies & dragged))
        look = replace(look, thin=thin)
        lanes = {}
        for number, lane in enumerate(layout.lanes):
            if Part(BODY, lane.axis) in bodies:
                what = self._parts.content(number)
                lanes[lane.axis] = what, manner(look, layout, what)
                self._manners[lane.axis] = lanes[lane.axis][1]
        self._paint(self._roll, look, layout, self._stale, across_px(layout, ratio), current, lanes)
        self._stale = set()

    def _scroll(self, roll: Roll, look: Look, layout: Layout, shift: int) -> None:
        """Shift what is painted, and paint what came in sight; what does not fit together is out of date."""
        left, end = across_px(layout, look.ratio)
        roll.shift(shift, left)
        thin = frozenset(axis for axis, how in self._manners.items() if how.thin)
        look = replace(look, thin=thin)
        self._stale.update((Part(RULER), Part(MUSIC)))
        if self._parts.worded:
            self._stale.add(Part(WAVE))
        lanes = {}
        for number, lane in enumerate(layout.lanes):
            if Part(BODY, lane.axis) in self._stale:
                continue
            what = self._parts.content(number)
            how = manner(look, layout, what)
            if how.fits and how == self._manners.get(lane.axis):
                lanes[lane.axis] = what, how
            else:
                self._stale.add(Part(BODY, lane.axis))
        others = {Part(REST), Part(WAVE)} - self._stale
        self._paint(roll, look, layout, others, (end - shift, end) if shift > 0 else (left, left - shift), "", lanes)

    def _paint(
        self,
        roll: Roll,
        look: Look,
        layout: Layout,
        parts: set[Part],
        between: tuple[int, int],
        current: str,
        lanes: Mapping[str, tuple[Content, Manner]],
    ) -> None:
        for axis, (what, _) in lanes.items():
            self.labels[axis] = labels(look, layout, layout.lanes[what.number], what)
        painter = QPainter(roll.image)
        self._parts.draw(Canvas(painter, roll.pixels, *between), look, layout, parts, current, lanes)
        painter.end()


def _shift(drawn: tuple[Layout, object], wanted: tuple[Layout, object], ratio: float) -> int | None:
    """Return by how many columns what is painted lies further right than it should; None if shifting is not enough."""
    was, now = drawn[0], wanted[0]
    if was is now:
        return 0
    if (was.px_a_s, was.width_px, was.left_px) != (now.px_a_s, now.width_px, now.left_px) or drawn[1] != wanted[1]:
        return None
    shift = (was.zero_px - now.zero_px) * ratio
    if shift != round(shift) or abs(shift) > _FURTHEST * now.width_px * ratio:
        return None
    return round(shift)
