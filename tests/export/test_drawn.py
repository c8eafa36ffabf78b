"""Words in a plot are words: a name from a stranger's project is no formula, no markup, and nothing for TeX to do."""

from typing import Literal

import matplotlib as mpl
import pytest
from matplotlib.figure import Figure

from sequencer.export.drawn import Plot, svg

HOSTILE = r"\input{/etc/hostname} $x^2$ <script>"


def say(figure: Figure) -> None:
    figure.text(0.5, 0.5, HOSTILE)


@pytest.mark.parametrize("ours", ["text.usetex", "text.parse_math"])
def test_words_in_a_plot_are_words_whatever_this_users_own_settings_say(
    ours: Literal["text.usetex", "text.parse_math"],
) -> None:
    with mpl.rc_context({ours: True}):
        drawn = svg(Plot(draw=say, height_in=1.0, alt=HOSTILE))
    words = r"\input{/etc/hostname} $x^2$ &lt;script&gt;"
    assert f">{words}</text>" in drawn
    assert f'aria-label="{words}"' in drawn
