"""A point found from aims at it: where the optical axes of two poses or more come closest, and how sure that is.

An aim that is off by an angle misses the point by that angle times its distance, so near aims count for more: the
squares of angles are made least, by turns with the distances. It refuses aims that are parallel to within what they
are off, and says how far apart they would have to be; it refuses points behind the camera.
Source: Mikhail and Ackermann, Observations and Least Squares (normal equations, covariance of the result), from memory.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_SURE = 5.0  # times what aims are off: with less between them, a distance is a guess
_GOOD = 0.1  # of the distance: what an offered baseline brings it to
_ROUNDS = 50
_STILL = 1e-12


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Found:
    """The point, how sure it is, and how well the aims agree.

    Shape: `at_m` (3,); `covariance_m2` (3, 3); `off_deg` (N,), the angle between each aim and the point; `far_m` (N,).
    `sigma_m` is the standard deviation along the worst direction, `along` (3,). `meet_deg` is the largest angle between
    two aims, `baseline_m` the largest distance between two lenses. `sigma_deg` is what an aim is taken to be off by:
    what was told, or more where the aims say so, which is `agree` false. Unit: metres, degrees.
    """

    at_m: Floats
    covariance_m2: Floats
    sigma_m: float
    along: Floats
    off_deg: Floats
    far_m: Floats
    meet_deg: float
    baseline_m: float
    sigma_deg: float
    agree: bool


def triangulated(lenses: Floats, ahead: Floats, sigma_deg: float, guess_m: float) -> Found:
    """Return the point at which all look. `guess_m` is how far it may be, for words where the aims cannot say.

    Shape: `lenses` (N, 3), N from 2; `ahead` (N, 3), of length one. Unit: metres; `sigma_deg` of an aim, across.
    Error: ValueError in plain words with the mend: too few aims, parallel ones, and ones that meet behind the camera.
    """
    if len(lenses) < 2:
        raise ValueError("a point is found from two aims or more, from places that are apart; name another mark")
    if not sigma_deg > 0:
        raise ValueError(f"an aim cannot be off by {sigma_deg:g} deg; give an angle above zero")
    meet_deg, baseline_m = _widest(ahead), _longest(lenses)
    _refuse_parallel(lenses, ahead, meet_deg, sigma_deg, guess_m)
    point, sums = _nearest(lenses, ahead, np.radians(sigma_deg))
    far_m = ((point - lenses) * ahead).sum(axis=1)
    if (far_m <= 0).any():
        first = int(far_m.argmin())
        raise ValueError(
            f"the aims come closest {-far_m[first]:.3g} m behind the camera of aim {first + 1}: they part instead of "
            "meeting; aim at one thing, or correct which way a slide or pan grows in rig.json"
        )
    off_deg = _off_deg(point - lenses, ahead)
    # two angles an aim, three unknowns
    spare = 2 * len(lenses) - 3
    seen_deg = float(np.sqrt((off_deg**2).sum() / spare))
    agree = bool(seen_deg <= 3 * sigma_deg)
    used_deg = sigma_deg if agree else seen_deg
    covariance = np.asarray(np.linalg.inv(sums), np.float64) * (used_deg / sigma_deg) ** 2
    sizes, ways = np.linalg.eigh(covariance)
    return Found(
        at_m=point,
        covariance_m2=covariance,
        sigma_m=float(np.sqrt(sizes[-1])),
        along=ways[:, -1],
        off_deg=off_deg,
        far_m=far_m,
        meet_deg=meet_deg,
        baseline_m=baseline_m,
        sigma_deg=used_deg,
        agree=agree,
    )


def baseline_for(far_m: float, sigma_deg: float) -> float:
    """Return how far apart, across the view, two lenses know a distance to a tenth. Unit: metres, degrees, metres.

    Two aims that each are off by sigma part by a root of two of it, and a distance is off as their angle is.
    """
    return far_m * float(np.tan(np.sqrt(2) * np.radians(sigma_deg) / _GOOD))


def _nearest(lenses: Floats, ahead: Floats, sigma: float) -> tuple[Floats, Floats]:
    """Return the point, and the matrix of the normal equations, weighed by what an aim misses at its distance."""
    across = np.eye(3) - ahead[:, :, None] * ahead[:, None, :]
    far = np.ones(len(lenses))
    point = np.zeros(3)
    for _ in range(_ROUNDS):
        weighed = across / (sigma * far[:, None, None]) ** 2
        sums = weighed.sum(axis=0)
        before, point = point, np.linalg.solve(sums, (weighed @ lenses[:, :, None]).sum(axis=0)[:, 0])
        far = np.maximum(np.linalg.norm(point - lenses, axis=1), 1e-6)
        if float(np.abs(point - before).max()) <= _STILL * float(far.max()):
            break
    return point, (across / (sigma * far[:, None, None]) ** 2).sum(axis=0)


def _refuse_parallel(lenses: Floats, ahead: Floats, meet_deg: float, sigma_deg: float, guess_m: float) -> None:
    need_deg = _SURE * np.sqrt(2) * sigma_deg
    if meet_deg >= need_deg:
        return
    far = _apart(lenses, ahead)
    what = f"the aims part by {meet_deg:.3g} deg only, and each may be off by {sigma_deg:.3g} deg"
    if far <= _STILL:
        raise ValueError(f"{what}: the lens was not moved across the view; store a mark from elsewhere")
    need_m = baseline_for(guess_m, sigma_deg)
    raise ValueError(
        f"{what}, so the distance is not known; the lens was moved by {far:.3g} m across the view: for a point "
        f"{guess_m:.3g} m away move it by {need_m:.2g} m or more (they must part by {need_deg:.2g} deg at least)"
    )


def _widest(ahead: Floats) -> float:
    """Return the largest angle between the lines of two aims; those that face each other are one line too."""
    apart = [_off_deg(ahead[one + 1 :], ahead[one]) for one in range(len(ahead) - 1)]
    return max(float(np.minimum(each, 180.0 - each).max()) for each in apart)


def _longest(lenses: Floats) -> float:
    return float(np.linalg.norm(lenses[:, None] - lenses[None], axis=-1).max())


def _apart(lenses: Floats, ahead: Floats) -> float:
    """Return how far apart the lenses are, across the view."""
    view = ahead[0]
    across = lenses - (lenses @ view)[:, None] * view
    return _longest(across)


def _off_deg(way: Floats, ahead: Floats) -> Floats:
    """Return the angle between ways and aims. Shape: (N, 3) both."""
    across = np.linalg.norm(np.cross(way, ahead), axis=-1)
    found: Floats = np.degrees(np.arctan2(across, (way * ahead).sum(axis=-1)))
    return found
