"""Lines of RS-274/NGC, read back by a reader that is written from the standard's grammar."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.wire.gcode import BEGIN, LETTERS, LONGEST_LINE, Answers, Handed, Window, Words, is_code, meant
from tests.adapters.ngc_reader import Move, Reader

WORDS = Words(("A", "X"), 4)


def begun() -> Reader:
    reader = Reader()
    assert reader.read(BEGIN.decode()) is None
    return reader


def test_a_move_says_where_and_in_what_part_of_a_minute() -> None:
    # NISTIR 6556, 3.5.19: with G93 an F of 2.0 means that the move is done in half a minute
    assert WORDS.move(WORDS.steps((-12.5, 300)), 30.0) == b"G1 A-12.5 X300 F2\n"
    assert WORDS.move(WORDS.steps((-12.5, 300)), 0.02) == b"G1 A-12.5 X300 F3000\n"


def test_an_axis_that_stands_is_left_out() -> None:
    assert WORDS.move((10_000, 5), 0.02, at=(10_000, 4)) == b"G1 X0.0005 F3000\n"


def test_where_axes_stand_is_said_without_moving() -> None:
    line = WORDS.here({0: -5, 1: 0})
    assert line == b"G92 A-0.0005 X0\n"
    reader = begun()
    assert reader.read(line.decode()) is None
    assert (reader.at["A"], reader.at["X"]) == (-0.0005, 0)


@given(
    st.lists(st.floats(-99_999, 99_999), min_size=6, max_size=6),
    st.integers(0, 6),
    st.floats(0.001, 60, allow_nan=False),
)
def test_any_position_and_time_is_in_the_language_and_comes_back(
    values: list[float], digits: int, lasts_s: float
) -> None:
    words = Words(tuple(LETTERS), digits)
    line = words.move(words.steps(values), lasts_s)
    move = begun().read(line.decode())
    assert isinstance(move, Move)
    assert [move.to[letter] for letter in LETTERS] == pytest.approx(values, abs=0.5 * 10**-digits + 1e-9)
    assert move.lasts_s == pytest.approx(lasts_s, rel=1e-3)
    assert len(line) <= min(words.longest([99_999] * 6), LONGEST_LINE)  # NISTIR 6556, 3.3


def test_no_zero_is_below_zero() -> None:
    assert WORDS.move(WORDS.steps((-0.00001, 0.0)), 1) == b"G1 A0 X0 F60\n"


@pytest.mark.parametrize("text", ["M7", "m07", "M62 P1", "M100 S0.5"])
def test_m_words_are_taken(text: str) -> None:
    assert is_code(text)


@pytest.mark.parametrize("text", ["", "G1 X5", "M7 (a comment)", "M7\nG0 X1", "M", "M7;", "M7 X", "M1234"])
def test_what_is_no_m_word_is_not(text: str) -> None:
    assert not is_code(text)


@pytest.mark.parametrize(
    ("said", "is_meant"),
    [
        ("ok", "ok"),
        ("OK B7", "ok"),
        ("error:9", "error"),
        ("Error: no feed", "error"),
        ("okay", "other"),
        ("", "other"),
    ],
)
def test_answers_are_told_apart(said: str, is_meant: str) -> None:
    assert meant(said) == is_meant


def test_answers_come_in_pieces_and_garbage_has_an_end() -> None:
    answers = Answers()
    assert answers.lines(b"o") == []
    assert answers.lines(b"k\r\n\r\nerr") == ["ok"]
    assert answers.lines(b"or: 3\n\xff\xfe\n") == ["error: 3", r"\xff\xfe"]
    long = answers.lines(b"x" * 300)
    assert len(long) == 1
    assert len(long[0]) <= 256
    assert answers.lines(b"ok\n") == ["ok"]


def line(text: bytes) -> Handed:
    return Handed(text, 0, 0)


def test_a_window_counts_lines_and_characters() -> None:
    window = Window(characters=10, lines=3)
    for _ in range(2):
        assert window.room(b"12345")
        window.hand(line(b"12345"))
    assert not window.room(b"1")
    assert window.acknowledge() == line(b"12345")
    window.hand(line(b"1"))
    window.hand(line(b"2"))
    assert not window.room(b"3")  # three lines, although there is room for more characters
    assert window.oldest == line(b"12345")


def test_an_acknowledgement_too_many_is_counted_once_all_are_in() -> None:
    window = Window(10, 3)
    assert window.acknowledge() is None
    assert window.extra == 1
    window.hand(line(b"1"))
    assert window.acknowledge() is not None
    assert window.room(b"1234567890")
