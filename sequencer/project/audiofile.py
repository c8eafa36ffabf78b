"""Audio files: their samples at the rate that is wanted, never at the wrong speed, and where in timecode they belong.

It plays nothing and changes no file.

Source: EBU Tech 3285 for the time reference; that a reference of zero means none is common practice, no source.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from math import gcd
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sequencer.errors import LinkError, ProjectError
from sequencer.project.document import Project
from sequencer.wire.bext import bext

Samples = NDArray[np.float32]

_LONGEST_S = 3 * 3600
_MOST_SAMPLES = _LONGEST_S * 96_000 * 2  # a packed file says little of how much it becomes
_PIECE = 1 << 18
_LARGEST_RATIO = 20_000  # of the two rates' reduced fraction: 44 056 Hz (11 014 : 11 025) is within
_HALF_TAPS = 24  # of the low-pass, at the lower rate
_STOP_BAND_BETA = 9.0  # Kaiser window: about 90 dB
_SAME_FRAMES = Fraction(1, 100)


@dataclass(frozen=True, slots=True)
class AudioInfo:
    """What an audio file is. Unit: `reference` samples from midnight to its first one, None where it says nothing.

    `trouble` says in words what is wrong with the file's own account of itself, although it can be played.
    """

    rate_hz: int
    frames: int
    channels: int
    reference: int | None = None
    trouble: str = ""


@dataclass(frozen=True, slots=True)
class Placed:
    """Where the music begins. Unit: `start_s` from the project's start; `warning` is empty, or words for people."""

    start_s: float
    warning: str = ""


@dataclass(frozen=True, slots=True)
class Music:
    """The project's playback, ready to be played. Shape: `samples` (n, channels), full scale 1."""

    samples: Samples
    start_s: float
    warning: str


def info(path: Path) -> AudioInfo:
    """Return what the file is. Error: ProjectError for what is no audio, with the file and the mend; LinkError."""
    with _opened(path) as file:
        reference, trouble = None, ""
        if file.format in ("WAV", "WAVEX", "RF64"):
            try:
                reference = _reference(path)
            except (ValueError, OSError) as fault:
                trouble = f"{path.name}: its time reference cannot be read: {fault}"
        return AudioInfo(file.samplerate, file.frames, file.channels, reference, trouble)


def load(path: Path, rate_hz: int | None = None) -> Samples:
    """Return the file's samples at `rate_hz`, or at its own rate.

    A file of another rate is resampled by the exact ratio of the two, so that sample k stands for the instant
    k / rate_hz and the length is the file's to within one sample. Shape: (n, channels), full scale 1.
    Error: ProjectError for what is no audio, is too long, or cannot be brought to the rate; LinkError.
    """
    with _opened(path) as file:
        own_hz = int(file.samplerate)
        if file.frames > _LONGEST_S * own_hz:
            what = f"is longer than {_LONGEST_S // 3600} hours"
            raise ProjectError("", what, "cut it to what is needed", path.name)
        if file.frames * file.channels > _MOST_SAMPLES:
            what = f"has {file.channels} channels, which are more samples than fit into memory"
            raise ProjectError("", what, "cut it to what is needed, or mix it down to two channels", path.name)
        try:
            samples: Samples = file.read(dtype="float32", always_2d=True)
        except RuntimeError as fault:
            raise ProjectError("", f"cannot be read to its end: {fault}", "export it again", path.name) from fault
    if not np.isfinite(samples).all():
        raise ProjectError("", "has samples that are no numbers", "export it again", path.name)
    if rate_hz is None or rate_hz == own_hz:
        return samples
    return _resampled(samples, own_hz, rate_hz, path)


def one_channel(path: Path, number: int) -> Iterator[Samples]:
    """Yield one channel of the file, piece by piece, so that hours of it fit. Shape: (n,). Unit: `number` from 1.

    Error: ProjectError for what is no audio, has no such channel, or cannot be read on; LinkError.
    """
    with _opened(path) as file:
        if not 1 <= number <= file.channels:
            what = f"has {file.channels} channels, and none with the number {number}"
            raise ProjectError("", what, "name another", path.name)
        while len(piece := _next(file, path)):
            yield piece[:, number - 1]


def pieces(path: Path) -> Iterator[Samples]:
    """Yield all channels of the file, piece by piece, so that hours of it fit. Shape: (n, channels), full scale 1.

    Error: ProjectError for what is no audio, or cannot be read on; LinkError.
    """
    with _opened(path) as file:
        while len(piece := _next(file, path)):
            yield piece


def _next(file: Any, path: Path) -> Samples:
    try:
        piece: Samples = file.read(_PIECE, dtype="float32", always_2d=True)
    except RuntimeError as fault:
        raise ProjectError("", f"cannot be read to its end: {fault}", "export it again", path.name) from fault
    return np.nan_to_num(piece, copy=False, posinf=1.0, neginf=-1.0)


def place(project: Project, path: Path) -> Placed:
    """Return where the project's playback begins, and a warning where its time reference says something else.

    What the project says counts. Error: ProjectError where it has no playback or the file is no audio; LinkError.
    """
    if project.playback is None:
        raise ProjectError("playback", "is missing", 'name an audio file: {"file": "playback.wav", "at": ...}')
    timebase = project.timebase
    start_s = float(timebase.rate.seconds(project.playback.at))
    found = info(path)
    if found.reference is None:
        return Placed(start_s, found.trouble)
    since_midnight = timebase.rate.frames(Fraction(found.reference, found.rate_hz))
    recorded = timebase.wrap(since_midnight)
    if abs(recorded - project.playback.at) <= _SAME_FRAMES:
        return Placed(start_s)
    label = timebase.label(Fraction(round(recorded * 100), 100))
    return Placed(
        start_s,
        f"{path.name} says that it begins at {label}, the project at {timebase.label(project.playback.at)}; the "
        f"project's is used. Write {label} as playback.at if the recording is right",
    )


def music(folder: Path, project: Project, rate_hz: int) -> Music:
    """Return the playback of the project in `folder` at the sound card's rate, and where it begins.

    Error: ProjectError, LinkError.
    """
    path = folder / ("" if project.playback is None else project.playback.file)
    placed = place(project, path)
    return Music(load(path, rate_hz), placed.start_s, placed.warning)


def _soundfile() -> ModuleType:
    """Return the library that reads audio files; late, since it loads a library of the system."""
    try:
        import soundfile
    except (ImportError, OSError) as fault:
        raise LinkError(
            f"audio files need the package soundfile and its library ({fault}); pip install soundfile"
        ) from fault
    module: ModuleType = soundfile
    return module


def _opened(path: Path) -> Any:
    library = _soundfile()
    if not path.is_file():
        raise ProjectError("", "is not there", "copy the audio file there, or name another", str(path))
    try:
        return library.SoundFile(path)
    except (RuntimeError, TypeError) as fault:  # a name that ends in .raw is a TypeError: it needs a format
        # the library's own words are no help: of a broken MP3 it says that the file is not there
        what = "is no audio file that can be read"
        raise ProjectError("", what, "export it as WAV or FLAC", path.name) from fault


def _reference(path: Path) -> int | None:
    """Return the time reference of a WAV, None where there is none. Error: ValueError, OSError."""
    with path.open("rb") as file:

        def read(at: int, size: int) -> bytes:
            file.seek(at)
            return file.read(size)

        found = bext(path.stat().st_size, read)
    return found.reference or None if found else None


def _resampled(samples: Samples, own_hz: int, rate_hz: int, path: Path) -> Samples:
    from scipy.signal import firwin, resample_poly  # a second to load, and few need it

    common = gcd(own_hz, rate_hz)
    up, down = rate_hz // common, own_hz // common
    longest = max(up, down)
    if longest > _LARGEST_RATIO:
        what = f"has {own_hz} samples a second, and {rate_hz} are wanted: the two have no simple ratio"
        raise ProjectError("", what, f"export it at {rate_hz} Hz", path.name)
    low_pass: Any = firwin(2 * _HALF_TAPS * longest + 1, 1 / longest, window=("kaiser", _STOP_BAND_BETA))
    return resample_poly(samples, up, down, axis=0, window=low_pass)
