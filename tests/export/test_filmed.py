"""The path of a move as written, beside scipy's rotations and a curve of our own; which frame shows which instant."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from sequencer.errors import ExportError
from sequencer.export.delivery import CameraPath, Floats
from sequencer.export.filmed import filmed
from sequencer.export.opening import Opening
from sequencer.rig.axis import Rig
from sequencer.rig.geometry import Geometry
from sequencer.score.move import Cue, Move, Pass
from sequencer.score.passes import varied
from sequencer.shell.kinds import laws
from sequencer.timebase.timecode import Timebase
from tests.export.rigs import CAMERA, FILM, PUPIL_MM, RIG, VIDEO, WAYS, counted, crossed, mapped

AS_WRITTEN = Pass("as written")


def film(  # what is filmed, and how
    move: Move,
    span: tuple[int | Fraction, int | Fraction],
    run: Pass = AS_WRITTEN,
    timebase: Timebase = VIDEO,
    opening: Opening = Opening(),  # noqa: B008  a value that cannot change
    rig: Rig = RIG,
) -> CameraPath:
    return filmed(rig, move, Cue("cue", Fraction(span[0]), Fraction(span[1])), run, timebase, laws(), opening)


def pans(path: CameraPath) -> list[list[float]]:
    """Return the pan of each frame, which is the number of a frame of the move (`counted`)."""
    return [[round(float(pan), 9) for pan in frame] for frame in path.values[:, :, RIG.index("pan")]]


def poly345(u: Floats) -> Floats:
    """The 3-4-5 polynomial. Source: R. L. Norton, Cam Design and Manufacturing Handbook (from memory)."""
    found: Floats = 10 * u**3 - 15 * u**4 + 6 * u**5
    return found


def test_a_path_is_where_scipy_carries_the_entrance_pupil() -> None:
    path = film(crossed(48, 144), (48, 144), timebase=FILM)
    assert mapped(path) == [48, 48, 1, 97]
    part = poly345(np.arange(97) / 96)
    at = {name: first + (last - first) * part for name, (first, last) in WAYS.items()}
    # pan to the left about Z, tilt up about X, roll clockwise from behind about Y: right-handed, in this order
    turned = Rotation.from_euler("ZXY", np.stack([at["pan"], at["tilt"], at["roll"]], axis=1), degrees=True)
    pivot = np.stack([at["slide"] / 1000, np.zeros(97), 1.2 + at["lift"] / 1000], axis=1)
    eye = pivot + turned.apply(np.array(PUPIL_MM) / 1000)
    assert path.position_m[:, 0] == pytest.approx(eye, abs=1e-9)  # a micrometre is a thousand times as much
    assert path.angles_deg[:, 0] == pytest.approx(np.stack([at["pan"], at["tilt"], at["roll"]], axis=1), abs=1e-9)
    assert path.focal_mm[:, 0] == pytest.approx(at["zoom"])
    assert path.focus_m[:, 0] == pytest.approx(at["focus"] / 1000)
    assert path.values[:, 0] == pytest.approx(np.stack([at[axis.name] for axis in RIG.axes], axis=1), abs=1e-9)
    (words,) = path.remarks
    assert words.startswith("the iris moves")


def test_at_half_speed_each_second_frame_is_a_frame_of_the_move() -> None:
    # counted by hand: 4 frames of the move last 8 frames of the picture, both ends shown
    path = film(counted(100, 104), (100, 104), Pass("slow", speed=Fraction(1, 2)))
    assert mapped(path) == [100, 100, Fraction(1, 2), 9]
    assert pans(path) == [[100], [100.5], [101], [101.5], [102], [102.5], [103], [103.5], [104]]


@pytest.mark.parametrize(
    ("speed", "rate", "step", "shown"),
    [
        ("2", "50", "1", [100, 101, 102, 103, 104]),  # overcranked, as fast again: frame for frame
        ("1/2", "25/2", "1", [100, 101, 102, 103, 104]),
        ("1", "50", "1/2", [100, 100.5, 101, 101.5, 102, 102.5, 103, 103.5, 104]),  # slow motion
        ("1", "25/2", "2", [100, 102, 104]),
        ("3", None, "3", [100, 103]),
        ("1", "75/2", "2/3", [100, 100 + 2 / 3, 100 + 4 / 3, 102, 102 + 2 / 3, 102 + 4 / 3, 104]),
    ],
)
def test_frames_go_by_the_speed_and_the_cameras_rate(
    speed: str, rate: str | None, step: str, shown: list[float]
) -> None:
    run = Pass("other", speed=Fraction(speed), rate=None if rate is None else Fraction(rate))
    path = film(counted(100, 104), (100, 104), run)
    assert path.step == Fraction(step)
    assert [pan for (pan,) in pans(path)] == pytest.approx(shown)
    assert mapped(path)[:2] == [100, 100]
    assert path.shot_hz == Fraction(rate or 25)


def test_backward_the_last_frame_is_the_first() -> None:
    run = Pass("back", reversed=True)
    forth = replace(crossed(100, 110), passes=(run,))
    back = varied(forth, RIG, run, laws())
    path, there = film(back, (100, 110), back.passes[0]), film(forth, (100, 110))
    assert mapped(path)[:3] == [100, 100, 1]
    assert path.position_m == pytest.approx(there.position_m[::-1], abs=1e-12)
    assert path.focal_mm == pytest.approx(there.focal_mm[::-1])


def test_a_cue_that_begins_within_a_frame_begins_with_the_next_whole_one() -> None:
    path = film(counted(100, 110), (Fraction("100.25"), Fraction("103.5")))
    assert mapped(path)[:2] == [101, 101]
    assert pans(path) == [[101], [102], [103]]
    # at half speed three quarters of a frame later it shows the move three eighths later
    slow = film(counted(100, 110), (Fraction("100.25"), Fraction("101.5")), Pass("slow", speed=Fraction(1, 2)))
    assert mapped(slow)[:2] == [101, Fraction("100.625")]
    assert pans(slow) == [[100.625], [101.125]]


def test_samples_lie_where_the_shutter_is_open() -> None:
    centred = film(counted(100, 104), (100, 104), opening=Opening(Fraction(180), "centre", 3))
    assert [*centred.parts] == [Fraction(-1, 4), 0, Fraction(1, 4)]
    assert centred.main == 1
    assert centred.shutter == (Fraction(-1, 4), Fraction(1, 4))
    # before the cue the rig stands, and after the end of the move too
    assert pans(centred) == [
        [100, 100, 100.25],
        *[[n - 0.25, n, n + 0.25] for n in (101, 102, 103)],
        [103.75, 104, 104],
    ]
    after = film(counted(100, 104), (100, 104), opening=Opening(Fraction(90), "frame", 3))
    assert [*after.parts] == [0, Fraction(1, 8), Fraction(1, 4)]
    assert pans(after)[1] == [101, 101.125, 101.25]
    even = film(counted(100, 104), (100, 104), opening=Opening(Fraction(360), "centre", 2))
    assert [*even.parts] == [Fraction(-1, 2), 0, Fraction(1, 2)]  # the frame's own instant is always there
    slow = film(
        counted(100, 104), (100, 104), Pass("slow", speed=Fraction(1, 2)), opening=Opening(Fraction(180), "centre", 3)
    )
    assert pans(slow)[2] == [100.875, 101, 101.125]


def test_without_samples_the_shutter_is_still_said() -> None:
    path = film(counted(100, 104), (100, 104), opening=Opening(Fraction(90), "frame"))
    assert [*path.parts] == [0]
    assert path.shutter == (Fraction(0), Fraction(1, 4))
    assert film(counted(100, 104), (100, 104)).shutter is None


def test_what_comes_after_the_cue_is_not_filmed() -> None:
    # the rig rests at the cue's end, so it stands there while the shutter closes, though the move goes on later
    first, second = crossed(100, 110).tracks[0], crossed(110, 120).tracks[0]
    keys = (*first.keys[:1], replace(first.keys[1], ease=first.keys[0].ease), replace(second.keys[1], value=0.0))
    path = film(Move(tracks=(replace(first, keys=keys),)), (100, 110), opening=Opening(Fraction(180), "centre", 3))
    assert path.values[-1, 1, 0] == path.values[-1, 2, 0] == 395.0


def test_what_the_motors_cannot_do_is_said_and_still_written() -> None:
    slow = replace(RIG, axes=(replace(RIG.axes[0], speed=1.0), *RIG.axes[1:]))
    path = film(crossed(48, 144), (48, 144), rig=slow)
    assert path.frames == 97
    assert path.remarks[0].startswith("the motors cannot do it: pan")
    under_way = film(counted(100, 110), (103, 105))
    assert any("pan is under way at the cue's start" in one for one in under_way.remarks)


def test_what_the_rig_does_not_say_is_said() -> None:
    axes = tuple(replace(axis, unit="part") if axis.name in ("roll", "zoom", "focus") else axis for axis in RIG.axes)
    path = film(crossed(48, 144), (48, 144), rig=replace(RIG, axes=axes, geometry=Geometry()))
    said = " | ".join(path.remarks)
    assert "roll counts in part and is read in deg only" in said
    assert "nobody said where the entrance pupil lies" in said
    assert "nobody said what the zoom's positions mean: 35 mm" in said
    assert "nobody said what the focus's positions mean: no distance in focus" in said
    assert (path.angles_deg[..., 2] == 0).all()
    assert (path.focal_mm == 35).all()
    assert np.isnan(path.focus_m).all()
    still = film(counted(100, 104), (100, 104), rig=replace(RIG, axes=RIG.axes[:5]))
    assert (still.focus_m == 4).all()
    assert any("there is no focus motor: in focus at 4 m" in one for one in still.remarks)


def test_an_iris_that_moves_has_no_f_number_and_that_is_said() -> None:
    words = "the iris moves, and nobody can say what its positions mean: f/4 throughout (f_number)"
    assert words in film(crossed(48, 144), (48, 144)).remarks
    assert words not in film(counted(100, 104), (100, 104)).remarks
    silent = replace(RIG, camera=replace(CAMERA, f_number=None))
    assert not any("iris" in one for one in film(crossed(48, 144), (48, 144), rig=silent).remarks)


def test_without_a_camera_there_is_the_place_and_no_lens() -> None:
    with_one = film(crossed(48, 144), (48, 144), timebase=FILM)
    without = film(crossed(48, 144), (48, 144), timebase=FILM, rig=replace(RIG, camera=None))
    assert (without.position_m == with_one.position_m).all()
    assert (without.values == with_one.values).all()
    assert np.isnan(without.focal_mm).all()
    assert np.isnan(without.focus_m).all()
    assert without.remarks == ("the rig has no camera: there is no lens (camera in rig.json)",)


def test_what_cannot_be_filmed_is_refused_with_the_mend() -> None:
    with pytest.raises(ExportError, match="the cue cue holds no whole frame; make it longer"):
        film(counted(100, 104), (Fraction("100.25"), Fraction("100.75")))
    with pytest.raises(ExportError, match="name a shorter cue, fewer samples"):
        film(counted(100, 104), (100, 6_000_000))


@pytest.mark.parametrize(
    ("angle", "begins", "samples", "words"),
    [
        ("0", "centre", 1, "no shutter opens for 0 degrees; it must be above 0, and 360 at most"),
        ("361", "centre", 1, "no shutter opens for 361 degrees"),
        (None, "centre", 2, "say it (--shutter 180), or write shutter_deg"),
        ("180", "end", 1, "no shutter opens from its 'end'; name one of centre, frame"),
        ("180", "frame", 0, "0 samples a frame cannot be taken; it must be from 1 to 65"),
        ("180", "frame", 66, "66 samples a frame"),
    ],
)
def test_a_shutter_that_no_camera_has_is_refused(angle: str | None, begins: str, samples: int, words: str) -> None:
    with pytest.raises(ExportError) as refused:
        Opening(None if angle is None else Fraction(angle), begins, samples)  # type: ignore[arg-type]  # a wrong word
    assert words in str(refused.value)
