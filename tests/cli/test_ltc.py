"""`twintake ltc`: recordings that libltc made, sound and spoilt, and what is told of them."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
import typer
from numpy.typing import NDArray
from typer.testing import CliRunner, Result

from sequencer.cli.ltc import ltc
from sequencer.wire.ltc_word import Word, encode
from tests import libltc

RATE_HZ = 48_000
BEGIN = Word(10, 0, 58, 0)
Floats = NDArray[np.float32]

alone = typer.Typer()
alone.command()(ltc)


def run(path: Path, *options: str) -> Result:
    return CliRunner().invoke(alone, [str(path), *options])


def facts(path: Path, *options: str) -> tuple[dict[str, Any], int]:
    result = run(path, "--json", *options)
    assert result.exit_code in (0, 1), result.output
    return json.loads(result.stdout), result.exit_code


def words(count: int, nominal: int, first: Word = BEGIN) -> list[bytes]:
    """Return so many words, counted on by libltc."""
    found = [encode(first, nominal)]
    while len(found) < count:
        found.append(libltc.after(found[-1], nominal))
    return found


def sound(count: int = 100, nominal: int = 25, fps: float = 25.0, *, speed: float = 1.0, first: Word = BEGIN) -> Floats:
    made = words(count, nominal, first)
    return libltc.encode(made[::-1] if speed < 0 else made, nominal, fps, RATE_HZ, speed=speed)


def kept(folder: Path, *channels: Floats) -> Path:
    path = folder / "quay.wav"
    soundfile.write(path, np.column_stack(channels), RATE_HZ, subtype="PCM_24")
    return path


@pytest.mark.parametrize(
    ("rate", "nominal", "fps", "drop"),
    [
        ("24000/1001", 24, 24000 / 1001, False),
        ("24", 24, 24.0, False),
        ("25", 25, 25.0, False),
        ("30000/1001", 30, 30000 / 1001, False),
        ("30000/1001", 30, 30000 / 1001, True),
        ("30", 30, 30.0, False),
    ],
)
@pytest.mark.parametrize("way", [1.0, -1.0])
def test_what_libltc_made_is_read_back(
    tmp_path: Path, rate: str, nominal: int, fps: float, drop: bool, way: float
) -> None:
    count = 5 * nominal
    tone = sound(count, nominal, fps, speed=way, first=Word(10, 0, 58, 0, drop=drop))
    found, status = facts(kept(tmp_path, tone))
    assert status == 0
    assert (found["rate"], found["drop"], found["sure"]) == (rate, drop, True)
    assert found["errors"] == []
    assert found["channel"] == 1
    # all but the first and the last, which may be needed to find the edges of the others
    assert count - 2 <= len(found["frames"]) <= count
    (one,) = found["runs"]
    assert one["reverse"] == (way < 0)
    assert one["speed_percent"] == pytest.approx(100, abs=0.05)
    mark = ";" if drop else ":"
    assert found["frames"][nominal]["timecode"].startswith("10:0")
    labels = [frame["timecode"] for frame in found["frames"]]
    assert labels == sorted(labels, reverse=way < 0)
    assert f"10:01:00{mark}0{2 if drop else 0}" in labels
    for frame in found["frames"]:
        assert frame["reverse"] == (way < 0)
    starts = [frame["start_s"] for frame in found["frames"]]
    assert np.diff(starts) == pytest.approx(1 / fps, abs=0.0005)


def test_a_frame_starts_where_it_is_in_the_file(tmp_path: Path) -> None:
    tone = np.concatenate([np.zeros(24_000, np.float32), sound(50)])
    found, status = facts(kept(tmp_path, tone))
    # silence before the first word is no error
    assert status == 0
    at = {frame["timecode"]: frame["start_s"] for frame in found["frames"]}
    assert at["10:00:59:00"] == pytest.approx(0.5 + 1.0, abs=0.0001)


def test_the_channel_with_timecode_is_found_or_named(tmp_path: Path) -> None:
    tone = sound(50)
    other = 0.1 * np.random.default_rng(1).standard_normal(len(tone)).astype(np.float32)
    path = kept(tmp_path, other, tone)
    assert facts(path)[0]["channel"] == 2
    assert facts(path, "--channel", "2")[0]["channel"] == 2
    for channel, told in (("1", "no linear timecode is to be read on channel 1"), ("3", "has 2 channels")):
        result = run(path, "--channel", channel)
        assert result.exit_code == 2
        assert told in result.stderr


def test_speed_is_told_in_percent(tmp_path: Path) -> None:
    found, _ = facts(kept(tmp_path, sound(100, speed=1.04)))
    assert found["rate"] == "25"
    assert found["runs"][0]["speed_percent"] == pytest.approx(104, abs=0.05)


def test_user_bits_are_shown_as_they_are(tmp_path: Path) -> None:
    first = Word(10, 0, 58, 0, user=(1, 2, 3, 4, 5, 6, 7, 8))
    found, _ = facts(kept(tmp_path, sound(50, first=first)))
    assert found["user_bits"] == ["87654321"]


def spoilt_by_a_hole(tone: Floats) -> Floats:
    tone[48_000:60_000] = 0
    return tone


def spoilt_by_noise(tone: Floats) -> Floats:
    tone[48_000:60_000] = 0.5 * np.random.default_rng(1).standard_normal(12_000)
    return tone


def spoilt_by_a_jump(tone: Floats) -> Floats:
    return np.concatenate([tone[:48_000], sound(50, first=Word(11, 0, 0, 0))])


def spoilt_by_a_repeat(tone: Floats) -> Floats:
    return np.concatenate([tone[:48_000], tone[48_000 - 1920 : 48_000], tone[48_000:]])


def spoilt_by_clipping(tone: Floats) -> Floats:
    tone[48_000:72_000] = np.clip(4 * tone[48_000:72_000], -1, 1)
    return tone


@pytest.mark.parametrize(
    ("spoil", "kind"),
    [
        (spoilt_by_a_hole, "silent"),
        (spoilt_by_noise, "unread"),
        (spoilt_by_a_jump, "jump"),
        (spoilt_by_a_repeat, "repeat"),
        (spoilt_by_clipping, "clipped"),
    ],
)
def test_what_is_wrong_is_told_by_place(tmp_path: Path, spoil: Callable[[Floats], Floats], kind: str) -> None:
    path = kept(tmp_path, spoil(sound(100)))
    found, status = facts(path)
    assert status == 1
    one = next(error for error in found["errors"] if error["kind"] == kind)
    assert one["start_s"] == pytest.approx(1.0, abs=0.08)
    # the place is an edge between two words: the label may be that of either
    assert one["timecode"] in ("10:00:58:23", "10:00:58:24", "10:00:59:00", "11:00:00:00")
    shown = run(path)
    assert shown.exit_code == 1
    assert one["words"][:30] in shown.output.replace("\n", " ")


def test_a_table_is_for_people(tmp_path: Path, terminal: None) -> None:
    result = run(kept(tmp_path, sound(100)))
    assert result.exit_code == 0
    assert "quay.wav, channel 1: 25 frames a second" in result.output
    assert "10:00:58:0" in result.output
    assert "forward" in result.output
    assert "what is wrong" not in result.output


def test_another_rate_than_asked_is_an_error(tmp_path: Path) -> None:
    path = kept(tmp_path, sound(100))
    assert facts(path, "--rate", "25")[1] == 0
    # linear timecode of 50 frames runs at half of that
    assert facts(path, "--rate", "50")[1] == 0
    found, status = facts(path, "--rate", "30")
    assert status == 1
    assert [error["words"] for error in found["errors"]] == ["it counts 25 frames a second, and should have 30"]
    assert run(path, "--rate", "26").exit_code == 2


def test_a_rate_that_only_speed_tells_is_taken_from_who_knows(tmp_path: Path) -> None:
    # 24 frames a second, played 0.1 % slow: as good as 24000/1001
    path = kept(tmp_path, sound(100, 24, 24000 / 1001))
    assert facts(path)[0]["rate"] == "24000/1001"
    found, status = facts(path, "--rate", "24")
    assert (found["rate"], status) == ("24", 0)
    assert found["runs"][0]["speed_percent"] == pytest.approx(99.9, abs=0.01)


@pytest.mark.parametrize("content", [b"", b"RIFF....WAVE", b"la la"])
def test_what_is_no_recording_ends_with_status_2(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "quay.wav"
    path.write_bytes(content)
    result = run(path, "--json")
    assert result.exit_code == 2
    assert result.stdout == ""
    assert "quay.wav" in result.stderr
    assert run(tmp_path / "none.wav").exit_code == 2


@pytest.mark.parametrize("level", [0.0, 0.1])
def test_no_timecode_ends_with_status_2(tmp_path: Path, level: float) -> None:
    noise = level * np.random.default_rng(1).standard_normal(RATE_HZ).astype(np.float32)
    result = run(kept(tmp_path, noise))
    assert result.exit_code == 2
    assert "no linear timecode" in result.stderr


def clapped(folder: Path, frame: float, *, reverse: bool = False) -> Path:
    """Write timecode from 10:00:58:00 on, and a clap so many frames after it on the other channel."""
    tone = sound(100, speed=-1.0 if reverse else 1.0)
    claps = 0.0005 * np.random.default_rng(1).standard_normal(len(tone)).astype(np.float32)
    at = round((100 - frame if reverse else frame) / 25 * RATE_HZ)
    claps[at : at + 480] += 0.5 * np.exp(-np.arange(480) / 100).astype(np.float32)
    return kept(folder, tone, claps)


@pytest.mark.parametrize("reverse", [False, True])
def test_a_clap_has_a_timecode_to_a_hundredth_of_a_frame(tmp_path: Path, reverse: bool) -> None:
    found, status = facts(clapped(tmp_path, 52.35, reverse=reverse), "--clap", "2", "--marked", "10:01:00:00")
    assert status == 0
    (one,) = found["claps"]
    assert one["timecode"] in ("10:01:00:02.34", "10:01:00:02.35", "10:01:00:02.36")
    assert found["late_frames"] == pytest.approx(2.35, abs=0.011)
    # the rig was late, so that its timeline is wanted later: a delay above zero
    assert found["sync"] == {"source": "ltc", "delay_ms": pytest.approx(94.0, abs=0.5)}


def test_early_is_below_zero(tmp_path: Path, terminal: None) -> None:
    path = clapped(tmp_path, 48.75)
    found, _ = facts(path, "--clap", "2", "--marked", "10:01:00:00")
    assert found["late_frames"] == pytest.approx(-1.25, abs=0.011)
    shown = run(path, "--clap", "2", "--marked", "10:01:00:00")
    assert "clap at 0:01.950: 10:00:59:23.7" in shown.output
    assert "early" in shown.output


def test_an_offset_that_is_measured_can_stand_in_a_project(tmp_path: Path) -> None:
    from sequencer.project.build_sync import build_sync
    from sequencer.project.files import SyncFile
    from tests.sync.master import COUNTINGS, timebase

    found, _ = facts(clapped(tmp_path, 52.35), "--clap", "2", "--marked", "10:01:00:00")
    (offset,) = build_sync([SyncFile(**found["sync"])], timebase(COUNTINGS["25"]))
    assert offset.delay_ms == pytest.approx(94.0, abs=0.5)


def test_what_a_clap_cannot_be_is_told(tmp_path: Path) -> None:
    path = clapped(tmp_path, 52.35)
    for options, told in (
        (("--clap", "1"), "the timecode is on channel 1"),
        (("--clap", "3"), "has 2 channels"),
        (("--clap", "2", "--marked", "10:00:00:25"), "frame 25"),
    ):
        result = run(path, *options)
        assert result.exit_code == 2
        assert told in result.stderr
    silent = kept(tmp_path, sound(50), np.zeros(96_000, np.float32))
    found, _ = facts(silent, "--clap", "2", "--marked", "10:01:00:00")
    assert (found["claps"], found["late_frames"], found["sync"]) == ([], None, None)
    assert "no clap is to be heard on channel 2" in run(silent, "--clap", "2").output
