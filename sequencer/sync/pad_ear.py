"""What game controllers tell: each axis with its name or number, and the buttons that are held.

It drives nothing.
"""

from sequencer.sync.facts import Fact, Facts, shown
from sequencer.wire.pad import AXES, BUTTONS, PadRow, unpacked

_MOVED = 0.01  # less is the noise of a stick that nobody touches


class PadEar:
    """Hears rows of pads: for each pad how its sticks stand, and its buttons, counted as they change."""

    def __init__(self) -> None:
        self._pads: dict[int, _PadFacts] = {}
        self._others = Facts()

    def feed(self, stamp_ns: int, data: bytes) -> None:
        try:
            row = unpacked(data)
        except ValueError as fault:
            self._others.add("no row of a pad", f"{fault}: {shown(data)}", stamp_ns, wrong=True)
            return
        self._pads.setdefault(row.pad, _PadFacts()).feed(stamp_ns, row)

    def facts(self, now_ns: int) -> tuple[Fact, ...]:
        return (*(fact for pad in self._pads.values() for fact in pad.facts()), *self._others.all())


class _PadFacts:
    """What one pad has said, and how often it has changed."""

    def __init__(self) -> None:
        self._row = PadRow(0, "", here=False)
        self._stood: tuple[float, ...] | None = None  # as it was counted last
        self._moves = self._presses = 0
        self._moved_ns = self._pressed_ns = 0
        self._last = ""

    def feed(self, stamp_ns: int, row: PadRow) -> None:
        pressed = row.buttons - self._row.buttons
        if row.buttons != self._row.buttons:
            self._presses += len(pressed)
            self._pressed_ns = stamp_ns
        if pressed:
            self._last = _held(row, pressed)
        if row.here != self._row.here or self._stood is None or _differ(row.axes, self._stood):
            self._moves += 1
            self._moved_ns = stamp_ns
            self._stood = row.axes
        self._row = row

    def facts(self) -> tuple[Fact, ...]:
        row = self._row
        number = row.pad + 1  # people count from 1
        title = f"pad {number} ({row.name})"
        if not row.here:
            return (Fact(what=title, words="is gone", count=self._moves, at_ns=self._moved_ns, wrong=True),)
        parts = {_axis(row, place): round(part, 2) + 0.0 for place, part in enumerate(row.axes)}  # no minus zero
        stands = ", ".join(f"{name} {part:.2f}" for name, part in parts.items()) or "it has no axes"
        sticks = Fact(
            what=title, words=stands, count=self._moves, at_ns=self._moved_ns, values={"pad": number, **parts}
        )
        held = _held(row, row.buttons)
        words = f"held: {held or 'none'}{f'; pressed last: {self._last}' if self._last else ''}"
        buttons = Fact(
            what=f"pad {number} buttons",
            words=words,
            count=self._presses,
            at_ns=self._pressed_ns or self._moved_ns,
            values={"pad": number, "held": held, "pressed_last": self._last},
        )
        return sticks, buttons


def _differ(one: tuple[float, ...], other: tuple[float, ...]) -> bool:
    return len(one) != len(other) or any(abs(a - b) > _MOVED for a, b in zip(one, other, strict=True))


def _axis(row: PadRow, number: int) -> str:
    return AXES[number] if row.known and number < len(AXES) else f"axis {number}"


def _held(row: PadRow, buttons: frozenset[int]) -> str:
    return ", ".join(
        BUTTONS[number] if row.known and number < len(BUTTONS) else f"button {number}" for number in sorted(buttons)
    )
