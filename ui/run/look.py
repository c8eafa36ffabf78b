"""How each state looks: a shape of its own, and colours in which red is a hazard only, and yellow asks for attention.

It draws nothing. The words are always black on white or white on black; colour and shape only add to them.

Source: IEC 60204-1, 10.3 (from memory): red for a hazard, yellow for what is abnormal, white, grey and black neutral.
"""

from dataclasses import dataclass
from typing import Literal

from ui.link.standing import State
from ui.theme import Theme

Form = Literal["slash", "dots", "circle", "triangle", "chevrons", "bars", "octagon", "square"]
FORMS: dict[State, Form] = {
    "offline": "slash",
    "opening": "dots",
    "idle": "circle",
    "armed": "triangle",
    "moving": "chevrons",
    "holding": "bars",
    "fault": "octagon",
    "stopped": "square",
}


@dataclass(frozen=True, slots=True)
class Look:
    """`ink` is written on `ground`; the form is filled with `fill` and lined with `ink`."""

    form: Form
    ground: str
    ink: str
    fill: str


def look(state: State, theme: Theme) -> Look:
    """Return how a state looks in a theme."""
    ground, ink = theme.strip, theme.strip_text
    match state:
        case "moving":
            return Look(FORMS[state], ink, ground, ground)
        case "armed":
            return Look(FORMS[state], ground, ink, theme.armed)
        case "fault":
            return Look(FORMS[state], ground, ink, theme.fault)
        case "idle":
            return Look(FORMS[state], ground, ink, theme.edge)
        case "offline":
            return Look(FORMS[state], ground, ink, ground)
    return Look(FORMS[state], ground, ink, ink)
