"""Whoever says what time it is in a simulated take: timecode of either kind, the program's own clock, or its music."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from sequencer.adapters.contract import Chunk
from sequencer.project.document import Project
from sequencer.sync.audio import audio_follower
from sequencer.sync.internal import InternalFollower
from sequencer.sync.ltc import ltc_follower
from sequencer.sync.mtc import mtc_follower
from sequencer.sync.reading import Follow, Follower
from sequencer.wire.played import Playing, packed
from tests.sync import master, words

Sync = Literal["internal", "mtc", "ltc", "audio"]
FREEWHEEL_S = 0.5
LASTS_S = 6.0
_RATE_HZ, _BLOCK = 48_000, 480
_AHEAD_NS = 60_000_000  # that a card is told its samples before they leave


@dataclass
class Player:
    """The music, played by another process: a clock of ours that is reached by wishes, and says where it is.

    `lasts_to_ns`: from then on the card takes no more, 0 for never.
    """

    add: Callable[[list[Chunk]], None]
    port: int
    now: Callable[[], int]
    lasts_to_ns: int = 0
    _sample: int = 0
    _next_ns: int | None = None

    def start(self, at_ns: int) -> None:
        if self._next_ns is None:
            self._next_ns = max(at_ns, self.now() + _AHEAD_NS)

    def halt(self, at_ns: int | None = None) -> None:
        self._stand(self._sample)

    def locate(self, position_s: float) -> None:
        self._stand(round(position_s * _RATE_HZ))

    def play(self, now_ns: int) -> None:
        """Say of each block when it leaves, as soon as the card has it."""
        dead = bool(self.lasts_to_ns) and now_ns >= self.lasts_to_ns
        block_ns = round(_BLOCK / _RATE_HZ * 1e9)
        while self._next_ns is not None and not dead and self._next_ns <= now_ns + _AHEAD_NS:
            if self._next_ns >= now_ns - block_ns:
                self._say(self._next_ns, self._sample, running=True)
            self._sample += _BLOCK
            self._next_ns += block_ns

    @property
    def plays(self) -> bool:
        return self._next_ns is not None

    def _stand(self, sample: int) -> None:
        # what the card was told already leaves before that
        stands_ns = max(self._next_ns or 0, self.now())
        self._sample, self._next_ns = sample, None
        self._say(stands_ns, sample, running=False)

    def _say(self, at_ns: int, sample: int, *, running: bool) -> None:
        self.add([Chunk(at_ns, packed(Playing(sample, _RATE_HZ, running)), self.port)])


@dataclass(frozen=True, slots=True)
class Master:
    """Who is followed, and how the move's clock is started where that is ours to do: `desk`, else None."""

    sync: Sync
    follower: Follower
    desk: InternalFollower | Player | None
    outside: bool = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "outside", self.desk is None)


def master_of(
    sync: Sync, project: Project, add: Callable[[list[Chunk]], None], port: int, now: Callable[[], int]
) -> Master:
    """Return the master of a run; what it says comes in at `port`."""
    how = Follow(freewheel_s=FREEWHEEL_S)
    if sync == "internal":
        own = InternalFollower()
        return Master(sync, own, own)
    if sync == "audio":
        return Master(sync, audio_follower(project.timebase, 0.0, how), Player(add, port, now))
    follower = (mtc_follower if sync == "mtc" else ltc_follower)(project.timebase, how)
    return Master(sync, follower, None)


def timecode(
    sync: Sync,
    project: Project,
    chance: np.random.Generator,
    begins_s: float,
    from_s: float,
    port: int,
    *,
    speed: float = 1.0,
    backward: bool = False,
) -> list[Chunk]:
    """Return what a master outside sends that is at `from_s` of the project at `begins_s` of the simulated clock."""
    counting = project.timebase.counting
    rate = float(counting.rate.fraction)
    frame = round(10 * 3600 * rate + from_s * rate)
    if sync == "mtc":
        sigma_s = float(chance.choice((0.0, 3e-4, 2e-3)))
        sent = master.run(
            counting, frame, LASTS_S, chance, at_s=begins_s, sigma_s=sigma_s, speed=speed, backward=backward
        )
    else:
        sent = words.run(counting, frame, LASTS_S, chance, at_s=begins_s, speed=speed, backward=backward)
    return [Chunk(one.at_ns, one.data, port) for one in sent]
