"""All writers that are crashed, in the order of the table."""

from tests.crash.writers import (
    bringing,
    editing,
    exporting,
    handing,
    journal,
    lapsing,
    noting,
    removing,
    saving,
    taking,
    telling,
)

_CUT = (saving, journal, taking, removing, noting, exporting, handing, lapsing, bringing)
CUT = {one.WRITER.name: one.WRITER for one in _CUT}
# what writes in a thread of its own is killed, and no power is cut: its calls come in another order each time
KILLED = CUT | {one.WRITER.name: one.WRITER for one in (editing, telling)}
