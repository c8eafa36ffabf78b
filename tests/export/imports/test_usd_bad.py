"""OpenUSD's binary form, damaged or where the disk is: places of it that its text form refuses by itself."""

import struct
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pxr import Gf

from sequencer.errors import ImportFault
from sequencer.export import foreign, usd_read
from sequencer.export.imports import usd
from tests.export.imports.test_usd import camera, stage, text
from tests.export.test_written import disk_full_after


@pytest.fixture(autouse=True)
def here(monkeypatch: pytest.MonkeyPatch) -> None:
    """Read in this process, which is what the reader's own would do, and quicker."""
    monkeypatch.setattr(usd, "_apart", lambda data, _name: usd_read.read(data))


def sliding(*times: float) -> Any:
    """A stage with a camera that has a sample at each of some times."""
    made = stage()
    moving = camera(made).AddTranslateOp()
    for time in times:
        moving.Set(Gf.Vec3d(0, 0, 0), time)
    return made


def binary(made: Any, folder: Path) -> bytes:
    file = folder / "made.usdc"
    made.GetRootLayer().Export(str(file))
    return file.read_bytes()


@pytest.mark.parametrize(
    ("time_codes_hz", "frames_hz"), [(0, 24), (-1, 24), (float("nan"), 24), (24, 0), (24, -1), (24, float("inf"))]
)
def test_a_rate_that_is_none_is_refused(tmp_path: Path, time_codes_hz: float, frames_hz: float) -> None:
    made = sliding(1, 2)
    made.SetTimeCodesPerSecond(time_codes_hz)
    made.SetFramesPerSecond(frames_hz)
    with pytest.raises(ImportFault) as caught:
        usd.cameras(binary(made, tmp_path), "a.usdc", None)
    assert str(caught.value) == "a.usdc: its timeCodesPerSecond or framesPerSecond is no rate; give it one"


@pytest.mark.parametrize("never", [float("nan"), float("inf"), -float("inf")])
def test_a_sample_at_no_time_is_none(tmp_path: Path, never: float) -> None:
    """Source: UsdAttribute::GetTimeSamples, which gives those between the infinities alone."""
    data = binary(sliding(1, 2, 2.75), tmp_path)
    spoilt = data.replace(struct.pack("<d", 2.75), struct.pack("<d", never))
    assert spoilt != data
    (found,) = usd.cameras(spoilt, "a.usdc", None)
    assert found.frames.tolist() == [1, 2]


def test_as_many_samples_as_there_may_be_are_taken_and_not_one_more(monkeypatch: pytest.MonkeyPatch) -> None:
    """Counted are its own and the whole frames between them: ten of eight frames and two instants beside them."""
    times = (0.5, 1, 2, 3, 4, 5, 6, 7, 8, 8.5)
    monkeypatch.setattr(foreign, "MOST_SAMPLES", 10)
    (found,) = usd.cameras(text(sliding(*times)), "a.usda", None)
    assert found.frames.tolist() == list(times)
    monkeypatch.setattr(foreign, "MOST_SAMPLES", 9)
    with pytest.raises(ImportFault, match=r"it goes from frame 0\.5 to 8\.5, and 9 samples are the most"):
        usd.cameras(text(sliding(*times)), "a.usda", None)


@pytest.mark.parametrize("own", [[0.0, np.inf], [-np.inf, 0.0], [0.0, np.nan], [np.nan]])
def test_frames_without_end_are_not_filled_in(own: list[float]) -> None:
    with pytest.raises(ImportFault, match="500000 samples are the most; export the shot's frames only"):
        foreign.filled(np.array(own), "a")


@pytest.mark.skipif(sys.platform == "win32", reason="the limit on file size is POSIX")
def test_a_full_disk_is_not_taken_for_a_damaged_file(tmp_path: Path) -> None:
    data = binary(sliding(1, 2), tmp_path)
    with disk_full_after(0), pytest.raises(ImportFault) as caught:
        usd.cameras(data, "a.usdc", None)
    words = str(caught.value)
    assert words.startswith("a.usdc: OpenUSD reads its binary form from the folder for temporary files, which cannot")
    assert words.endswith("; free its disk, or export it as .usda")
    with disk_full_after(0):
        assert usd.cameras(text(sliding(1, 2)), "a.usda", None)
