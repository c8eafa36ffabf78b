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
    """What card and battery must hold, and the frames from which they do not; empty where that is not known, or never.

    `card_frames` are the frames that a card has no room for, the first and, if each is changed just there, those after;
    `battery_frames` likewise those that a battery does not last to the end of. Where one does not last for frame 0: 0
    alone. Unit: bytes, watt hours.
    """

    card_bytes: int | None = None
    card_frames: tuple[int, ...] = ()
    battery_wh: Fraction | None = None
    battery_frames: tuple[int, ...] = ()

    def warnings(self) -> tuple[str, ...]:
        """Say what runs out, by which frame, and what to do there."""
        said = []
        if self.card_frames:
            said.append(f"the card is full by frame {self.card_frames[0]}{_change('card', self.card_frames)}")
        if self.battery_frames:
            said.append(
                f"the battery is empty by frame {self.battery_frames[0]}{_change('battery', self.battery_frames)}"
            )
        return tuple(said)


_TOLD = 4  # changes, one by one


def _change(what: str, frames: tuple[int, ...]) -> str:
    if len(frames) == 1 and not frames[0]:
        return f"; use a larger {what}"
    stops = " ".join(f"--change-at {frame}" for frame in frames[:_TOLD])
    more = f", and so on, {len(frames)} times" if len(frames) > _TOLD else ""
    return f"; change it there ({stops}{more}), or use a larger one"


def need(plan: Plan, stock: Stock) -> Need:
    """Return what this plan asks of card and battery."""
    card: int | None = None
    card_frames: tuple[int, ...] = ()
    if stock.frame_bytes is not None:
        card = plan.frames * stock.frame_bytes
        if stock.card_bytes is not None:
            room = stock.card_bytes // stock.frame_bytes
            card_frames = tuple(range(room, plan.frames, room)) if room else (0,)
    battery = None if stock.load_w is None else stock.load_w * plan.event_s / 3600
    lasts_s = None if stock.load_w is None or stock.battery_wh is None else stock.battery_wh / stock.load_w * 3600
    return Need(
        card_bytes=card,
        card_frames=card_frames,
        battery_wh=battery,
        battery_frames=() if lasts_s is None else _empty(plan, lasts_s),
    )


def _empty(plan: Plan, lasts_s: Fraction) -> tuple[int, ...]:
    """Return the frames before which a battery that lasts so long is changed, one after the other."""
    found: list[int] = []
    at = 0
    while plan.event_s - plan.at(at) > lasts_s:
        held = plan.intervals.within(plan.at(at) + lasts_s)
        if held <= at:
            return tuple(found) or (0,)
        found.append(held)
        at = held
    return tuple(found)
