"""All writers that are crashed, in the order of the table."""

from tests.crash.writers import editing, exporting, handing, journal, lapsing, noting, removing, saving, taking

_CUT = (saving, journal, taking, removing, noting, exporting, handing, lapsing)
CUT = {one.WRITER.name: one.WRITER for one in _CUT}
# what writes in a thread beside a window is killed, and no power is cut: its calls come in another order each time
KILLED = CUT | {editing.WRITER.name: editing.WRITER}
