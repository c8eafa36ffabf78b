"""Distances as they are typed and said.

The foot is 0.3048 m exactly (international yard and pound agreement of 1959; BIPM and NIST SP 811, Appendix B).
"""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.rig.distance import distance_text, is_distance, metres, scale_of


@pytest.mark.parametrize(
    ("text", "distance_m"),
    [
        ("2.4 m", 2.4),
        ("2.4m", 2.4),
        ("2,4 m", 2.4),
        ("45 cm", 0.45),
        ("450mm", 0.45),
        ("8 ft", 2.4384),
        ("8FT", 2.4384),
        ("7'6\"", 2.286),
        ("7' 6", 2.286),
        ("7 ft 6 in", 2.286),
        ("90 in", 2.286),
        ("7.5 feet", 2.286),
        ("1′ 6″", 0.4572),
        ("inf", math.inf),
        ("Infinity", math.inf),
        ("∞", math.inf),
    ],
)
def test_a_distance_is_read_in_metres_and_in_feet(text: str, distance_m: float) -> None:
    assert metres(text) == distance_m
    assert is_distance(text)


@pytest.mark.parametrize(
    "text", ["", "2.4", "m", "2.4 yd", "-2 m", "0 m", "0 ft", "1e3 m", "2.4.1 m", "8 ft 6 cm", "nan m", "٣ m"]
)
def test_what_is_no_distance_is_refused_in_words(text: str) -> None:
    assert not is_distance(text)
    with pytest.raises(ValueError, match=r"is no distance; (write|it must be above zero)"):
        metres(text)


@pytest.mark.parametrize(
    ("text", "scale"),
    [("2 m", "m"), ("2 cm", "m"), ("inf", "m"), ("infinity", "m"), ("8 ft", "ft"), ("7'6\"", "ft"), ("9 in", "ft")],
)
def test_what_is_written_in_feet_is_known(text: str, scale: str) -> None:
    assert scale_of(text) == scale


@pytest.mark.parametrize(
    ("distance_m", "metric", "imperial"),
    [
        (2.4384, "2.438 m", "8' 0\""),
        (2.286, "2.286 m", "7' 6\""),
        (18.25, "18.25 m", "59' 10.5\""),
        (0.0533, "0.053 m", '2.1"'),
        (0.30479, "0.305 m", "1' 0\""),
        (math.inf, "infinity", "infinity"),
    ],
)
def test_a_distance_is_said(distance_m: float, metric: str, imperial: str) -> None:
    assert (distance_text(distance_m), distance_text(distance_m, "ft")) == (metric, imperial)


@given(st.floats(0.01, 900))
def test_what_is_said_is_read_again_to_its_last_figure(distance_m: float) -> None:
    assert metres(distance_text(distance_m)) == pytest.approx(distance_m, abs=max(5.1e-4, 0.05 * (distance_m >= 10)))
    assert metres(distance_text(distance_m, "ft")) == pytest.approx(distance_m, abs=0.05001 * 0.0254)
