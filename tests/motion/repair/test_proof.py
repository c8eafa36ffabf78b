"""Proofs that no motion keeps some keys: they hold, they cannot be forged, and arithmetic alone checks them."""

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from sequencer.motion.repair.least_values import least_values
from sequencer.motion.repair.proof import Proof, Wanted, glances, recheck
from sequencer.motion.repair.relaxation import prove, relaxed
from tests.motion.repair.tight import quintic, tight

Floats = NDArray[np.float64]


def kept(seed: int, count: int = 6, rest: bool = True, travel: bool = False) -> Wanted:
    """Return keys on a known curve, and limits that are that curve's own peaks: there is a motion that keeps them."""
    rng = np.random.default_rng(seed)
    keys_s = np.append(0.0, np.cumsum(rng.integers(1, 9, 2 * count - 2) / 8))
    values = np.cumsum(rng.normal(0, 20, 2 * count - 1))
    still = [(1, 0.0), (2, 0.0)] if rest else [(1, float(rng.normal(0, 20))), (2, float(rng.normal(0, 20)))]
    curve = quintic(keys_s, values, still)
    t_s = np.linspace(keys_s[0], keys_s[-1], 20001)
    peak = [float(np.abs(curve(t_s, order)).max()) * (1 + 1e-6) for order in range(4)]
    picked = keys_s[::2]
    return Wanted(
        at=tuple(Fraction(at) for at in picked.tolist()),
        values=tuple(curve(picked).tolist()),
        rest=(rest, rest),
        fixed=(False,) * count,
        speed=peak[1],
        acceleration=peak[2],
        jerk=peak[3],
        travel=(-peak[0], peak[0]) if travel else None,
    )


def multipliers(wanted: Wanted, seed: int, pieces: int = 3) -> Proof:
    """Return multipliers drawn at random."""
    rng = np.random.default_rng(seed)
    count = pieces * (len(wanted.at) - 1)
    size = 10.0 ** rng.uniform(-2, 1, 4)
    return Proof(
        pieces=(pieces,) * (len(wanted.at) - 1),
        keys=tuple(rng.normal(0, 1, len(wanted.at)).tolist()),
        travel=tuple((rng.normal(0, size[0], count + 1) * (wanted.travel is not None)).tolist()),
        speed=tuple(rng.normal(0, size[1], count).tolist()),
        acceleration=tuple(zip(*rng.normal(0, size[2], (2, count)).tolist(), strict=True)),
        end=(float(rng.normal(0, size[3])), float(rng.normal(0, size[3]))),
    )


@given(st.integers(0, 10**6), st.booleans(), st.booleans())
@settings(max_examples=60, deadline=None)
def test_no_multipliers_whatever_prove_that_a_motion_which_there_is_cannot_be(
    seed: int, rest: bool, travel: bool
) -> None:
    wanted = kept(seed, rest=rest, travel=travel)
    assert recheck(wanted, multipliers(wanted, seed)).by <= 0


def test_a_motion_that_there_is_reaches_no_further_than_the_multipliers_allow() -> None:
    """The best multipliers against a motion at its own limits: nearly nothing is left, and never the wrong side."""
    for seed in range(8):
        wanted = kept(seed, travel=seed % 2 == 1)
        by = float(recheck(wanted, relaxed(wanted, 16, "total")).by)
        assert -1e-6 <= by <= 0


@given(st.integers(0, 10**6), st.tuples(st.booleans(), st.booleans()), st.booleans(), st.sampled_from((4, 8, 16)))
@settings(max_examples=40, deadline=None)
def test_nor_do_multipliers_as_near_to_a_proof_as_there_are(
    seed: int, rest: tuple[bool, bool], travel: bool, pieces: int
) -> None:
    """The solver's own, of a motion at its limits, whatever ends it may have; and the same a little off."""
    wanted = replace(kept(seed, rest=seed % 2 == 0, travel=travel), rest=rest)
    if seed % 2:  # a curve that passes its ends with speed
        wanted = replace(wanted, rest=(False, False))
    proof = relaxed(wanted, pieces, "total")
    off = 1 + 1e-3 * np.random.default_rng(seed).normal(0, 1, len(proof.speed))
    bent = replace(proof, speed=tuple((off * proof.speed).tolist()))
    assert recheck(wanted, proof).by <= 0
    assert recheck(wanted, bent).by <= 0


@pytest.mark.parametrize("way", [0.5, 5.0, 30.0, 90.0, 300.0])
def test_the_least_time_of_a_leg_from_rest_to_rest_is_where_the_proofs_end(way: float) -> None:
    """Seven phases of even jerk (textbook): speed 60, acceleration 120, jerk 600; half a percent under it is proven."""
    speed, acceleration, jerk = 60.0, 120.0, 600.0
    ramp_s = acceleration / jerk
    if way <= 2 * acceleration * ramp_s**2:
        best_s = 4 * (way / (2 * jerk)) ** (1 / 3)
    else:
        top = (-ramp_s * acceleration + ((ramp_s * acceleration) ** 2 + 4 * acceleration * way) ** 0.5) / 2
        best_s = 2 * (top / acceleration + ramp_s) if top <= speed else way / speed + speed / acceleration + ramp_s
    for factor, proven in ((1 - 5e-3, True), (1 + 1e-9, False)):
        leg = Wanted(
            at=(Fraction(0), Fraction(best_s * factor)),
            values=(-way, 0.0),
            rest=(True, True),
            fixed=(False, False),
            speed=speed,
            acceleration=acceleration,
            jerk=jerk,
            travel=(-way, 0.0),
        )
        assert recheck(leg, relaxed(leg, 32, "total")).proven == proven


def kernel(wanted: Wanted, proof: Proof, t_s: Floats) -> Floats:
    """Return the weight of the jerk at `t_s` by its definition, summed term by term, backward from every instant."""
    at = np.array([float(at) for at in wanted.at])
    nodes = np.concatenate(
        [np.linspace(a, b, n + 1)[:-1] for a, b, n in zip(at, at[1:], proof.pieces, strict=False)] + [at[-1:]]
    )
    keys = np.array(proof.keys)
    keys[0] = sum(proof.travel) - keys[1:].sum()
    weight = np.zeros_like(t_s)
    for instants, factors in ((at, keys), (nodes, -np.array(proof.travel))):
        for instant, factor in zip(instants, factors, strict=True):
            weight += factor * np.maximum(instant - t_s, 0) ** 2 / 2
    # the rest by quadrature: Gauss points of each piece, of the part of it that is still to come
    x, w = np.polynomial.legendre.leggauss(4)
    for piece, (a, b) in enumerate(pairwise(nodes.tolist())):
        begin = np.clip(t_s, a, b)
        for place, share in zip(x, w, strict=True):
            s = begin + (b - begin) * (place + 1) / 2
            first, last = proof.acceleration[piece]
            density = first + (last - first) * (s - a) / (b - a)
            weight -= share * (b - begin) / 2 * (proof.speed[piece] * np.maximum(s - t_s, 0) + density)
    weight -= proof.end[0] + proof.end[1] * (at[-1] - t_s)
    return weight


def test_the_arithmetic_agrees_with_the_kernel_by_its_definition() -> None:
    """Integrals by quadrature on a dense grid, without the recurrence, and without a solver."""
    wanted = tight(1)
    proof = relaxed(wanted, 16, "total")
    verdict = recheck(wanted, proof)
    t_s = np.linspace(0, float(wanted.at[-1]), 8001)
    size = float(np.trapezoid(np.abs(kernel(wanted, proof, t_s)), t_s))
    width_s = np.repeat([float(b - a) for a, b in pairwise(wanted.at)], proof.pieces) / 16
    bound = wanted.jerk * size + wanted.speed * float(width_s @ np.abs(proof.speed))
    bound += wanted.acceleration * float(width_s @ np.abs(proof.acceleration).mean(axis=1))
    asked = float(sum(weight * Fraction(value) for weight, value in zip(verdict.keys, wanted.values, strict=True)))
    assert float(verdict.by) <= asked - bound + 1e-4  # what is claimed is never more than the integrals give
    assert float(verdict.by) == pytest.approx(asked - bound, abs=0.02 * float(verdict.by))


@pytest.mark.parametrize("seed", [1, 3])
def test_a_proof_holds_for_its_keys_and_fails_once_it_is_tampered_with(seed: int) -> None:
    wanted = tight(seed)
    proof, verdict, needed = prove(wanted)
    assert verdict.proven
    assert recheck(needed, proof) == verdict
    # the same multipliers for keys that can be kept
    mended = replace(wanted, values=tuple(least_values(wanted, (), "total").tolist()))
    places = [wanted.at.index(at) for at in needed.at]
    assert not recheck(mended.only(places), proof).proven
    # a heavier key, multipliers left out, others' multipliers
    heaviest = int(np.argmax(np.abs(proof.keys)))
    keys = [weight * (1.5 if number == heaviest else 1) for number, weight in enumerate(proof.keys)]
    assert recheck(needed, replace(proof, keys=tuple(keys))).by < verdict.by
    assert not recheck(needed, replace(proof, keys=tuple(-weight for weight in proof.keys))).proven
    nothing = tuple((0.0, 0.0) for _ in proof.acceleration)
    assert recheck(needed, replace(proof, acceleration=nothing)).by < verdict.by
    with pytest.raises(ValueError, match="not about these keys"):
        recheck(needed.only(range(len(needed.at) - 1)), proof)


def test_what_is_proven_grows_with_the_pieces_and_stays_below_what_is_enough() -> None:
    wanted = tight(3)
    moved = np.abs(least_values(wanted, (), "total") - wanted.values).sum()
    least = [float(recheck(wanted, relaxed(wanted, pieces, "total")).by) for pieces in (4, 8, 16)]
    assert 0 < least[0] < least[1] < least[2] <= moved


def test_pinned_keys_are_proven_against_each_other_alone() -> None:
    wanted = replace(tight(1), fixed=tuple(number < 4 for number in range(10)))
    _, verdict, needed = prove(wanted.only(range(4)))
    assert verdict.proven
    assert verdict.least_total(needed.fixed) is None
    assert verdict.least_largest(needed.fixed) is None
    assert (verdict.least_largest((False,) * len(verdict.keys)) or 0) > 0


def test_two_keys_too_far_apart_are_seen_at_a_glance() -> None:
    wanted = Wanted(
        at=(Fraction(0), Fraction(1, 3), Fraction(2)),
        values=(0.0, 21.0, 21.0),
        rest=(False, False),
        fixed=(False,) * 3,
        speed=60.0,
        acceleration=1e4,
        jerk=1e6,
        travel=(-5.0, 20.0),
    )
    travel, other, speed = glances(wanted)
    assert (travel.first, travel.order, travel.limit) == (1, 0, 20.0)
    assert (other.first, other.order) == (2, 0)
    assert (speed.first, speed.last, speed.order, speed.asked) == (0, 1, 1, Fraction(63))


def test_rest_at_an_end_counts_as_the_instant_repeated() -> None:
    """From rest over way D in time T: 2 D/T**2 is a mean of the acceleration, 6 D/T**3 of the jerk. Textbook."""
    moving = Wanted(
        at=(Fraction(0), Fraction(1), Fraction(3)),
        values=(0.0, 10.0, 30.0),
        rest=(False, False),
        fixed=(False,) * 3,
        speed=15.0,
        acceleration=19.0,
        jerk=59.0,
        travel=None,
    )
    assert glances(moving) == []
    found = glances(replace(moving, rest=(True, False)))
    assert {(glance.order, glance.asked) for glance in found} == {(2, Fraction(20)), (3, Fraction(60))}


@given(st.integers(0, 10**6), st.booleans())
@settings(max_examples=40, deadline=None)
def test_nothing_is_seen_at_a_glance_in_keys_of_a_motion_that_there_is(seed: int, rest: bool) -> None:
    assert glances(kept(seed, rest=rest, travel=True)) == []
