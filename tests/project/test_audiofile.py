"""Audio files: the samples and the speed, at any rate, and the place in timecode that a recording claims."""

import struct
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from sequencer.errors import ProjectError
from sequencer.project import audiofile
from sequencer.project.audiofile import info, load, music, place
from sequencer.project.document import Playback, Project
from sequencer.rig.axis import Axis, Rig
from sequencer.score.move import Move
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, Timecode

RATES_HZ = [(48_000, 44_100), (44_100, 48_000), (96_000, 48_000), (12_000, 48_000), (47_952, 48_000), (44_056, 44_100)]
AXIS = Axis(name="pan", kind="pan", unit="deg", travel=(-90, 90), speed=60, acceleration=120, jerk=600)


def project(counting: Counting, at: Fraction = Fraction(0), file: str = "song.wav") -> Project:
    return Project(
        name="Quay",
        timebase=Timebase(counting, Timecode(10, 0, 0, 0, drop=counting.drop)),
        rig=Rig(name="head", axes=(AXIS,)),
        move=Move(tracks=()),
        playback=Playback(file=file, at=at),
    )


def tone(rate_hz: int, hz: float, seconds: float = 1.0) -> NDArray[np.float64]:
    return 0.5 * np.sin(2 * np.pi * hz * np.arange(round(seconds * rate_hz)) / rate_hz)


def recording(path: Path, reference: int, rate_hz: int = 48_000) -> Path:
    """Write a second of sound with a broadcast extension behind it, as EBU Tech 3285 has it."""
    soundfile.write(path, tone(rate_hz, 440.0), rate_hz, subtype="PCM_16")
    content = bytes(338) + struct.pack("<QH", reference, 1) + bytes(602 - 348)
    data = path.read_bytes() + b"bext" + struct.pack("<I", len(content)) + content
    path.write_bytes(b"RIFF" + struct.pack("<I", len(data) - 8) + data[8:])
    return path


@pytest.mark.parametrize(("subtype", "step"), [("PCM_16", 2**-15), ("PCM_24", 2**-23), ("FLOAT", 1e-7)])
def test_samples_come_as_they_are(tmp_path: Path, subtype: str, step: float) -> None:
    path = tmp_path / "song.wav"
    sound = np.column_stack([tone(48_000, 440.0), tone(48_000, 1000.0)])
    soundfile.write(path, sound, 48_000, subtype=subtype)
    found = load(path, 48_000)
    assert found.dtype == np.float32
    assert found.shape == (48_000, 2)
    assert np.abs(found - sound).max() <= step
    assert (info(path).rate_hz, info(path).frames, info(path).channels) == (48_000, 48_000, 2)


@pytest.mark.parametrize(("own_hz", "wanted_hz"), RATES_HZ)
def test_another_rate_never_changes_speed_or_length(tmp_path: Path, own_hz: int, wanted_hz: int) -> None:
    path = tmp_path / "song.wav"
    soundfile.write(path, tone(own_hz, 1000.0, 2.0), own_hz, subtype="FLOAT")
    found = load(path, wanted_hz)[:, 0]
    assert abs(len(found) - 2 * wanted_hz) <= 1
    # every sample is the tone's at its own instant: no drift, no delay, no other pitch
    inside = slice(wanted_hz // 10, -wanted_hz // 10)
    wanted = 0.5 * np.sin(2 * np.pi * 1000.0 * np.arange(len(found)) / wanted_hz)
    assert np.abs(found - wanted)[inside].max() < 0.5 * 10 ** (-80 / 20)


def test_what_the_lower_rate_cannot_hold_is_filtered_out(tmp_path: Path) -> None:
    path = tmp_path / "song.wav"
    soundfile.write(path, tone(96_000, 30_000.0), 96_000, subtype="FLOAT")
    assert np.abs(load(path, 48_000)[4800:-4800]).max() < 0.5 * 10 ** (-80 / 20)


def test_a_rate_without_a_simple_ratio_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "song.wav"
    soundfile.write(path, tone(44_101, 440.0), 44_101)
    with pytest.raises(ProjectError, match="export it at 48000 Hz"):
        load(path, 48_000)


@pytest.mark.parametrize(
    ("counting", "at", "label"),
    [
        (Counting(Rate(25)), Fraction(250), "10:00:10:00"),
        (Counting(Rate(24)), Fraction(-24), "09:59:59:00"),
        (Counting(Rate(30000, 1001)), Fraction(0), "10:00:00:00"),
        (Counting(Rate(30000, 1001), True), Fraction(17_982), "10:10:00;00"),
    ],
)
def test_the_time_reference_is_counted_in_exact_frames(
    tmp_path: Path, counting: Counting, at: Fraction, label: str
) -> None:
    rate = counting.rate
    ten = counting.day * 10 // 24
    exact = (ten + at) * 48_000 / rate.fraction
    path = recording(tmp_path / "song.wav", round(exact))
    placed = place(project(counting, at), path)
    assert placed.warning == ""
    assert placed.start_s == pytest.approx(float(at / rate.fraction), abs=1e-12)
    # a frame and a half beside it is told, with both labels
    told = place(project(counting, at + Fraction(3, 2)), path).warning
    assert f"it begins at {label}," in told
    assert str(project(counting).timebase.label(at + Fraction(3, 2))) in told


def test_a_reference_in_another_rates_samples_is_the_same_instant(tmp_path: Path) -> None:
    path = recording(tmp_path / "song.wav", 36_000 * 44_100 + 22_050, 44_100)
    assert place(project(Counting(Rate(25)), Fraction(25, 2)), path).warning == ""


def test_midnight_is_crossed_the_short_way(tmp_path: Path) -> None:
    late = replace(project(Counting(Rate(25))), timebase=Timebase(Counting(Rate(25)), Timecode(23, 59, 50, 0)))
    late = replace(late, playback=Playback(file="song.wav", at=Fraction(500)))
    assert place(late, recording(tmp_path / "song.wav", 10 * 48_000)).warning == ""


def test_no_reference_or_zero_is_no_claim(tmp_path: Path) -> None:
    assert info(recording(tmp_path / "zero.wav", 0)).reference is None
    path = tmp_path / "plain.flac"
    soundfile.write(path, tone(48_000, 440.0), 48_000)
    assert place(project(Counting(Rate(25)), Fraction(5)), path).warning == ""


def test_a_broken_extension_is_told_and_the_music_plays(tmp_path: Path) -> None:
    path = recording(tmp_path / "song.wav", 48_000)
    path.write_bytes(path.read_bytes()[:-100])
    opened = project(Counting(Rate(25)))
    found = music(tmp_path, opened, 48_000)
    assert found.samples.shape == (48_000, 1)
    assert "time reference cannot be read" in found.warning
    assert "100 more than the file" in found.warning


def test_music_is_ready_to_be_played(tmp_path: Path) -> None:
    recording(tmp_path / "song.wav", 36_000 * 48_000)
    found = music(tmp_path, project(Counting(Rate(25)), Fraction(50)), 44_100)
    assert found.samples.shape == (44_100, 1)
    assert found.start_s == 2.0
    assert "10:00:00:00" in found.warning


def test_what_is_no_audio_is_named_with_the_mend(tmp_path: Path) -> None:
    plain = project(Counting(Rate(25)))
    with pytest.raises(ProjectError, match=r"song\.wav: is not there"):
        music(tmp_path, plain, 48_000)
    for name, content in (("song.wav", b""), ("song.wav", b"RIFFxxxxWAVE"), ("song.raw", b"abc"), ("song.txt", b"la")):
        (tmp_path / name).write_bytes(content)
        with pytest.raises(ProjectError, match=f"{name}: is no audio file.*export it as WAV"):
            load(tmp_path / name, 48_000)
    with pytest.raises(ProjectError, match="playback: is missing"):
        music(tmp_path, replace(plain, playback=None), 48_000)


def test_samples_that_are_no_numbers_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "song.wav"
    soundfile.write(path, np.array([0.0, np.nan, 0.5]), 48_000, subtype="FLOAT")
    with pytest.raises(ProjectError, match="no numbers"):
        load(path, 48_000)


def test_more_channels_than_fit_into_memory_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "quay.wav"
    soundfile.write(path, np.zeros((480, 4)), 48_000)
    monkeypatch.setattr(audiofile, "_MOST_SAMPLES", 4 * 480)
    assert load(path).shape == (480, 4)
    monkeypatch.setattr(audiofile, "_MOST_SAMPLES", 4 * 480 - 1)
    with pytest.raises(ProjectError, match=r"quay.wav: has 4 channels, which are more samples than fit into memory"):
        load(path)
