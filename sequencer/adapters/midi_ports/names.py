"""Which port the operator means by a part of its name. It opens none."""

from collections.abc import Sequence

from sequencer.errors import LinkError


def chosen(wanted: str, there: Sequence[str], kind: str = "MIDI ports") -> str | None:
    """Return the port that is called `wanted`, or the only one whose name contains it (in any case); None if none does.

    `kind` is what the ports are for the operator. Error: LinkError that lists them where more than one would do.
    """
    if wanted in there:
        return wanted
    fitting = [name for name in there if wanted.casefold() in name.casefold()]
    if len(fitting) > 1:
        raise LinkError(
            f"{len(fitting)} {kind} have {wanted!r} in their name: {listed(fitting)}; "
            f"give more of the name of the one that you mean"
        )
    return fitting[0] if fitting else None


def listed(names: Sequence[str]) -> str:
    """Return the names as the operator reads them in a sentence."""
    return ", ".join(repr(name) for name in names) or "none"
