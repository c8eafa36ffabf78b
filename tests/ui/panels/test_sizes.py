"""Sizes and shapes of a picture as they are typed."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ui.panels.sizes import ASPECT_CHOICES, metres_text, typed_aspect, typed_metres
from ui.panels.typed import Mistyped


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("1.72", 1.72),
        ("1,72", 1.72),
        (" 1,72 m ", 1.72),
        ("172cm", 1.72),
        ("172,5 CM", 1.725),
        ("300 mm", 0.3),
        ("-2 m", -2),
        ("−2,5", -2.5),
        # Source: the international foot is 0.3048 m, the inch 25.4 mm, by definition (1959)
        ("6 ft", 1.8288),
        ("5 ft 8 in", 1.7272),
        ("5'8\"", 1.7272),
        ("-1 ft 6 in", -0.4572),
        ("12 in", 0.3048),
        ("5,5 feet", 1.6764),
    ],
)
def test_a_length_is_read_in_metres(text: str, metres: float) -> None:
    assert typed_metres(text) == pytest.approx(metres, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("tall", "is not a number"),
        ("", "nothing is written here"),
        ("2 kg", "“kg” is no length; write metres, or a number with m, cm, mm, ft or in"),
        ("2 deg", "“deg” is no length"),
        ("1,000.5", "a comma and a point"),
        ("1.2.3 m", "more than one number"),
        ("m", "is not a number"),
    ],
)
def test_what_is_no_length_is_refused_in_words(text: str, words: str) -> None:
    with pytest.raises(Mistyped) as caught:
        typed_metres(text)
    assert words in str(caught.value)


@given(st.integers(-(10**6), 10**6))
def test_what_is_written_is_read(millimetres: int) -> None:
    assert typed_metres(metres_text(millimetres / 1000)) == pytest.approx(millimetres / 1000, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "aspect"),
    [
        ("16:9", Fraction(16, 9)),
        ("16/9", Fraction(16, 9)),
        ("2,39", Fraction(239, 100)),
        ("2.39:1", Fraction(239, 100)),
        ("4 x 3", Fraction(4, 3)),
        ("", None),
        ("  ", None),
    ],
)
def test_a_shape_is_read_exactly(text: str, aspect: Fraction | None) -> None:
    assert typed_aspect(text) == aspect


@pytest.mark.parametrize("text", ["wide", "0", "16:0", "99", "1:9", "16:9:1", "-2"])
def test_what_is_no_shape_is_refused(text: str) -> None:
    with pytest.raises(Mistyped):
        typed_aspect(text)


def test_the_shapes_to_choose_from_are_shapes() -> None:
    assert len({typed_aspect(text) for text in ASPECT_CHOICES}) == len(ASPECT_CHOICES)
