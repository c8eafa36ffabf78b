"""Stay where the key is. It refuses to jump: the next key must have the same value."""

from sequencer.score.easing import Factors, LawKind, NoCurve, NoSettings


def factors(how: NoSettings) -> Factors:
    """Return that it asks for nothing."""
    return Factors(0.0, 0.0, 0.0)


KIND = LawKind("hold", NoSettings, NoCurve.STILL, factors)
