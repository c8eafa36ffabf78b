"""Checks a motion law for those who add one: in plain words what is wrong, or nothing. It refuses no kind a look.

A package that brings a law calls `check_law(KIND)` in its own tests.
"""

import json
from collections.abc import Sequence
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np
from msgspec import to_builtins
from numpy.typing import NDArray

from sequencer.errors import ProjectError
from sequencer.motion.peaks import peaks
from sequencer.motion.trajectory import Trajectory
from sequencer.project import files, text
from sequencer.rig.axis import Axis, Rig
from sequencer.score.easing import Drawn, LawKind, Leg, NoCurve, UnitCurve, curve_of
from sequencer.score.move import Ease

Floats = NDArray[np.float64]

# parts of the way; a speed may jump by the same part of the law's largest
_SLACK = 1e-9
_GRID = np.linspace(0, 1, 1001)
# of a factor: how far the peaks of a curve that is a fit may be below those of its law
_FITTED = 0.02
# legs that are easy, quick, far beyond the limits, as slow as a tide, and of no way at all
_LEGS = tuple(
    Leg(way=way, lasts_s=lasts_s, speed=60.0, acceleration=120.0, jerk=600.0)
    for way, lasts_s in ((30.0, 2.0), (-30.0, 2.0), (0.5, 0.25), (1e4, 0.04), (-1e-3, 2e4), (0.0, 1.0))
)


def check_law(kind: LawKind, *hows: object) -> None:
    """Check a motion law at each of the settings `hows`, or at its defaults where none are given.

    The curve leads from 0 to 1, without a jump in value or speed inside the leg, in pieces that fill [0, 1] in order;
    one in the axis's own unit leads from 0 to 0, and has no jump in acceleration either. Its factors are its peaks:
    never less, and hardly more where the curve is a fit. Many curves at once are the curves one by one.
    Run backward it is the curve of `reversed`, or itself. Suited to a leg, its settings leave nothing open. The same
    settings give the same curve, can be looked up, and come back from a project file as they were.
    Error: AssertionError that names the law and what it does not keep.
    """
    assert kind.name.strip(), "a law needs a name"
    assert kind.name == kind.name.strip().lower(), f"{kind.name!r} must be a plain lower-case name"
    for how in hows or (_defaults(kind),):
        _check_how(kind, how)
        if kind.suited is not None:
            _check_suited(kind, how)


def _check_how(kind: LawKind, how: object) -> None:
    where = f"{kind.name} with {how}"
    assert isinstance(how, kind.settings), f"{where}: these are not its settings"
    _check_settings(where, kind, how)
    curve, again = _curve(kind, how), _curve(kind, how)
    if isinstance(curve, NoCurve) or isinstance(again, NoCurve):
        return
    _check_pieces(where, curve)
    _check_way(where, curve)
    assert np.array_equal(curve.coeffs, again.coeffs), f"{where}: the same settings gave two different curves"
    if kind.curves is not None:
        _check_many(where, curve, kind.curves([how, how, how]))
    if isinstance(curve, UnitCurve):
        _check_factors(where, kind, how, curve)
    _check_backward(where, kind, how, curve)
    _check_scaled(where, kind, how, curve)


def _curve(kind: LawKind, how: object) -> UnitCurve | Drawn | NoCurve:
    return curve_of(Ease(kind.name, how), {kind.name: kind})


def _defaults(kind: LawKind) -> object:
    try:
        return kind.settings()
    except TypeError:
        raise AssertionError(f"{kind.name} has settings without defaults; give some to check it with") from None


def _check_settings(where: str, kind: LawKind, how: object) -> None:
    assert is_dataclass(kind.settings), f"{where}: settings must be a frozen dataclass"
    assert type(how).__hash__ is not None, f"{where}: settings must be a frozen dataclass"
    assert "law" not in [one.name for one in fields(kind.settings)], f"{where}: `law` names the law, not a setting"
    try:
        again = text.convert(json.loads(text.lay_out(to_builtins(how))), kind.settings, files.PROJECT)
    except (ProjectError, TypeError, ValueError) as error:
        raise AssertionError(f"{where}: a project file cannot keep its settings: {error}") from error
    assert again == how, f"{where}: a project file would bring its settings back as {again}"


def _check_pieces(where: str, curve: UnitCurve | Drawn) -> None:
    pieces = len(curve.breaks) - 1
    assert pieces >= 1, f"{where}: there are no pieces"
    assert curve.coeffs.ndim == 2, f"{where}: coeffs must be (K, S)"
    assert len(curve.coeffs) <= 16, f"{where}: {len(curve.coeffs)} coefficients a piece; 16 are the most"
    assert curve.coeffs.shape[1] == pieces, f"{where}: {pieces} pieces, but coeffs {curve.coeffs.shape}"
    assert np.isfinite(curve.coeffs).all(), f"{where}: a coefficient is no number"
    assert curve.breaks[0] == 0, f"{where}: the first break is {curve.breaks[0]}, not 0"
    assert curve.breaks[-1] == 1, f"{where}: the last break is {curve.breaks[-1]}, not 1"
    assert (np.diff(curve.breaks) > 0).all(), f"{where}: the breaks must rise"
    if isinstance(curve, UnitCurve):
        assert 0 <= curve.fit_error < 0.01, f"{where}: a fit error of {curve.fit_error} of the way"


def _check_many(where: str, curve: UnitCurve | Drawn, many: Sequence[UnitCurve | Drawn]) -> None:
    assert len(many) == 3, f"{where}: for three settings there are {len(many)} curves"
    for each in many:
        same = np.array_equal(each.breaks, curve.breaks) and np.array_equal(each.coeffs, curve.coeffs)
        assert same, f"{where}: among many its curve is another one"


def _check_way(where: str, curve: UnitCurve | Drawn) -> None:
    """Look at both ends, and at every joint: value and speed, and acceleration too where the curve was drawn."""
    drawn = isinstance(curve, Drawn)
    last, unit = (0, "") if drawn else (1, "")
    begins, ends = _ends(curve, 0)
    size = max(float(np.abs(begins).max()), float(np.abs(ends).max())) if drawn else 1.0
    assert begins[0] == 0, f"{where}: it begins at {begins[0]}, not at 0"
    assert abs(ends[-1] - last) <= _SLACK * size, f"{where}: it ends at {ends[-1]}, not at {last}"
    for order, what in enumerate(("value", "speed", "acceleration")[: 3 if drawn else 2]):
        begins, ends = _ends(curve, order)
        largest = size if order == 0 else max(size, float(np.abs(begins).max()), float(np.abs(ends).max()))
        for piece, gap in enumerate(begins[1:] - ends[:-1]):
            at = curve.breaks[piece + 1]
            assert abs(gap) <= _SLACK * largest, f"{where}: the {what} jumps by {gap}{unit} at {at}"


def _ends(curve: UnitCurve | Drawn, order: int) -> tuple[Floats, Floats]:
    """Return the derivative of `order` where each piece begins and where it ends. Shape: twice (S,)."""
    coeffs = curve.coeffs
    for _ in range(order):
        powers = np.arange(len(coeffs) - 1, 0, -1)
        coeffs = coeffs[:-1] * powers[:, None] if len(coeffs) > 1 else np.zeros_like(coeffs)
    width = np.diff(curve.breaks)
    return coeffs[-1], (coeffs * width ** np.arange(len(coeffs) - 1, -1, -1)[:, None]).sum(axis=0)


def _check_factors(where: str, kind: LawKind, how: object, curve: UnitCurve) -> None:
    """Compare what the law says it asks with what its curve asks: never more, and as much, but for what a fit loses."""
    if kind.factors is None:
        return
    said = kind.factors(how)
    finite = [each if np.isfinite(each) else 1.0 for each in (said.speed, said.acceleration, said.jerk)]
    assert min(finite) > 0, f"{where}: its factors {said} must be above 0"
    speed, acceleration, jerk = finite
    axis = Axis(name="leg", kind="pan", unit="part", travel=None, speed=speed, acceleration=acceleration, jerk=jerk)
    leg = Trajectory.joined(("leg",), [(curve.breaks, curve.coeffs, 1.0)], np.zeros(1))
    (asked,) = peaks(leg, Rig(name="leg", axes=(axis,)))
    # what the rounding of the breaks makes of the shortest piece
    slack = _SLACK + float(np.finfo(np.float64).eps / np.diff(curve.breaks).min())
    for what, factor, peak in (
        ("speed", said.speed, asked.speed.value),
        ("acceleration", said.acceleration, asked.acceleration.value),
        ("jerk", said.jerk, asked.jerk.value),
    ):
        assert peak <= factor * (1 + slack), f"{where}: its {what} reaches {peak}, beyond its factor {factor}"
        least = factor * (1 - (_FITTED if curve.fit_error else slack))
        assert peak >= least, f"{where}: its {what} reaches {peak} only, its factor is {factor}"


def _check_backward(where: str, kind: LawKind, how: object, curve: UnitCurve | Drawn) -> None:
    back = how if kind.reversed is None else kind.reversed(how)
    assert isinstance(back, kind.settings), f"{where}: backward its settings would be {back}"
    backward = _curve(kind, back)
    assert type(backward) is type(curve), f"{where}: backward its curve is of another kind"
    assert not isinstance(backward, NoCurve)
    there, ago = _sampled(curve), _sampled(backward)[::-1]
    off = np.abs((ago if isinstance(curve, Drawn) else 1 - ago) - there)
    slack = _SLACK * max(1.0, float(np.abs(there).max()))
    if isinstance(curve, UnitCurve) and isinstance(backward, UnitCurve):
        slack += curve.fit_error + backward.fit_error
    worst = int(off.argmax())
    missing = "; it needs `reversed`" if kind.reversed is None else ""
    assert off[worst] <= slack, f"{where}: backward it is {off[worst]} away at {_GRID[worst]}{missing}"


def _check_scaled(where: str, kind: LawKind, how: object, curve: UnitCurve | Drawn) -> None:
    """A curve in the axis's own unit must grow with the way; one in parts of the way does so by itself."""
    if not isinstance(curve, Drawn):
        assert kind.scaled is None, f"{where}: a curve in parts of the way has nothing to be scaled"
        return
    assert kind.scaled is not None, f"{where}: a curve in the axis's own unit needs `scaled`"
    for factor in (-1.0, 2.5):
        larger = _curve(kind, kind.scaled(how, factor))
        assert isinstance(larger, Drawn), f"{where}: scaled, its curve is of another kind"
        off = float(np.abs(_sampled(larger) - factor * _sampled(curve)).max())
        size = float(np.abs(_sampled(curve)).max())
        assert off <= _SLACK * size, f"{where}: scaled by {factor} it is {off} away"


def _sampled(curve: UnitCurve | Drawn) -> Floats:
    return UnitCurve(curve.breaks, curve.coeffs).sample(_GRID)


def _left_open(how: Any) -> bool:
    return any(getattr(how, one.name) == "limits" for one in fields(how))


def _check_suited(kind: LawKind, how: object) -> None:
    """Look at what the law makes of its settings for a few legs, hard ones among them."""
    assert kind.suited is not None
    where = f"{kind.name} with {how}"
    is_open = _left_open(how)
    for leg in _LEGS:
        own = kind.suited(how, leg)
        there = f"{where}, suited to {leg}"
        assert isinstance(own, kind.settings), f"{there}: {own} are not its settings"
        assert is_open or own is how, f'{there}: nothing says "limits", but its settings became {own}'
        assert not _left_open(own), f"{there}: {own} still leave something to the limits"
        assert kind.suited(own, leg) == own, f"{there}: its settings change when they are suited again"
        back = Leg(way=-leg.way, lasts_s=leg.lasts_s, speed=leg.speed, acceleration=leg.acceleration, jerk=leg.jerk)
        assert kind.suited(how, back) == own, f"{there}: the way back has other settings"
        if is_open:
            _check_how(kind, own)
