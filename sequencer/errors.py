"""Every exception that this program raises on purpose. A message says what, where, and how to mend it.

An operator's move that the motors cannot do is a normal answer (a value), not an exception. A bug of ours is a plain
TypeError, ValueError or AssertionError, which nobody catches but the tick: it brakes, latches and ends.
"""

from dataclasses import dataclass


class SequencerError(Exception):
    """Anything that goes wrong for a reason that the operator can mend."""


@dataclass(eq=False)
class ProjectError(SequencerError):
    """A project or rig file that cannot be used as it is.

    `file` is the file's name (`project.json`), `path` the place in it (`tracks[2].keys[7].at`), `what` the fault and
    `mend` what to do about it. Rooms that see only a part of the document give the path from the document's root.
    """

    path: str
    what: str
    mend: str = ""
    file: str = "project.json"

    def __str__(self) -> str:
        place = f"{self.file}: {self.path}: " if self.path else f"{self.file}: "
        return f"{place}{self.what}{f'; {self.mend}' if self.mend else ''}"


class TakeError(SequencerError):
    """A take file that cannot be read or compared; the message names the file and the mend."""


class ExportError(SequencerError):
    """Something that cannot be handed over as it was asked for, or not written where it was asked."""


class ImportFault(SequencerError):
    """A file from elsewhere that cannot be used; the message names the place in it and the mend."""


class LinkError(SequencerError):
    """A port, socket, device or disk of ours cannot be opened, or went away."""


class PeerError(SequencerError):
    """The other side sent something that its protocol does not allow."""
