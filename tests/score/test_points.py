"""Points by name: kept in their order, one for a name, and refused where they are no place."""

import pytest

from sequencer.score.points import Point, point_of, with_point, without_point

BOLLARD = Point("bollard", (1.0, 2.0, 0.5))
MAST = Point("mast", (-1.0, 8.0, 6.0), 0.02)


def test_a_new_point_is_the_last_and_one_of_the_name_takes_its_place() -> None:
    points = with_point(with_point((), BOLLARD), MAST)
    assert points == (BOLLARD, MAST)
    moved = Point("bollard", (1.1, 2.0, 0.5))
    assert with_point(points, moved) == (moved, MAST)


def test_points_are_found_and_taken_out_by_name() -> None:
    assert point_of((BOLLARD, MAST), "mast") is MAST
    assert without_point((BOLLARD, MAST), "bollard") == (MAST,)
    with pytest.raises(ValueError, match="no point 'buoy'; points: bollard, mast"):
        point_of((BOLLARD, MAST), "buoy")
    with pytest.raises(ValueError, match="no point 'buoy'; points: none"):
        without_point((), "buoy")


@pytest.mark.parametrize(
    ("name", "at_m", "sigma_m", "what"),
    [
        (" ", (0.0, 0.0, 0.0), None, "printable"),
        ("a\nb", (0.0, 0.0, 0.0), None, "printable"),
        ("a", (float("nan"), 0.0, 0.0), None, "at_m has nan"),
        ("a", (0.0, 2e4, 0.0), None, "from -10000 to 10000"),
        ("a", (0.0, 0.0, 0.0), 0.0, "sigma_m is 0"),
        ("a", (0.0, 0.0, 0.0), float("inf"), "sigma_m is inf"),
    ],
)
def test_what_is_no_point_is_refused(
    name: str, at_m: tuple[float, float, float], sigma_m: float | None, what: str
) -> None:
    with pytest.raises(ValueError, match=what):
        Point(name, at_m, sigma_m)
