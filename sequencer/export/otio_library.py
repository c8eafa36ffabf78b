"""The library of OpenTimelineIO, fetched late: it is an extra, and has no wheels for the newest Python yet."""

from types import ModuleType

from sequencer.errors import SequencerError
from sequencer.timebase.rate import RATES, Rate

_SAME = 1e-6  # of a rate; those there are differ by a thousandth


def library(fault: type[SequencerError]) -> ModuleType:
    """Return the library. Error: `fault` where it is missing, with the mend."""
    try:
        import opentimelineio
    except ImportError as missing:
        raise fault(
            f"OpenTimelineIO is missing ({missing}): pip install 'twintake[otio]', on Python up to 3.13; an edit list "
            f"(edl) does without it"
        ) from missing
    module: ModuleType = opentimelineio
    return module


def exact_rate(rate: float) -> Rate | None:
    """Return the exact rate that the library's float stands for; None for one that this program does not know."""
    return next((one for one in RATES.values() if abs(rate - float(one.fraction)) <= _SAME * rate), None)
