"""Which program this is, in words for files that it makes."""

from functools import cache
from importlib.metadata import PackageNotFoundError, version

_NAME = "twintake"


@cache
def made() -> str:
    """Return the program's name and version, as in `twintake 0.1.0`; the name alone where it was never installed."""
    try:
        return f"{_NAME} {version(_NAME)}"
    except PackageNotFoundError:
        return _NAME
