"""How pads are handled, from a project file to its value and back. Every fault is a ProjectError with its place.

A stick of an axis that the rig does not have is kept: another rig may have it, and the pad tells when it comes.
"""

from dataclasses import fields

from msgspec import UNSET

from sequencer.errors import ProjectError
from sequencer.live.handling import MANNERS, Deed, Handling, Stick
from sequencer.project import text
from sequencer.project.hands_file import HandlingFile, StickFile
from sequencer.project.values import placed, said

_AS_WRITTEN = frozenset({"sticks", "buttons", "manner"})


def build_hands(written: list[HandlingFile]) -> tuple[Handling, ...]:
    """Return how each pad is handled."""
    return tuple(_handling(one, f"hands[{number}]") for number, one in enumerate(written))


def _handling(written: HandlingFile, path: str) -> Handling:
    manner = next((one for one in MANNERS if one == written.manner), None)
    if manner is None:
        what = f"{text.printable(written.manner)!r} is nothing that a stick says"
        raise ProjectError(f"{path}.manner", what, f"write one of {', '.join(MANNERS)}")
    given = {one.name: getattr(written, one.name) for one in fields(Handling) if one.name not in _AS_WRITTEN}
    sticks = tuple(_stick(one, f"{path}.sticks[{number}]") for number, one in enumerate(written.sticks))
    buttons = tuple((control, _deed(what, path, control)) for control, what in written.buttons.items())
    return placed(path, Handling, **given, manner=manner, sticks=sticks, buttons=buttons)


def _stick(written: StickFile, path: str) -> Stick:
    return placed(
        path,
        Stick,
        control=written.control,
        axis=written.axis,
        with_modifier=written.with_modifier,
        reverse=written.reverse,
        range=said(written.range, None),
    )


def _deed(written: str, path: str, control: str) -> Deed:
    try:
        return Deed(written)
    except ValueError:
        what = f"there is no {text.printable(written)!r} for a button to do"
        place = f"{path}.buttons.{text.printable(control)}"
        raise ProjectError(place, what, f"there are {', '.join(Deed)}") from None


def plain_hands(handlings: tuple[Handling, ...]) -> list[HandlingFile]:
    """Return how each pad is handled, as it is written."""
    return [
        HandlingFile(
            pad=one.pad,
            manner=one.manner,
            range_deg=float(one.range_deg),
            dead_band=float(one.dead_band),
            response=float(one.response),
            smoothing_s=float(one.smoothing_s),
            top=float(one.top),
            fine=float(one.fine),
            priority=one.priority,
            enabling=one.enabling,
            modifier=one.modifier,
            sticks=[_plain_stick(stick) for stick in one.sticks],
            buttons={control: str(deed) for control, deed in one.buttons},
        )
        for one in handlings
    ]


def _plain_stick(stick: Stick) -> StickFile:
    return StickFile(
        control=stick.control,
        axis=stick.axis,
        with_modifier=stick.with_modifier,
        reverse=stick.reverse,
        range=UNSET if stick.range is None else float(stick.range),
    )
