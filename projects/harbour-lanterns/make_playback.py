"""Make playback.wav: the song of this demo project, 96 beats a minute for 64 beats, the same samples every time.

`python projects/harbour-lanterns/make_playback.py` writes it anew. The music is invented: a pulse on each beat, a bass,
four chords, a plucked line on the half beats, and a bell where the lamps come on. It reads no project file; a test
holds its beats and bells against the project's tempo and markers.
"""

import io
import math
import wave
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

SAMPLE_RATE_HZ = 12_000
BEATS = 64
BEAT = SAMPLE_RATE_HZ * 60 // 96  # samples: 7500, exactly
BELLS = (16, 20, 24, 32, 44, 60)  # beats
CHORDS = ((57, 60, 64), (53, 57, 60), (48, 52, 55), (55, 59, 62))  # a bar each, as MIDI note numbers
LINE = (76, 72, 69, 72, 77, 72, 69, 72, 76, 72, 67, 72, 74, 71, 67, 71)  # half beats, from the verse on
VERSE, CHORUS = 12, 32  # beats


def song() -> NDArray[np.int16]:
    """Return the samples, mono. Shape: (BEATS * BEAT,)."""
    mix = np.zeros(BEATS * BEAT)
    for beat in range(BEATS):
        chord = CHORDS[beat // 4 % len(CHORDS)]
        _add(mix, beat, 0.45 * thump() if beat % 2 == 0 else 0.22 * brush())
        if beat >= 4:
            _add(mix, beat, 0.25 * note(chord[0] - 24, 0.6, decay_s=0.35, overtones=3))
        if beat % 4 == 0:
            for tone in chord:
                _add(mix, beat, (0.05 if beat < CHORUS else 0.075) * note(tone, 2.4, decay_s=1.1, overtones=4))
        if VERSE <= beat < BEATS - 4:
            half = (beat - VERSE) * 2
            for step in (0, 1):
                plucked = note(LINE[(half + step) % len(LINE)], 0.3, decay_s=0.12, overtones=5)
                _add(mix, beat + step / 2, 0.09 * plucked)
    for beat in BELLS:
        _add(mix, beat, 0.3 * bell())
    samples: NDArray[np.int16] = np.round(mix / np.abs(mix).max() * 0.8 * 32767).astype(np.int16)
    return samples


def note(number: int, length_s: float, *, decay_s: float, overtones: int) -> Floats:
    """Return a struck tone of the MIDI note `number`; overtones above a third of the sample rate are left out."""
    t_s = np.arange(round(length_s * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    first_hz = 440 * 2 ** ((number - 69) / 12)
    tone = np.zeros_like(t_s)
    for k in range(1, overtones + 1):
        if k * first_hz < SAMPLE_RATE_HZ / 3:
            tone += np.sin(2 * math.pi * k * first_hz * t_s) * np.exp(-k * t_s / decay_s) / k
    return tone * np.minimum(1, t_s / 0.002) * np.minimum(1, (length_s - t_s) / 0.02)


def thump() -> Floats:
    """Return the low drum: a tone that falls from 150 to 50 Hz."""
    t_s = np.arange(round(0.22 * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    turns = 50 * t_s + 100 * 0.03 * (1 - np.exp(-t_s / 0.03))
    return np.sin(2 * math.pi * turns) * np.exp(-t_s / 0.06) * np.minimum(1, t_s / 0.001)


def brush() -> Floats:
    """Return a short stroke of noise. The stream of numpy's RandomState is frozen: the same on every version."""
    t_s = np.arange(round(0.12 * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    return (2 * np.random.RandomState(96).random_sample(len(t_s)) - 1) * np.exp(-t_s / 0.03)


def bell() -> Floats:
    """Return the bell of the lamps: partials that do not fit one string, as bells have."""
    t_s = np.arange(round(1.8 * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    partials = ((1.0, 1.0), (2.0, 0.6), (2.76, 0.5), (4.07, 0.3))
    tone = sum(size * np.sin(2 * math.pi * 880 * ratio * t_s) * np.exp(-ratio * t_s / 0.5) for ratio, size in partials)
    return np.asarray(tone) * np.minimum(1, t_s / 0.001)


def wav(samples: NDArray[np.int16]) -> bytes:
    """Return `samples` as a WAV file."""
    file = io.BytesIO()
    with wave.open(file, "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(SAMPLE_RATE_HZ)
        out.writeframes(samples.astype("<i2").tobytes())
    return file.getvalue()


def _add(mix: Floats, beat: float, sound: Floats) -> None:
    at = round(beat * BEAT)
    length = min(len(sound), len(mix) - at)
    mix[at : at + length] += sound[:length]


if __name__ == "__main__":
    (Path(__file__).parent / "playback.wav").write_bytes(wav(song()))
