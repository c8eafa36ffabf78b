"""What hands would do with a rig, made from formulas: moves that are meant, sway, and tremble.

Physiological tremble of a hand lies between some 1 and 12 Hz (common knowledge, no source); strengths are guesses.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt

from sequencer.live.driving import eased, resting, steer
from sequencer.rig.axis import Axis, Rig

Floats = NDArray[np.float64]

HZ = 250


def wished(axis: Axis, seed: int, lasts_s: float) -> Floats:
    """Return the speeds that a hand asks of an axis, each tick: moves of a second or so, with pauses between."""
    rng = np.random.default_rng(seed)
    ticks = int(lasts_s * HZ)
    meant, held = np.zeros(ticks), np.zeros(ticks)
    at_s, position = float(rng.uniform(0.2, 1.0)), axis.home
    while at_s < lasts_s:
        moves_s, velocity = rng.uniform(0.4, 4.0), rng.normal(0, 0.25) * axis.speed
        if axis.travel is not None:
            room = axis.travel[1] - position if velocity > 0 else position - axis.travel[0]
            velocity *= -0.7 if abs(velocity) * moves_s > 0.9 * room else 1.0
            position = float(np.clip(position + velocity * moves_s, *axis.travel))
        span = slice(int(at_s * HZ), int((at_s + moves_s) * HZ))
        meant[span], held[span] = velocity, 1.0
        at_s += moves_s + rng.exponential(1.2)
    smooth = butter(2, 4.0, "low", fs=HZ, output="sos")
    tremble = _noise(rng, ticks, 0.5, 9.0)
    asked = sosfilt(smooth, meant) * (1 + 0.05 * tremble + 0.12 * _noise(rng, ticks, 0.02, 1.2))
    asked += 0.01 * axis.speed * tremble * sosfilt(smooth, held)
    # the dead band of a stick
    return np.where(np.abs(asked) < 0.002 * axis.speed, 0.0, asked)


def _noise(rng: np.random.Generator, ticks: int, low_hz: float, high_hz: float) -> Floats:
    noise = sosfilt(butter(2, [low_hz, high_hz], "band", fs=HZ, output="sos"), rng.normal(size=ticks))
    return np.asarray(noise / noise.std())


def performed(rig: Rig, name: str, seed: int, lasts_s: float) -> tuple[Floats, Floats]:
    """Return where an axis stands, driven by such a hand, tick by tick. Shape: seconds (N,), positions (N,)."""
    axis = rig.axes[rig.index(name)]
    driven_rig = eased(Rig(name=rig.name, axes=(axis,)))
    driven = resting((axis.home,))
    positions = []
    for speed in wished(axis, seed, lasts_s).tolist():
        driven = steer(driven_rig, driven, (speed,), 1 / HZ)
        positions.append(driven.position[0])
    return np.arange(len(positions)) / HZ, np.array(positions)
