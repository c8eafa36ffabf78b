"""Cameras from tables in text: our own, and plain ones as a spreadsheet would write them."""

from fractions import Fraction

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from sequencer.errors import ImportFault
from sequencer.export.contract import Wanted
from sequencer.export.formats.csv import make
from sequencer.export.found import FoundCamera
from sequencer.export.imports import csv
from sequencer.timebase.rate import Rate
from tests.export.deliveries import NTSC, OPENING, delivery
from tests.export.projecting import PIXELS, apart_deg, pixels_of, shown

PAL = Rate(25)


def found(text: str, asked: Rate | None = PAL) -> FoundCamera:
    (one,) = csv.cameras(text.encode(), "a.csv", asked)
    return one


def test_our_own_table_comes_back_as_it_was() -> None:
    given = delivery(41, parts=OPENING)
    (one,) = csv.cameras(make(given, ".csv", Wanted(first=1001)), "a.csv", None)
    expected = shown(given)
    assert np.array_equal(one.position_m, expected.position)
    assert apart_deg(one.matrix, expected.axes).max() < 1e-12
    pixels = pixels_of(expected.points, one.position_m, one.matrix, one.focal_mm / 24.9)
    assert np.abs(pixels - expected.pixels).max() < PIXELS / 1000
    assert (one.rate, one.sensor_mm, one.remarks) == (NTSC, (24.9, 13.1), ())
    assert one.frames[:4].tolist() == [1000.75, 1001, 1001.25, 1001.75]
    assert given.path is not None
    assert np.array_equal(one.focus_m, given.path.focus_m.ravel())


@pytest.mark.parametrize(("rate", "drop"), [(Rate(25), False), (Rate(30000, 1001), True)])
def test_the_start_is_the_timecode_of_the_first_line(rate: Rate, drop: bool) -> None:
    given = delivery(3, rate=rate, drop=drop, first=1799)
    (one,) = csv.cameras(make(given, ".csv", Wanted(first=5)), "a.csv", None)
    # 10 hours and 1799 frames; drop-frame labels leave out 108 an hour (SMPTE ST 12-1), not frames
    assert one.start == rate.seconds(36_000 * rate.nominal - (1080 if drop else 0) + 1799)
    assert one.frames.tolist() == [5, 6, 7]


def test_lines_without_a_pose_are_passed_over_and_said() -> None:
    (one,) = csv.cameras(make(delivery(5, holes=(0, 3)), ".csv", Wanted()), "a.csv", None)
    assert one.frames.tolist() == [251, 252, 254]
    assert one.start == Fraction((864_250 + 1) * 1001, 24000)
    assert one.remarks[0] == "2 lines without a pose were passed over"


PLAIN = "frame,x (cm),y (cm),z (cm),pan (deg),tilt (deg),roll (deg)\n1,100,200,150,10,20,30\n2,101,200,150,11,20,30\n"


def test_a_plain_table_is_read_with_its_units() -> None:
    one = found(PLAIN)
    assert one.position_m.tolist() == [[1, 2, 1.5], [1.01, 2, 1.5]]
    expected = Rotation.from_euler("ZXY", [[10, 20, 30], [11, 20, 30]], degrees=True).as_matrix()
    assert apart_deg(one.matrix, expected).max() < 1e-12
    assert (one.sensor_mm, one.start) == (None, None)
    assert np.isnan(one.focal_mm).all()
    assert one.remarks == ("the table does not say its sensor (sensor width (mm), sensor height (mm))",)


@pytest.mark.parametrize("between", [",", ";", "\t"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_what_spreadsheets_write_is_read(between: str, mark: str, end: str) -> None:
    one = found(mark + PLAIN.replace(",", between).replace("\n", end))
    assert one.position_m.tolist() == [[1, 2, 1.5], [1.01, 2, 1.5]]


def test_radians_seconds_and_columns_in_any_order_are_read() -> None:
    one = found(
        "Roll (rad),note,Seconds (s),X (mm),Y (m),Z (m),Tilt (rad),Pan (rad),Focal length (cm)\n"
        f'0,"a, b",10.0,1000,0,0,0,{np.pi / 2},3.5\n0,,10.04,1000,0,0,0,{np.pi / 2},3.5\n'
    )
    assert one.frames.tolist() == [250, 251]
    assert one.position_m[0].tolist() == [1, 0, 0]
    assert one.matrix[0, :, 1] == pytest.approx([-1, 0, 0], abs=1e-12)  # panned to the left by a quarter turn
    assert one.focal_mm.tolist() == [35, 35]


def test_the_rate_in_the_heading_counts_unless_the_operator_says_another() -> None:
    text = (
        PLAIN.replace("frame,", "frame,timecode (24 fps),")
        .replace("\n1,", "\n1,01:00:00:00,")
        .replace("\n2,", "\n2,01:00:00:01,")
    )
    assert found(text, None).rate == Rate(24)
    one = found(text, Rate(25))
    assert one.rate == Rate(25)
    assert "24 frames a second and is taken frame by frame at 25" in one.remarks[0]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "its heading, line 1, lacks x, y, z, pan, tilt, roll; write x (m), y (m)"),
        (PLAIN.replace("z (cm)", "height"), "its heading, line 1, lacks z; write z (m)"),
        (PLAIN.replace("x (cm)", "x"), "the column 'x' has no unit that is known; write x (m), x (cm), x (mm)"),
        (
            PLAIN.replace("pan (deg)", "pan (grad)"),
            "the column 'pan (grad)' has no unit that is known; write pan (deg)",
        ),
        (PLAIN.replace("frame", "number"), "its heading, line 1, has neither frame nor seconds (s)"),
        (PLAIN.replace("101", "1O1"), "line 3, x (cm): '1O1' is no number"),
        (PLAIN.replace("101", "nan"), "line 3, x (cm): 'nan' is no number"),
        (PLAIN.replace("101", "1e99"), "line 3, x (cm): '1e99' is no number"),
        (PLAIN.replace("101", ""), "line 3, x (cm): '' is no number"),
        (PLAIN.replace("\n2,", "\n1,"), "frame 1 comes after one that is not before it"),
        (PLAIN.replace(",30\n2", "\n2"), "line 2 has 6 cells, and its heading more"),
        (PLAIN.partition("\n")[0], "it has no line with a pose below its heading"),
        (PLAIN + '3,"1', "line 4: unexpected end of data"),
        (PLAIN + '3,"' + "1" * 200_000, "line 4: field larger than field limit"),
    ],
)
def test_what_is_missing_or_wrong_is_said_with_its_line(text: str, words: str) -> None:
    with pytest.raises(ImportFault) as caught:
        found(text)
    assert words in str(caught.value)
    assert str(caught.value).startswith("a.csv: ")


def test_a_table_without_a_rate_asks_for_it() -> None:
    with pytest.raises(ImportFault, match="does not say how many frames a second it has; say its rate"):
        found(PLAIN, None)


def test_another_encoding_and_too_many_lines_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(ImportFault, match="no text in UTF-8: byte 0 is none; save it as UTF-8"):
        csv.cameras(PLAIN.encode("utf-16"), "a.csv", Rate(25))
    monkeypatch.setattr(csv, "MOST_SAMPLES", 1)
    with pytest.raises(ImportFault, match="more than 1 lines"):
        found(PLAIN)


def test_a_sensor_that_changes_is_left_out_and_said() -> None:
    text = PLAIN.replace("roll (deg)", "roll (deg),sensor width (mm),sensor height (mm)")
    same = found(text.replace(",30\n", ",30,36,24\n"))
    assert same.sensor_mm == (36, 24)
    other = found(
        text.replace("1,100,200,150,10,20,30", "1,100,200,150,10,20,30,36,24").replace("11,20,30", "11,20,30,30,24")
    )
    assert other.sensor_mm is None
    assert "its sensor changes its size, or has none: it is left out" in other.remarks


def test_a_heading_that_cannot_be_shown_is_not_shown() -> None:
    with pytest.raises(ImportFault, match="is no number") as caught:
        found(PLAIN.replace("roll (deg)", "roll\x1d(deg)").replace(",30\n", ",x\n"))
    assert str(caught.value).isprintable()
