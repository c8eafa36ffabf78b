"""Stay where the key is. It refuses to jump: the next key must have the same value."""

from sequencer.score.easing import LawKind, NoCurve, NoSettings

KIND = LawKind("hold", NoSettings, NoCurve.STILL)
