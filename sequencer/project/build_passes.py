"""From the passes in project.json to their values, and back. Every fault is a ProjectError with its place.

That a pass names a cue or an axis that is gone is no fault of the file: it is said when the pass is chosen.
"""

from collections.abc import Mapping, Sequence
from fractions import Fraction

from msgspec import UNSET, UnsetType

from sequencer.errors import ProjectError
from sequencer.project import text
from sequencer.project.pass_file import PassFile, ScaleFile
from sequencer.project.values import exact, exact_text, named, said
from sequencer.rig.axis import is_place
from sequencer.score.move import Pass, Scaled
from sequencer.score.pace import frame_for_frame, model_rate
from sequencer.timebase.rate import Rate


def build_passes(written: Sequence[PassFile], rate: Rate) -> tuple[Pass, ...]:
    """Return the passes. Error: ProjectError."""
    return tuple(_built(one, f"passes[{i}]", rate) for i, one in enumerate(written))


def _built(written: PassFile, path: str, rate: Rate) -> Pass:
    scale = None if isinstance(written.scale, UnsetType) else _scaled(written.scale, f"{path}.scale")
    shot = None if isinstance(written.rate, UnsetType) else exact(written.rate, f"{path}.rate")
    follows = isinstance(written.speed, UnsetType)
    if shot is None and follows:
        shot = _model_rate(scale, rate)
    note = said(written.note, "")
    if not note.isprintable():
        raise ProjectError(f"{path}.note", f"{text.printable(note)!r} cannot be shown", "write it in one line")
    return Pass(
        name=written.name,
        speed=_own_speed(shot, rate) if follows else exact(str(written.speed), f"{path}.speed"),
        of=None if isinstance(written.of, UnsetType) else named(written.of, f"{path}.of"),
        reversed=said(written.reversed, False),
        offset=_values(written.offset, f"{path}.offset"),
        scale=scale,
        rate=shot,
        note=note,
    )


def _scaled(written: ScaleFile, path: str) -> Scaled:
    return Scaled(
        factor=exact(written.factor, f"{path}.factor"),
        about=_values(written.about, f"{path}.about"),
        time=said(written.time, False),
    )


def _values(written: Mapping[str, float] | UnsetType, path: str) -> tuple[tuple[str, float], ...]:
    there = tuple(said(written, {}).items())
    for name, value in there:
        named(name, path)
        if not is_place(value):
            mend = "give it a number in the axis's unit, below ten million either way"
            raise ProjectError(f"{path}.{name}", f"the value is {value}", mend)
    return there


def _model_rate(scale: Scaled | None, rate: Rate) -> Fraction | None:
    """Return the camera's rate that follows from a scale, where nothing else is written."""
    return model_rate(rate, scale.factor) if scale is not None and scale.time else None


def _own_speed(shot: Fraction | None, rate: Rate) -> Fraction:
    """Return the speed that follows from the camera's rate."""
    return Fraction(1) if shot is None else frame_for_frame(rate, shot)


def plain_passes(passes: Sequence[Pass], rate: Rate) -> list[PassFile]:
    """Return them as they are written; what follows from the rest is not."""
    return [_plain(one, rate) for one in passes]


def _plain(one: Pass, rate: Rate) -> PassFile:
    follows = one.rate is not None and one.speed == _own_speed(one.rate, rate)
    rate_follows = follows and one.rate == _model_rate(one.scale, rate)
    return PassFile(
        name=one.name,
        speed=UNSET if follows else exact_text(one.speed),
        of=UNSET if one.of is None else one.of,
        reversed=one.reversed or UNSET,
        offset=dict(one.offset) or UNSET,
        scale=UNSET if one.scale is None else _plain_scale(one.scale),
        rate=UNSET if one.rate is None or rate_follows else exact_text(one.rate),
        note=one.note or UNSET,
    )


def _plain_scale(scale: Scaled) -> ScaleFile:
    return ScaleFile(factor=exact_text(scale.factor), about=dict(scale.about) or UNSET, time=scale.time or UNSET)
