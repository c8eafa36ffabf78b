"""Checks for those who add things: each says in plain words what is wrong, or nothing. It refuses no kind a look.

A package that brings a motion law calls `check_law(KIND)` in its own tests.
"""

import json
from dataclasses import fields, is_dataclass

import numpy as np
from msgspec import to_builtins

from sequencer.errors import ProjectError
from sequencer.project import files, text
from sequencer.score.easing import LawKind, UnitCurve, curve_of
from sequencer.score.move import Ease

# parts of the way; a speed may jump by the same part of the law's largest
_SLACK = 1e-9


def check_law(kind: LawKind, *hows: object) -> None:
    """Check a motion law at each of the settings `hows`, or at its defaults where none are given.

    The curve leads from 0 to 1, without a jump in value or speed inside the leg, in pieces that fill [0, 1] in order;
    the same settings give the same curve, can be looked up, and come back from a project file as they were.
    Error: AssertionError that names the law and what it does not keep.
    """
    assert kind.name.strip(), "a law needs a name"
    assert kind.name == kind.name.strip().lower(), f"{kind.name!r} must be a plain lower-case name"
    for how in hows or (_defaults(kind),):
        where = f"{kind.name} with {how}"
        assert isinstance(how, kind.settings), f"{where}: these are not its settings"
        _check_settings(where, kind, how)
        curve = curve_of(Ease(kind.name, how), {kind.name: kind})
        if not isinstance(curve, UnitCurve):
            continue
        _check_pieces(where, curve)
        _check_way(where, curve)
        again = curve_of(Ease(kind.name, how), {kind.name: kind})
        assert isinstance(again, UnitCurve)
        assert np.array_equal(curve.coeffs, again.coeffs), f"{where}: the same settings gave two different curves"


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


def _check_pieces(where: str, curve: UnitCurve) -> None:
    pieces = len(curve.breaks) - 1
    assert pieces >= 1, f"{where}: there are no pieces"
    assert curve.coeffs.ndim == 2, f"{where}: coeffs must be (K, S)"
    assert len(curve.coeffs) <= 16, f"{where}: {len(curve.coeffs)} coefficients a piece; 16 are the most"
    assert curve.coeffs.shape[1] == pieces, f"{where}: {pieces} pieces, but coeffs {curve.coeffs.shape}"
    assert np.isfinite(curve.coeffs).all(), f"{where}: a coefficient is no number"
    assert curve.breaks[0] == 0, f"{where}: the first break is {curve.breaks[0]}, not 0"
    assert curve.breaks[-1] == 1, f"{where}: the last break is {curve.breaks[-1]}, not 1"
    assert (np.diff(curve.breaks) > 0).all(), f"{where}: the breaks must rise"
    assert 0 <= curve.fit_error < 0.01, f"{where}: a fit error of {curve.fit_error} of the way"


def _check_way(where: str, curve: UnitCurve) -> None:
    width = np.diff(curve.breaks)
    powers = np.arange(len(curve.coeffs) - 1, -1, -1)[:, None]
    ends = (curve.coeffs * width**powers).sum(axis=0)
    speeds = (powers[:-1] * curve.coeffs[:-1] * width ** (powers[:-1] - 1)).sum(axis=0)
    begin_speeds = curve.coeffs[-2] if len(curve.coeffs) > 1 else np.zeros_like(ends)
    assert curve.coeffs[-1, 0] == 0, f"{where}: it begins at {curve.coeffs[-1, 0]}, not at 0"
    assert abs(ends[-1] - 1) <= _SLACK, f"{where}: it ends at {ends[-1]}, not at 1"
    for piece, gap in enumerate(curve.coeffs[-1, 1:] - ends[:-1]):
        assert abs(gap) <= _SLACK, f"{where}: the value jumps by {gap} at {curve.breaks[piece + 1]}"
    fastest = max(1.0, float(np.abs(speeds).max()), float(np.abs(begin_speeds).max()))
    for piece, gap in enumerate(begin_speeds[1:] - speeds[:-1]):
        assert abs(gap) <= _SLACK * fastest, f"{where}: the speed jumps by {gap} at {curve.breaks[piece + 1]}"
