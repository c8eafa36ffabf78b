"""The question for an axis's travel: typed, taken from where the axis stands, or driven to with a game controller."""

from collections.abc import Callable
from dataclasses import dataclass

import typer

from sequencer.cli import rig_options as how
from sequencer.cli.options import fraction
from sequencer.cli.rig_shown import quantity
from sequencer.errors import LinkError
from sequencer.live.handling import Deed
from sequencer.rig.axis import Axis
from sequencer.shell import travel, trials

DRIVE = "drive"
Ends = tuple[float, float] | None


@dataclass(slots=True, kw_only=True)
class Spot:
    """Where an axis stands, read anew where it may have been moved. `ground` is None where it is not to be asked.

    `driven`: the ends that it was driven to.
    """

    axis: str
    stands: float
    ground: trials.Ground | None = None
    driven: Ends = None

    def look(self) -> float:
        """Return where it stands now. Error: LinkError where it does not say."""
        if self.ground is not None:
            self.stands = trials.stands(self.ground)[self.axis]
        return self.stands


def question(axis: Axis) -> str:
    """Return what is asked."""
    return (
        f"Travel of {axis.name}, as LOW..HIGH; an end may be {how.HERE}, where it then stands, moved by hand; or "
        f"{DRIVE}, to find both with a game controller"
    )


def written(ends: Ends) -> str:
    """Return a travel as it is typed."""
    return how.ENDLESS if ends is None else f"{ends[0]:g}..{ends[1]:g}"


def driven(spot: Spot, ground: trials.Ground, axis: Axis, begin: str, armed: bool, say: Callable[[str], None]) -> Ends:
    """Have the operator arm the axis and drive it to its ends; return them. Error: BadParameter where that failed."""
    speed = axis.speed * float(fraction(begin))
    try:
        hands = travel.handlings(ground.project, axis.name)
    except ValueError as fault:
        raise typer.BadParameter(str(fault)) from fault
    buttons = dict.fromkeys(control for one in hands for control, does in one.buttons if does is Deed.STORE)
    say(
        f"{axis.name} moves while its stick is pushed and what enables it is held, at {quantity(speed, axis, 'speed')} "
        "at most. Its soft limits do not count: watch it, keep its whole way clear, and let go well before a stop. The "
        f"others stand. Press {' or '.join(buttons)} at one end, then at the other, and bring it back between them. "
        "Ctrl-C brakes it and ends."
    )
    if not (armed or typer.confirm(f"  Arm {axis.name}?")):
        raise typer.BadParameter("not armed; nothing moved")
    try:
        spot.driven, spot.stands = travel.driven(ground, axis.name, trials.stands(ground), speed, say)
    except LinkError as fault:
        raise typer.BadParameter(str(fault)) from fault
    return spot.driven
