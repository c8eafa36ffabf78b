"""Keys under the mouse: a click chooses, a drag moves the chosen ones in time, in value, or both.

It refuses to move a pinned key, to change the order of keys, and to leave the axis's travel; each is said once a drag.
"""

from fractions import Fraction
from math import floor, hypot, log10

from sequencer.score.edits.snap import Lines
from ui.acts.carry import Carry, carry
from ui.acts.grids import lines
from ui.acts.keys import many, pinned_words, some_stay_words
from ui.desk import Desk
from ui.language import translate
from ui.timeline.geometry import Hit
from ui.timeline.gesture import START_PX, Pointer, Scene, snapped

_SWAY_PX = 6.0  # a direction counts once the pointer has gone so far in it


class KeyGesture:
    """From the press on a key to its release. Time moves all chosen keys, value those of the axis that is held."""

    def __init__(self, desk: Desk, scene: Scene, hit: Hit, start: Pointer, anchor: Hit | None) -> None:
        self._desk = desk
        self._scene = scene
        self._hit = hit
        self._start = start
        self._start_s = scene.layout_now().t_s(start.x_px)
        self._at_click: dict[str, frozenset[int]] | None = None
        self._carry: Carry | None = None
        self._grid: Lines | None = None
        self._over = False  # the document changed otherwise, or nothing may move
        self._begun = False
        self._sideways = self._upward = False
        self._last: tuple[Fraction, float] | None = None
        self._told = False
        self._choose(anchor)

    def _choose(self, anchor: Hit | None) -> None:
        hit, before = self._hit, {axis: frozenset(own) for axis, own in self._desk.selection.items()}
        own = before.get(hit.axis, frozenset())
        if self._start.extend and anchor is not None and anchor.axis == hit.axis:
            first, last = sorted((anchor.key, hit.key))
            self._desk.select({**before, hit.axis: own | frozenset(range(first, last + 1))})
        elif self._start.more or self._start.extend:
            if hit.key in own and self._start.more:
                self._at_click = {**before, hit.axis: own - {hit.key}}
            self._desk.select({**before, hit.axis: own | {hit.key}})
        elif hit.key in own:
            self._at_click = {hit.axis: frozenset({hit.key})}
        else:
            self._desk.select({hit.axis: frozenset({hit.key})})

    def move(self, now: Pointer) -> None:
        """Carry the chosen keys to where the pointer is."""
        across, down = now.x_px - self._start.x_px, now.y_px - self._start.y_px
        if not self._begun:
            if hypot(across, down) < START_PX:
                return
            self._begun = True
            self._begin()
        carried = self._carry
        if carried is None or self._over or self._is_stale():
            return
        self._sideways = self._sideways or abs(across) >= _SWAY_PX
        self._upward = self._upward or abs(down) >= _SWAY_PX
        in_time, in_value = self._sideways, self._upward
        if now.extend:
            in_time, in_value = abs(across) >= abs(down), abs(across) < abs(down)
        asked_frames, on_line = self._frames(now) if in_time else (Fraction(0), False)
        asked_value = self._value(now) if in_value else 0.0
        frames, value = carried.within(asked_frames, asked_value)
        if not carried.valued:
            value = 0.0
        self._tell(asked_frames != frames, asked_value != value)
        if (frames, value) != self._last:
            self._last = (frames, value)
            self._desk.draft(carried.moved(frames, value))
        self._show_line(on_line and asked_frames == frames, frames)

    def release(self, now: Pointer) -> None:
        """End the drag as one step; without a drag it was a click."""
        self._scene.show_snap(None)
        if not self._begun:
            if self._at_click is not None:
                self._desk.select(self._at_click)
            return
        if self._last is not None and not self._over and not self._is_stale():
            self._desk.settle(translate("timeline", "move {keys}").format(keys=many(self._desk)))

    def abandon(self) -> None:
        """Put the keys back; they stay chosen."""
        self._scene.show_snap(None)
        if self._last is not None and not self._over and not self._is_stale():
            self._desk.abandon()
        self._over = True

    def _begin(self) -> None:
        desk = self._desk
        self._over = True
        if desk.locked:
            desk.note(desk.locked, "refused")
            return
        self._document = desk.history.now
        self._lane = self._scene.layout_now().lane(self._hit.axis)
        track = desk.track(self._hit.axis)
        if track is None or self._hit.key >= len(track.keys):
            return
        self._key = track.keys[self._hit.key]
        self._carry = carry(self._document, desk.selection, desk.laws, (self._hit.axis,))
        if self._key.pin or not self._carry.timed:
            desk.note(pinned_words(), "refused")
            return
        try:
            self._grid = lines(desk, self._hit.axis)
        except ValueError as fault:
            desk.note(str(fault))
        if self._carry.stays:
            desk.note(some_stay_words().format(count=self._carry.stays))
        self._over = False

    def _is_stale(self) -> bool:
        """Whether the document is another than at the press: an undo, or a lock, came between."""
        return self._desk.history.now is not self._document or bool(self._desk.locked)

    def _frames(self, now: Pointer) -> tuple[Fraction, bool]:
        layout, rate = self._scene.layout_now(), self._desk.project.timebase.rate
        shift_s = layout.t_s(now.x_px) - self._start_s  # the view may have gone on meanwhile
        at = round(self._key.at + rate.frames(Fraction(shift_s)), 3)
        on_line = False
        if not now.free:
            at, on_line = snapped(self._desk, layout, self._grid, at)
        return at - self._key.at, on_line

    def _value(self, now: Pointer) -> float:
        """Return by how much the value changes: to as many decimals as a pixel tells apart."""
        a_px = (self._lane.high - self._lane.low) / self._lane.height_px
        stands = self._key.value + (self._start.y_px - now.y_px) * a_px
        return round(stands, max(0, -floor(log10(a_px)))) - self._key.value

    def _tell(self, in_time: bool, in_value: bool) -> None:
        if self._told or not (in_time or in_value):
            return
        self._told = True
        if in_time:
            self._desk.note(translate("timeline", "keys stop beside the one that stays: they keep their order"))
        elif self._carry is not None and not self._carry.valued:
            self._desk.note(translate("timeline", "the value stays: the key rests beside a pinned one"))
        else:
            words = translate("timeline", "{axis} stops at the end of its travel")
            self._desk.note(words.format(axis=self._hit.axis))

    def _show_line(self, on_line: bool, frames: Fraction) -> None:
        rate = self._desk.project.timebase.rate
        self._scene.show_snap(float(rate.seconds(self._key.at + frames)) if on_line else None)
