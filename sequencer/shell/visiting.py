"""Works out what an order to go to a mark means, and whether there is a way. It sends nobody."""

from fractions import Fraction

from sequencer.motion.to_mark import to_mark
from sequencer.playback.guard import Sent
from sequencer.playback.pilot import motion
from sequencer.rig.axis import Rig
from sequencer.score.marks import AtSpeed, Fastest, Lasting, Mark, Pace
from sequencer.shell.messages import Go


def mark_of(order: Go) -> Mark:
    """Return the mark that is meant. Error: ValueError or ZeroDivisionError for one that can be none."""
    leg: Pace = Fastest()
    if order.lasts_s:
        leg = Lasting(Fraction(order.lasts_s))
    elif order.part:
        leg = AtSpeed(Fraction(order.part))
    return Mark(order.name, order.position, leg)


def demand_way(rig: Rig, sent: Sent, mark: Mark) -> None:
    """Have a way from the last setpoint to the mark. Error: ValueError in words where there is none."""
    to_mark(rig, *motion(rig, sent), mark)
