"""The fewest keys through which a smooth run stays near a path: where they stand, by trial.

It refuses to give up the limits of the motor for fewer keys, where they can be kept at all.
"""

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.band import Band

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

_BEGIN_S = 1.0  # between the first keys of the second try; where that is too far, some are added
_ROUNDS = 40
# the loss of a key is felt some legs away; keys that far apart are tried at once
_APART = 5
_SHIFTS = (-4, 4, -2, 2, -1, 1)
_ROUNDS_OF_MOVING = 3
# a shift is good where it makes the worst places smaller: a high power sees little but those
_POWER = 8
_NEAR = 1 + 1e-9
_REACH = 6  # legs


def fewest(band: Band) -> Bools:
    """Return where few keys stand so that the run stays in the band at every sample, if any choice does it.

    It begins without any inside, where that can be judged, and again with keys about a second apart. It adds one inside
    each leg that strays until none does, takes out what is not needed, and shifts keys to where they do more, so that
    others can go. Where the run then asks for too much, it is held to the limits, and keys are added where it strays
    for that, but where no number of keys would do. The better of both counts; it may be that fewer would do. Where the
    band cannot be kept, keys stand there as close as they may.
    Shape: (G,).
    """
    bare = band.must | np.isfinite(band.known)
    pace = max(1, int(_BEGIN_S * (len(band.at_s) - 1) / (band.at_s[-1] - band.at_s[0])))
    spread = bare.copy()
    spread[::pace] |= band.may[::pace]
    found: list[tuple[bool, int, Bools]] = []
    # where a part of the run is not held to the limits, a long leg beside it would be bounded by next to nothing
    held = band.held_s[0] <= band.at_s[0] and band.held_s[1] >= band.at_s[-1]
    for begin in (bare, spread) if held else (spread,):
        kept, keeps = _from(band, begin)
        found.append((not keeps, int(kept.sum()), kept))
        if keeps and kept.sum() == bare.sum():
            break
    return min(found, key=lambda one: one[:2])[2]


def _from(band: Band, begin: Bools) -> tuple[Bools, bool]:
    """Return few keys, found from those to begin with, and whether they keep the band and the limits."""
    kept = _without(band, _grown(band, begin))
    for _ in range(_ROUNDS_OF_MOVING):
        fewer = _without(band, _shifted(band, kept))
        if fewer.sum() == kept.sum():
            break
        kept = fewer
    held = _grown(band, kept, limited=True)
    fitted = band.fitted(held, limited=True)
    keeps = bool(np.abs(fitted.off).max() <= _NEAR and fitted.asks.max() <= 1)
    return (_without(band, held, limited=True) if keeps else kept), keeps


def _grown(band: Band, kept: Bools, limited: bool = False) -> Bools:
    """Return the keys and those that are added until no leg strays, or none can be added."""
    kept = kept.copy()
    for _ in range(_ROUNDS):
        added = _added(band, kept, limited)
        if not len(added):
            break
        kept[added] = True
    return kept


def _added(band: Band, kept: Bools, limited: bool = False) -> Ints:
    """Return where keys are added: in each leg that strays or asks too much, as near to its middle as they may be."""
    fitted = band.fitted(kept, limited)
    wrong = np.unique(band.leg(kept)[np.abs(fitted.off) > _NEAR])
    if limited:
        wrong = np.union1d(wrong, np.flatnonzero(fitted.asks > 1))
    places = np.flatnonzero(kept)
    rooms = [np.flatnonzero(band.may[low + 1 : high]) + low + 1 for low, high in pairwise(places.tolist())]
    found = {one for leg in wrong.tolist() for one in _beside(rooms, leg)}
    return np.array(sorted(found), np.int64)


def _beside(rooms: list[Ints], leg: int) -> list[int]:
    """Return the middle of a leg's room for keys; where it has none, those of the nearest legs, both ways, that have.

    What happens close by decides what is left to a leg that is as short as can be.
    """
    for off in range(_REACH + 1):
        near = [rooms[place] for place in {leg - off, leg + off} if 0 <= place < len(rooms)]
        if found := [int(room[len(room) // 2]) for room in near if len(room)]:
            return found
    return []


def _without(band: Band, kept: Bools, limited: bool = False) -> Bools:
    """Return the keys without those that are not needed."""
    kept = kept.copy()
    fixed = band.must | np.isfinite(band.known)
    # where the band or the limits cannot be kept, it is to become no worse
    fitted = band.fitted(kept, limited)
    bound, most = np.maximum(1.0, 1.001 * np.abs(fitted.off)), max(1.0, 1.001 * float(fitted.asks.max()))
    for phase in range(_APART):
        out = np.flatnonzero(kept & ~fixed)[phase::_APART]
        while len(out):
            trial = kept.copy()
            trial[out] = False
            fitted = band.fitted(trial, limited)
            wrong = band.t_s[np.abs(fitted.off) > bound]
            if limited:
                trial_s = band.at_s[trial]
                wrong = np.append(wrong, (trial_s[:-1] + trial_s[1:])[fitted.asks > most] / 2)
            if not len(wrong):
                kept = trial
                break
            # the key nearest to each place that is now wrong was needed after all
            middles = (band.at_s[out][1:] + band.at_s[out][:-1]) / 2
            out = np.delete(out, np.unique(np.searchsorted(middles, wrong)))
    return kept


def _shifted(band: Band, kept: Bools) -> Bools:
    """Return the keys, some of them shifted by a few instants, where the run is then nearer to the path about them."""
    fixed = band.must | np.isfinite(band.known)
    off = band.fitted(kept).off
    for shift in _SHIFTS:
        for phase in range(_APART - 1):
            places = np.flatnonzero(kept)
            number = np.flatnonzero(~fixed[places])[phase :: _APART - 1]
            new = places[number] + shift
            fits = (new > places[number - 1]) & (new < places[np.minimum(number + 1, len(places) - 1)])
            fits[fits] = band.may[new[fits]]
            number, new = number[fits], new[fits]
            if not len(number):
                continue
            trial = _moved(kept, places[number], new)
            around = np.minimum(np.stack((np.maximum(number - 2, 0), number + 2)), len(places) - 1)
            low, high = np.searchsorted(band.t_s, band.at_s[places[around]])
            before, after = (_sums(each) for each in (off, band.fitted(trial).off))
            better = after[high] - after[low] < before[high] - before[low]
            trial = _moved(kept, places[number[better]], new[better])
            now = band.fitted(trial).off
            if better.any() and np.abs(now).max() <= max(1.0, float(np.abs(off).max())):
                kept, off = trial, now
    return kept


def _moved(kept: Bools, places: Ints, new: Ints) -> Bools:
    moved = kept.copy()
    moved[places] = False
    moved[new] = True
    return moved


def _sums(off: Floats) -> Floats:
    return np.append(0.0, np.cumsum(np.abs(off) ** _POWER))
