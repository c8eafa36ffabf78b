"""The file that something is taken from: what it is by its name, and its bytes."""

from pathlib import Path

from sequencer.errors import ImportFault
from sequencer.export.contract import ImportKind
from sequencer.shell.kinds import formats_left_out, imports

_MAX_BYTES = 128 * 2**20


def kind_of(file: Path, form: str | None) -> ImportKind:
    """Return the format that is meant. Error: ImportFault that lists those there are."""
    there = imports()
    if form is not None and form in there:
        return there[form]
    listed = ", ".join(f"{name} ({' '.join(kind.suffixes)})" for name, kind in sorted(there.items())) or "none"
    left = "".join(f"; {place} is left out: {why}" for place, why in formats_left_out().items())
    if form is not None:
        raise ImportFault(f"there is no format {form!r} to take something from; there are: {listed}{left}")
    found = [kind for kind in there.values() if file.name.lower().endswith(kind.suffixes)]
    if len(found) != 1:
        raise ImportFault(f"{file.name}: its name does not say what it is; say it with --as; there are: {listed}{left}")
    return found[0]


def bytes_of(file: Path, kind: ImportKind) -> bytes:
    """Return the file's bytes, or those that its format needs. Error: ImportFault."""
    try:
        if not file.is_file():
            raise ImportFault(f"there is no file {file}; name one that is there")
        size = file.stat().st_size
        with file.open("rb") as opened:

            def read(at: int, many: int) -> bytes:
                opened.seek(at)
                return opened.read(many)

            data = read(0, _MAX_BYTES + 1) if kind.shorten is None else kind.shorten(size, read)
    except OSError as fault:
        raise ImportFault(f"{file} cannot be read: {fault.strerror or fault}; copy it here") from fault
    except ValueError as fault:
        raise ImportFault(f"{file.name}: {fault}; export it again") from fault
    if len(data) > _MAX_BYTES:
        raise ImportFault(f"{file.name}: larger than {_MAX_BYTES // 2**20} MB; take a part of it")
    return data
