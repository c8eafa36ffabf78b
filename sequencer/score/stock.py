"""What a timelapse asks of card and battery, and by which frame one of them is at its end. It measures nothing."""

from dataclasses import dataclass, fields
from fractions import Fraction

from sequencer.score.interval import Plan


@dataclass(frozen=True, slots=True, kw_only=True)
class Stock:
    """What card and battery hold, as typed; None for what nobody said.

    Unit: bytes; watt hours, and watts of all that hangs on the battery.
    """

    frame_bytes: int | None = None
    card_bytes: int | None = None
    battery_wh: Fraction | None = None
    load_w: Fraction | None = None

    def __post_init__(self) -> None:
        for one in fields(self):
            value = getattr(self, one.name)
            if value is not None and value <= 0:
                raise ValueError(f"{one.name} is {value}; it must be above zero")


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """What card and battery must hold, and the frame from which they do not; None where that is not known, or never.

    `card_frame` is the first frame that the card has no room for, `battery_frame` the first that the battery does not
    last to the end of. Unit: bytes, watt hours.
    """

    card_bytes: int | None = None
    card_frame: int | None = None
    battery_wh: Fraction | None = None
    battery_frame: int | None = None

    def warnings(self) -> tuple[str, ...]:
        """Say what runs out, and by which frame."""
        said = []
        if self.card_frame is not None:
            said.append(f"the card is full by frame {self.card_frame}; change it there, or use a larger one")
        if self.battery_frame is not None:
            said.append(f"the battery is empty by frame {self.battery_frame}; change it before, or feed from the mains")
        return tuple(said)


def need(plan: Plan, stock: Stock) -> Need:
    """Return what this plan asks of card and battery."""
    card = None if stock.frame_bytes is None else plan.frames * stock.frame_bytes
    card_frame = None
    if stock.frame_bytes is not None and stock.card_bytes is not None:
        room = stock.card_bytes // stock.frame_bytes
        card_frame = room if room < plan.frames else None
    battery = None if stock.load_w is None else stock.load_w * plan.event_s / 3600
    battery_frame = None
    if stock.load_w is not None and stock.battery_wh is not None:
        held = plan.intervals.within(stock.battery_wh / stock.load_w * 3600)
        battery_frame = held if held < plan.frames else None
    return Need(card_bytes=card, card_frame=card_frame, battery_wh=battery, battery_frame=battery_frame)
