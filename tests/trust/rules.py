"""What must hold at every tick, whatever goes wrong, worked out from what went out, and not by the engine's code.

Source: the promises of docs/safety.md, and of the table at the top of `playback.state`.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from sequencer.playback.state import MOVING, Phase
from sequencer.rig.axis import Rig
from sequencer.rig.signals import Floats, Setpoint

_ROUNDING = 1 + 2e-6
_LONGEST_STEP_S = 0.05
_AT_REST = frozenset({Phase.IDLE, Phase.READY, Phase.STOPPED, Phase.FINISHED})
SLACK_S = 0.1  # an engine that is late, and the tick in which a stop is seen


@dataclass
class Rules:
    """The rules of one run. `look` is called after each tick; `broken` says what did not hold, at most once each.

    `leave` is when an operator last let something move (armed, drove, sent it somewhere), None before and after a stop;
    `stop_ns` when a stop was asked for last, None once the rig stood after it; `reset` whether somebody reset since.
    """

    rig: Rig
    leave: bool = False
    stop_ns: int | None = None
    reset: bool = False
    broken: dict[str, str] = field(default_factory=dict)
    _before: Phase = Phase.IDLE
    _seen: int = 0
    _last: Setpoint | None = None
    _speed: Floats | None = None
    _span_s: float = 0.0
    _stop_rests_ns: int = 0
    _begins: bool = False
    _told: int = 0

    def __post_init__(self) -> None:
        axes = self.rig.axes
        self._low = np.array([-np.inf if axis.travel is None else axis.travel[0] for axis in axes])
        self._high = np.array([np.inf if axis.travel is None else axis.travel[1] for axis in axes])
        self._most = np.array([axis.speed for axis in axes])
        self._change = np.array([axis.acceleration for axis in axes])
        self._jerk = np.array([axis.jerk for axis in axes])

    def allow(self) -> None:
        """An operator, at this machine, let something move."""
        self.leave = True

    def asked_to_stop(self, now_ns: int) -> None:
        if self.stop_ns is None:
            self.stop_ns = now_ns
            speed = np.zeros_like(self._most) if self._speed is None else np.abs(self._speed)
            self._stop_rests_ns = now_ns + round((float(self._rests_s(speed).max()) + SLACK_S) * 1e9)

    def _rests_s(self, speed: Floats) -> Floats:
        """Return in how long an axis stands that has this speed, and at worst still gathers more.

        First its acceleration is undone, then it brakes, both within its jerk. Source: motion at constant jerk, any
        textbook of mechanics.
        """
        undone_s = self._change / self._jerk
        most = speed + self._change * undone_s / 2
        rests_s: Floats = 2 * undone_s + most / self._change
        return rests_s

    def reset_by_operator(self) -> None:
        self.reset = True

    def look(  # what there is to see
        self, now_ns: int, phase: Phase, cause: str, said: list[tuple[str, str]], sent: list[Setpoint], says: Floats
    ) -> None:
        """Look at what one tick did. `said` and `sent` are all since the run began; `says` is where the rig stands."""
        news, self._told = said[self._told :], len(said)
        # also where a stop comes in the same tick
        self._begins |= any(code == "reset" for code, _ in news)
        for setpoint in sent[self._seen :]:
            self._limits(setpoint, says)
            if phase in _AT_REST and self._before in _AT_REST and self._speed is not None and self._speed.any():
                self._break("motion at rest", f"the setpoints move while it is {phase}")
        self._seen = len(sent)
        self._phases(now_ns, phase, cause, said)
        self._before = phase

    def _inside(self, position: Floats) -> Floats:
        inside: Floats = np.clip(position, self._low, self._high)
        return inside

    def _limits(self, setpoint: Setpoint, says: Floats) -> None:
        position = setpoint.position
        if not np.isfinite(position).all():
            self._break("finite", f"a setpoint is {position}")
            return
        last = self._last
        self._last = setpoint
        if last is None:
            return
        span_s = min((setpoint.due_ns - last.due_ns) * 1e-9, _LONGEST_STEP_S)
        if span_s <= 0:
            self._break("order", "a setpoint is due before the one that went out before it")
            return
        out = np.maximum(self._low - position, position - self._high)
        was = np.maximum(self._low - last.position, last.position - self._high)
        # outside only where it was before, and never further
        if (out > np.maximum(was, 0) + 1e-9).any():
            self._break("travel", f"a setpoint is {out.max():.3g} outside the travel")
        speed = (position - last.position) / span_s
        if self._begins:
            # after a reset it begins from where the rig says that it stands; that moves nothing
            self._begins = False
            off = np.minimum(np.abs(position - last.position), np.abs(position - self._inside(says)))
            if (off > 1e-6 + 0.1 * self._most).any():
                self._break("begin", f"it begins {off.max():.3g} away from where the rig was sent, or says it stands")
            self._speed, self._span_s = np.zeros_like(position), span_s
            return
        if (np.abs(speed) > self._most * _ROUNDING + 1e-9).any():
            self._break("speed", f"a setpoint asks for {np.abs(speed / self._most).max():.4f} of an axis's speed")
        if self._speed is not None:
            apart_s = (span_s + self._span_s) / 2
            most = self._change * apart_s * _ROUNDING + 1e-9 + 2e-12 / span_s
            if (np.abs(speed - self._speed) > most).any():
                part = (np.abs(speed - self._speed) / (self._change * apart_s)).max()
                self._break("acceleration", f"two setpoints ask for {part:.4f} of an axis's acceleration")
        self._speed, self._span_s = speed, span_s

    def _phases(self, now_ns: int, phase: Phase, cause: str, said: list[tuple[str, str]]) -> None:
        if phase in MOVING and self._before not in MOVING and not self.leave:
            self._break("arming", f"it began to move ({phase}), and nobody at this machine let it")
        if self._before is Phase.STOPPED and phase is not Phase.STOPPED:
            if not self.reset:
                self._break("latch", f"a stop cleared itself: {phase}")
            self.reset = False
        if phase in (Phase.STOPPING, Phase.STOPPED):
            self.leave = False
            if not cause:
                self._break("cause", "it stopped, and nobody knows why")
            elif self._before not in (Phase.STOPPING, Phase.STOPPED) and not any(
                cause in text for _, text in said[-40:]
            ):
                self._break("log", f"it stopped, and the log does not say why: {cause}")
        if self.stop_ns is not None:
            moves = self._speed is not None and bool(self._speed.any())
            # a link that is gone gets none any more, and what the rig does then is its own
            moves = moves and self._last is not None and now_ns - self._last.due_ns < _LONGEST_STEP_S * 2e9
            if now_ns > self._stop_rests_ns and moves:
                late_s = (now_ns - self._stop_rests_ns) * 1e-9
                self._break("stop", f"{late_s:.3f} s after it should stand the setpoints still move")
            if not moves and phase not in MOVING and phase is not Phase.STOPPING:
                self.stop_ns = None

    def _break(self, rule: str, words: str) -> None:
        self.broken.setdefault(rule, words)


def told(broken: dict[str, str]) -> Iterator[str]:
    """Yield each broken rule in words."""
    for rule, words in broken.items():
        yield f"{rule}: {words}"
