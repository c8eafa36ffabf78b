"""A project as full as the editor has to bear: 12 axes of 10,000 keys over ten minutes, and playback as long."""

import math
from fractions import Fraction
from pathlib import Path

import numpy as np
import soundfile

from sequencer.project.document import Playback, Project
from sequencer.rig.axis import Axis, Rig
from sequencer.score.move import Cue, Ease, Key, Marker, Move, Track
from sequencer.timebase.rate import Rate
from sequencer.timebase.tempo import TempoMap
from sequencer.timebase.timecode import Counting, Timebase, Timecode

AXES, KEYS, LASTS_S = 12, 10_000, 600
RATE = Rate(25)
SOUND_HZ = 48_000
KINDS = ("pan", "tilt", "roll", "slide", "lift", "focus", "zoom")


def project() -> Project:
    """Return it: slow waves with finer ones on them, which fill the lanes; those of the last axes break limits."""
    tracks, axes = [], []
    frames = LASTS_S * RATE.num
    at = [Fraction(frames * number, KEYS) for number in range(KEYS)]
    u = np.arange(KEYS) / KEYS
    ease = Ease("poly345")
    for number in range(AXES):
        kind = KINDS[number % len(KINDS)]
        name = f"{kind}{number}"
        value = 40 * np.sin(2 * math.pi * (3 + number) * u) + 4 * np.sin(2 * math.pi * (400 + 37 * number) * u + number)
        axes.append(
            Axis(
                name=name,
                kind=kind,  # type: ignore[arg-type]  # a plain word of the list above
                unit="deg",
                travel=(-60.0, 60.0),
                speed=60.0,
                acceleration=2600.0,
                jerk=2e6,
            )
        )
        tracks.append(Track(name, tuple(map(Key, at, value.tolist(), [ease] * KEYS))))
    return Project(
        name="as full as it gets",
        timebase=Timebase(Counting(RATE), Timecode(10, 0, 0, 0)),
        rig=Rig(name="twelve motors", axes=tuple(axes)),
        move=Move(
            tracks=tuple(tracks),
            markers=tuple(Marker(f"mark {number}", Fraction(number * frames, 20)) for number in range(20)),
            cues=(Cue("all of it", Fraction(0), Fraction(frames)),),
        ),
        tempo=TempoMap(Fraction(96), 4),
        playback=Playback(file="playback.wav"),
    )


def sound(folder: Path) -> Path:
    """Write the playback into the folder: ten minutes of stereo at 24 bits, beats in a swell."""
    path = folder / "playback.wav"
    second = np.arange(SOUND_HZ) / SOUND_HZ
    beat = np.sin(2 * math.pi * 220 * second) * np.exp(-6 * second)
    with soundfile.SoundFile(path, "w", SOUND_HZ, 2, "PCM_24") as file:
        for number in range(LASTS_S):
            swell = 0.5 + 0.4 * math.sin(number / 20)
            file.write(np.stack((swell * beat, 0.8 * swell * beat), axis=1))
    return path
