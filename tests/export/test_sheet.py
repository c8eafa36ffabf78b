"""The text and the chart beside an export: nine points, seen through the file as others read it."""

import re
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from sequencer.export.chart import chart, picture, pixels_of
from sequencer.export.contract import Wanted
from sequencer.export.delivery import Delivery, Floats
from sequencer.export.filmed import filmed
from sequencer.export.opening import Opening
from sequencer.export.sheet import sheet
from sequencer.export.spaces import Up
from sequencer.rig.geometry import Geometry
from sequencer.rig.pose import Pose, turned
from sequencer.score.move import Pass
from sequencer.shell.kinds import exports, laws
from tests.export.deliveries import delivery
from tests.export.rigs import CAMERA, FILM, RIG, crossed

SLOW = Pass("slow", speed=Fraction(1, 2))


def crossing(camera_turns: bool = True, run: Pass = SLOW) -> Delivery:
    move = crossed(48, 144)
    if not camera_turns:
        move = replace(move, tracks=move.tracks[3:])  # slide, lift and the lens
    path = filmed(RIG, move, move.cues[0], run, FILM, laws(), Opening(Fraction(180), "centre", 3))
    return Delivery(
        project="Harbour",
        timebase=FILM,
        rig=RIG,
        cue=move.cues[0],
        run=run.name,
        source="planned",
        path=path,
        f_number=4.0,
        made="twintake 0.1.0",
        document="project.json and rig.json, sha256 5f2c",
    )


def table(text: str) -> tuple[Floats, list[int], Floats]:
    """Return what a text's check table has: places (9, 3), frame numbers (N,), pixels (N, 9, 2), NaN for a dot."""
    lines = text.splitlines()
    head = next(n for n, line in enumerate(lines) if "X, Y, Z in" in line)
    frames = [int(one) for one in re.findall(r"frame (-?\d+)", lines[head])]
    head += " s" in lines[head + 1]  # a file that counts in seconds
    places, pixels = [], []
    for number, line in enumerate(lines[head + 1 : head + 10], 1):
        cells = line.replace(", ", ",").replace(",", " ").split()
        assert int(cells[0]) == number
        places.append([float(one) for one in cells[1:4]])
        rest, row = cells[4:], []
        while rest:
            row.append((np.nan, np.nan) if rest[0] == "." else (float(rest[0]), float(rest[1])))
            rest = rest[1:] if rest[0] == "." else rest[2:]
        pixels.append(row)
    return np.array(places), frames, np.swapaxes(np.array(pixels), 0, 1)


def through_usd(file: Path, frame: float, points: Floats, size: tuple[int, int]) -> Floats:
    """Return the pixels of points by OpenUSD's own frustum, on the stage as it is read. Source: UsdGeomCamera."""
    from pxr import Gf, Usd, UsdGeom

    stage = Usd.Stage.Open(str(file))
    prim = next(prim for prim in stage.Traverse() if prim.IsA(UsdGeom.Camera))
    frustum = UsdGeom.Camera(prim).GetCamera(Usd.TimeCode(frame)).frustum
    both = frustum.ComputeViewMatrix() * frustum.ComputeProjectionMatrix()
    flat = np.array([both.Transform(Gf.Vec3d(*point))[:2] for point in points.tolist()])
    seen: Floats = (1 + flat * [1, -1]) / 2 * np.array(size)
    return seen


@pytest.mark.parametrize("up", ["y", "z"])
def test_the_charts_points_stand_at_its_pixels_in_openusd(tmp_path: Path, up: Up) -> None:
    pytest.importorskip("pxr")
    made, kind, wanted = crossing(), exports()["usd"], Wanted(up=up, first=1001)
    assert made.path is not None
    file = tmp_path / "camera.usda"
    file.write_bytes(kind.make(made, ".usda", wanted))
    text = sheet(made, kind, wanted, file.name, chart(made.path, CAMERA), ())
    places, frames, pixels = table(text)
    assert frames == [1001, 1001 + 96, 1001 + 192]
    assert np.isfinite(pixels[..., 0]).sum(axis=1).min() >= 3
    for frame, written in zip(frames, pixels, strict=True):
        seen = through_usd(file, frame, places, CAMERA.pixels)
        there = np.isfinite(written[:, 0])
        # half of the last digit that is written, and what the file's 32-bit lens leaves
        assert seen[there] == pytest.approx(written[there], abs=0.01)


def test_the_charts_points_stand_at_its_pixels_in_gltf(tmp_path: Path) -> None:
    pygltflib = pytest.importorskip("pygltflib")
    made, kind = delivery(97), exports()["gltf"]
    camera = made.rig.camera
    assert made.path is not None
    assert camera is not None
    file = tmp_path / "camera.glb"
    file.write_bytes(kind.make(made, ".glb", Wanted()))
    text = sheet(made, kind, Wanted(), file.name, chart(made.path, camera), ())
    places, frames, pixels = table(text)
    read = pygltflib.GLTF2().load(str(file))
    data = read.binary_blob()

    def numbers(accessor: int, width: int) -> Floats:
        one = read.accessors[accessor]
        view = read.bufferViews[one.bufferView]
        begin = (view.byteOffset or 0) + (one.byteOffset or 0)
        return np.frombuffer(data, "<f4", one.count * width, begin).reshape(one.count, width).astype(np.float64)

    found = {
        channel.target.path: read.animations[0].samplers[channel.sampler] for channel in read.animations[0].channels
    }
    times = numbers(found["translation"].input, 1)[:, 0]
    at_s = [float(one) for one in re.findall(r"at (\S+) s\b", text)]
    assert at_s == pytest.approx([times[frame - made.path.first] for frame in frames], abs=1e-5)
    for frame, written in zip(frames, pixels, strict=True):
        number = frame - made.path.first
        at = numbers(found["translation"].output, 3)[number]
        x, y, z, w = numbers(found["rotation"].output, 4)[number]
        field = numbers(found["pointer"].output, 1)[number, 0]
        # Source: glTF 2.0: unit quaternions x, y, z, w; the camera looks along -Z with +Y up; yfov is vertical
        turn = np.array(
            [
                [1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y)],
                [2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)],
                [2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)],
            ]
        )
        own = (places - at) @ turn
        edge = np.tan(field / 2) * np.array([camera.sensor_mm[0] / camera.sensor_mm[1], 1.0])
        flat = own[:, :2] / -own[:, 2:] / edge
        seen = (1 + flat * [1, -1]) / 2 * np.array(camera.pixels)
        there = np.isfinite(written[:, 0])
        assert there.sum() >= 3
        assert seen[there] == pytest.approx(written[there], abs=0.02)


def test_a_camera_that_stands_still_sees_three_rows_of_three() -> None:
    made = crossing(camera_turns=False)
    still = made.path
    assert still is not None
    still = replace(
        still,
        position_m=np.broadcast_to(still.position_m[:1], still.position_m.shape),
        focal_mm=np.full_like(still.focal_mm, 35.0),
    )
    found = chart(still, CAMERA)
    wide, tall = CAMERA.pixels
    rows = [[(wide * (0.5 + 0.3 * x), tall * (0.5 - 0.3 * y)) for x in (-1, 0, 1)] for y in (1, 0, -1)]
    # places are rounded to a millimetre, which is a pixel or two
    assert found.pixels[0].reshape(3, 3, 2) == pytest.approx(np.array(rows), abs=3)
    assert found.seen(CAMERA.pixels).all()


def test_points_lie_at_the_distance_in_focus_nearer_and_farther() -> None:
    made = crossing()
    path = made.path
    assert path is not None
    found = chart(path, CAMERA)
    laid = (((1, 1), (3, 0.8), (8, 1.25)), ((6, 1), (4, 0.8), (2, 1.25)), ((5, 1), (9, 0.8), (7, 1.25)))
    for frame, points in zip(found.frames, laid, strict=True):
        ahead = turned(path.angles_deg[frame, 1])[:, 1]
        for number, part in points:
            far_m = float((found.points_m[number - 1] - path.position_m[frame, 1]) @ ahead)
            assert far_m == pytest.approx(part * path.focus_m[frame, 1], abs=0.002)  # places are rounded
    assert path.focus_m[found.frames[0], 1] < path.focus_m[found.frames[2], 1] - 1
    # without a distance the subject's stands for it, and so it does where infinity is in focus
    for focus_m in (np.nan, np.inf):
        other = chart(replace(path, focus_m=np.full_like(path.focus_m, focus_m)), CAMERA)
        middle = other.points_m[4] - path.position_m[other.frames[2], 1]
        assert float(np.linalg.norm(middle)) == pytest.approx(CAMERA.subject_m, abs=0.002)


def test_at_least_three_points_are_in_each_frame_however_far_the_camera_turns() -> None:
    for seed in range(20):
        made = delivery(97, seed=seed)
        assert made.path is not None
        assert made.rig.camera is not None
        seen = chart(made.path, made.rig.camera).seen(made.rig.camera.pixels)
        assert seen.shape == (3, 9)
        assert (seen.sum(axis=1) >= 3).all()


def test_a_point_ahead_is_in_the_middle_and_one_above_is_higher_in_the_picture() -> None:
    made = crossing()
    path = made.path
    assert path is not None
    here = Pose(path.position_m[0, 1], turned(path.angles_deg[0, 1]), path.angles_deg[0, 1])
    ahead = here.position + here.forward * 3
    above, right = ahead + here.matrix[:, 2] * 0.1, ahead + here.matrix[:, 0] * 0.1
    middle, high, aside, behind = pixels_of(
        path, CAMERA, 0, np.stack([ahead, above, right, here.position - here.forward])
    )
    assert middle == pytest.approx([2048, 1152])
    # a tenth of a metre at three, through 28 mm, of 4096 pixels on 24.9 mm
    assert high == pytest.approx([2048, 1152 - 28 * 0.1 / 3 * 2304 / 14])
    assert aside == pytest.approx([2048 + 28 * 0.1 / 3 * 4096 / 24.9, 1152])
    assert np.isnan(behind).all()


def test_holes_are_not_charted() -> None:
    made = delivery(9, holes=(0, 4, 8), source="actual")
    assert made.path is not None
    assert made.rig.camera is not None
    found = chart(made.path, made.rig.camera)
    assert found.frames == (1, 5, 7)
    one = delivery(1)
    assert one.path is not None
    assert chart(one.path, made.rig.camera).frames == (0,)


def test_the_text_says_what_a_stranger_must_know() -> None:
    made, kind = crossing(), exports()["usd"]
    assert made.path is not None
    text = sheet(made, kind, Wanted(first=1001), "x.usda", chart(made.path, CAMERA), ("the format lost something",))
    flat = " ".join(text.split())
    for words in (
        "x.usda: OpenUSD camera",
        "project Harbour cue crossing pass slow take none movement planned: the move as it is written",
        "24000/1001 frames a second, which is exact; 23.976 is not",
        "first frame 1001, timecode 01:00:02:00",
        "last frame 1193, timecode 01:00:10:00; 193 frames",
        "1/2 frames of the move go by from each frame of the picture to the next",
        "180 degrees, open from -1/4 to 1/4",
        "3 a frame, at -1/4, 0, 1/4 of a frame",
        "right-handed, Y up",
        "rotateZXY of (tilt, pan, -roll)",
        "in cm, of a set whose origin is on the ground",
        "12 mm to the right, 95 mm ahead and -20 mm above",
        "24.9 x 14 mm, 4096 x 2304 pixels",
        "28 to 75 mm",
        "2.5 to 4.2 m, from the entrance pupil",
        "f/4",
        "the middle of that pixel is 0.5, 0.5",
        "- the format lost something",
        "a hard-wired emergency stop",
        "sha256 5f2c",
    ):
        assert words in flat, words
    assert text == sheet(
        made, kind, Wanted(first=1001), "x.usda", chart(made.path, CAMERA), ("the format lost something",)
    )
    assert max(map(len, text.splitlines())) <= 140


def said(made: Delivery, name: str = "csv") -> str:
    assert made.path is not None
    assert made.rig.camera is not None
    return " ".join(sheet(made, exports()[name], Wanted(), "x", chart(made.path, made.rig.camera), ()).split())


def test_pixels_that_are_not_square_are_said() -> None:
    """From the middle to the edge 1152 pixels of 14/2304 mm are 1151.49 of 24.9/4096 mm."""
    assert "set the sensor's width and height both; by its width alone the edges are off by 0.51 pixel" in said(
        crossing()
    )
    square = replace(CAMERA, sensor_mm=(25.6, 14.4))
    assert "not quite square" not in said(replace(crossing(), rig=replace(RIG, camera=square)))


def test_the_text_has_what_the_camera_ran_at_and_what_is_not_known() -> None:
    half = crossing(run=Pass("half", speed=Fraction(1, 2), rate=Fraction(12000, 1001)))
    assert "camera ran at 12000/1001 frames a second; its pictures are shown at the rate above" in said(half)
    assert "camera ran at" not in said(crossing())
    assert half.path is not None
    blind = replace(half, path=replace(half.path, focus_m=np.full_like(half.path.focus_m, np.nan)))
    assert "focus distance not known aperture" in said(blind)
    nowhere = replace(half, rig=replace(RIG, geometry=Geometry()))
    assert "entrance pupil where pan, tilt and roll meet, since nobody said otherwise; the head" in said(nowhere)
    assert "in the file the angle of view from top to bottom (yfov) in radians" in said(half, "gltf")


def test_the_chart_is_drawn_with_each_point_at_its_pixel() -> None:
    made = crossing()
    assert made.path is not None
    found = chart(made.path, CAMERA)
    drawn = ElementTree.fromstring(picture(found, replace(made, project="A & <B>"), (1, 2, 3), ("a", "b", "c")))
    spot = {"svg": "http://www.w3.org/2000/svg"}
    words = [one.text or "" for one in drawn.findall(".//svg:text", spot)]
    assert any("A & <B>" in one for one in words)
    # white paper lies under all of it, for whoever looks at it on black
    x, y, across, down = (float(one) for one in drawn.attrib["viewBox"].split())
    paper = drawn.findall("svg:rect", spot)[0].attrib
    assert [float(paper[name]) for name in ("x", "y", "width", "height")] == [x, y, across, down]
    seen = found.seen(CAMERA.pixels)
    assert len(drawn.findall(".//svg:path", spot)) == seen.sum()
    for frame, group in enumerate(drawn.findall("svg:g", spot)):
        told = [one.text or "" for one in group.findall("svg:text", spot)][1:]
        assert told == [f"{n + 1}: {x:.2f}, {y:.2f}" for n, (x, y) in enumerate(found.pixels[frame]) if seen[frame, n]]
