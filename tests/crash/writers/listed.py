"""All writers that are crashed, in the order of the table."""

from tests.crash.writers import (
    beginning,
    bringing,
    editing,
    exporting,
    handing,
    journal,
    lapsing,
    listing,
    noting,
    packing,
    removing,
    saving,
    showing,
    taking,
    telling,
)

_CUT = (saving, journal, taking, removing, noting, exporting, handing, lapsing, bringing, showing, beginning)
CUT = {one.WRITER.name: one.WRITER for one in _CUT}
# what writes in a thread of its own is killed, and no power is cut: its calls come in another order each time; the list
# of recent projects waits for no disk
KILLED = CUT | {one.WRITER.name: one.WRITER for one in (editing, telling, packing, listing)}
