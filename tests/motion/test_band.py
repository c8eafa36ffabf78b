"""The fit of a free smooth run: against scipy's splines, within limits, and as few keys as are needed."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.interpolate import BSpline, make_interp_spline

from sequencer.motion.band import Band
from sequencer.motion.compile import compile_move
from sequencer.motion.fewest import fewest
from sequencer.score.move import Ease, Key, Move, Track
from tests.motion.machines import LAWS, SECONDS, rig

Floats = NDArray[np.float64]

LIMITS = (60.0, 120.0, 600.0)


def step(at_s: Floats) -> Floats:
    """Return a way of 20 from rest to rest in four seconds, with a wobble in it that is at rest at both ends too."""
    u = at_s / 4
    still = u**3 * (1 - u) ** 3
    return np.asarray(20 * u**3 * (10 - 15 * u + 6 * u**2) + 60 * still * np.sin(9 * at_s), np.float64)


def band(room: float = 0.1, calm: float = 0.0, limits: tuple[float, float, float] = LIMITS) -> Band:
    t_s, at_s = np.linspace(0, 4, 1001), np.linspace(0, 4, 101)
    known = np.full(101, np.nan)
    known[0], known[-1] = 0.0, 20.0
    ends = np.zeros(101, np.bool_)
    ends[[0, -1]] = True
    return Band(
        t_s=t_s,
        path=step(t_s),
        room=np.full(1001, room),
        calm=calm,
        limits=limits,
        held_s=(0.0, 4.0),
        at_s=at_s,
        known=known,
        must=ends,
        may=~ends,
    )


def every(pace: int) -> NDArray[np.bool_]:
    kept = np.zeros(101, np.bool_)
    kept[::pace] = True
    return kept


@pytest.mark.parametrize("pace", [4, 5, 20])
def test_it_is_the_least_squares_spline_at_rest_at_both_ends(pace: int) -> None:
    """Against numpy's least squares over scipy's B-splines; at rest the last three coefficients are the end's value."""
    one, kept = band(), every(pace)
    keys_s = one.at_s[kept]
    knots = np.concatenate((np.zeros(5), keys_s, np.full(5, 4.0)))
    basis = BSpline.design_matrix(one.t_s, knots, 5).toarray()
    coeffs = np.concatenate((np.zeros(len(knots) - 9), np.full(3, 20.0)))
    left = one.path - basis @ coeffs
    coeffs[3:-3] = np.linalg.lstsq(basis[:, 3:-3], left, rcond=None)[0]
    peer = BSpline(knots, coeffs, 5)
    found = one.fitted(kept)
    assert found.values == pytest.approx(peer(keys_s), abs=1e-8)
    assert found.off * one.room == pytest.approx(peer(one.t_s) - one.path, abs=1e-8)


def test_the_compiled_run_through_its_keys_is_the_spline_that_was_fitted() -> None:
    one, kept = band(), every(4)
    found = one.fitted(kept)
    keys = [
        Key(Fraction(float(at_s)), value, Ease("through"), "free")
        for at_s, value in zip(one.at_s[kept], found.values.tolist(), strict=True)
    ]
    keys[0], keys[-1] = replace(keys[0], passing="pass"), replace(keys[-1], passing="pass")
    run = compile_move(rig(), Move(tracks=(Track("pan0", tuple(keys)),)), SECONDS, LAWS).sample(one.t_s)[:, 0]
    assert run == pytest.approx(one.path + found.off * one.room, abs=1e-7)
    rest = ([(1, 0.0), (2, 0.0)],) * 2
    peer = make_interp_spline(
        one.at_s[kept],
        found.values,
        k=5,
        bc_type=rest,  # type: ignore[arg-type]  # scipy's types know only words
    )
    assert run == pytest.approx(peer(one.t_s), abs=1e-7)


def test_held_to_limits_it_keeps_them_at_the_cost_of_being_further_off() -> None:
    one, kept = band(room=2.0), every(4)
    free, held = one.fitted(kept), one.fitted(kept, limited=True)
    assert free.asks.max() > 1
    assert held.asks.max() <= 1
    assert np.abs(held.off).max() <= 1
    assert (held.off**2).sum() > (free.off**2).sum()


def test_what_leads_to_the_held_part_is_not_held() -> None:
    one, kept = replace(band(), held_s=(1.0, 3.0)), every(4)
    assert one.fitted(kept).asks[[0, -1]].tolist() == [0.0, 0.0]


def test_no_key_can_be_spared_and_the_band_is_kept() -> None:
    one = band(room=0.2, limits=(1e3, 1e4, 1e5))
    kept = fewest(one)
    assert np.abs(one.fitted(kept).off).max() <= 1 + 1e-9
    assert 4 < kept.sum() < 30
    for place in np.flatnonzero(kept & ~one.must).tolist():
        fewer = kept.copy()
        fewer[place] = False
        assert np.abs(one.fitted(fewer).off).max() > 1


def test_where_the_two_ends_do_no_key_stands_between() -> None:
    """The run through two keys at rest is the polynomial of fifth degree: whoever drew that meant one leg."""
    one = band()
    u = one.t_s / 4
    # a wobble that the band has room for, many times in a leg that lasts for forty seconds
    path = 20 * u**3 * (10 - 15 * u + 6 * u**2) + 0.095 * np.sin(10 * np.pi * u)
    slow = replace(one, path=path, t_s=10 * one.t_s, at_s=10 * one.at_s, held_s=(0.0, 40.0))
    assert fewest(slow).sum() == 2


def test_a_key_that_is_known_keeps_its_value() -> None:
    one = band()
    known = one.known.copy()
    known[50] = 9.0
    one = replace(one, known=known)
    found = one.fitted(fewest(one))
    assert 9.0 in found.values.tolist()
