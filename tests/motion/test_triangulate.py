"""A point found by aiming: exact without noise, as sure as it says with noise, and refused where nothing is known.

Sources: scipy.optimize.least_squares over the same angles; the normal distribution's spread over many trials.
"""

import numpy as np
import pytest
from scipy.optimize import least_squares

from sequencer.motion.triangulate import Found, baseline_for, triangulated

POINT = np.array([0.4, 3.0, 0.8])
LENSES = np.array([[-0.5, 0.0, 1.2], [0.6, 0.1, 1.2], [0.1, 0.0, 1.6]])
SIGMA_DEG = 0.05


def aims(lenses: np.ndarray = LENSES, point: np.ndarray = POINT) -> np.ndarray:
    way = point - lenses
    found: np.ndarray = way / np.linalg.norm(way, axis=1)[:, None]
    return found


def noisy(random: np.random.Generator, ahead: np.ndarray, sigma_deg: float = SIGMA_DEG) -> np.ndarray:
    """Return aims that are off by sigma in each of two directions across."""
    right = np.cross(ahead, [0, 0, 1])
    right /= np.linalg.norm(right, axis=1)[:, None]
    up = np.cross(right, ahead)
    by = np.tan(np.radians(random.normal(0, sigma_deg, (2, len(ahead), 1))))
    turned = ahead + by[0] * right + by[1] * up
    found: np.ndarray = turned / np.linalg.norm(turned, axis=1)[:, None]
    return found


def test_aims_that_meet_find_the_point() -> None:
    for number in (2, 3):
        found = triangulated(LENSES[:number], aims()[:number], SIGMA_DEG, 3.0)
        assert found.at_m == pytest.approx(POINT, abs=1e-12)
        assert found.far_m == pytest.approx(np.linalg.norm(POINT - LENSES[:number], axis=1))
        assert found.agree
        assert found.baseline_m == pytest.approx(np.linalg.norm(LENSES[1] - LENSES[0]))


def test_the_angle_between_two_aims_is_that_of_the_triangle() -> None:
    """Law of cosines."""
    found = triangulated(LENSES[:2], aims()[:2], SIGMA_DEG, 3.0)
    a, b = np.linalg.norm(POINT - LENSES[:2], axis=1)
    c = np.linalg.norm(LENSES[1] - LENSES[0])
    assert found.meet_deg == pytest.approx(np.degrees(np.arccos((a * a + b * b - c * c) / (2 * a * b))))


def test_the_point_is_the_one_that_scipy_finds_by_angles() -> None:
    random = np.random.default_rng(8)
    for _ in range(20):
        ahead = noisy(random, aims())

        def angles(point: np.ndarray, ahead: np.ndarray = ahead) -> np.ndarray:
            way = point - LENSES
            found: np.ndarray = (np.cross(way, ahead) / np.linalg.norm(way, axis=1)[:, None]).ravel()
            return found

        theirs = least_squares(angles, POINT + 0.1, xtol=1e-14, ftol=1e-14, gtol=1e-14).x
        # one makes sines least with its weights fixed, the other angles: alike far below what either is sure to
        found = triangulated(LENSES, ahead, SIGMA_DEG, 3.0)
        assert np.linalg.norm(found.at_m - theirs) < 0.05 * found.sigma_m


def test_it_is_as_sure_as_it_says() -> None:
    random = np.random.default_rng(4)
    trials = np.array([triangulated(LENSES[:2], noisy(random, aims()[:2]), SIGMA_DEG, 3.0).at_m for _ in range(3000)])
    told = triangulated(LENSES[:2], aims()[:2], SIGMA_DEG, 3.0)
    seen = np.cov(trials.T)
    assert np.sqrt(np.linalg.eigvalsh(seen)) == pytest.approx(np.sqrt(np.linalg.eigvalsh(told.covariance_m2)), rel=0.08)
    assert told.sigma_m == pytest.approx(np.sqrt(np.linalg.eigvalsh(seen)[-1]), rel=0.08)
    # the worst direction is the depth
    assert abs(told.along @ aims()[:2].mean(axis=0)) > 0.98


def test_aims_of_two_things_are_told_and_the_error_grows() -> None:
    ahead = aims()
    ahead[2] = aims(point=POINT + np.array([0, 0, 0.1]))[2]
    found = triangulated(LENSES, ahead, SIGMA_DEG, 3.0)
    assert not found.agree
    assert found.sigma_deg > 3 * SIGMA_DEG
    assert found.sigma_m > 3 * triangulated(LENSES, aims(), SIGMA_DEG, 3.0).sigma_m


def refused(lenses: np.ndarray, ahead: np.ndarray, sigma_deg: float = SIGMA_DEG) -> str:
    with pytest.raises(ValueError, match=r".") as caught:
        triangulated(lenses, ahead, sigma_deg, 3.0)
    return str(caught.value)


def test_parallel_aims_are_refused_with_the_figure_and_the_baseline_that_would_do() -> None:
    lenses = np.array([[0.0, 0, 1], [0.01, 0, 1]])
    words = refused(lenses, aims(lenses))
    assert "part by 0.187 deg only, and each may be off by 0.05 deg" in words
    assert "moved by 0.00991 m across the view" in words
    need_m = baseline_for(3.0, SIGMA_DEG)
    assert f"move it by {need_m:.2g} m or more" in words
    # and that baseline would do: the distance is then known to about a tenth
    apart = np.array([[-need_m / 2, 0, 1], [need_m / 2, 0, 1.0]])
    found = triangulated(apart, aims(apart, np.array([0, 3.0, 1])), SIGMA_DEG, 3.0)
    assert isinstance(found, Found)
    assert found.sigma_m / 3.0 == pytest.approx(0.1, rel=0.05)


def test_aims_along_one_line_from_both_ends_know_no_distance() -> None:
    lenses = np.array([[0.0, 0, 1], [0.0, 6, 1]])
    assert "part by 0 deg only" in refused(lenses, np.array([[0.0, 1, 0], [0, -1, 0]]))


def test_aims_from_one_place_say_to_move_the_lens() -> None:
    lenses = np.array([[0.0, 0, 1], [0.0, 0, 1]])
    ahead = np.array([[0.0, 1, 0], [0.0, 1, 0]])
    assert "the lens was not moved across the view" in refused(lenses, ahead)


def test_aims_that_part_meet_behind_the_camera_and_are_refused() -> None:
    words = refused(LENSES[:2], -aims()[:2])
    assert "behind the camera of aim" in words
    assert "they part instead of meeting" in words


def test_one_aim_or_an_aim_without_error_is_refused() -> None:
    assert "two aims or more" in refused(LENSES[:1], aims()[:1])
    assert "above zero" in refused(LENSES, aims(), 0.0)


def test_what_aims_are_off_by_is_read_from_how_they_miss_each_other() -> None:
    """Two level aims, 10 mm apart in height where they cross: each misses by 5 mm, and one figure is to spare."""
    lenses = np.array([[-1.0, 0, 1], [1.0, 0, 1]])
    ahead = aims(lenses, np.array([0, 2.0, 1]))
    lenses[1, 2] += 0.01
    found = triangulated(lenses, ahead, 0.01, 3.0)
    each_deg = np.degrees(np.arctan2(0.005, np.sqrt(5)))
    assert found.off_deg == pytest.approx([each_deg] * 2, rel=1e-3)
    assert found.sigma_deg == pytest.approx(each_deg * np.sqrt(2), rel=1e-3)
