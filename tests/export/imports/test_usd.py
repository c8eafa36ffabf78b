"""Cameras from OpenUSD: stages built by usd-core, and the same points at the same pixels as its own frustum has."""

from collections.abc import Callable
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from pxr import Gf, Sdf, Usd, UsdGeom

from sequencer.errors import ImportFault
from sequencer.export import usd_read
from sequencer.export.contract import Wanted
from sequencer.export.formats.usd import make
from sequencer.export.found import FoundCamera
from sequencer.export.imports import usd
from sequencer.timebase.rate import Rate
from tests.export.deliveries import NTSC, OPENING, delivery
from tests.export.projecting import PIXELS, PLACE_M, TURN_DEG, WIDE, apart_deg, pixels_of, shown

FROM = {"Y": np.array([[1.0, 0, 0], [0, 0, -1.0], [0, 1.0, 0]]), "Z": np.eye(3)}
SEEN = np.array([[0.0, 0, -3], [1, 0.5, -4], [-1, -0.4, -3], [0.3, -0.6, -2], [-0.2, 0.7, -30]])  # by the camera


@pytest.fixture
def here(monkeypatch: pytest.MonkeyPatch) -> None:
    """Read in this process, which is what the reader's own would do, and quicker."""
    monkeypatch.setattr(usd, "_apart", lambda data, _name: usd_read.read(data))


def stage(up: str = "Y", unit_m: float = 0.01, fps: float = 24.0) -> Any:
    made = Usd.Stage.CreateInMemory()
    UsdGeom.SetStageUpAxis(made, up)
    UsdGeom.SetStageMetersPerUnit(made, unit_m)
    made.SetTimeCodesPerSecond(fps)
    made.SetFramesPerSecond(fps)
    return made


def camera(made: Any, path: str = "/set/crane/cam", unit_m: float = 0.01) -> Any:
    one = UsdGeom.Camera.Define(made, path)
    one.CreateHorizontalApertureAttr(24.9 / (unit_m * 100))
    one.CreateVerticalApertureAttr(13.1 / (unit_m * 100))
    one.CreateFocalLengthAttr(35.0 / (unit_m * 100))
    return one


def text(made: Any) -> bytes:
    return str(made.GetRootLayer().ExportToString()).encode()


def agrees(made: Any, found: FoundCamera, path: str = "/set/crane/cam") -> None:
    """Check that points in front of the library's camera are drawn at the same pixels by ours."""
    one = UsdGeom.Camera(made.GetPrimAtPath(path))
    unit_m, back = UsdGeom.GetStageMetersPerUnit(made), FROM[UsdGeom.GetStageUpAxis(made)]
    assert found.sensor_mm is not None
    per_frame = made.GetTimeCodesPerSecond() / made.GetFramesPerSecond()
    for number, frame in enumerate(found.frames.tolist()):
        frustum = one.GetCamera(frame * per_frame).frustum
        view = frustum.ComputeViewMatrix()
        world = np.array([view.GetInverse().Transform(Gf.Vec3d(*point)) for point in (SEEN / unit_m).tolist()])
        through = view * frustum.ComputeProjectionMatrix()
        device = np.array([through.Transform(Gf.Vec3d(*point)) for point in world.tolist()])[:, :2]
        theirs = device * np.array([WIDE, WIDE / frustum.ComputeAspectRatio()]) / 2
        ours = pixels_of(
            (world @ back.T * unit_m)[np.newaxis],
            found.position_m[number : number + 1],
            found.matrix[number : number + 1],
            found.focal_mm[number : number + 1] / found.sensor_mm[0],
        )
        assert np.abs(ours[0] - theirs).max() < PIXELS


@pytest.mark.parametrize("suffix", [".usda", ".usdc"])
@pytest.mark.parametrize("up", ["y", "z"])
def test_our_own_file_comes_back_as_it_was(suffix: str, up: Any) -> None:
    """Read by the process of its own."""
    given = delivery(41, parts=OPENING)
    assert given.path is not None
    (found,) = usd.cameras(make(given, suffix, Wanted(up=up, first=1001)), f"a{suffix}", None)
    expected = shown(given)
    assert np.abs(found.position_m - expected.position).max() < PLACE_M / 1000
    assert apart_deg(found.matrix, expected.axes).max() < TURN_DEG / 1000
    pixels = pixels_of(expected.points, found.position_m, found.matrix, found.focal_mm / 24.9)
    assert np.abs(pixels - expected.pixels).max() < PIXELS
    assert np.allclose(found.focus_m, given.path.focus_m.ravel(), rtol=1e-6)
    assert (found.rate, found.sensor_mm, found.remarks) == (NTSC, (24.9, 13.1), ())
    assert found.frames[:4].tolist() == [1000.75, 1001, 1001.25, 1001.75]
    assert found.start == Fraction(1001, 24000) * (Fraction(864_250) - Fraction(1, 4))


@pytest.mark.usefixtures("here")
@pytest.mark.parametrize(("up", "unit_m"), [("Y", 0.01), ("Z", 0.01), ("Z", 1.0), ("Y", 1.0)])
def test_what_carries_the_camera_is_counted(up: str, unit_m: float) -> None:
    made = stage(up, unit_m)
    base = UsdGeom.Xform.Define(made, "/set")
    base.AddRotateXYZOp().Set(Gf.Vec3f(20, 30, -10))
    crane = UsdGeom.Xform.Define(made, "/set/crane")
    turning = crane.AddRotateZOp()
    one = camera(made, unit_m=unit_m)
    moving = one.AddTranslateOp()
    for frame in range(1, 13):
        turning.Set(float(8 * frame), frame)
        moving.Set(Gf.Vec3d(frame, 2 * frame, -frame) * (0.1 / unit_m), frame)
    (found,) = usd.cameras(text(made), "a.usda", None)
    assert found.frames.tolist() == list(range(1, 13))
    agrees(made, found)


@pytest.mark.usefixtures("here")
def test_a_reset_takes_the_camera_off_what_carries_it() -> None:
    """Source: UsdGeomXformable, resetXformStack."""
    made = stage()
    base = UsdGeom.Xform.Define(made, "/set").AddTranslateOp()
    base.Set(Gf.Vec3d(500, 0, 0), 50)
    base.Set(Gf.Vec3d(600, 0, 0), 60)
    one = camera(made)
    moving = one.AddTranslateOp()
    one.SetResetXformStack(True)
    for frame in range(4):
        moving.Set(Gf.Vec3d(0, 100 + frame, 0), frame)
    (found,) = usd.cameras(text(made), "a.usda", None)
    assert found.position_m[0].tolist() == pytest.approx([0, 0, 1.0])
    assert found.frames.tolist() == [0, 1, 2, 3]
    agrees(made, found)


@pytest.mark.usefixtures("here")
def test_a_scale_that_is_even_is_taken_off_and_said() -> None:
    made = stage()
    UsdGeom.Xform.Define(made, "/set").AddScaleOp().Set(Gf.Vec3f(2.54, 2.54, 2.54))
    camera(made).AddTranslateOp().Set(Gf.Vec3d(0, 100, 0))
    (found,) = usd.cameras(text(made), "a.usda", Rate(25))
    assert found.position_m[0].tolist() == pytest.approx([0, 0, 2.54])
    assert any("is scaled by 2.54, which changes nothing of its picture" in words for words in found.remarks)
    agrees(made, found)


@pytest.mark.usefixtures("here")
def test_each_of_several_cameras_is_found() -> None:
    made = stage()
    for name in ("/a", "/set/b"):
        camera(made, name).AddTranslateOp().Set(Gf.Vec3d(100, 0, 0))
    assert sorted(one.name for one in usd.cameras(text(made), "a.usda", None)) == ["/a", "/set/b"]


@pytest.mark.usefixtures("here")
def test_between_samples_that_are_missing_it_is_as_the_standard_draws_it() -> None:
    made = stage()
    turning = camera(made).AddRotateYOp()
    for frame in (1, 5, 9):
        turning.Set(float(frame), frame)
    (found,) = usd.cameras(text(made), "a.usda", None)
    assert found.frames.tolist() == list(range(1, 10))
    assert any("frames are missing in 2 places, the first between frame 1 and 5" in words for words in found.remarks)
    agrees(made, found)


@pytest.mark.usefixtures("here")
def test_between_matrices_that_are_missing_there_is_nothing() -> None:
    made = stage()
    whole = camera(made).AddTransformOp()
    for frame in (1, 5, 9):
        whole.Set(Gf.Matrix4d().SetRotate(Gf.Rotation(Gf.Vec3d(0, 1, 0), 10.0 * frame)), frame)
    (found,) = usd.cameras(text(made), "a.usda", None)
    assert found.frames.tolist() == [1, 5, 9]
    agrees(made, found)


@pytest.mark.usefixtures("here")
def test_time_codes_that_are_no_frames_become_frames() -> None:
    """Source: SdfLayer: timeCodesPerSecond scales time, framesPerSecond is what is shown."""
    made = stage(fps=25)
    made.SetTimeCodesPerSecond(1000)
    moving = camera(made).AddTranslateOp()
    for frame in range(5):
        moving.Set(Gf.Vec3d(0, frame, 0), 40 * frame)
    (found,) = usd.cameras(text(made), "a.usda", None)
    assert (found.rate, found.frames.tolist()) == (Rate(25), [0, 1, 2, 3, 4])


@pytest.mark.usefixtures("here")
@pytest.mark.parametrize(
    ("fps", "rate"), [(23.976, NTSC), (24000 / 1001, NTSC), (29.97, Rate(30000, 1001)), (24, Rate(24))]
)
def test_a_rate_that_was_rounded_is_the_exact_one(fps: float, rate: Rate) -> None:
    made = stage(fps=fps)
    camera(made)
    assert usd.cameras(text(made), "a.usda", None)[0].rate == rate


@pytest.mark.usefixtures("here")
def test_the_operators_rate_is_the_last_word_and_the_mismatch_is_said() -> None:
    made = stage(fps=24)
    camera(made)
    (found,) = usd.cameras(text(made), "a.usda", Rate(25))
    assert found.rate == Rate(25)
    assert found.remarks[0] == (
        "the file counts 24 frames a second and is taken frame by frame at 25: it runs 4.2 % faster than it was made"
    )


@pytest.mark.usefixtures("here")
def test_what_the_file_does_not_say_is_said() -> None:
    (found,) = usd.cameras(b'#usda 1.0\ndef Camera "c" {\n}\n', "a.usda", None)
    words = "\n".join(found.remarks)
    assert np.isnan(found.focal_mm).all()
    assert found.sensor_mm is None
    for part in ("which way is up: Y", "its unit is: 1 cm", "its rate: 24", "its sensor", "its focal length"):
        assert part in words


@pytest.mark.usefixtures("here")
def test_a_lens_in_millimetres_on_a_stage_in_metres_is_taken_as_it_was_meant() -> None:
    made = stage(unit_m=1.0)
    one = camera(made, unit_m=0.01)
    one.AddTranslateOp().Set(Gf.Vec3d(0, 1, 0))
    (found,) = usd.cameras(text(made), "a.usda", None)
    assert (found.focal_mm[0], found.sensor_mm) == (35.0, (24.9, 13.1))
    assert any("its sensor would be 2490 mm wide by the standard" in words for words in found.remarks)


@pytest.mark.usefixtures("here")
def test_a_shifted_lens_and_a_changing_sensor_are_said() -> None:
    made = stage()
    one = camera(made)
    one.CreateHorizontalApertureOffsetAttr(2.0)
    for frame in (1, 2, 3):
        one.GetHorizontalApertureAttr().Set(24.9 * frame, frame)
    (found,) = usd.cameras(text(made), "a.usda", None)
    assert found.focal_mm.tolist() == pytest.approx([35, 35 / 2, 35 / 3])
    assert any("lens shifted" in words for words in found.remarks)
    assert any("its sensor changes its size" in words for words in found.remarks)


def squeezed(made: Any) -> None:
    camera(made).AddScaleOp().Set(Gf.Vec3f(1, 2, 1), 3)


def mirrored(made: Any) -> None:
    camera(made).AddScaleOp().Set(Gf.Vec3f(-1, 1, 1), 3)


def sheared(made: Any) -> None:
    camera(made).AddTransformOp().Set(Gf.Matrix4d(1, 0, 0, 0, 0.6, 0.8, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1), 3)


def flat(made: Any) -> None:
    camera(made).AddScaleOp().Set(Gf.Vec3f(0, 0, 0), 3)


def nowhere(made: Any) -> None:
    camera(made).AddTranslateOp().Set(Gf.Vec3d(float("nan"), 0, 0), 3)


def parallel(made: Any) -> None:
    camera(made).CreateProjectionAttr("orthographic")


def endless(made: Any) -> None:
    moving = camera(made).AddTranslateOp()
    moving.Set(Gf.Vec3d(0, 0, 0), 0)
    moving.Set(Gf.Vec3d(1, 0, 0), 1e15)


def elsewhere(made: Any) -> None:
    camera(made).GetPrim().GetReferences().AddReference("/etc/passwd", "/a")


def inside(made: Any) -> None:
    made.DefinePrim("/copy").GetReferences().AddInternalReference("/set")


def layered(made: Any) -> None:
    camera(made)
    made.GetRootLayer().subLayerPaths.append("../secret.usda")


def clipped(made: Any) -> None:
    Usd.ClipsAPI(camera(made).GetPrim()).SetClipAssetPaths(Sdf.AssetPathArray([Sdf.AssetPath("x.usda")]))


def clipped_in_a_variant(made: Any) -> None:
    """Have clips in one of several shapes of what carries the camera, where no walk over its prims comes by."""
    clipped(made)
    root = made.GetRootLayer()
    spec = root.GetPrimAtPath("/set/crane/cam")
    clips = spec.GetInfo("clips")
    spec.ClearInfo("clips")
    shapes = made.GetPrimAtPath("/set/crane").GetVariantSets().AddVariantSet("shape")
    shapes.AddVariant("long")
    shapes.SetVariantSelection("long")
    root.GetPrimAtPath("/set/crane").variantSets["shape"].variants["long"].primSpec.SetInfo("clips", clips)


def off(made: Any) -> None:
    camera(made).GetPrim().SetActive(False)


def rateless(made: Any) -> None:
    camera(made)
    made.SetFramesPerSecond(23.5)


def unitless(made: Any) -> None:
    camera(made)
    UsdGeom.SetStageMetersPerUnit(made, -1)


@pytest.mark.usefixtures("here")
@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (squeezed, "/set/crane/cam at frame 3 is scaled unevenly (1, 2, 1 along its X, Y and Z)"),
        (mirrored, "/set/crane/cam at frame 3 is mirrored"),
        (sheared, "/set/crane/cam at frame 3 is sheared: its axes are not at right angles"),
        (flat, "/set/crane/cam at frame 3 is scaled to nothing"),
        (nowhere, "/set/crane/cam at frame 3 has a transform that is no number"),
        (parallel, "/set/crane/cam draws without perspective (orthographic)"),
        (endless, "/set/crane/cam: it goes from frame 0 to 1e+15, and 500000 samples are the most"),
        (elsewhere, "it needs another file (/etc/passwd), which is not followed; export it flattened"),
        (layered, "it needs another file (../secret.usda), which is not followed; export it flattened"),
        (inside, "it needs references inside of itself, which are not followed; export it flattened"),
        (clipped, "/set/crane/cam takes its values from other files (clips)"),
        (clipped_in_a_variant, "/set/crane{shape=long} takes its values from other files (clips)"),
        (off, "/set/crane/cam is switched off, and so are all its cameras"),
        (rateless, "it has 23.5 frames a second, which is no rate; say its rate"),
        (unitless, "its metersPerUnit, or its frames a second, cannot be"),
        (lambda _made: None, "it has no camera; export the camera too"),
    ],
)
def test_what_no_camera_is_and_what_is_not_followed_is_refused(spoil: Callable[[Any], None], words: str) -> None:
    made = stage()
    spoil(made)
    with pytest.raises(ImportFault) as caught:
        usd.cameras(text(made), "a.usda", None)
    assert words in str(caught.value)
    assert str(caught.value).startswith("a.usda: ")


@pytest.mark.usefixtures("here")
@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "it does not begin as OpenUSD does"),
        (b"PK\x03\x04camera", "a .usdz must be unpacked"),
        (b"#usda 1.0\n\xff\xfe", "it is no text in UTF-8: byte 10 is none"),
        (b'#usda 1.0\ndef Camera "a" {\n float focalLength = "x"\n}\n', "it is damaged: line 3: "),
        (b'#usda 1.0\ndef Camera "a" {\n float foc', "it is damaged: line 3: "),
        (b"PXR-USDC" + bytes(100), "it is damaged: "),
    ],
)
def test_a_damaged_file_is_refused_with_its_place(data: bytes, words: str) -> None:
    with pytest.raises(ImportFault) as caught:
        usd.cameras(data, "a.usd", None)
    assert words in str(caught.value)
    assert "pegtl" not in str(caught.value)


@pytest.mark.usefixtures("here")
def test_too_much_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    made = stage()
    for number in range(70):
        camera(made, f"/c{number}")
    with pytest.raises(ImportFault, match="it has 70 cameras, and 64 are the most"):
        usd.cameras(text(made), "a.usda", None)
    few = stage()
    for number in range(5):
        camera(few, f"/c{number}")
    monkeypatch.setattr(usd_read, "MOST_SAMPLES", 1)
    with pytest.raises(ImportFault, match="its cameras have more than 4 samples together"):
        usd.cameras(text(few), "a.usda", None)
    monkeypatch.setattr(usd_read, "MOST_PRIMS", 50)
    with pytest.raises(ImportFault, match="more than 50 prims"):
        usd.cameras(text(made), "a.usda", None)
    monkeypatch.setattr("sequencer.export.foreign.MOST_BYTES", 100)
    with pytest.raises(ImportFault, match="export the camera alone"):
        usd.cameras(text(made), "a.usda", None)


def test_what_ends_the_library_ends_nobody_else() -> None:
    """As many prims in each other as break the library's reader of text."""
    with pytest.raises(ImportFault, match="library ended while it read it: the file is damaged"):
        usd.cameras(b"#usda 1.0\n" + b'def Xform "a" {\n' * 200_000, "a.usda", None)


@pytest.mark.real_time
def test_what_keeps_the_library_busy_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(usd, "_LONGEST_S", 0.01)
    with pytest.raises(ImportFault, match="it was not read within 0 s"):
        usd.cameras(make(delivery(3), ".usda", Wanted()), "a.usda", None)


def test_without_the_library_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(usd, "find_spec", lambda _name: None)
    with pytest.raises(ImportFault, match=r"pip install 'twintake\[usd\]'"):
        usd.cameras(b"#usda 1.0\n", "a.usda", None)
