"""Pass through keys without a stop: legs in a row make one smooth run that never overshoots a key.

The run is solved in `motion.through`, since no leg of it has a curve of its own. It begins and ends at rest.
"""

from sequencer.score.easing import LawKind, NoCurve, NoSettings

KIND = LawKind("through", NoSettings, NoCurve.RUN)
