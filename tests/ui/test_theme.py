"""Every pair of colours that is read or told apart has the contrast that bright sun asks for, in both themes."""

import pytest

from ui.link.standing import STATES
from ui.run.look import FORMS, look
from ui.run.stop import BLACK, WHITE
from ui.run.strip import AFAR_ARCMIN, AFAR_M
from ui.run.words import word
from ui.theme import MARKS, STATE_PX, STOP_PX, THEMES, Theme, contrast, font_px, luminance

TEXT, STRIP, GRAPHICS = 7.0, 15.0, 3.0
BOTH = pytest.mark.parametrize("theme", list(THEMES.values()), ids=list(THEMES))


def test_contrast_is_that_of_the_guidelines() -> None:
    # WCAG 2.2: black on white is 21, a colour on itself 1; #777777 on white 4.48 (from memory)
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#123456", "#123456") == 1.0
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)
    assert luminance("#ffffff") == pytest.approx(1.0)


@BOTH
def test_text_is_read(theme: Theme) -> None:
    for ground in (theme.ground, theme.panel, theme.raised):
        for ink in (theme.text, theme.weak):
            assert contrast(ink, ground) >= TEXT, (ink, ground)
    for ink, ground in (
        (theme.over_text, theme.over),
        (theme.armed_text, theme.armed),
        (theme.fault_text, theme.fault),
        (theme.panel, theme.text),
    ):
        assert contrast(ink, ground) >= TEXT, (ink, ground)


@BOTH
def test_the_strip_is_read_in_the_sun(theme: Theme) -> None:
    assert contrast(theme.strip, theme.strip_text) >= STRIP
    for state in STATES:
        view = look(state, theme)
        assert contrast(view.ink, view.ground) >= STRIP, state
        # a form is lined with the ink, and so is told from its ground whatever fills it
        assert contrast(view.ink, view.ground) >= GRAPHICS
    assert contrast(BLACK, WHITE) >= STRIP


@BOTH
def test_lines_and_shapes_are_seen(theme: Theme) -> None:
    for ground in (theme.ground, theme.panel):
        for ink in (theme.edge, theme.focus, theme.chosen, theme.playhead, *theme.tracks):
            assert contrast(ink, ground) >= GRAPHICS, (ink, ground)
    for ink in (theme.edge, theme.focus):
        assert contrast(ink, theme.raised) >= GRAPHICS, ink


@BOTH
def test_states_are_told_apart_without_colour(theme: Theme) -> None:
    assert len({word(state) for state in STATES}) == len(STATES)
    assert len({look(state, theme).form for state in STATES}) == len(STATES)
    assert set(FORMS) == set(STATES)
    assert len(theme.tracks) == len(MARKS) == len(set(MARKS)) == len(set(theme.tracks))


@BOTH
def test_red_is_a_hazard_only_and_nothing_that_moves_is_green(theme: Theme) -> None:
    def strong(colour: str) -> str:
        red, green, blue = (int(colour[at : at + 2], 16) for at in (1, 3, 5))
        if red > 1.5 * max(green, blue, 1):
            return "red"
        return "green" if green > 1.5 * max(red, blue, 1) else ""

    for state in STATES:
        view = look(state, theme)
        colours = {strong(colour) for colour in (view.ground, view.ink, view.fill)}
        assert ("red" in colours) == (state == "fault"), state
        assert "green" not in colours, state
    assert (strong(BLACK), strong(WHITE)) == ("", "")


def test_sizes_are_those_of_a_person_who_stands() -> None:
    # the study's own numbers: capitals of 9.6 mm at 1.5 m are 22 minutes of arc; a pixel of 96 to the inch is 0.265 mm
    assert font_px(AFAR_ARCMIN, AFAR_M) * 0.72 * 25.4 / 96 == pytest.approx(9.6, abs=0.2)
    assert STATE_PX >= 18
    assert STOP_PX[0] >= 160
    assert STOP_PX[1] >= 64
