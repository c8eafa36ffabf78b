"""A pad in a hand, and a rig that it drives in simulated time: a hundred rows a second, a tick every 4 ms."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace

from sequencer.live.driving import Driven, eased, resting, steer
from sequencer.live.handling import Handling
from sequencer.live.hands import Hands, begin, feel, wishes
from sequencer.live.pads import Done
from sequencer.live.wish import Wish
from sequencer.rig.axis import Rig
from sequencer.wire.pad import AXES, BUTTONS, PadRow

ROW_NS = 10_000_000
TICK_NS = 4_000_000


def row(*buttons: str, name: str = "Pad", here: bool = True, **sticks: float) -> PadRow:
    """Return a row of a pad that is known: `left_x=0.5` pushes a stick."""
    pushed = {one.replace("_", " "): value for one, value in sticks.items()}
    axes = tuple(pushed.get(one, 0.0) for one in AXES)
    held = frozenset(BUTTONS.index(one) for one in buttons)
    return PadRow(pad=0, name=name, axes=axes if here else (), buttons=held, here=here)


def held(*buttons: str, name: str = "Pad", **sticks: float) -> PadRow:
    """Return a row of a pad whose enabling trigger is pulled."""
    return row(*buttons, name=name, here=True, left_trigger=1.0, **sticks)


@dataclass
class Drive:
    """A rig in simulated time. `pads` are what each pad says now, None for one that says nothing."""

    rig: Rig
    handlings: tuple[Handling, ...]
    pads: dict[int, PadRow | None] = field(default_factory=dict)
    now_ns: int = 1_000_000_000
    done: list[Done] = field(default_factory=list)
    states: list[Driven] = field(default_factory=list)
    wanted: list[tuple[Wish, ...] | None] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.eased = eased(self.rig)
        self.hands: Hands = begin(self.rig, self.handlings)
        self.states.append(resting(tuple(axis.home for axis in self.rig.axes)))
        self.steered: tuple[Wish, ...] = (0.0,) * len(self.rig.axes)

    def say(self, said: PadRow | None, pad: int = 0) -> "Drive":
        """Have a pad say this from now on."""
        self.pads[pad] = said and replace(said, pad=pad)
        return self

    def last(self, lasts_s: float, watch: Callable[[], None] = lambda: None) -> "Drive":
        """Let time pass: each pad says what it says, and the rig does what is wished, or goes on with what was."""
        end_ns = self.now_ns + round(lasts_s * 1e9)
        while self.now_ns < end_ns:
            for said in self.pads.values():
                if said is not None and self.now_ns // ROW_NS != (self.now_ns - TICK_NS) // ROW_NS:
                    self.hands, done = feel(self.hands, said, self.now_ns)
                    self.done += done
            self.hands, wanted = wishes(self.hands, self.now_ns, self.states[-1].position)
            self.wanted.append(wanted)
            self.steered = self.steered if wanted is None else wanted
            self.states.append(steer(self.eased, self.states[-1], self.steered, TICK_NS * 1e-9))
            self.now_ns += TICK_NS
            watch()
        return self

    def at(self, axis: str) -> float:
        return self.states[-1].position[self.rig.index(axis)]

    def speed(self, axis: str) -> float:
        return self.states[-1].velocity[self.rig.index(axis)]

    @property
    def stands(self) -> bool:
        return not any(self.states[-1].velocity) and not any(self.states[-1].acceleration)

    @property
    def words(self) -> str:
        return "\n".join(one.words for one in self.done)
