"""Which packages of an extra of this program are not installed here. It refuses to load any of them."""

import re
from collections.abc import Iterable
from importlib import metadata

_NAME = re.compile(r"\s*([A-Za-z0-9][A-Za-z0-9._-]*)")
_EXTRA = re.compile(r"""extra\s*==\s*['"]([^'"]+)['"]""")


def lacking(extra: str, needs: Iterable[str] | None = None) -> tuple[str, ...]:
    """Return the packages of an extra that are missing, by name; none for no extra.

    `needs` is what a program asks for, as its metadata has it; this one's if not said.
    Source: Python packaging, core metadata 2.1, Requires-Dist.
    """
    if not extra:
        return ()
    found = []
    for need in _own() if needs is None else needs:
        what, _, when = need.partition(";")
        name = _NAME.match(what)
        if name is not None and extra in _EXTRA.findall(when) and not _there(name[1]):
            found.append(name[1])
    return tuple(found)


def _own() -> Iterable[str]:
    try:
        return metadata.requires("twintake") or ()
    except metadata.PackageNotFoundError:
        # run from its folder, without having been installed: only the attempt shows what is missing
        return ()


def _there(name: str) -> bool:
    try:
        metadata.version(name)
    except metadata.PackageNotFoundError:
        return False
    return True
