"""Cameras in OpenUSD, read back by OpenUSD's own camera model (usd-core): UsdGeomCamera, GfCamera and its frustum."""

import sys
import tempfile
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pxr import Gf, Usd, UsdGeom, UsdValidation

from sequencer.errors import ExportError
from sequencer.export.contract import Wanted
from sequencer.export.delivery import Delivery
from sequencer.export.formats.usd import KIND, make
from sequencer.export.spaces import Up
from sequencer.rig.axis import Axis
from sequencer.timebase.rate import Rate
from tests.export.deliveries import NTSC, OPENING, delivery, with_path
from tests.export.projecting import PIXELS, PLACE_M, TURN_DEG, WIDE, apart_deg, shown
from tests.export.test_written import disk_full_after

# our right, forward and up, where Y is up and forward is -Z, and where Z is up
TO: dict[Up, Any] = {"y": np.array([[1, 0, 0], [0, 0, 1], [0, -1, 0]]), "z": np.eye(3)}

PLAIN = Wanted()


def opened(folder: Path, given: Delivery, suffix: str, wanted: Wanted = PLAIN) -> Any:
    file = folder / f"camera{suffix}"
    file.write_bytes(make(given, suffix, wanted))
    return Usd.Stage.Open(str(file))


def camera(stage: Any) -> Any:
    return UsdGeom.Camera(stage.GetPrimAtPath("/shot/camera"))


def drawn(stage: Any, time: float, points: Any) -> Any:
    """Where the library's own frustum draws points, in pixels from the middle."""
    frustum = camera(stage).GetCamera(time).frustum
    through = frustum.ComputeViewMatrix() * frustum.ComputeProjectionMatrix()
    device = np.array([through.Transform(Gf.Vec3d(*point)) for point in points.tolist()])
    height = WIDE / frustum.ComputeAspectRatio()
    return device[:, :2] * np.array([WIDE, height]) / 2


@pytest.mark.parametrize("suffix", KIND.suffixes)
@pytest.mark.parametrize("up", ["y", "z"])
@pytest.mark.parametrize(("rate", "parts"), [(NTSC, (Fraction(0),)), (Rate(60000, 1001), OPENING)])
def test_the_librarys_own_camera_stands_and_draws_as_ours(
    tmp_path: Path, suffix: str, up: Up, rate: Rate, parts: tuple[Fraction, ...]
) -> None:
    given = delivery(61, rate=rate, parts=parts)
    stage = opened(tmp_path, given, suffix, Wanted(up=up, first=1001))
    assert UsdGeom.GetStageUpAxis(stage) == up.upper()
    to_metre = UsdGeom.GetStageMetersPerUnit(stage)
    expected = shown(given)
    times = [1001 + frame + float(part) for frame in range(61) for part in parts]
    for number, time in enumerate(times):
        world = np.array(camera(stage).ComputeLocalToWorldTransform(time))
        np.testing.assert_allclose(world[3, :3] * to_metre @ TO[up], expected.position[number], atol=PLACE_M)
        right, above, back = (row @ TO[up] for row in world[:3, :3])
        read = np.column_stack([right, -back, above])
        assert apart_deg(read[np.newaxis], expected.axes[number : number + 1])[0] < TURN_DEG
        pixels = drawn(stage, time, expected.points[number] @ TO[up].T / to_metre)
        np.testing.assert_allclose(pixels, expected.pixels[number], atol=PIXELS)


def test_the_stage_passes_all_of_openusds_validators(tmp_path: Path) -> None:
    """Source: UsdValidation, all validators that the library brings."""
    validators = UsdValidation.ValidationRegistry().GetOrLoadAllValidators()
    assert len(validators) > 10
    for up in ("y", "z"):
        stage = opened(tmp_path, delivery(5, parts=OPENING, holes=(2,)), ".usda", Wanted(up=up))
        found = UsdValidation.ValidationContext(validators).Validate(stage)
        assert [error.GetMessage() for error in found] == []


def test_rate_frames_and_shutter_are_the_standards(tmp_path: Path) -> None:
    """Source: UsdGeomCamera: shutter:open and close in time codes from the sample; SdfLayer: time codes a second."""
    stage = opened(tmp_path, delivery(9), ".usda", Wanted(first=1001))
    assert stage.GetTimeCodesPerSecond() == stage.GetFramesPerSecond() == 24000 / 1001
    assert (stage.GetStartTimeCode(), stage.GetEndTimeCode()) == (1001, 1009)
    assert stage.GetDefaultPrim().GetPath() == "/shot"
    one = camera(stage)
    assert (one.GetShutterOpenAttr().Get(), one.GetShutterCloseAttr().Get()) == (-0.25, 0.25)
    assert one.GetFStopAttr().Get() == pytest.approx(2.8)


def test_lens_and_focus_are_in_the_standards_units(tmp_path: Path) -> None:
    """Source: UsdGeomCamera: focal length and apertures in tenths of a scene unit, focus distance in scene units."""
    given = delivery(9)
    assert given.path is not None
    stage = opened(tmp_path, given, ".usda")
    one, unit_mm = camera(stage), UsdGeom.GetStageMetersPerUnit(stage) * 1000
    assert one.GetHorizontalApertureAttr().Get() * unit_mm / 10 == pytest.approx(24.9)
    assert one.GetVerticalApertureAttr().Get() * unit_mm / 10 == pytest.approx(13.1)
    for frame in range(9):
        assert one.GetFocalLengthAttr().Get(250 + frame) * unit_mm / 10 == pytest.approx(given.path.focal_mm[frame, 0])
        focus_m = one.GetFocusDistanceAttr().Get(250 + frame) * unit_mm / 1000
        assert focus_m == pytest.approx(given.path.focus_m[frame, 0])


def test_the_rigs_axes_and_where_it_comes_from_are_in_the_file(tmp_path: Path) -> None:
    given = delivery(3)
    assert given.path is not None
    stage = opened(tmp_path, given, ".usdc")
    prim = stage.GetPrimAtPath("/shot/camera")
    for number, axis in enumerate(given.rig.axes):
        attribute = prim.GetAttribute(f"twintake:axis:{axis.name.replace('-', '_')}")
        assert attribute.IsCustom()
        assert attribute.GetCustomData() == {"name": axis.name, "kind": axis.kind, "unit": axis.unit}
        assert [attribute.Get(250 + frame) for frame in range(3)] == given.path.values[:, 0, number].tolist()
    told = stage.GetRootLayer().customLayerData["twintake"]
    assert told["startTimecode"] == "10:00:10:10"
    assert (told["rate"], told["firstFrame"], told["document"]) == ("24000/1001", 250, "sha256:5f2c")
    assert list(told["fromPivotMm"]) == [4.0, 112.0, -17.0]


def test_what_lies_between_frames_is_a_turning_too(tmp_path: Path) -> None:
    """A matrix that is drawn straight between two others shears; angles do not."""
    stage = opened(tmp_path, delivery(9), ".usda")
    for time in (250.5, 253.25):
        world = np.array(camera(stage).ComputeLocalToWorldTransform(time))[:3, :3]
        np.testing.assert_allclose(world @ world.T, np.eye(3), atol=1e-12)


def test_a_pan_keeps_its_turns(tmp_path: Path) -> None:
    given = delivery(9)
    assert given.path is not None
    stage = opened(tmp_path, given, ".usda")
    angles = [
        stage.GetPrimAtPath("/shot/camera").GetAttribute("xformOp:rotateZXY").Get(250 + frame) for frame in range(9)
    ]
    assert [angle[1] for angle in angles] == given.path.angles_deg[:, 0, 0].tolist()
    assert min(angle[1] for angle in angles) < -360


def test_frames_at_which_nobody_knew_have_no_samples_and_the_remark_says_so(tmp_path: Path) -> None:
    given = delivery(9, holes=(3, 4))
    stage = opened(tmp_path, given, ".usda")
    times = stage.GetPrimAtPath("/shot/camera").GetAttribute("xformOp:translate").GetTimeSamples()
    assert times == [250, 251, 252, 255, 256, 257, 258]
    (words,) = KIND.remarks(given, Wanted())
    assert words.startswith("the rig did not say where it stood in 2 frames (10:00:10:13, 10:00:10:14): they have no")


def test_what_nobody_says_of_the_lens_is_left_out_and_said(tmp_path: Path) -> None:
    whole = delivery(3)
    assert whole.path is not None
    path = replace(whole.path, focal_mm=np.full((3, 1), np.nan), focus_m=np.full((3, 1), np.inf), shutter=None)
    given = replace(with_path(whole, path), f_number=None)
    stage = opened(tmp_path, given, ".usda")
    one = camera(stage)
    for attribute in (one.GetFocalLengthAttr(), one.GetFStopAttr(), one.GetShutterOpenAttr()):
        assert not attribute.HasAuthoredValue()
    assert one.GetFocusDistanceAttr().Get() == 1e6  # 10 km in centimetres
    words = KIND.remarks(given, Wanted())
    assert words[0].startswith(
        "nobody says the focal length: there is no sample of it, and readers take the standard's own"
    )
    assert words[1] == "a distance in focus at infinity is written as 10 km"


def test_axes_whose_names_become_the_same_are_both_written(tmp_path: Path) -> None:
    given = delivery(3)
    axes = tuple(
        replace(axis, name=name)
        for axis, name in zip(given.rig.axes, ["a-b", "a+b", "3", "d", "e", "f", "g", "h"], strict=True)
    )
    stage = opened(tmp_path, replace(given, rig=replace(given.rig, axes=axes)), ".usda")
    written = stage.GetPrimAtPath("/shot/camera").GetAttributes()
    names = [one.GetCustomData()["name"] for one in written if one.IsCustom()]
    assert sorted(names) == sorted(axis.name for axis in axes)


@pytest.mark.parametrize("suffix", KIND.suffixes)
def test_the_same_delivery_is_the_same_bytes(suffix: str) -> None:
    assert make(delivery(5), suffix, Wanted()) == make(delivery(5), suffix, Wanted())


def test_without_a_path_or_the_library_it_says_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(ExportError, match=r"no camera to hand over; write camera into rig\.json"):
        make(replace(delivery(3), path=None), ".usda", Wanted())
    with pytest.raises(ExportError, match="never said where it stood"):
        make(delivery(3, holes=(0, 1, 2), source="actual"), ".usda", Wanted())
    monkeypatch.delitem(sys.modules, "sequencer.export.usd_stage", raising=False)
    monkeypatch.setitem(sys.modules, "pxr", None)
    with pytest.raises(ExportError, match=r"pip install 'twintake\[usd\]'"):
        make(delivery(3), ".usda", Wanted())


@pytest.mark.skipif(sys.platform == "win32", reason="the limit on file size is POSIX")
@pytest.mark.parametrize("size", [0, 100])
def test_a_full_disk_is_said_and_the_text_form_does_without(size: int) -> None:
    with (
        disk_full_after(size),
        pytest.raises(ExportError, match=r"into the folder for temporary files; free its disk, or take \.usda"),
    ):
        make(delivery(3), ".usdc", Wanted())
    with disk_full_after(size):
        assert make(delivery(3), ".usda", Wanted()).startswith(b"#usda 1.0")


def test_a_folder_for_temporary_files_that_went_away_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "gone"))
    with pytest.raises(ExportError, match="OpenUSD could not write its binary form into the folder for temporary"):
        make(delivery(3), ".usdc", Wanted())


def test_a_single_frame_is_a_camera_that_stands(tmp_path: Path) -> None:
    given = delivery(1)
    expected = shown(given)
    stage = opened(tmp_path, given, ".usda")
    pixels = drawn(stage, 250, expected.points[0] @ TO["y"].T * 100)
    np.testing.assert_allclose(pixels, expected.pixels[0], atol=PIXELS)


def test_every_axis_has_a_name_that_a_file_can_hold() -> None:
    axis = Axis(name="ä", kind="pan", unit="deg", travel=None, speed=1, acceleration=1, jerk=1)
    given = delivery(2)
    rig = replace(given.rig, axes=(axis, *given.rig.axes[1:]))
    assert b'string name = "\xc3\xa4"' in make(replace(given, rig=rig), ".usda", Wanted())
